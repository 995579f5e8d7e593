"""Hours are the person's own, on the walls of their zone, through every clock change."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.times import (
    WEEKDAYS,
    SystemClock,
    at_their_hour,
    local,
    next_allowed,
    on_wall,
)
from storage.people import Person

DENVER = ZoneInfo("America/Denver")
ZONES = ("America/Denver", "America/Phoenix", "Australia/Sydney", "Europe/Athens", "America/Havana")
ANYBODY = Person(1, None, "en", "f", "America/Denver", "joined", "sms", "+13035550100")


def denver(*moment: int) -> datetime:
    """A wall-clock moment in Denver, as UTC."""
    return datetime(*moment, tzinfo=DENVER).astimezone(UTC)  # type: ignore[misc,arg-type]


def test_the_system_clock_knows_utc() -> None:
    """The present is aware of UTC."""
    assert SystemClock().now().utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    ("hour", "minute", "quiet"),
    [(0, 0, True), (8, 59, True), (9, 0, False), (19, 59, False), (20, 0, True), (23, 59, True)],
)
def test_quiet_hours_by_default(hour: int, minute: int, quiet: bool) -> None:
    """From eight in the evening to nine in the morning it is quiet."""
    moment = denver(2026, 3, 10, hour, minute)

    assert (next_allowed(moment, ANYBODY) > moment) is quiet


def test_the_same_moment_is_quiet_in_one_zone_only() -> None:
    """Quiet hours are those of the person's own zone."""
    evening = datetime(2026, 7, 10, 2, 30, tzinfo=UTC)

    assert next_allowed(evening, ANYBODY) > evening
    assert next_allowed(evening, replace(ANYBODY, zone="America/Los_Angeles")) == evening


def test_quiet_hours_by_day_for_who_works_at_night() -> None:
    """Quiet hours may lie within the day; the night from midnight to three is quiet for everybody."""
    night_worker = replace(ANYBODY, quiet_from=time(9), quiet_to=time(17))

    assert next_allowed(denver(2026, 3, 10, 10), night_worker) == denver(2026, 3, 10, 17)
    assert next_allowed(denver(2026, 3, 10, 23), night_worker) == denver(2026, 3, 10, 23)
    assert next_allowed(denver(2026, 3, 11, 0, 30), night_worker) == denver(2026, 3, 11, 3)


def test_within_their_hours_it_is_now() -> None:
    """Outside quiet hours, without a chosen day or time, a nudge may go at once."""
    assert next_allowed(denver(2026, 3, 10, 15), ANYBODY) == denver(2026, 3, 10, 15)


def test_at_night_it_is_the_next_morning() -> None:
    """In quiet hours a nudge waits for their end."""
    assert next_allowed(denver(2026, 3, 10, 21), ANYBODY) == denver(2026, 3, 11, 9)
    assert next_allowed(denver(2026, 3, 11, 4), ANYBODY) == denver(2026, 3, 11, 9)


def test_the_chosen_day_and_time_are_kept() -> None:
    """Who chose Saturdays at eight is nudged then, within the hour, even though eight is early by default."""
    saturdays = replace(ANYBODY, weekday="sat", nudge_at=time(8))

    assert next_allowed(denver(2026, 3, 10, 15), saturdays) == denver(2026, 3, 14, 8)
    assert next_allowed(denver(2026, 3, 14, 8, 59), saturdays) == denver(2026, 3, 14, 8, 59)
    assert next_allowed(denver(2026, 3, 14, 9), saturdays) == denver(2026, 3, 21, 8)


def test_a_chosen_day_alone_keeps_the_usual_hours() -> None:
    """Who chose only a day is nudged on it outside quiet hours."""
    sundays = replace(ANYBODY, weekday="sun")

    assert next_allowed(denver(2026, 3, 10, 15), sundays) == denver(2026, 3, 15, 9)
    assert next_allowed(denver(2026, 3, 15, 16), sundays) == denver(2026, 3, 15, 16)


def test_a_chosen_time_in_the_night_moves_to_three() -> None:
    """Nothing is nudged between midnight and three, whatever was chosen."""
    assert next_allowed(denver(2026, 3, 10, 15), replace(ANYBODY, nudge_at=time(1))) == denver(2026, 3, 11, 3)


def test_nine_stays_nine_across_both_clock_changes() -> None:
    """Clocks in Denver change on 8 March and 1 November 2026; the wall still shows nine."""
    nine = replace(ANYBODY, nudge_at=time(9))

    assert next_allowed(datetime(2026, 3, 7, 17, 30, tzinfo=UTC), nine) == datetime(
        2026, 3, 8, 15, tzinfo=UTC
    )
    assert next_allowed(datetime(2026, 10, 31, 16, 30, tzinfo=UTC), nine) == datetime(
        2026, 11, 1, 16, tzinfo=UTC
    )


def test_a_time_that_the_clocks_skip_comes_an_hour_later() -> None:
    """In Athens 03:30 does not exist on 29 March 2026: 04:30 it is, and the day is not left out."""
    skipped = on_wall(date(2026, 3, 29), time(3, 30), "Europe/Athens")

    assert local(skipped, "Europe/Athens").time() == time(4, 30)


