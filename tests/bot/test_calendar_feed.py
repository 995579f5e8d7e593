"""The calendar of a keeper, read by an independent parser (vobject, RFC 5545)."""

from datetime import UTC, date, datetime

import vobject

from bot.calendar_feed import Job, Ready, calendar_feed
from bot.language.wording import Voice

AT = datetime(2026, 4, 2, 18, tzinfo=UTC)
TURN = Job(7, "back fence", date(2026, 4, 4), "Turn it, then water: half; squeeze a handful")
SOON = Ready(7, "back fence", date(2026, 5, 20), date(2026, 7, 1))


def events(voice: Voice, *jobs: Job, at: datetime = AT) -> dict[str, vobject.base.Component]:
    """The events of the calendar by their names."""
    feed = calendar_feed(voice, "Larkmoor Compost", jobs, [SOON], at)
    calendar = vobject.readOne(feed.decode())
    calendar.validate(raiseException=True)
    return {event.uid.value: event for event in calendar.vevent_list}


def test_the_next_job_stands_on_its_day() -> None:
    """An all-day event of one day, in words, commas and semicolons intact."""
    job = events(Voice("en", "f", AT.date()), TURN)["next-7@warmheap"]

    assert job.dtstart.value == date(2026, 4, 4)
    assert job.dtend.value == date(2026, 4, 5)
    assert job.summary.value == "Pile back fence: Turn it, then water: half; squeeze a handful"


def test_the_ready_range_ends_with_its_last_day() -> None:
    """From 20 May to 1 July, the first of July included; it blocks nobody's day."""
    ready = events(Voice("en", "f", AT.date()))["ready-7@warmheap"]

    assert (ready.dtstart.value, ready.dtend.value) == (date(2026, 5, 20), date(2026, 7, 2))
    assert ready.transp.value == "TRANSPARENT"


def test_asked_again_a_job_moves_and_is_not_doubled() -> None:
    """The same name on another day: a calendar moves the event."""
    voice = Voice("en", "f", AT.date())
    later = Job(7, "back fence", date(2026, 4, 9), "Turn it")

    assert events(voice, TURN).keys() == events(voice, later).keys()


def test_spanish_is_spanish() -> None:
    """Accents go through, in the keeper's language."""
    ready = events(Voice("es", "c", AT.date()))["ready-7@warmheap"]

    assert ready.summary.value == "Pila back fence lista por estos días"


def test_the_lines_are_those_of_the_standard() -> None:
    """Each ends with CRLF and is 75 octets at the most (RFC 5545, 3.1), which the parser would forgive."""
    long = Job(
        7, "la pila del rincón junto a la cerca de atrás", TURN.on, "Voltéala y riégala: está seca. " * 4
    )
    feed = calendar_feed(Voice("es", "c", AT.date()), "Larkmoor Compost", [long], [SOON], AT)

    lines = feed.split(b"\r\n")

    assert lines[-1] == b""
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(map(len, lines)) <= 75
    assert {b"VERSION:2.0", b"PRODID:-//Warmheap//Calendar//EN"} <= set(lines)


def test_a_piles_name_stays_a_name() -> None:
    """Whatever somebody calls a pile, it adds nothing to the calendar but words."""
    name = "fence\r\nEND:VEVENT\r\nBEGIN:VALARM; \\, x"
    found = events(Voice("en", "f", AT.date()), Job(7, name, TURN.on, "Turn it"))

    assert set(found) == {"next-7@warmheap", "ready-7@warmheap"}
    assert "END:VEVENT" in found["next-7@warmheap"].summary.value
