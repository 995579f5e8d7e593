"""Signing in: a code to the member's own chat, once, for ten minutes, and nothing told to a stranger."""

import re
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from storage.staff import Member
from storage.work import Store
from tests.bot.web.conftest import NOON, PHONE, Chat, Clock


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


def test_signing_out_everywhere_ends_every_browser(browser: TestClient, store: Store, maren: Member) -> None:
    """A phone that was lost opens nothing from then on."""
    with store.work() as work:
        lost, here = (work.staff.open_visit(maren.id, NOON) for _ in range(2))
        work.commit()
    browser.cookies.set("visit", here)
    mark = re.search(r'name="form_mark" value="([0-9a-f]+)"', browser.get("/").text)
    assert mark is not None
    browser.post("/sign-out", data={"form_mark": mark[1], "everywhere": "yes"})
    browser.cookies.clear()
    browser.cookies.set("visit", lost)

    assert browser.get("/", follow_redirects=False).headers["location"] == "/sign-in"
