"""Whose turn it is on a shared pile, as a fair household would reckon it. Pure.

Each job is owed by all who were there and able when it was done, in proportion to their agreed shares; who
has done least of what they owe is next, and among equals the one asked least lately. A turn that was given
to somebody (asked, claimed, handed over) stays theirs until it is done, they pass it on, are gone, or have
left two messages unanswered.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal

from scheduler.restraint import DOUBLE_AFTER
from scheduler.times import local, on_wall
from shared.pile import Kind, Record
from storage.people import Person
from storage.piles import Note, Told

Work = Literal["turned", "watered"]
"""Work that is asked of one keeper at a time, by the record that ends it."""
EFFORT_MIN: Mapping[Kind, float] = {
    "turned": 30.0,
    "harvested": 60.0,
    "watered": 10.0,
    "added": 5.0,
    "covered": 5.0,
}
"""Minutes that a job takes on a backyard pile (common practice, rounded). [min]"""
SAME_TURNING = timedelta(hours=3)
"""Two reports so close together are about one turning."""
LIMIT_DAYS = 28
NEVER = datetime(2000, 1, 1, tzinfo=UTC)
LAPSE_DAYS = 21
"""A turn that nobody has done for so long is a new one."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A keeper was asked for some work."""

    person_id: int
    work: Work
    at: datetime


