"""What comes of a message, stored: its effects and its reply, in the one transaction that is open."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from bot.conversation import moving
from bot.conversation.crediting import CREDITED
from bot.conversation.hand_over import hand_over
from bot.conversation.talk import Known, Outcome
from bot.language.wording import Voice
from scheduler.nudges import pass_on
from scheduler.planner import answered, given
from storage.codes import fresh_code
from storage.outbox import Line
from storage.work import Work

CONSENT_VERSION = "2"
WHOLE_THREAD = 1000
"""More messages than anybody gets while texts are kept."""
PICTURE_LASTS = timedelta(days=7)
"""How long the address of a picture holds that is sent to a phone which shows none."""
INVITE_LASTS = timedelta(days=14)


def carry_out(work: Work, known: Known, outcome: Outcome, incoming_id: int, at: datetime) -> None:
    """Store what comes of a message: its effects and its reply, in the transaction that is open."""
    person_id = known.person.id
    if outcome.consent is not None:
        agree(work, known, outcome, at)
    if outcome.consent is False or outcome.confirmation:
        work.outbox.withdraw(person_id, ("nudge", "broadcast", "warning", "reply"), "opted out")
    waiting_for = outcome.opens
    changes = {**outcome.changes, "last_heard_at": at, "unanswered": 0}
    if waiting_for is not None:
        changes["waiting_for"] = waiting_for
    work.people.change(person_id, **changes)  # the person before the piles, as the planner locks them
    pile_ids = store_piles(work, known, outcome, incoming_id, at)
    if waiting_for is not None and waiting_for.get("pile") == 0 and 0 in pile_ids:
        waiting_for = {**waiting_for, "pile": pile_ids[0]}
        work.people.change(person_id, waiting_for=waiting_for)
    if outcome.survey is not None:
        work.surveys.answer(*outcome.survey, person_id, at)
    if outcome.invite_to is not None:
        invite(work, known, outcome, at)
    if outcome.moves:
        moving.give_code(work, known, outcome, at)
    if outcome.picture_of is not None:
        link_picture(work, known, outcome.picture_of, outcome)
    if outcome.calendar is not None and known.public_url is not None:
        link_calendar(work, known, outcome)
    reply(work, known, outcome, pile_ids, waiting_for, incoming_id, at)
    hand_over(work, known, outcome, incoming_id, at)
    if any(line.key == "alert.wrong_person" for line in outcome.alerts):
        work.people.unlink(person_id, at)
    if outcome.erase:
        work.people.erase(person_id, at)


def agree(work: Work, known: Known, outcome: Outcome, at: datetime) -> None:
    """A yes or a no for the ledger, with the wording that was shown."""
    person = known.person
    work.people.consent(
        person.id,
        bool(outcome.consent),
        wording_shown(work, known),
        person.language,
        person.channel,
        outcome.class_code or known.waiting.get("code"),
        CONSENT_VERSION,
        at,
    )


def wording_shown(work: Work, known: Known) -> str:
    """What this person was last asked to agree to; texts that are not kept any more stand in the ledger.

    Whoever says yes along with the code of a class has read what its poster says.
    """
    thread = work.outbox.thread(known.person.id, WHOLE_THREAD)
    asked = [row.text for row in thread if row.text and any(line.key == "consent" for line in row.lines)]
    agreed = [line.wording for line in work.people.consents(known.person.id) if line.given]
    voice = Voice(known.person.language, known.person.units, known.today)
    return (asked or agreed or [voice.line(Line("poster.small", {}))])[-1]


def store_piles(work: Work, known: Known, outcome: Outcome, incoming_id: int, at: datetime) -> dict[int, int]:
    """Store set-ups, records and what was taken back; gives the real id for each pile id of the outcome."""
    person_id = known.person.id
    pile_ids = {pile.row.id: pile.row.id for pile in known.piles}
    if outcome.new_pile:
        pile_ids[0] = work.piles.found(person_id, known.person.zone, at).id
    for pile_id, values in outcome.set_up.items():
        work.piles.set_up(pile_ids[pile_id], person_id, values, at, incoming_id)
    doers = credited(work, known, outcome, at)
    for pile_id, record, replaces_id in outcome.records:
        by = doers or did_before(known, replaces_id) if record.kind in CREDITED else ()
        work.piles.record(pile_ids[pile_id], person_id, record, at, incoming_id, replaces_id, by)
        answered(work, pile_ids[pile_id], record.kind)
    if outcome.undo:
        work.piles.undo([record_id for _, record_id in outcome.undo], person_id, at)
    for pile_id in outcome.closes:
        work.piles.close(pile_id, at)
    for pile_id, name in outcome.renames.items():
        work.piles.rename(pile_ids[pile_id], name)
    if outcome.joins_pile is not None:
        work.piles.join(outcome.joins_pile, person_id, at)
    for pile_id, (first, last) in outcome.told_ready.items():
        work.piles.promise(pile_ids[pile_id], first, last, at)
    settle(work, known, outcome, incoming_id, at)
    return pile_ids


def did_before(known: Known, record_id: int | None) -> Sequence[int]:
    """Who did what a record tells of: whoever corrects it takes nobody's credit."""
    told = (told for pile in known.piles for told in pile.told if told.id == record_id)
    return next((each.by or (each.said_by,) for each in told), ())


