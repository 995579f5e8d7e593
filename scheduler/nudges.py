"""A due thing as a message of the outbox: its wording's key, its question with quick answers, its reason."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from scheduler.case import Due
from scheduler.restraint import LONGEST, Held, Phase, held_back
from scheduler.times import at_their_hour, local, next_allowed
from scheduler.turns import Work as TurnWork
from storage.outbox import Line
from storage.people import Person
from storage.piles import PileRow
from storage.work import Work

STALE_AFTER = timedelta(hours=12)
"""A nudge that could not go out by then is planned anew: much may have happened."""

HEARD = 100
"""So many of a person's last messages tell their habits: a dozen days of even a long talk."""

FEEL = ("heat.cold", "heat.warm", "heat.hot")
SQUEEZE = ("feel.dry", "feel.right", "feel.soggy")
QUESTIONS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "enrolled": ("has_pile", ("have_pile", "no_pile")),
    "start": ("built_yet", ("have_pile", "how_build")),
    "start_again": ("built_yet", ("have_pile", "how_build")),
    "first_reading": ("reading", ()),
    "reading": ("reading", ()),
    "recheck": ("reading", ()),
    "back": ("squeeze", SQUEEZE),
    "turn": ("turn", ("turned", "not_turned", "later")),
    "turn_water": ("turn", ("turned", "not_turned", "later")),
    "water": ("water", ("watered", "not_watered", "later")),
    "browns": ("browns", ("added_browns", "not_added")),
    "greens": ("greens", ("added_greens", "not_added")),
    "cover": ("cover", ("covered", "not_covered")),
    "reheat": ("reheat", ("heat.warm", "heat.cold")),
    "ready": ("ready", ("texture.crumbly", "texture.recognisable", "harvested")),
    "tool": ("tool", ("have_it", "not_here")),
    "next_pile": ("next_pile", ("new_pile", "pause")),
    "restart": ("restart", ("going_on", "pause", "help")),
    "wake": ("squeeze", SQUEEZE),
}
"""What each nudge asks, and its quick answers in the order of their digits; one not listed asks nothing."""


WORK_OF: Mapping[str, TurnWork] = {"turn": "turned", "turn_water": "turned", "water": "watered"}
"""Nudges that ask one keeper of several for some work, and the record that ends it."""
ASKED_FOR = ("tool_here", "tool_gone")
"""What answers a question of the person who is told: it does not wait like a message of ours."""
AMONG_KEEPERS = Phase("among keepers", 3, 7, 1)
"""What one keeper has set going for another."""


def put(
    work: Work,
    person: Person,
    due: Due,
    phase: Phase,
    at: datetime,
    row: PileRow | None,
    whose: Person | None = None,
) -> bool:
    """Put a nudge into the outbox, counted in the budget of a phase; False where it is there already.

    It falls due at the hour at which the person tends to answer, a matter of safety at once.

    whose   of a shared pile, the keeper whose turn it is: `person`, or one who speaks through their phone
    """
    ask, options = QUESTIONS.get(due.key, (None, ()))
    if ask == "reading" and person.thermometer is False:
        options = FEEL
    pile_id = row.id if row is not None else None
    opens = {"ask": ask, "options": list(options), "pile": pile_id} if ask else None
    day = local(at, row.zone if row is not None else person.zone).date()
    heard = work.inbox.heard(person.channel, person.address, HEARD)
    due_at = at if due.urgent else at_their_hour(at, person, heard)
    added = work.outbox.add(
        person.id,
        "warning" if due.urgent else "nudge",
        [_line(work, person, due, row), *_to_whom(person, whose)],
        due_at=due_at,
        unique_key=f"nudge.{due.key}:{f'pile {pile_id}' if row else f'person {person.id}'}:{day}",
        reason=due.reason | {"phase": phase.name} | ({"whose": whose.id} if whose is not None else {}),
        pile_id=pile_id,
        options=options,
        opens=opens,
        expires_at=due_at + STALE_AFTER,
    )
    return added is not None


def pass_on(work: Work, row: PileRow, to: Person, line: Line, at: datetime) -> bool:
    """Tell a keeper what another has set going, at their next hour; False where they may not be told.

    line   "nudge.turn.handed" or "nudge.water.handed" asks for the work, "nudge.tool" for a tool; anything
           else only informs
    """
    key = line.key.split(".")[1]
    recent = work.outbox.unprompted_since(to.id, at - LONGEST)
    held = held_back(to, key, AMONG_KEEPERS, recent, at)
    if held is not None and held.until is None:
        return False
    later = held.until if held is not None and held.until is not None and key not in ASKED_FOR else at
    due_at = next_allowed(max(at, later), to)
    ask, options = QUESTIONS.get(key, (None, ()))
    added = work.outbox.add(
        to.id,
        "nudge",
        [line],
        due_at=due_at,
        unique_key=f"{line.key}:pile {row.id}:person {to.id}:{local(at, row.zone).date()}",
        reason={"why": "handed" if key in WORK_OF else key, "phase": AMONG_KEEPERS.name, "whose": to.id},
        pile_id=row.id,
        options=options,
        opens={"ask": ask, "options": list(options), "pile": row.id, "of": line.values} if ask else None,
        expires_at=due_at + STALE_AFTER,
    )
    return added is not None


def _to_whom(person: Person, whose: Person | None) -> list[Line]:
    """On a shared pile, that this turn is theirs; on a shared phone, whose it is."""
    if whose is None:
        return []
    return [Line("turn_of.you", {}) if whose.id == person.id else Line("turn_of", {"name": whose.name})]


def _line(work: Work, person: Person, due: Due, row: PileRow | None) -> Line:
    """The nudge in key and values; the pile's name only where the person keeps several."""
    values: dict[str, Any] = due.values | {"thermometer": person.thermometer is not False}
    piles = work.piles.of(person.id) if row is not None else []
    if len(piles) > 1:
        mine = next(pile for pile in piles if row is not None and pile.id == row.id)
        values["pile"] = mine.name or str(mine.number)
    return Line(f"nudge.{due.key}{_variant(due, person)}", values)


def _variant(due: Due, person: Person) -> str:
    """The wording for a hand instead of a thermometer, or without a number that is not known."""
    if due.key in ("first_reading", "reading") and person.thermometer is False:
        return ".feel"
    needs = {"turn": "gain_days", "water": "water_l"}.get(due.key)
    return ".plain" if needs is not None and needs not in due.values else ""


def hold(work: Work, row: PileRow | None, due: Due, person: Person, held: Held, at: datetime) -> None:
    """Write down, once a week for each reason, what was not said and why."""
    year, week, _ = local(at, person.zone).isocalendar()
    about = f"pile {row.id}" if row is not None else f"person {person.id}"
    work.outbox.hold(
        person.id,
        "nudge",
        [_line(work, person, due, row)],
        due_at=at,
        unique_key=f"held.{due.key}:{about}:{held.why}:{year}-{week}",
        reason=due.reason,
        why_not=held.why,
        pile_id=row.id if row is not None else None,
    )
