"""What staff send to many, text or survey question: a few people at each beat, each within their own budget.

A message is made just before it may go, so that a stop finds little to call back, and what was said or
asked for meanwhile counts. The database lets each person have it once, however often a beat is cut short.
"""

from datetime import datetime, timedelta
from math import ceil

from scheduler.nudges import STALE_AFTER
from scheduler.restraint import LONGEST, Held, Phase, held_back
from scheduler.times import local, next_allowed
from storage.broadcasts import Broadcast
from storage.outbox import Line
from storage.people import Person
from storage.surveys import SKIPPED, Survey
from storage.work import Store, Work

BUDGET = Phase("broadcast", 1, 7, 1)
"""One broadcast or question a week, a day after any other message; what comes later counts it, too."""
GIVEN_UP_AFTER = timedelta(days=7)
"""Whoever could not be written to by then does not get the text any more."""
LOOKED_AT = 60
"""So many people are looked at in one beat of one broadcast: writers of messages wait no longer than that."""
OPT_OUT_SHARE, OPT_OUT_FEWEST = 0.05, 5
"""A broadcast stops by itself when more than one in twenty, and five people, leave within a day of it: near
three times what one text of its kind costs (1.8 %, a recruitment trial)."""


def send_out(store: Store, at: datetime, zone: str) -> int:
    """One beat of every broadcast and survey; how many messages were put into the outbox.

    zone   the programme's: a survey's days are its
    """
    with store.work(reading=True) as work:
        broadcasts = work.broadcasts.active(at)
        surveys = work.surveys.running(local(at, zone).date())
    made = 0
    for broadcast in broadcasts:
        with store.work() as work:
            made += _beat(work, broadcast.id, at)
            work.commit()
    for survey in surveys:
        with store.work() as work:
            made += _ask(work, survey, at)
            work.commit()
    return made


def _beat(work: Work, broadcast_id: int, at: datetime) -> int:
    work.broadcasts.begin(broadcast_id, at)
    broadcast = work.broadcasts.get(broadcast_id)
    if broadcast.status != "going":
        return 0
    result = work.broadcasts.result(broadcast_id)
    if result.opted_out >= OPT_OUT_FEWEST and result.opted_out > OPT_OUT_SHARE * result.sent:
        work.broadcasts.stop(broadcast_id, at, "opt-outs")
        return 0
    people = work.broadcasts.next_people(broadcast, at, LOOKED_AT)
    if not people:
        work.broadcasts.end(broadcast_id, at)
        return 0
    room = ceil(broadcast.per_hour / 60) - work.broadcasts.made_since(broadcast_id, at - timedelta(minutes=1))
    made = 0
    for person_id in people:
        if made >= room:
            break
        made += _give(work, broadcast, work.people.get(person_id), at)
        work.broadcasts.looked_at(broadcast_id, person_id)
    return made


def _give(work: Work, broadcast: Broadcast, person: Person, at: datetime) -> bool:
    """The text to one person, if they may have it now; a row that says why where they never may."""
    held = _kept_from(work, person, broadcast.audience.topic, at)
    last_chance = (broadcast.started_at or at) + GIVEN_UP_AFTER
    if held is not None and held.until is not None and held.until < last_chance:
        return False
    lines = [Line("broadcast", {"text": broadcast.text(person.language)})]
    unique_key = f"broadcast:{broadcast.id}:{person.id}"
    reason = {"why": "broadcast", "phase": BUDGET.name, "broadcast": broadcast.id}
    if held is not None:
        work.outbox.hold(
            person.id,
            "broadcast",
            lines,
            due_at=at,
            unique_key=unique_key,
            reason=reason,
            why_not=held.why,
            broadcast_id=broadcast.id,
        )
        return False
    added = work.outbox.add(
        person.id,
        "broadcast",
        lines,
        due_at=at,
        unique_key=unique_key,
        reason=reason,
        expires_at=at + STALE_AFTER,
        broadcast_id=broadcast.id,
    )
    return added is not None


def _ask(work: Work, survey: Survey, at: datetime) -> int:
    """The next question to those who may be asked one now."""
    made = 0
    for person_id, number in work.surveys.next_people(survey, at, LOOKED_AT):
        person = work.people.get(person_id)
        work.surveys.looked_at(survey.id, person_id)
        if _kept_from(work, person, "survey", at) is not None:
            continue
        if not work.surveys.ask(survey.id, person_id, number, at):
            continue
        item = survey.items[number]
        options = [*(f"answer:{choice}" for choice in item.choices(person.language)), SKIPPED]
        work.outbox.add(
            person_id,
            "nudge",
            [Line("nudge.survey", {"text": item.text(person.language)})],
            due_at=at,
            unique_key=f"survey:{survey.id}:{number}:{person_id}",
            reason={"why": "survey", "phase": BUDGET.name},
            options=options,
            opens={"ask": "survey", "survey": survey.id, "item": number, "options": options},
            expires_at=at + STALE_AFTER,
        )
        made += 1
    return made


def _kept_from(work: Work, person: Person, key: str, at: datetime) -> Held | None:
    """Why this person must not have it now, None where they may."""
    recent = work.outbox.unprompted_since(person.id, at - LONGEST)
    held = held_back(person, key, BUDGET, recent, at)
    allowed = next_allowed(at, person)
    return Held("outside their hours", allowed) if held is None and allowed > at else held
