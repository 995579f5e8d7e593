"""How a standing pile is set up: the questions that are left, and what is changed later by saying so."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from bot.conversation import questions
from bot.conversation.beginning import as_said_of, shared_out
from bot.conversation.steps import range_line
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Meaning, Setup
from storage.piles import PileRow

ASKS = ("fill", "thermometer")
"""The questions of the set-up, in their order."""
VALUES = ("length_m", "width_m", "height_m", "bin", "fed", "covered", "shade")


def go_on(known: Known, pile: KnownPile | None, outcome: Outcome, *, past: Collection[str] = ()) -> None:
    """The next question of the set-up, one a message; where something else is asked, it comes after that.

    past   questions that were passed over
    """
    if pile is None:
        return
    if outcome.opens and outcome.options:
        outcome.opens["then"] = "set_up"
        return
    thermometer = outcome.changes.get("thermometer", known.person.thermometer)
    if "fed" in pile.row.setup["assumed"] and "fill" not in past:
        outcome.say("ask.fill")
        outcome.ask("fill", "at_once", "as_i_go", pile=pile.row.id)
    elif thermometer is None and "thermometer" not in past:
        outcome.say("ask.thermometer")
        outcome.ask("thermometer", "thermometer", "no_thermometer", pile=pile.row.id)
    else:
        outcome.opens = {}
        questions.begin(known, pile, outcome)


def change(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome) -> bool:
    """Something about how a standing pile is built: answers to the set-up questions, or said later."""
    setup = meaning.setup or Setup()
    if meaning.asks and known.waiting.get("ask") not in ASKS:
        setup = replace(setup, fed=None)  # "how much do I add" tells nothing of how it is filled
    values = said_values(setup) | what_went_in(known, pile, meaning)
    if setup.thermometer is not None:
        outcome.changes["thermometer"] = setup.thermometer
        if all(ask.kind != "how_measure" for ask in meaning.asks):
            outcome.say("thermometer.yes" if setup.thermometer else "thermometer.no")
    if not values and setup.thermometer is None:
        return False
    if values:
        outcome.set_up[pile.row.id] = {**values, "assumed": still_assumed(pile, values)}
        tell_change(known, pile, values, outcome)
    if known.waiting.get("ask") in ASKS:
        past = ("fill",) if known.waiting["ask"] == "thermometer" else ()
        go_on(known, changed(pile, outcome), outcome, past=past)
    elif setup.thermometer is not None:
        outcome.opens = {}
    return True


def what_went_in(known: Known, pile: KnownPile, meaning: Meaning) -> dict[str, Any]:
    """Size and ingredients told while the set-up is talked of, as far as they were only assumed."""
    assumed = pile.row.setup.get("assumed", ())
    if known.waiting.get("ask") not in ASKS:
        return {}
    values: dict[str, Any] = {}
    if "size" in assumed and meaning.length_m is not None:
        values |= dict.fromkeys(("length_m", "width_m", "height_m"), meaning.length_m)
    added = [fact.record for fact in meaning.facts if fact.record.kind == "added"]
    if "ingredients" in assumed and added and len(added) == len(meaning.facts):
        size = {name: pile.row.setup[name] for name in ("length_m", "width_m", "height_m")} | values
        told = {**size, "ingredients": [[record.material, record.litres] for record in added]}
        values["ingredients"] = shared_out(told)
    return values


def said_values(setup: Setup) -> dict[str, Any]:
    """The values of a standing pile that were said, in the form that storage keeps."""
    values = {name: getattr(setup, name) for name in VALUES if getattr(setup, name) is not None}
    if setup.volume_m3 is not None and setup.height_m is None:
        side = setup.volume_m3 ** (1 / 3)
        values.update(length_m=side, width_m=side, height_m=side)
    return values


def tell_change(known: Known, pile: KnownPile, values: Mapping[str, Any], outcome: Outcome) -> None:
    """What was changed, and the done date where it hangs on that."""
    if "fed" in values:
        outcome.say("fill.as_i_go" if values["fed"] else "fill.at_once")
    ends = pile.row.setup.get("fed") and values.get("fed") is False
    pile = changed(pile, outcome)
    read = [fact for fact in as_said_of(values, pile.row.setup)["facts"] if told_now(fact["key"], values)]
    if read:
        outcome.say("pile.stands", facts=read)
    elif set(values) - {"fed"}:
        outcome.say("noted")
    outlook, _ = known.look(pile.row, pile.records, known.today)
    outcome.told_ready[pile.row.id] = (outlook.ready.p10, outlook.ready.p90)
    if ends or values.get("fed") or set(values) & {"length_m", "height_m", "built", "ingredients"}:
        outcome.lines.append(range_line(pile, outlook.ready, known.today, again=False))


def told_now(key: str, values: Mapping[str, Any]) -> bool:
    """Whether a fact of the set-up is among what was just said."""
    if key == "pile.built":
        return "built" in values
    return key.startswith("read.") or bool({"length_m", "height_m"} & set(values))


def redate(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome, *, corrects: bool) -> bool:
    """The day of the build, where it was only guessed or is corrected; False where the message has none."""
    built = next((fact.record.on for fact in meaning.facts if fact.record.kind == "built"), None)
    if built is None and corrects and not pile.records and not meaning.facts:
        built = meaning.on
    if built is None or not (corrects or {"built", "day"} & set(pile.row.setup.get("assumed", ()))):
        return False
    first = min((record.on for record in pile.records), default=built)
    values = {"built": min(built, first).isoformat()}
    outcome.set_up[pile.row.id] = {**values, "assumed": still_assumed(pile, values)}
    tell_change(known, pile, values, outcome)
    return True


def still_assumed(pile: KnownPile, values: Mapping[str, Any]) -> list[str]:
    """The assumptions that what was said now leaves standing."""
    size = bool({"length_m", "height_m"} & set(values))
    assumed = pile.row.setup.get("assumed", ())
    settled = set(values) | ({"size"} if size else set()) | ({"day"} if "built" in values else set())
    return [code for code in assumed if code not in settled]


def changed(pile: KnownPile, outcome: Outcome) -> KnownPile:
    """The pile as it will be once what was said of its set-up is stored."""
    return replace(pile, row=with_set_up(pile.row, outcome.set_up.get(pile.row.id, {})))


def with_set_up(row: PileRow, values: Mapping[str, Any]) -> PileRow:
    """The row as it will be once these set-up values are stored."""
    return replace(row, setup={**row.setup, **values})