@dataclass(frozen=True, slots=True)
class Group:
    """The keepers of one pile and what has passed among them.

    members   in the order in which they joined
    since     person id to the moment at which that was
    """

    members: tuple[Person, ...]
    since: Mapping[int, datetime]
    told: tuple[Told, ...] = ()
    notes: tuple[Note, ...] = ()
    asked: tuple[Asked, ...] = ()

    @property
    def shared(self) -> bool:
        """Whether more than one keeper tends the pile."""
        return len(self.members) > 1


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that was done or seen, with everybody who had a hand in it."""

    record: Record
    by: tuple[int, ...]
    said_at: datetime


def deeds(told: Sequence[Told]) -> list[Deed]:
    """What was told, two reports of the same turning made one and credited to both."""
    found: list[Deed] = []
    turnings: list[int] = []
    for each in told:
        by = each.by or (each.said_by,)
        turned = each.record.kind == "turned"
        same = next((place for place in turnings if turned and _same(found[place], each)), None)
        if same is None:
            turnings += [len(found)] * turned
            found.append(Deed(each.record, by, each.said_at))
        else:
            first = found[same]
            found[same] = Deed(first.record, tuple(dict.fromkeys((*first.by, *by))), first.said_at)
    return found


def once(told: Sequence[Told]) -> tuple[Record, ...]:
    """The records as things happened: a turning that two have reported is there once."""
    return tuple(deed.record for deed in deeds(told))


def up_next(group: Group, work: Work, at: datetime) -> tuple[Person, ...]:
    """Who may be asked for the next job of this kind, first to ask first; one alone where it is theirs.

    Whoever has left two messages unanswered comes last.
    """
    passed = _passed(group, work)
    able = [
        person
        for person in group.members
        if person.id not in passed and _may_be_asked(group, person, work, at)
    ]
    silent = {person.id: phone_of(group, person).unanswered >= DOUBLE_AFTER for person in able}
    owner = owner_of(group, work, at)
    for person in able:
        if person.id == owner and not silent[person.id]:
            return (person,)
    behind = balance(group)
    lately = {asked.person_id: asked.at for asked in sorted(group.asked, key=lambda asked: asked.at)}
    return tuple(
        sorted(able, key=lambda one: (silent[one.id], round(behind[one.id], 6), lately.get(one.id, NEVER)))
    )


def owner_of(group: Group, work: Work, at: datetime) -> int | None:
    """The keeper to whom the next job of this kind was given, by each other or by us; None where nobody."""
    since = max(_last_done(group, work), at - timedelta(LAPSE_DAYS))
    given = [
        (note.said_at, note.who)
        for note in group.notes
        if note.about == "turn" and note.values.get("work") == work and note.said_at > since
    ]
    asked = [(one.at, one.person_id) for one in group.asked if one.work == work and one.at > since]
    who = max([*given, *asked], key=lambda moment: moment[0], default=(since, _owes(group, work)))[1]
    return None if who in _passed(group, work) else who


def balance(group: Group) -> dict[int, float]:
    """Minutes of work that each keeper has done beyond what they owed; below zero they are behind. [min]"""
    shares = agreed(group)
    spans = {person.id: _away(group, person) for person in group.members}
    over = dict.fromkeys(shares, 0.0)
    done = deeds(group.told)
    for deed in done:
        minutes = EFFORT_MIN.get(deed.record.kind, 0.0)
        there = [
            person.id
            for person in group.members
            if shares[person.id] > 0
            and group.since[person.id] <= deed.said_at
            and (deed.record.kind != "turned" or _can_turn(group, person, done, deed.said_at))
            and not any(start <= deed.said_at < end for start, end in spans[person.id])
        ]
        owing = sum(shares[who] for who in there)
        for who in there:
            over[who] -= minutes * shares[who] / owing
        for who in deed.by:
            if who in over:
                over[who] += minutes / len(deed.by)
    return over


def agreed(group: Group) -> dict[int, float]:
    """The share of the work that each keeper has taken on, adding up to 1; equal where nothing was said."""
    last = {note.who: note.values for note in group.notes if note.about == "share"}
    fractions = {
        person.id: float(last[person.id]["fraction"])
        for person in group.members
        if "fraction" in last.get(person.id, {})
    }
    weights = {
        person.id: float(last.get(person.id, {}).get("weight", 1.0))
        for person in group.members
        if person.id not in fractions
    }
    left = max(0.0, 1.0 - sum(fractions.values()))
    total = sum(weights.values())
    shares = fractions | {who: left * weight / total if total else 0.0 for who, weight in weights.items()}
    whole = sum(shares.values()) or 1.0
    return {person.id: shares[person.id] / whole for person in group.members}


def turnings(group: Group) -> dict[int, int]:
    """How often each keeper has had a hand in a turning."""
    turned = [deed for deed in deeds(group.told) if deed.record.kind == "turned"]
    return {person.id: sum(person.id in deed.by for deed in turned) for person in group.members}


def phone_of(group: Group, person: Person) -> Person:
    """The keeper whose phone a message for this one goes to."""
    return next((member for member in group.members if member.id == person.through_id), person)


def wants_to_hear(group: Group, who: int) -> bool:
    """Whether a keeper has asked to be told when another has turned the pile."""
    said = [note.values["turns"] for note in group.notes if note.about == "hear" and note.who == who]
    return bool(said and said[-1])


def tool_notes(group: Group) -> dict[str, Note]:
    """Of each tool, the last word on where it is."""
    return {str(note.values["tool"]): note for note in group.notes if note.about == "tool"}


def _same(deed: Deed, told: Told) -> bool:
    """Whether two reports of a turning are about the same one."""
    return deed.record.on == told.record.on and told.said_at - deed.said_at <= SAME_TURNING


def _last_done(group: Group, work: Work) -> datetime:
    done = [deed.said_at for deed in deeds(group.told) if deed.record.kind == work]
    return max(done, default=min(group.since.values(), default=NEVER) - timedelta(1))


def _owes(group: Group, work: Work) -> int | None:
    """Who swapped the job that was done last for the one that comes now."""
    done = [NEVER, *(deed.said_at for deed in deeds(group.told) if deed.record.kind == work)]
    before, last = done[-2:] if len(done) > 1 else (NEVER, NEVER)
    owing = [note for note in group.notes if note.about == "owes" and note.values.get("work") == work]
    swapped = [note.who for note in owing if before < note.said_at <= last]
    return swapped[-1] if swapped else None


def _passed(group: Group, work: Work) -> set[int]:
    """Who has said that they do not do the next job of this kind."""
    since = _last_done(group, work)
    passed: set[int] = set()
    handed: set[int] = set()
    for note in group.notes:
        if note.said_at <= since or note.values.get("work") != work or note.who is None:
            continue
        if note.about == "pass":
            passed.add(note.who)
        elif note.about == "turn":
            passed.discard(note.who)
            if note.said_by != note.who:
                handed.add(note.who)
    refused = [t.said_by for t in group.told if t.record.kind == "not_turned" and t.said_at > since]
    return passed | (handed.intersection(refused) if work == "turned" else set())


def _may_be_asked(group: Group, person: Person, work: Work, at: datetime) -> bool:
    """Whether somebody is here, able, and within what they have agreed to."""
    phone = phone_of(group, person)
    if phone.standing != "joined" or agreed(group)[person.id] == 0:
        return False
    if phone.paused_until is not None and local(at, phone.zone).date() < phone.paused_until:
        return False
    if work == "turned" and not _can_turn(group, person, deeds(group.told), at):
        return False
    return not any(start <= at < end for start, end in _away(group, person))


def _can_turn(group: Group, person: Person, done: Sequence[Deed], at: datetime) -> bool:
    """Whether somebody can turn a pile at all, and has not turned it as often as they agreed to of late."""
    notes = [note for note in group.notes if note.about == "limit" and note.who == person.id]
    if person.cannot_turn or not notes:
        return not person.cannot_turn
    lately = [
        deed
        for deed in done
        if deed.record.kind == "turned" and timedelta() < at - deed.said_at < timedelta(LIMIT_DAYS)
    ]
    return sum(person.id in deed.by for deed in lately) < int(notes[-1].values["turnings"])


def _away(group: Group, person: Person) -> list[tuple[datetime, datetime]]:
    """When a keeper was away: from a word of theirs until the day that they named or came back."""
    spans: list[tuple[datetime, datetime]] = []
    for note in group.notes:
        if note.who != person.id or note.about not in ("away", "back"):
            continue
        if spans and note.said_at < spans[-1][1]:
            spans[-1] = (spans[-1][0], note.said_at)
        if note.about == "away":
            until = note.values.get("until")
            end = on_wall(date.fromisoformat(until), time.min, person.zone) if until else None
            spans.append((note.said_at, end or datetime.max.replace(tzinfo=note.said_at.tzinfo)))
    return spans
