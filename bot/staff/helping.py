"""What staff do for one person: answer in their thread, write down a call, see where a pile stands."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from bot.conversation.steps import worded
from bot.conversation.talk import Known, KnownPile, Look
from bot.language.meaning import Language, Units
from bot.language.understand import understand
from bot.language.wording import Voice
from bot.profile import Profile
from scheduler.planner import answered
from shared.errors import BadInput
from shared.hygiene import Credit, SeedTrial, heard, trials_matched
from shared.pile import Record, Stage
from storage.approved import Approved
from storage.helpdesk import BY_STAFF, THROUGH_STAFF, Cause, How
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.piles import PileRow
from storage.staff import Member
from storage.work import Work

LONGEST_WORDS = 900
"""Six parts of a text; more is better said on the phone. [letters]"""
STEPS: Mapping[Cause, str] = {
    "danger": "Call now. Ask whether the fire service was there, and tell nobody to dig.",
    "crisis": "Call now, or have somebody call who is trained for it.",
    "wrong_person": "Look for the right number on the list of the class. Do not write to this one.",
    "person": "Answer here, or call.",
    "asked_again": "They wrote again on what you have in hand: answer.",
    "complaint": "Call today, before the neighbor calls elsewhere.",
    "request": "Do what they ask, then tell them.",
    "trouble": "The usual advice has not helped. Ask what the pile looks like inside.",
    "not_followed": "Read the last words: the program could not.",
    "unreachable": "Our texts do not arrive. Look for another number.",
    "silence": "One friendly call may bring this pile back.",
}
"""What to do for somebody on the list, in the words of the pages."""


@dataclass(frozen=True, slots=True)
class State:
    """Where a pile stands, as the list and the thread show it.

    called            its name, or its number for its keeper; "" where they keep it no longer
    core_c, read_on   the last reading
    ready             first day, today at the soonest, and last of the range; None once it is ready
    step              the next thing to do
    heat, trials      time in the heat that its readings prove, and the seed trials that it matches
    """

    pile_id: int
    called: str
    stage: Stage
    core_c: float | None
    read_on: date | None
    ready: tuple[date, date] | None
    step: str
    heat: Credit
    trials: tuple[SeedTrial, ...]


def state(
    work: Work, profile: Profile, look: Look, row: PileRow, person: Person, language: Language, at: datetime
) -> State | None:
    """Where a pile stands, in the language of the staff; None before it is set up."""
    local = at.astimezone(ZoneInfo(row.zone)).replace(tzinfo=None)
    pile = KnownPile(row, tuple(work.piles.records(row.id)))
    known = Known(person, profile, local, (pile,), look)
    try:
        outlook, actions = look(row, pile.records, known.today)
    except BadInput:
        return None
    read = [record for record in pile.records if record.core_c is not None]
    step = worded(known, actions[0])
    if actions[0].do == "keep_away":
        step = Line("danger.stay_back", {"emergency": profile.emergency_number})
    return State(
        pile_id=row.id,
        called=row.name or str(row.number or ""),
        stage=outlook.stage,
        core_c=read[-1].core_c if read else None,
        read_on=read[-1].on if read else None,
        ready=None if outlook.stage == "ready" else (max(outlook.ready.p10, known.today), outlook.ready.p90),
        step=Voice(language, profile.units, known.today).say([step]),
        heat=outlook.credit,
        trials=trials_matched(heard(pile.records, pile.built)[0]),
    )


def write(
    work: Work,
    member: Member,
    person: Person,
    words: str,
    at: datetime,
    pile_id: int | None = None,
    approved: Approved | None = None,
) -> None:
    """An answer by a human into the person's own thread; their rows on the list are seen to.

    Raises BadInput where the person may not be written to.
    """
    if person.standing not in ("joined", "asked"):
        raise BadInput("They have ended our texts. Call instead.")
    reason: dict[str, Any] = {"why": "staff", "by": member.name, "role": member.role}
    if approved is not None:
        reason |= {"topic": approved.topic, "version": approved.version, "approved_by": approved.approver}
    work.outbox.add(
        person.id,
        "reply",
        [Line(f"staff.said.{member.role}", {"words": words, "by": member.name})],
        due_at=at,
        unique_key=f"{BY_STAFF}{uuid4().hex}",
        reason=reason,
        pile_id=pile_id,
    )
    see_to(work, member, person.id, "replied", at)


def write_down(
    work: Work, member: Member, person: Person, told: str, how: How, pile_id: int | None, at: datetime
) -> tuple[Record, ...]:
    """What somebody told on the phone or on a visit, kept as if texted; gives what was read in it.

    Raises BadInput where there is something to keep and no pile to keep it of.
    """
    local = at.astimezone(ZoneInfo(person.zone)).replace(tzinfo=None)
    incoming = Incoming(
        THROUGH_STAFF, str(person.id), uuid4().hex, told, at, name=f"{member.name}, {how}", form="text"
    )
    incoming_id = work.inbox.take(incoming)
    assert incoming_id is not None
    work.inbox.handled(incoming_id, at)
    records = tuple(fact.record for fact in understand(told, local, person.units).facts)
    if records and pile_id is None:
        raise BadInput("Choose the pile that this is about.")
    for record in records:
        assert pile_id is not None
        work.piles.record(pile_id, person.id, record, at, incoming_id)
        answered(work, pile_id, record.kind)
    if pile_id is not None:
        work.piles.look_again(pile_id, at)
    work.people.change(person.id, last_heard_at=at, unanswered=0)
    see_to(work, member, person.id, how, at)
    return records


def see_to(work: Work, member: Member, person_id: int, how: How, at: datetime) -> None:
    """Take everything of a person that this member may see from the list."""
    rows = work.helpdesk.of(person_id, seen_piles(work, member))
    work.helpdesk.handle([row.id for row in rows], member.id, how, at)


def may_see(work: Work, member: Member, person_id: int) -> bool:
    """Whether this member may look at a person's thread; a volunteer needs a pile of theirs."""
    if member.role != "volunteer":
        return True
    kept = {row.id for row in work.piles.of(person_id)}
    return bool(kept & work.staff.piles_of(member.id))


def seen_piles(work: Work, member: Member) -> frozenset[int] | None:
    """The piles that this member may see; None: all."""
    return work.staff.piles_of(member.id) if member.role == "volunteer" else None


def temperature(language: Language, units: Units, core_c: float) -> str:
    """A temperature for a page."""
    return Voice(language, units, date.min).temperature("", core_c)
