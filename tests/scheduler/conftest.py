"""Piles, forecasts and people made up for the rules; a channel that writes down what it is given."""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from scheduler.sender import Outcome, Rendered, Sent
from shared import hygiene
from shared.forecast import DateRange, Day, Forecast, Habit, Range
from storage.outbox import OutRow
from storage.people import Person
from storage.work import Store

BUILT = date(2026, 3, 1)


class StoppedClock:
    """A clock that a test sets."""

    def __init__(self, moment: datetime) -> None:
        self.moment = moment

    def now(self) -> datetime:
        return self.moment


class Notebook:
    """A channel that keeps what it was asked to send, and answers as told."""

    def __init__(self, name: str = "sms") -> None:
        self.name = name
        self.addresses: frozenset[str] | None = None
        self.sent: list[tuple[str, str]] = []
        self.outcomes: list[Outcome | Exception] = []

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        outcome = self.outcomes.pop(0) if self.outcomes else Sent(f"id {reference}")
        if isinstance(outcome, Exception):
            raise outcome
        if isinstance(outcome, Sent):
            self.sent.append((address, message.text))
        return outcome


def keys_as_text(row: OutRow, _person: Person, _at: datetime) -> Rendered:
    """A rendering that shows the keys."""
    return Rendered(" ".join(line.key for line in row.lines))


def forecast(on: date, **changes: Any) -> Forecast:
    """A hot, moist pile of the first of March, with what the test changes."""
    mild = tuple(Day(on + timedelta(days), Range(50, 55, 60), 12.0) for days in range(-7, 8))
    usual: dict[str, Any] = {
        "pile_id": "1",
        "as_of": on,
        "stage": "hot",
        "ready": DateRange(date(2026, 5, 11), date(2026, 5, 19), date(2026, 6, 2)),
        "core_c": Range(52.0, 55.0, 58.0),
        "air_c": 12.0,
        "moisture": Range(0.45, 0.5, 0.55),
        "free_air": Range(0.3, 0.4, 0.5),
        "fast_left": Range(0.5, 0.6, 0.7),
        "moderate_left": Range(0.7, 0.8, 0.9),
        "trend_c_per_day": -1.0,
        "mix_c_n": 30.0,
        "mix_moisture": 0.55,
        "credit": hygiene.credit([], []),
        "harvest_litres": Range(180.0, 240.0, 310.0),
        "bottom_litres": 0.0,
        "turn_gain_days": 0.0,
        "water_gain_days": 0.0,
        "water_litres": 0.0,
        "turn_due": None,
        "water_due": None,
        "days": mild,
        "habit": Habit(7.0, None),
        "moved": (),
        "assumed": (),
    }
    return Forecast(**usual | changes)


@pytest.fixture
def outlook() -> Callable[..., Forecast]:
    """Makes forecasts."""
    return forecast


@pytest.fixture
def store(sqlite_url: str) -> Iterator[Store]:
    """A store on an empty SQLite file; that both databases serve alike is shown in tests/storage."""
    opened = Store(sqlite_url)
    yield opened
    opened.close()


@pytest.fixture
def clock(at: datetime) -> StoppedClock:
    """A clock at the first of March, nine in the morning in Denver."""
    return StoppedClock(at)


@pytest.fixture
def notebook() -> Notebook:
    """The SMS channel, written down."""
    return Notebook()


@pytest.fixture
def render() -> Callable[[OutRow, Person, datetime], Rendered]:
    """Shows the keys of a message."""
    return keys_as_text


@pytest.fixture
def person() -> Person:
    """A keeper in Denver who joined two weeks ago and has not written for a week."""
    return Person(
        id=1,
        name="Ines",
        language="en",
        units="f",
        zone="America/Denver",
        standing="joined",
        channel="sms",
        address="+13035550101",
        last_heard_at=datetime(2026, 3, 9, 15, tzinfo=UTC),
        joined_at=datetime(2026, 3, 1, 16, tzinfo=UTC),
    )


@pytest.fixture
def ines(store: Store, at: datetime) -> Person:
    """A stored keeper who has just said yes."""
    with store.work() as work:
        stored = work.people.add("sms", "+13035550101", "Ines", "en", "f", "America/Denver", at)
        stored = work.people.consent(stored.id, True, "Yes?", "en", "sms", None, "1", at)
        work.commit()
    return stored
