"""A person's next jobs and ready ranges as a calendar (RFC 5545): values in, octets out.

Every job and range is an all-day event of a name that stays the same, so that a calendar which asks again
moves it instead of doubling it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from icalendar import Calendar, Event

from bot.language.wording import Voice
from storage.outbox import Line

ASK_AGAIN = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Job:
    """Something to do with a pile on a day, in words."""

    pile_id: int
    pile: str
    on: date
    words: str


@dataclass(frozen=True, slots=True)
class Ready:
    """The days between which a pile should be ready, the last one included."""

    pile_id: int
    pile: str
    first: date
    last: date


def calendar_feed(
    voice: Voice, programme: str, jobs: Sequence[Job], ready: Sequence[Ready], at: datetime
) -> bytes:
    """The calendar as of `at` [UTC]."""
    calendar = Calendar()
    calendar.add("prodid", "-//Warmheap//Calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", programme)
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for job in jobs:
        summary = voice.line(Line("calendar.job", {"pile": job.pile, "what": job.words}))
        calendar.add_component(_event(f"next-{job.pile_id}", summary, job.on, job.on, at))
    for span in ready:
        summary = voice.line(Line("calendar.ready", {"pile": span.pile}))
        calendar.add_component(_event(f"ready-{span.pile_id}", summary, span.first, span.last, at))
    return bytes(calendar.to_ical())


def _event(name: str, summary: str, first: date, last: date, at: datetime) -> Event:
    """From the first day to the last; RFC 5545 counts the end as the day after."""
    event = Event()
    event.add("uid", f"{name}@warmheap")
    event.add("dtstamp", at)
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    return event
