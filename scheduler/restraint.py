"""Whether a person may be nudged now, and if not, why and until when. Pure.

The budget follows the evidence on text reminders: denser at first, thinning out, one a day at most, none
within a day of the person's own message; the gap doubles after two unanswered, after four there is
silence but for one friendly restart around week three.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from scheduler.times import local, next_allowed, on_wall
from shared.pile import Stage
from storage.outbox import OutRow
from storage.people import Person

OWN_WORDS = timedelta(hours=24)
"""Nothing unprompted so soon after the person wrote: the reply has said it."""
DOUBLE_AFTER, SILENT_AFTER = 2, 4
PUT_OFF = timedelta(days=7)
"""Who wants nothing for so long is not away: they are asked again for the work, not welcomed back."""
RESTART_DAYS = (20, 35)
"""Around week three of silence; later, nothing would be friendly any more."""
ABOUT = {"water": ("water",), "turn": ("turn", "turn_water")}
"""The nudges that are left for someone who wants to hear about one matter only."""
TURNS = ("turn", "turn_water")


@dataclass(frozen=True, slots=True)
class Phase:
    """A budget: at most `limit` messages of this phase in `window_days`, `gap_days` after any other."""

    name: str
    limit: int
    window_days: int
    gap_days: int


BEFORE = Phase("before the pile", 2, 7, 1)
FIRST_WEEK = Phase("first week", 3, 7, 1)
LEARNING = Phase("weeks 1 to 3", 2, 7, 3)
STEADY = Phase("weeks 4 on", 1, 7, 7)
CURING = Phase("curing", 2, 30, 10)
AFTER_HARVEST = Phase("after the harvest", 2, 30, 5)
LONGEST = timedelta(days=62)
"""So far back a budget looks, doubled gaps included."""


@dataclass(frozen=True, slots=True)
class Held:
    """Why nothing is said now, and when it might be; None where only the person can change it."""

    why: str
    until: datetime | None = None


def phase_of(age_days: int, stage: Stage, harvested: bool) -> Phase:
    """The budget of a pile's phase."""
    if harvested:
        return AFTER_HARVEST
    if stage in ("curing", "ready"):
        return CURING
    if age_days < 7:
        return FIRST_WEEK
    return LEARNING if age_days < 28 else STEADY


def wants_restart(person: Person, recent: Sequence[OutRow], at: datetime) -> bool:
    """Whether the one friendly restart is due: weeks of silence after a nudge, and none sent since."""
    heard = person.last_heard_at or person.joined_at
    if heard is None or person.unanswered == 0:
        return False
    first, last = RESTART_DAYS
    sent = any(key_of(row) == "restart" and row.due_at > heard for row in recent)
    return not sent and timedelta(first) <= at - heard <= timedelta(last)


def pause_over(person: Person, at: datetime) -> bool:
    """Whether the day has come until which the person wanted nothing."""
    return person.paused_until is not None and person.paused_until <= local(at, person.zone).date()


def put_off(person: Person, at: datetime) -> bool:
    """Whether a reminder is due that the person put off for some days: that was no holiday."""
    if person.paused_until is None or person.last_heard_at is None or not pause_over(person, at):
        return False
    return person.paused_until - local(person.last_heard_at, person.zone).date() <= PUT_OFF


def held_back(person: Person, key: str, phase: Phase, recent: Sequence[OutRow], at: datetime) -> Held | None:
    """Why this person must not get the nudge `key` now, None where they may.

    recent   what went to them unprompted over `LONGEST`, oldest first, whatever pile it was about
    """
    return _never(person, key) or _not_yet(person, key, phase, recent, at)


def key_of(row: OutRow) -> str:
    """What a nudge is about: "turn" for `nudge.turn` and `nudge.turn.plain`; "" for anything else."""
    kind, _, key = (row.lines[0].key if row.lines else "").partition(".")
    return key.partition(".")[0] if kind == "nudge" else ""


def _never(person: Person, key: str) -> Held | None:
    if person.standing != "joined":
        return Held("no consent" if person.standing == "asked" else "opted out")
    if person.only_about is not None and key not in ABOUT.get(person.only_about, ()):
        return Held(f"only about {person.only_about}")
    if person.cannot_turn and key in TURNS:
        return Held("cannot turn")
    if person.unanswered >= SILENT_AFTER and key != "restart":
        return Held("four unanswered")
    return None


def _not_yet(person: Person, key: str, phase: Phase, recent: Sequence[OutRow], at: datetime) -> Held | None:
    today = local(at, person.zone).date()
    if person.paused_until is not None and today < person.paused_until:
        return Held("paused", None if person.paused_until == date.max else _on(person, person.paused_until))
    if person.last_heard_at is not None and at - person.last_heard_at < OWN_WORDS:
        return Held("wrote within a day", person.last_heard_at + OWN_WORDS)
    if put_off(person, at):  # they have named the day themselves
        return None
    days = [local(row.sent_at or row.due_at, person.zone).date() for row in recent]
    gap_days = phase.gap_days * (2 if person.unanswered >= DOUBLE_AFTER else 1)
    if key == "restart":
        gap_days = 1
    if days and (today - days[-1]).days < gap_days:
        return Held(_gap_reason(gap_days, person), _on(person, days[-1] + timedelta(gap_days)))
    in_phase = [
        day
        for row, day in zip(recent, days, strict=True)
        if row.reason.get("phase", phase.name) == phase.name
    ]
    in_window = [day for day in in_phase if (today - day).days < phase.window_days]
    if len(in_window) >= phase.limit:
        return Held("budget", _on(person, in_window[-phase.limit] + timedelta(phase.window_days)))
    return None


def _gap_reason(gap_days: int, person: Person) -> str:
    if gap_days == 1:
        return "one a day"
    return "gap doubled" if person.unanswered >= DOUBLE_AFTER else "gap"


def _on(person: Person, day: date) -> datetime:
    """The first moment of that day at which the person may be nudged."""
    return next_allowed(on_wall(day, datetime.min.time(), person.zone), person)