def test_a_time_that_comes_twice_is_meant_once() -> None:
    """In Athens 03:30 comes twice on 25 October 2026: the first is meant."""
    early = replace(ANYBODY, zone="Europe/Athens", nudge_at=time(3, 30))
    first = next_allowed(datetime(2026, 10, 24, 22, tzinfo=UTC), early)

    assert first == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert next_allowed(first + timedelta(hours=1), early) == datetime(2026, 10, 26, 1, 30, tzinfo=UTC)


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("chosen", [time(9), time(3), time(0, 30), time(23, 30)])
def test_every_day_of_a_year_has_its_moment_once(zone: str, chosen: time) -> None:
    """Day after day through 2027, at the same time on the wall, no day left out and none twice."""
    daily = replace(ANYBODY, zone=zone, nudge_at=chosen)
    moment, days = on_wall(date(2027, 1, 1), time(0), zone), []
    while local(moment := next_allowed(moment, daily), zone).year == 2027:
        days.append(local(moment, zone).date())
        moment += timedelta(hours=1)

    assert days == [date(2027, 1, 1) + timedelta(day) for day in range(365)]


@given(
    at=st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC)),
    zone=st.sampled_from(ZONES),
    quiet_from=st.times(),
    quiet_to=st.times(),
    nudge_at=st.none() | st.times(),
    weekday=st.none() | st.sampled_from(WEEKDAYS),
)
def test_a_moment_is_found_for_everybody(
    at: datetime, zone: str, quiet_from: time, quiet_to: time, nudge_at: time | None, weekday: None
) -> None:
    """Within eight days there is a moment that is allowed, on the chosen day, and never before three."""
    anybody = replace(
        ANYBODY, zone=zone, quiet_from=quiet_from, quiet_to=quiet_to, nudge_at=nudge_at, weekday=weekday
    )

    found = next_allowed(at, anybody)

    assert at <= found <= at + timedelta(days=8, hours=2)
    assert next_allowed(found, anybody) == found
    assert local(found, zone).hour >= 3
    assert weekday in (None, WEEKDAYS[local(found, zone).weekday()])


def wrote(hour: int, days: int, last: date = date(2026, 3, 9)) -> list[datetime]:
    """A message at that hour on each of so many days up to a last one, newest first."""
    return [on_wall(last - timedelta(day), time(hour), "America/Denver") for day in range(days)]


@pytest.mark.parametrize(("days", "hour", "minute"), [(3, 9, 0), (4, 12, 0), (9, 15, 45)])
def test_a_nudge_drifts_to_the_hour_at_which_they_write(days: int, hour: int, minute: int) -> None:
    """Three evenings tell nothing; then a nudge of nine in the morning moves, further with every evening."""
    morning = denver(2026, 3, 10, 9)

    assert at_their_hour(morning, ANYBODY, wrote(18, days)) == denver(2026, 3, 10, hour, minute)


def test_after_a_dozen_days_a_nudge_comes_at_their_hour() -> None:
    """Of many messages the newest dozen days count, whatever was the habit before."""
    mornings_before = wrote(11, 30, last=date(2026, 2, 20))

    found = at_their_hour(denver(2026, 3, 10, 9), ANYBODY, [*wrote(18, 12), *mornings_before])

    assert found == denver(2026, 3, 10, 18)


@pytest.mark.parametrize(
    "person",
    [replace(ANYBODY, nudge_at=time(9)), replace(ANYBODY, quiet_from=time(12))],
    ids=["chosen time", "quiet from noon"],
)
def test_what_they_chose_is_kept(person: Person) -> None:
    """Neither a time that they chose nor their quiet hours give way to a habit."""
    morning = denver(2026, 3, 10, 9)

    assert at_their_hour(morning, person, wrote(20, 9)) == morning


def test_no_habit_no_drift() -> None:
    """Who writes now in the morning, now at noon, now in the evening is nudged as soon as may be."""
    morning = denver(2026, 3, 10, 9)
    anywhen = [denver(2026, 3, 9 - day, hour) for day, hour in enumerate((10, 13, 16, 19, 10, 13, 16, 19))]

    assert at_their_hour(morning, ANYBODY, anywhen) == morning


@given(
    heard=st.lists(st.datetimes(datetime(2026, 1, 1), datetime(2026, 3, 9)), max_size=40),
    hour=st.integers(0, 200),
    quiet=st.tuples(st.times(), st.times()),
)
def test_the_drift_stays_in_the_day_and_in_their_hours(
    heard: list[datetime], hour: int, quiet: tuple[time, time]
) -> None:
    """Whatever the habit, a nudge is moved within its own day, never back, never into the quiet hours."""
    person = replace(ANYBODY, quiet_from=quiet[0], quiet_to=quiet[1])
    at = next_allowed(denver(2026, 3, 7) + timedelta(hours=hour), person)

    found = at_their_hour(at, person, [each.replace(tzinfo=UTC) for each in heard])

    assert at <= found
    assert local(found, person.zone).date() == local(at, person.zone).date()
    assert next_allowed(found, person) == found
