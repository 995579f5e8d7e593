"""Signing in: a code to the member's own chat, once, for ten minutes, and nothing told to a stranger."""

import re
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from tests.bot.web.conftest import PHONE, Chat, Clock


def ask_code(browser: TestClient, chat: Chat) -> str:
    """Ask for a code and read it in the chat."""
    browser.post("/sign-in", data={"address": "505 555 0142"})
    return chat.codes()[-1]


@pytest.mark.usefixtures("maren")
def test_a_code_from_the_chat_opens_the_pages(browser: TestClient, chat: Chat) -> None:
    """The code that came to her own chat signs this browser in."""
    code = ask_code(browser, chat)

    page = browser.post("/sign-in/code", data={"address": PHONE, "code": code})

    assert page.status_code == 200
    assert "Maren" in page.text


@pytest.mark.usefixtures("maren")
def test_a_code_works_once(browser: TestClient, chat: Chat) -> None:
    """A code that was used, replayed from another browser, opens nothing."""
    code = ask_code(browser, chat)
    browser.post("/sign-in/code", data={"address": PHONE, "code": code})
    browser.cookies.clear()

    page = browser.post("/sign-in/code", data={"address": PHONE, "code": code})

    assert page.status_code == 403


@pytest.mark.usefixtures("maren")
def test_a_code_dies_after_ten_minutes(browser: TestClient, chat: Chat, clock: Clock) -> None:
    """A code of eleven minutes ago opens nothing."""
    code = ask_code(browser, chat)
    clock.at += timedelta(minutes=11)

    page = browser.post("/sign-in/code", data={"address": PHONE, "code": code})

    assert page.status_code == 403


@pytest.mark.usefixtures("maren")
def test_a_stranger_is_told_what_a_member_is_told(browser: TestClient, chat: Chat) -> None:
    """Nobody learns from the page who works here, and no code is made for a stranger."""
    page = browser.post("/sign-in", data={"address": "505 555 0199"})
    hers = browser.post("/sign-in", data={"address": "505 555 0142"})

    assert re.sub("01..", "", page.text) == re.sub("01..", "", hers.text)
    assert len(chat.codes()) == 1
