"""What tests of the staff's pages share: a clock, members, a browser, and what goes to their chats."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, create_engine, select
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.outlook import Outlooks
from bot.profile import Profile
from bot.web.office import Office
from bot.web.staff import staff_pages
from storage.models import OutboxTable
from storage.staff import Member
from storage.staff_models import Role
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
    office = Office(store, Profile(), clock, "http://testserver", Outlooks(Profile()))
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


@pytest.fixture
def sign_in(browser: TestClient, store: Store, clock: Clock) -> Callable[[Role], Member]:
    """Signs the browser in as somebody new of this role."""

    def as_role(role: Role) -> Member:
        with store.work() as work:
            person = work.people.add(
                "gateway", f"+1505555018{len(role) % 10}", role, "en", "f", "America/Denver", NOON
            )
            member = work.staff.join(work.staff.invite(role, role, None, NOON), person.id, NOON)
            assert member is not None
            browser.cookies.set("visit", work.staff.open_visit(member.id, clock.at))
            work.commit()
        return member

    return as_role


@pytest.fixture
def form_mark(browser: TestClient) -> Callable[[str], str]:
    """The hidden value of the forms on a page."""

    def of(path: str) -> str:
        found = re.search(r'name="form_mark" value="([0-9a-f]+)"', browser.get(path).text)
        assert found is not None, f"{path} has no form"
        return found[1]

    return of
