"""Signing in: a code to the member's own chat, once, for ten minutes, and nothing told to a stranger."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import Engine, create_engine, select
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.profile import Profile
from bot.web.office import Office
from bot.web.staff import staff_pages
from storage.models import OutboxTable
from storage.staff import Member
from storage.work import Store

NOON = datetime(2026, 4, 2, 18, tzinfo=UTC)
PHONE = "+15055550142"


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.at = NOON

    def now(self) -> datetime:
        """The moment that was set."""
        return self.at


@pytest.fixture
def clock() -> Clock:
    """Noon in Larkmoor County."""
    return Clock()


@pytest.fixture
def maren(store: Store) -> Member:
    """An educator with a phone."""
    with store.work() as work:
        person = work.people.add("gateway", PHONE, "Maren", "en", "f", "America/Denver", NOON)
        member = work.staff.join(work.staff.invite("Maren", "educator", None, NOON), person.id, NOON)
        work.commit()
    assert member is not None
    return member


@pytest.fixture
def browser(store: Store, clock: Clock) -> Iterator[TestClient]:
    """A browser that opens the staff's pages."""
    office = Office(store, Profile(), clock, "http://testserver")
    with TestClient(Starlette(routes=staff_pages(office))) as client:
        yield client


@pytest.fixture
def chat(database_url: str) -> Iterator["Chat"]:
    """What goes to the members' chats."""
    engine = create_engine(database_url)
    yield Chat(engine)
    engine.dispose()


@dataclass
class Chat:
    """What waits in the outbox for the members' chats."""

    engine: Engine

    def codes(self) -> list[str]:
        """The sign-in codes, oldest first."""
        with self.engine.connect() as connection:
            rows = connection.scalars(select(OutboxTable.lines).order_by(OutboxTable.id)).all()
        return [values["code"] for lines in rows for _key, values in lines]


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
