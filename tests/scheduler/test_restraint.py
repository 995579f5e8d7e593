"""Restraint: rare by phase, backing off, and never against what the person asked for."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from scheduler.restraint import (
    AFTER_HARVEST,
    CURING,
    FIRST_WEEK,
    LEARNING,
    STEADY,
    Held,
    held_back,
    key_of,
    phase_of,
    wants_restart,
)
from storage.outbox import Line, OutRow
from storage.people import Person

NOW = datetime(2026, 3, 16, 16, tzinfo=UTC)
"""Ten in the morning of a Monday in Denver."""


def nudge(days_ago: float, key: str = "nudge.turn", **reason: str) -> OutRow:
    """A nudge that was sent so many days ago."""
    sent_at = NOW - timedelta(days=days_ago)
    blank: dict[str, Any] = dict.fromkeys(OutRow.__dataclass_fields__)
    return OutRow(
        **blank
        | {
            "lines": (Line(key, {}),),
            "due_at": sent_at,
            "sent_at": sent_at,
            "status": "sent",
            "reason": reason,
        }
    )


def why(person: Person, *recent: OutRow, key: str = "turn", phase: Any = LEARNING) -> str | None:
    """The reason for which a nudge is held back now."""
    held = held_back(person, key, phase, recent, NOW)
    return None if held is None else held.why


def test_a_due_nudge_goes(person: Person) -> None:
    """Somebody who joined, was silent for a week and was sent nothing lately may be nudged."""
    assert why(person) is None


@pytest.mark.parametrize(
    ("standing", "reason"), [("asked", "no consent"), ("stopped", "opted out"), ("erased", "opted out")]
)
def test_nobody_is_nudged_without_consent(person: Person, standing: Any, reason: str) -> None:
    """Only who said yes, and has not said no since, is nudged."""
    assert why(replace(person, standing=standing)) == reason


def test_nothing_within_a_day_of_their_own_words(person: Person) -> None:
    """Who wrote in the last 24 hours has had the answer; the day after they may be nudged."""
    wrote = replace(person, last_heard_at=NOW - timedelta(hours=23))

    held = held_back(wrote, "turn", LEARNING, [], NOW)

    assert held == Held("wrote within a day", NOW + timedelta(hours=1))
    assert why(replace(person, last_heard_at=NOW - timedelta(hours=24))) is None


def test_one_a_day(person: Person) -> None:
    """Even in the first week, a second nudge waits for the next day."""
    assert why(person, nudge(0.1), phase=FIRST_WEEK) == "one a day"
    assert why(person, nudge(1), phase=FIRST_WEEK) is None


@pytest.mark.parametrize(
    ("phase", "days_ago", "reason"),
    [
        (FIRST_WEEK, (5, 3, 1), "budget"),
        (FIRST_WEEK, (8, 5, 3), None),
        (LEARNING, (6, 3), "budget"),
        (LEARNING, (7, 3), None),
        (LEARNING, (2,), "gap"),
        (STEADY, (6,), "gap"),
        (STEADY, (7,), None),
        (CURING, (25, 12), "budget"),
        (CURING, (30, 12), None),
        (CURING, (9,), "gap"),
        (AFTER_HARVEST, (20, 6), "budget"),
        (AFTER_HARVEST, (6,), None),
    ],
)
def test_the_budget_thins_out_by_phase(
    person: Person, phase: Any, days_ago: tuple[int, ...], reason: str | None
) -> None:
    """Three in the first week, two a week to week four, then one a week, two a month in cure and after."""
    assert why(person, *(nudge(days) for days in days_ago), phase=phase) == reason


def test_each_phase_has_its_own_budget(person: Person) -> None:
    """The cure is told of although the weeks before it held many nudges; only the gap is kept."""
    before = [nudge(days, phase=STEADY.name) for days in (27, 20, 13)]

    assert why(person, *before, phase=CURING) is None
    assert why(person, *before, nudge(6, phase=STEADY.name), phase=CURING) == "gap"
    assert why(person, nudge(25, phase=CURING.name), nudge(12, phase=CURING.name), phase=CURING) == "budget"


def test_what_is_over_budget_waits_until_the_window_has_room(person: Person) -> None:
    """The reason comes with the day on which the oldest message leaves the window, at nine on the wall."""
    held = held_back(person, "turn", LEARNING, [nudge(6), nudge(3)], NOW)

    assert held == Held("budget", datetime(2026, 3, 17, 15, tzinfo=UTC))


@pytest.mark.parametrize(
    ("unanswered", "days_ago", "reason"),
    [(1, 3, None), (2, 3, "gap doubled"), (2, 6, None), (3, 5, "gap doubled"), (4, 30, "four unanswered")],
)
def test_unanswered_nudges_space_out_and_end(
    person: Person, unanswered: int, days_ago: int, reason: str | None
) -> None:
    """After two unanswered the gap doubles; after four there is silence."""
    assert why(replace(person, unanswered=unanswered), nudge(days_ago)) == reason


def test_the_one_restart_breaks_the_silence(person: Person) -> None:
    """After four unanswered the friendly restart may still go, a day after the last nudge."""
    silent = replace(person, unanswered=4)

    assert why(silent, nudge(2), key="restart") is None
    assert why(silent, nudge(0.2), key="restart") == "one a day"


@pytest.mark.parametrize(("silent_days", "wanted"), [(19, False), (20, True), (35, True), (36, False)])
def test_the_restart_comes_around_week_three(person: Person, silent_days: int, wanted: bool) -> None:
    """Between day 20 and day 35 of silence after a nudge; later it would not be friendly any more."""
    silent = replace(person, unanswered=2, last_heard_at=NOW - timedelta(days=silent_days))

    assert wants_restart(silent, [], NOW) is wanted


def test_the_restart_comes_once(person: Person) -> None:
    """A second one waits until the person has written again and fallen silent again."""
    silent = replace(person, unanswered=2, last_heard_at=NOW - timedelta(days=22))

    assert not wants_restart(silent, [nudge(1, "nudge.restart")], NOW)
    assert wants_restart(silent, [nudge(40, "nudge.restart")], NOW)
    assert not wants_restart(replace(silent, unanswered=0), [], NOW)


def test_a_pause_is_kept_to_its_last_day(person: Person) -> None:
    """Paused until a day means nothing before that day; an open pause has no end of its own."""
    friday = replace(person, paused_until=date(2026, 3, 20))

    assert held_back(friday, "turn", LEARNING, [], NOW) == Held(
        "paused", datetime(2026, 3, 20, 15, tzinfo=UTC)
    )
    assert held_back(replace(person, paused_until=date.max), "turn", LEARNING, [], NOW) == Held("paused")
    assert why(replace(person, paused_until=date(2026, 3, 16))) is None


@pytest.mark.parametrize(
    ("only_about", "key", "reason"),
    [
        ("water", "water", None),
        ("water", "turn", "only about water"),
        ("water", "turn_water", "only about water"),
        ("turn", "turn_water", None),
        ("turn", "ready", "only about turn"),
    ],
)
def test_who_wants_one_matter_hears_of_no_other(
    person: Person, only_about: str, key: str, reason: str | None
) -> None:
    """ "Only about water" leaves out every other nudge."""
    assert why(replace(person, only_about=only_about), key=key) == reason


def test_who_cannot_turn_is_not_asked_to(person: Person) -> None:
    """Turning is not asked of a body that cannot; watering still is."""
    unable = replace(person, cannot_turn=True)

    assert why(unable, key="turn") == "cannot turn"
    assert why(unable, key="turn_water") == "cannot turn"
    assert why(unable, key="water") is None


@pytest.mark.parametrize(
    ("age_days", "stage", "harvested", "phase"),
    [
        (0, "warming", False, FIRST_WEEK),
        (7, "hot", False, LEARNING),
        (28, "cooling", False, STEADY),
        (20, "curing", False, CURING),
        (90, "ready", False, CURING),
        (90, "ready", True, AFTER_HARVEST),
    ],
)
def test_the_phase_follows_the_pile(age_days: int, stage: Any, harvested: bool, phase: Any) -> None:
    """The first week, to week four, steady, cure, and after the harvest."""
    assert phase_of(age_days, stage, harvested) == phase


@pytest.mark.parametrize(
    ("line_key", "key"),
    [
        ("nudge.turn", "turn"),
        ("nudge.turn.plain", "turn"),
        ("read", ""),
        ("nudge.first_reading.feel", "first_reading"),
    ],
)
def test_the_key_of_a_nudge_leaves_out_its_variant(line_key: str, key: str) -> None:
    """However it is worded, it is the same nudge."""
    assert key_of(nudge(1, line_key)) == key