def credited(work: Work, known: Known, outcome: Outcome, at: datetime) -> list[int]:
    """The keepers who did what is told; a name that is new on this phone becomes one."""
    ids = []
    for who in outcome.done_by:
        if isinstance(who, str):
            helper = work.people.add_to_phone(who, known.person, at)
            for pile_id in {pile_id for pile_id, _, _ in outcome.records}:
                work.piles.join(pile_id, helper.id, at)
            who = helper.id
        ids.append(who)
    return ids


def settle(work: Work, known: Known, outcome: Outcome, incoming_id: int, at: datetime) -> None:
    """Keep what the keepers have agreed among themselves, and tell those whom it concerns."""
    for pile_id, about, who, values in outcome.notes:
        work.piles.note(pile_id, known.person.id, about, who, values, at, incoming_id)
        if about == "turn" and who is not None:
            given(work, pile_id, who, values["work"])
    for pile_id, to, line in outcome.relays:
        keeper = work.people.get(to)
        phone = work.people.get(keeper.through_id) if keeper.through_id else keeper
        pass_on(work, work.piles.get(pile_id), phone, line, at)
    if outcome.leaves is not None:
        work.piles.leave(outcome.leaves, known.person.id, at)
        work.outbox.withdraw(known.person.id, ("nudge",), "left the pile", outcome.leaves)


def invite(work: Work, known: Known, outcome: Outcome, at: datetime) -> None:
    """A fresh code for the pile, said in the reply."""
    assert outcome.invite_to is not None
    code = fresh_code(letters=4, digits=2)
    work.piles.invite(outcome.invite_to, known.person.id, code, at, at + INVITE_LASTS)
    outcome.say("share.code", code=code)
    if known.person.name is None:
        outcome.say("ask.name")


def link_picture(work: Work, known: Known, pile_id: int, outcome: Outcome) -> None:
    """The address of the pile's picture, which a phone is told whose messages show none."""
    if known.public_url is not None:
        key = work.people.picture_key(known.person.id, pile_id, known.today + PICTURE_LASTS)
        outcome.say("picture.link", link=f"{known.public_url}/picture/{key}.png")


def link_calendar(work: Work, known: Known, outcome: Outcome) -> None:
    """The address of the calendar, said in the reply."""
    key = work.people.calendar_key(known.person.id, renew=outcome.calendar == "new")
    outcome.say(f"calendar.{outcome.calendar}", link=f"{known.public_url}/calendar/{key}.ics")


def reply(
    work: Work,
    known: Known,
    outcome: Outcome,
    pile_ids: dict[int, int],
    waiting_for: dict[str, Any] | None,
    incoming_id: int,
    at: datetime,
) -> None:
    """The answer, due at once. A confirmation of an opt-out goes out once, whatever follows."""
    if outcome.export:
        outcome.lines.extend(everything_about(work, known))
    of_the_office(work, known, outcome)
    if not outcome.lines:
        return
    reason: dict[str, Any] = {"why": "asked"}
    if outcome.picture_of is not None:
        reason["picture"] = outcome.picture_of
    if outcome.place is not None and outcome.answers is not None:
        reason["answers"] = outcome.answers
    work.outbox.add(
        known.person.id,
        "confirmation" if outcome.confirmation else "reply",
        outcome.lines,
        due_at=at,
        unique_key=f"reply:{incoming_id}",
        reason=reason,
        pile_id=next(iter(pile_ids.values()), None) if len(pile_ids) == 1 else None,
        options=outcome.options,
        opens=waiting_for,
        incoming_id=incoming_id,
        place=outcome.place,
    )


def of_the_office(work: Work, known: Known, outcome: Outcome) -> None:
    """What only the database knows: whether anybody works here, and whether a records request holds texts."""
    keys = {line.key for line in outcome.lines}
    if "person.nobody" in keys and (known.profile.staff.alerts or work.staff.all()):
        passed_on = Line("person.passed_on", {})
        outcome.lines = [passed_on if line.key == "person.nobody" else line for line in outcome.lines]
    if keys & {"forget.sure", "forget.done"} and work.privacy.is_held(known.person.id):
        place = [line.key for line in outcome.lines].index("forget.done") + 1 if outcome.erase else 0
        outcome.lines.insert(place, Line("forget.held", {}))


def everything_about(work: Work, known: Known) -> list[Line]:
    """What is kept of a person, in words that fit a phone; the staff give the file."""
    kept = work.people.export(known.person.id)
    consents = work.people.consents(known.person.id)
    since = next((line.at for line in consents if line.given), None)
    lines = [
        Line("my_data", {"zone": known.person.zone}),
        *([Line("my_data.name", {"name": known.person.name})] if known.person.name else []),
        Line("my_data.piles", {"n": len(known.piles), "records": len(kept["records"])}),
        Line("my_data.messages", {"received": len(kept["received"]), "sent": len(kept["sent"])}),
    ]
    if since is not None:
        lines.append(Line("my_data.consent", {"since_on": since.date().isoformat()}))
    lines.append(Line("my_data.forget", {}))
    return lines
