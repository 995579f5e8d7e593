"""Talk in a group: which buttons a person may tap there, and what may be said before the others."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bot.conversation.talk import Known, Outcome
from bot.language.meaning import Danger
from shared.errors import BadInput
from storage.inbox import Incoming
from storage.work import Work

FOR_ALL: frozenset[Danger] = frozenset({"smoke", "maybe_smoke"})
"""Dangers that everybody near should hear of; of others only the person is told."""
ASKED_ALONE = frozenset({"consent", "forget", "stop_all"})
"""Questions that are nobody else's matter."""
OPEN = frozenset({"thermometer"})
"""What of a person changes without telling the others anything that is theirs alone."""


def tapped(work: Work, known: Known, said: str) -> dict[str, Any] | None:
    """The question of a button's own message, however old; None where it is not this person's to answer.

    In a group a keeper may answer what another keeper of the pile was asked.
    """
    try:
        row = work.outbox.get(int(said.partition(":")[0]))
    except (ValueError, BadInput):
        return None
    if row.person_id != known.person.id and row.pile_id not in {pile.row.id for pile in known.piles}:
        return None
    about = {} if row.pile_id is None else {"pile": row.pile_id}
    return {**about, **(row.opens or {}), "options": list(row.options)}


def asked_by(known: Known, question: Mapping[str, Any]) -> Known:
    """What is known, with this question open: its pile is meant, whatever was asked since."""
    return replace(known, person=replace(known.person, waiting_for=dict(question)))


def before_others(known: Known, outcome: Outcome, danger: Danger | None, incoming: Incoming) -> Outcome:
    """What comes of a message in a group: what is the person's alone is told to them alone.

    Whoever has not joined is asked into a private chat, where we may ask for their consent; we cannot write
    there first.
    """
    here = None if incoming.place is None else (incoming.channel, incoming.place)
    if here is not None and incoming.form not in ("button", "grouped"):
        outcome = replace(outcome, answers=incoming.message_id)
    if here is None or outcome.consent is not None or danger in FOR_ALL:
        return replace(outcome, place=here if danger in FOR_ALL else None)
    if known.person.standing == "asked" and incoming.form != "grouped":
        outcome = Outcome(answers=outcome.answers)
        outcome.say("group.first")
    return replace(outcome, place=None if _private(outcome) else here)


def _private(outcome: Outcome) -> bool:
    if outcome.erase or outcome.export or outcome.confirmation or outcome.alerts:
        return True
    if outcome.moves or outcome.calendar is not None:  # whoever reads the code could use it
        return True
    return (outcome.opens or {}).get("ask") in ASKED_ALONE or bool(set(outcome.changes) - OPEN)
