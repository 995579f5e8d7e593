"""One message, from the inbox to the reply in the outbox.

Reading and forecasting stand outside any write transaction; what comes of the message, its reply included,
is stored in one. The same inbox row handled twice changes nothing the second time.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from bot.conversation import moving, staff
from bot.conversation.carry_out import carry_out
from bot.conversation.context import held, in_context, in_named_bin, other_question
from bot.conversation.decide import decide
from bot.conversation.group import asked_by, before_others, tapped
from bot.conversation.standing import Codes
from bot.conversation.talk import Known, KnownPile, Look
from bot.language.meaning import TOPICS, Ask, Language, Meaning, Units
from bot.language.understand import agrees, tells_language, understand
from bot.profile import Profile
from scheduler.keeping import groups_of
from storage.inbox import Incoming
from storage.people import Person
from storage.work import Store, Work


@dataclass(frozen=True, slots=True)
class Desk:
    """What the conversation needs from outside: the programme's profile and the forecaster.

    public_url   where the staff's pages are, None where they are off
    """

    profile: Profile
    look: Look
    public_url: str | None = None


def respond(store: Store, desk: Desk, incoming_id: int, incoming: Incoming, at: datetime) -> None:
    """Handle one stored message: record what it says, and put the reply in the outbox.

    at   the moment, UTC; "today" and "yesterday" are the person's, by their zone
    """
    if staff.heard(store, desk, incoming_id, incoming, at):
        return
    if moving.heard(store, desk.profile, incoming_id, incoming, at):
        return
    # a button says the id of its message and a digit: the digit is what the person means
    said = incoming.text.rpartition(":")[2] if incoming.form == "button" else incoming.text
    with store.work(reading=True) as work:
        person = work.people.by_address(incoming.channel, incoming.address)
        known = gather(work, desk, person, at) if person else None
        question = question_of(work, known, incoming) if known else {}
    if question is None or (known is None and incoming.form == "blocked"):
        pass_over(store, incoming_id, at)
        return
    if person is None or known is None:
        local = at.astimezone(ZoneInfo(desk.profile.zone)).replace(tzinfo=None)
        meaning = understand(said, local, desk.profile.units)
        with store.work() as work:
            language = meaning.language if tells_language(said) else desk.profile.languages[0]
            person = meet(work, desk.profile, incoming, at, tongue(desk.profile, language))
            work.commit()
        known = Known(person, desk.profile, local, (), desk.look)
    else:
        meaning = understand(said, known.local, person.units)
    if not tells_language(said):
        meaning = replace(meaning, language=person.language)
    asked_since = not known.waiting.items() <= question.items()
    if incoming.form == "button":
        known = asked_by(known, question)
    known, meaning, option = in_context(known, question, said, meaning)
    if meaning.bare == "other_one" and len(known.piles) == 1:
        with store.work(reading=True) as work:
            thread = work.outbox.thread(person.id, LATE)
        meaning = other_question(known, meaning, [row.opens for row in thread if row.opens])
    meaning = in_named_bin(meaning, desk.profile.bin_in(said))
    if incoming.form == "edited":  # whoever mends a sent message corrects what it told
        meaning = replace(meaning, asks=(*meaning.asks, Ask("correction")))
    if any(ask.kind == "why" for ask in meaning.asks):
        with store.work(reading=True) as work:
            held_back = work.outbox.last_held(person.id, at - timedelta(days=7))
            known = replace(known, last=work.outbox.last_nudge(person.id), held=held_back)
    codes = Codes()
    if named := codes_in(said, meaning):
        with store.work(reading=True) as work:
            codes = look_up(work, named, at)
    if codes != Codes() and person.standing != "joined" and agrees(CODE.sub(" ", said)):
        meaning = replace(meaning, lead="yes")
    outcome = decide(known, meaning, codes, incoming.form)
    outcome = before_others(known, outcome, meaning.danger, incoming)
    if outcome.advised and not outcome.opens and not asked_since:
        outcome.opens = outcome.advised
    if asked_since and outcome.opens == {}:
        outcome.opens = None
    if outcome.opens is None and "picked" in known.waiting:
        outcome.opens = {}
    if outcome.opens and outcome.holds:
        outcome.opens["said"] = held(question, None if option else said, known.local)
    with store.work(lasting=False) as work:
        if work.inbox.handled(incoming_id, at):
            carry_out(work, known, outcome, incoming_id, at)
            asked = [ask.kind for ask in meaning.asks if ask.kind in TOPICS]
            work.reports.ask(incoming_id, person.id, asked, by_staff=bool(outcome.alerts), at=at)
            work.commit()


LATE = 8
"""So many messages back "the other one" may point."""


def pass_over(store: Store, incoming_id: int, at: datetime) -> None:
    """A message that nothing comes of."""
    with store.work() as work:
        work.inbox.handled(incoming_id, at)
        work.commit()


def tongue(profile: Profile, language: Language) -> Language:
    """The language of a first message where the programme speaks it, else the programme's first."""
    return language if language in profile.languages else profile.languages[0]


def meet(
    work: Work,
    profile: Profile,
    incoming: Incoming,
    at: datetime,
    language: Language,
    units: Units | None = None,
    zone: str | None = None,
) -> Person:
    """Someone new: units, zone and quiet hours are the programme's until they choose their own."""
    person_id = work.people.add(
        incoming.channel,
        incoming.address,
        name=incoming.name,
        language=language,
        units=units or profile.units,
        zone=zone or profile.zone,
        at=at,
    ).id
    work.people.change(person_id, quiet_from=profile.quiet_from, quiet_to=profile.quiet_to)
    return work.people.get(person_id)


def gather(work: Work, desk: Desk, person: Person, at: datetime) -> Known:
    """Everything the answer may rest on, as values."""
    rows, histories = work.piles.known_to(person.id)
    groups = groups_of(work, [row.id for row in rows], histories=histories) if rows else {}
    piles = tuple(KnownPile(row, groups[row.id].told, groups[row.id]) for row in rows)
    local = at.astimezone(ZoneInfo(person.zone)).replace(tzinfo=None)
    in_hand = frozenset(
        row.id
        for row in rows
        if work.helpdesk.quiet_until(row.id, [keeper.id for keeper in groups[row.id].members], at)
    )
    return Known(person, desk.profile, local, piles, desk.look, None, in_hand, desk.public_url)


def question_of(work: Work, known: Known, incoming: Incoming) -> dict[str, Any] | None:
    """The question that a short answer belongs to: a button's own message, else the one that is open.

    None where the button is for somebody else.
    """
    if incoming.form == "button" and ":" in incoming.text:
        return tapped(work, known, incoming.text)
    return dict(known.waiting)


CODE = re.compile(r"\b[A-Za-z]{2,8}-?\d{2,4}\b")


def codes_in(text: str, meaning: Meaning) -> list[str]:
    """Class or pile codes that the message may hold, the surest first."""
    named = [ask.code for ask in meaning.asks if ask.kind == "join" and ask.code]
    found = [match.group().replace("-", "").upper() for match in CODE.finditer(text)]
    return list(dict.fromkeys([*named, *found]))


def look_up(work: Work, codes: Sequence[str], at: datetime) -> Codes:
    """What the codes in a message stand for."""
    for code in codes:
        taught = work.classes.get(code)
        if taught is not None:
            return Codes(taught=taught)
        pile_id = work.piles.invited(code, at)
        if pile_id is not None:
            return Codes(pile_id=pile_id)
    return Codes(unknown=codes[0] if codes else None)
