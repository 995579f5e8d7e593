"""A person moves to another phone or channel, by a code given in the old chat and texted from the new.

Everything comes along: name, piles, class, settings. The old phone is told so, once, and then belongs to
nobody; what came from it stays with the person and not with the number.
"""

import re
from datetime import datetime, timedelta

from bot.conversation.talk import Known, Outcome
from bot.language.meaning import Ask
from bot.language.wording import Voice
from bot.profile import Profile
from storage.codes import DIGITS, LETTERS, fresh_code
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.work import Store, Work

CODE = re.compile(rf"\b[{LETTERS}]{{4}}[{DIGITS}]{{4}}\b")
LASTS, HOUR = timedelta(minutes=30), timedelta(hours=1)
TRIES = 5
"""So many codes from one phone in an hour are looked up; nobody finds one by trying."""
VERSION = "move-1"


def ask(known: Known, _ask: Ask, outcome: Outcome) -> None:
    """From the old phone: a code for the new one. From a stranger's: how to get it."""
    if known.person.standing == "joined":
        outcome.moves = True
        return
    outcome.say("move.how")
    if known.profile.staff.contact:
        outcome.say("move.staff", contact=known.profile.staff.contact)


def give_code(work: Work, known: Known, outcome: Outcome, at: datetime) -> None:
    """A fresh code, said in the reply; an older one no longer works."""
    code = fresh_code(letters=4, digits=4)
    work.people.let_move(known.person.id, code, at + LASTS)
    outcome.say("move.code", code=code, until_minutes=int(LASTS.total_seconds() / 60))


def heard(store: Store, profile: Profile, incoming_id: int, incoming: Incoming, at: datetime) -> bool:
    """Take over from the old phone where the message holds a code that holds; False where it does not."""
    named = CODE.search(incoming.text.upper().replace("-", ""))
    if named is None:
        return False
    with store.work() as work:
        hour = [one for one in work.inbox.heard(incoming.channel, incoming.address, 50) if one > at - HOUR]
        mover = work.people.moving(named.group(), at) if len(hour) <= TRIES else None
        if mover is None:
            return False
        if work.inbox.handled(incoming_id, at):
            _arrive(work, profile, mover, incoming, incoming_id, at)
            work.commit()
    return True


def _arrive(
    work: Work, profile: Profile, mover: Person, incoming: Incoming, incoming_id: int, at: datetime
) -> None:
    here = work.people.by_address(incoming.channel, incoming.address)
    reason = {"why": "asked"}
    if here is not None and (here.id == mover.id or work.piles.of(here.id)):
        line = Line("move.same" if here.id == mover.id else "move.not_empty", {})
        work.outbox.add(here.id, "reply", [line], due_at=at, unique_key=f"reply:{incoming_id}", reason=reason)
        return
    left = [Line("move.left", {})]
    if profile.staff.contact:
        left.append(Line("move.not_you", {"contact": profile.staff.contact}))
    # a confirmation keeps the address that it was written for
    work.outbox.add(
        mover.id, "confirmation", left, due_at=at, unique_key=f"moved:{incoming_id}", reason=reason
    )
    work.people.move(mover.id, incoming.channel, incoming.address, at)
    voice = Voice(mover.language, mover.units, at.date())
    shown = voice.line(Line("move.consent", {"programme": profile.programme}))
    work.people.consent(
        mover.id, True, shown, mover.language, incoming.channel, mover.class_code, VERSION, at
    )
    lines = [Line("move.done", {}), Line("move.consent", {"programme": profile.programme})]
    work.outbox.add(mover.id, "reply", lines, due_at=at, unique_key=f"reply:{incoming_id}", reason=reason)
