"""People who come by paper or by a list: nothing is sent to them before a yes of theirs is in the ledger."""

from collections.abc import Sequence
from datetime import datetime
from typing import Literal

from bot.conversation.carry_out import CONSENT_VERSION
from bot.language.meaning import Language
from bot.language.wording import Voice
from bot.phone_numbers import e164
from bot.profile import Profile
from bot.staff.roster_file import Entry
from scheduler.case import Due
from scheduler.nudges import put
from scheduler.restraint import BEFORE
from scheduler.times import next_allowed
from shared.errors import BadInput
from storage.classes import ClassRow
from storage.outbox import Line
from storage.people import Person
from storage.rosters import Roster
from storage.work import Work

SMS = "sms"
PAPER = "paper"


def enrol(
    work: Work,
    profile: Profile,
    taught: ClassRow,
    name: str | None,
    number: str,
    language: Language,
    at: datetime,
) -> Person:
    """Somebody new by their phone number, in a class; nothing is sent to them yet.

    Raises BadInput where the number is none, is known, or asked to be forgotten.
    """
    try:
        address = e164(number)
    except BadInput:
        raise BadInput("no such phone number: write it with its area code, as +15055550100") from None
    known = work.people.by_address(SMS, address)
    if known is not None:
        raise BadInput("this number is here already: no second time")
    if work.people.on_stop_list(SMS, address):
        raise BadInput("this number asked to be forgotten: only they can come back, by a text")
    return _waited_for(work, profile, taught, name, address, language, at)


def paper_consent(work: Work, profile: Profile, person_id: int, reference: str, at: datetime) -> Person:
    """The signed yes into the ledger, with the paper's reference; a first text says who we are.

    Raises BadInput for somebody who has answered for themselves: their own word stands.
    """
    person = work.people.get(person_id)
    if person.standing != "asked":
        raise BadInput("this person has said yes or no by text: their own word stands")
    shown = Voice(person.language, person.units, at.date()).line(
        Line("consent", {"programme": profile.programme})
    )
    wording = f"{shown} [signed on paper, reference {reference}]"
    person = work.people.consent(
        person.id, True, wording, person.language, PAPER, person.class_code, CONSENT_VERSION, at
    )
    due = Due("enrolled", at, {"programme": profile.programme}, {"why": "enrolled"})
    put(work, person, due, BEFORE, next_allowed(at, person), None)
    return person


Verdict = Literal["new", "here", "stopped", "forgotten", "unusable"]
"""What becomes of a row of a list: only "new" brings somebody in."""


def verdicts(work: Work, entries: Sequence[Entry]) -> list[tuple[Entry, Verdict]]:
    """Each row with what becomes of it, from who is here and who asked to be left alone."""
    numbers = {entry.number for entry in entries if entry.number is not None}
    known = work.rosters.known(SMS, numbers)
    forgotten = work.people.on_stop_list_of(SMS, numbers)

    def verdict(entry: Entry) -> Verdict:
        if not entry.usable or entry.number is None:
            return "unusable"
        if entry.number in forgotten:
            return "forgotten"
        standing = known.get(entry.number)
        return "new" if standing is None else "stopped" if standing == "stopped" else "here"

    return [(entry, verdict(entry)) for entry in entries]


def take_in(work: Work, profile: Profile, roster: Roster, entries: Sequence[Entry], at: datetime) -> bool:
    """Bring in the new people of a list, once; nobody has said yes by it. False where it was taken before."""
    taught = work.classes.get(roster.class_code or "")
    if taught is None:
        raise BadInput("the class of this list is not there any more: bring in the file again")
    brought: dict[int, str | None] = {}
    for entry, verdict in verdicts(work, entries):
        if verdict == "new" and entry.number is not None:
            language = entry.language or taught.language
            person = _waited_for(work, profile, taught, entry.name, entry.number, language, at)
            brought[person.id] = entry.reference
    return work.rosters.take(roster.id, brought, at)


def _waited_for(
    work: Work,
    profile: Profile,
    taught: ClassRow,
    name: str | None,
    address: str,
    language: Language,
    at: datetime,
) -> Person:
    person = work.people.add(SMS, address, name, language, profile.units, taught.zone, at)
    work.people.change(
        person.id, quiet_from=profile.quiet_from, quiet_to=profile.quiet_to, class_code=taught.code
    )
    return work.people.get(person.id)
