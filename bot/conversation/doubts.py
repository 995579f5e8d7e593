"""What may not be what was meant: a number that cannot be, or against the forecast; a day that cannot be.

Each doubt is asked about once, and nothing doubtful is recorded before the answer.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Fact, Meaning
from shared.cautions import doubt
from shared.units import c_from_f, f_from_c

FELL_C = 15.0
"""So far a core seldom falls between two readings without a turn or a soaking (common practice)."""
ASKS = ("number", "depth")
"""The questions about a reading."""


def doubtful_reading(known: Known, pile: KnownPile, facts: Sequence[Fact]) -> Fact | None:
    """The reading that may not be what was meant, by itself or against the forecast; asked about once."""
    answers = known.waiting.get("ask") in ASKS
    for fact in facts:
        core_c = fact.record.core_c
        if answers and (fact.doubt not in ("unit", "digits") or "again" in known.waiting):
            continue
        if core_c is not None and f"reading:{core_c:.1f}" in known.waiting.get("options", ()):
            continue  # said once more just as it was offered
        if fact.record.kind != "temperature" or core_c is None or fact.record.edge:
            continue
        before, _ = known.look(pile.row, pile.records, known.today)
        said = f_from_c(core_c) if known.person.units == "f" else core_c
        why = fact.doubt or doubt(said, known.person.units, before.core_c.p50, before.air_c)
        if why in ("surface", "unit") and like_the_last(pile, core_c):
            continue
        if why == "unit" and as_cool_as_it_should_be(known, pile, core_c, before.core_c.p50):
            continue
        if why is not None and why != "heard":
            return replace(fact, doubt=why)
    return None


def as_cool_as_it_should_be(known: Known, pile: KnownPile, core_c: float, expected_c: float) -> bool:
    """Whether a cool reading fits the forecast, or a hand that has just found the pile cold."""
    felt = [one.word for one in pile.records if one.kind == "heat_feel" and known.today - one.on <= LATELY]
    return abs(core_c - expected_c) <= NEAR_C or felt[-1:] == ["cold"]


NEAR_C = 8.0
"""So near a reading and the forecast are the same for a kitchen thermometer."""
LATELY = timedelta(days=3)


def like_the_last(pile: KnownPile, core_c: float) -> bool:
    """Whether the last reading was much the same: it was taken as it is, so this one is too."""
    read = [one.inner_c for one in pile.records if one.inner_c is not None]
    return bool(read) and abs(read[-1] - core_c) < FELL_C


def untimely(known: Known, pile: KnownPile, facts: Sequence[Fact], outcome: Outcome) -> bool:
    """Something told for a day to come, or from before the build: asked about, and nothing is recorded."""
    days = [fact.record.on for fact in facts]
    if max(days) > known.today:
        outcome.say("doubt.future", on_on=max(days).isoformat())
    elif min(days) < pile.built:
        outcome.say("doubt.before", built_on=pile.built.isoformat())
    else:
        return False
    return True


def question_reading(known: Known, pile: KnownPile, fact: Fact, outcome: Outcome) -> None:
    """A reading that cannot be, or could mean several things: nothing is recorded, one question is asked."""
    reading = fact.record.core_c
    if fact.doubt == "impossible" or reading is None:
        outcome.say("doubt.impossible")
        outcome.ask("number", "unknown", pile=pile.row.id)
        return
    if fact.doubt == "surface":
        outcome.say("doubt.depth", core_c=reading)
        outcome.ask("depth", f"deep:{reading:.1f}", f"near_top:{reading:.1f}", pile=pile.row.id)
        return
    again = {"again": True} if known.waiting.get("ask") in ASKS else {}
    said = f_from_c(reading) if known.person.units == "f" else reading
    if fact.doubt == "unit":
        choices = [f"as_c:{said:.1f}", f"as_f:{c_from_f(said):.1f}"]
        likelier_first = choices if known.person.units == "f" else choices[::-1]
        outcome.say("doubt.which")
        outcome.ask("number", *likelier_first, pile=pile.row.id, **again)
        return
    choices = [f"reading:{core_c:.1f}" for core_c in candidates(known, said)]
    outcome.say("doubt.which")
    outcome.ask("number", *choices, pile=pile.row.id, **again)


def ask_again(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """A doubt that a message leaves open is asked about once more, at its end: the reading is not lost."""
    waiting = known.waiting
    answered = any(fact.record.core_c is not None for fact in meaning.facts)
    if not (meaning.facts or meaning.asks):  # nothing came between
        return
    if waiting.get("ask") not in ASKS or answered or outcome.opens is not None or "again" in waiting:
        return
    options = waiting.get("options", ())
    if not options:
        return
    outcome.say("doubt.still")
    kept = {name: value for name, value in waiting.items() if name not in ("ask", "options")}
    outcome.ask(waiting["ask"], *options, **kept, again=True)


def candidates(known: Known, said: float) -> list[float]:
    """What a reading with a digit missing may have meant, the likelier first. [°C]"""
    tens = round(said)
    if known.person.units == "f":
        fahrenheit = [100 + tens, tens * 10] if tens < 20 else [100 + tens, tens]
        return [c_from_f(value) for value in fahrenheit if -40 <= value <= 212]
    return [float(value) for value in (40 + tens, tens * 10, tens) if value <= 100][:3]
