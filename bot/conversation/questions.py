"""What the staff want to know: three questions at joining by a class, and their surveys. Each may be skipped.

They come once, one a message, and nothing else waits for their answers.
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Meaning
from storage.surveys import SKIPPED

AT_JOINING: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("before", ("before.yes", "before.no", SKIPPED)),
    ("household", ()),
    ("postcode", ()),
)
"""What each asks, in this order, and its quick answers."""
LARGEST_HOUSEHOLD = 12
"""A larger number is sooner a reading than a family."""
POSTCODE = re.compile(r"(\d{3})\d{2}(-\d{4})?")
"""Of a ZIP code only the first three digits are kept, which thousands of homes share."""


def begin(known: Known, pile: KnownPile | None, outcome: Outcome) -> None:
    """The first question, once the first pile of somebody from a class stands."""
    person = known.person
    if pile is not None and pile.row.number == 1 and person.class_code and person.composted_before is None:
        _ask(0, outcome)


def chosen(question: Mapping[str, Any], said: str, meaning: Meaning) -> str | None:
    """What a short answer says to one of these questions, None where it says something else."""
    asked, options = question.get("ask"), question.get("options", ())
    if asked not in ("before", "household", "postcode", "survey"):
        return None
    word = said.strip().strip(".").casefold()
    if meaning.bare in ("skip", "dont_know") or (word == "0" and not options):
        return SKIPPED
    if word.isdecimal() and 1 <= int(word) <= len(options):
        return str(options[int(word) - 1])
    number = meaning.number
    if asked == "household" and number in range(LARGEST_HOUSEHOLD + 1):
        return str(int(number)) if number else SKIPPED
    if asked == "postcode" and (found := POSTCODE.fullmatch(word)):
        return found.group(1)
    if asked == "before" and meaning.bare in ("yes", "no"):
        return f"before.{meaning.bare}"
    labels = {str(option).partition(":")[2].casefold(): str(option) for option in options if ":" in option}
    return labels.get(word)


def with_choice(known: Known, question: Mapping[str, Any], choice: str) -> Known:
    """What is known once somebody has answered such a question, however old the message that asked it."""
    return replace(known, person=replace(known.person, waiting_for={**question, "chosen": choice}))


def answered(known: Known, outcome: Outcome) -> None:
    """Keep what was chosen; at joining the next question follows, else a word of thanks."""
    asked, choice = known.waiting["ask"], known.waiting["chosen"]
    outcome.opens = {}
    if asked == "survey":
        item = known.waiting["item"]
        place = list(known.waiting["options"]).index(choice)
        outcome.survey = (known.waiting["survey"], item, None if choice == SKIPPED else place)
        outcome.say("skipped" if choice == SKIPPED else "thanks")
        return
    if choice != SKIPPED:
        outcome.changes |= {
            "before": {"composted_before": choice == "before.yes"},
            "household": {"household": int(choice)} if asked == "household" else {},
            "postcode": {"postcode_area": choice},
        }[asked]
    number = [name for name, _ in AT_JOINING].index(asked) + 1
    if number < len(AT_JOINING):
        _ask(number, outcome)
    else:
        outcome.say("thanks.joined")


def _ask(number: int, outcome: Outcome) -> None:
    asked, options = AT_JOINING[number]
    outcome.say(f"ask.{asked}")
    outcome.ask(asked, *options)
