"""Whose morning it is: the clock, zones, quiet hours, and the day and time a person chose.

Moments are UTC; wall-clock times are worked out anew with zoneinfo each time, so a clock change moves
the moment and keeps the time on the wall. Nothing is nudged between midnight and 3 a.m., the hours in
which most clock changes fall.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from statistics import median_low
from typing import Protocol, get_args
from zoneinfo import ZoneInfo

from storage.models import Weekday
from storage.people import QUIET_FROM, QUIET_TO, Person

NIGHT_ENDS = time(3)
GRACE = timedelta(hours=1)
"""How long after a chosen time a nudge still counts as being on time."""
HABIT_DAYS, HABIT_LEAST, HABIT_WITHIN_MIN = 12, 4, 90
"""A habit is seen in the last 12 days on which somebody wrote, if 4 and half of them agree within 90 minutes
(judgement: text programmes find that the hour of a reminder matters, not by how much)."""
WEEKDAYS: tuple[Weekday, ...] = get_args(Weekday)


class Clock(Protocol):
    """Where the present moment comes from."""

    def now(self) -> datetime:
        """The present moment, UTC."""


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """The present moment, UTC."""
        return datetime.now(UTC)


def local(at: datetime, zone: str) -> datetime:
    """The same moment on the walls of a zone."""
    return at.astimezone(ZoneInfo(zone))


def on_wall(day: date, at: time, zone: str) -> datetime:
    """The moment, UTC, when the walls of a zone show this day and time.

    A time that a clock change skips is taken as if the clock had not changed yet; of one that comes twice,
    the first is meant.
    """
    return datetime.combine(day, at, ZoneInfo(zone)).astimezone(UTC)


def next_allowed(at: datetime, person: Person) -> datetime:
    """The first moment from `at` on, UTC, at which this person may be nudged.

    A time that the person chose counts even where it lies in the default quiet hours.
    """
    for opens, closes in _windows(local(at, person.zone).date(), person):
        if at < closes:
            return max(at, opens)
    raise AssertionError("a week always holds a moment for everybody")


def at_their_hour(at: datetime, person: Person, heard: Iterable[datetime]) -> datetime:
    """A moment of the same day, `at` or later, nearer to the hour at which this person tends to write.

    heard   when they wrote, newest first; the more days agree, the nearer

    A time that they chose is kept, and so are their quiet hours.
    """
    firsts = {local(each, person.zone).date(): local(each, person.zone) for each in heard}
    minutes = sorted(each.hour * 60 + each.minute for each in list(firsts.values())[:HABIT_DAYS])
    alike = max((_near(each, minutes) for each in minutes), key=len, default=[])
    if person.nudge_at is not None or len(alike) < max(HABIT_LEAST, len(minutes) / 2):
        return at
    usual = time(*divmod(median_low(alike), 60))
    wished = on_wall(local(at, person.zone).date(), usual, person.zone)
    moved = at + (wished - at) * (len(alike) / HABIT_DAYS)
    return moved if moved > at and next_allowed(moved, person) == moved else at


def _near(minute: int, minutes: Iterable[int]) -> list[int]:
    return [each for each in minutes if abs(each - minute) <= HABIT_WITHIN_MIN]


def _windows(first: date, person: Person) -> Iterator[tuple[datetime, datetime]]:
    """The stretches in which a person may be nudged, from a day on, over the week that follows."""
    for days in range(9):
        day = first + timedelta(days)
        if person.weekday not in (None, WEEKDAYS[day.weekday()]):
            continue
        if person.nudge_at is not None:
            opens = on_wall(day, max(person.nudge_at, NIGHT_ENDS), person.zone)
            yield opens, opens + GRACE
            continue
        for start, end in _waking(person):
            yield on_wall(day, start, person.zone), on_wall(day, end, person.zone)


def _waking(person: Person) -> list[tuple[time, time]]:
    """The hours of a day outside the quiet ones and the night; the default where nothing is left."""
    start, end = person.quiet_to, person.quiet_from
    spans = [(start, end)] if start < end else [(time.min, end), (start, time.max)]
    waking = [(max(opens, NIGHT_ENDS), closes) for opens, closes in spans if closes > NIGHT_ENDS]
    return [(opens, closes) for opens, closes in waking if opens < closes] or [(QUIET_TO, QUIET_FROM)]
