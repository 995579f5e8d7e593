"""From "I have no pile yet" to a standing pile, from rough facts. The yes before it is in `standing.py`.

    no pile    what to gather, where to put it, how to build   -> until "I built it"
    set-up     when, how big, what went in: in one message or several; "don't know" is a good answer
    standing   two more questions, each may be skipped: filled at once or as you go; a thermometer?

The pile stands as soon as something of it is known: what is missing is assumed, said, and changed later
by saying so.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from bot.conversation import questions
from bot.conversation.steps import next_step, range_line
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Meaning, Setup
from shared.forecast import Forecast
from storage.outbox import Line
from storage.piles import PileRow

USUAL_SIDE_M = 0.91
"""A pile of unsaid size is taken as 3 ft each way, the least that heats well (common practice)."""
MIN_HOT_M3 = 0.765
"""27 ft³, the least that is taught as a hot pile (common practice)."""
OLDEST = timedelta(days=3 * 365)


def begin(known: Known, meaning: Meaning, outcome: Outcome) -> bool:
    """A joined person without a pile, or one that starts another: True where the message was about that."""
    setup = meaning.setup or Setup()
    said = set_up_values(known, meaning)
    if setup.has_pile is False and not said:
        without_pile(outcome)
        return True
    if said:
        found_pile(known, said, meaning, outcome)
        return True
    asking = known.waiting.get("ask")
    if any(ask.kind == "new_pile" for ask in meaning.asks):
        outcome.say("new_pile")
        outcome.ask("built_yet", "how_build")
        return True
    if setup.has_pile or asking == "pile_facts":
        if asking == "pile_facts" and meaning.bare in ("dont_know", "skip"):
            found_pile(known, {"built": known.today.isoformat()}, meaning, outcome)
            return True
        if setup.has_pile:
            ask_facts("ask.pile_facts", outcome)
            return True
    return False


def ask_facts(key: str, outcome: Outcome) -> None:
    """When, how big, what went in; one digit says that it is not known."""
    outcome.say(key)
    outcome.ask("pile_facts", "unknown")


def without_pile(outcome: Outcome) -> None:
    """What to gather, where to put it; build day is the next step."""
    outcome.say("gather")
    outcome.say("site")
    outcome.say("caution.ash")
    outcome.ask("built_yet", "have_pile", "how_build")


def set_up_values(known: Known, meaning: Meaning) -> dict[str, Any]:
    """The set-up values that a message carries, in the form that storage keeps; {} where it has none."""
    setup = meaning.setup or Setup()
    values: dict[str, Any] = {
        name: getattr(setup, name)
        for name in ("length_m", "width_m", "height_m", "bin", "fed", "covered", "shade")
        if getattr(setup, name) is not None
    }
    if setup.volume_m3 is not None and setup.height_m is None:
        side = setup.volume_m3 ** (1 / 3)
        values.update(length_m=side, width_m=side, height_m=side, bin=values.get("bin", True))
    built = next((fact.record.on for fact in meaning.facts if fact.record.kind == "built"), None)
    added = [fact.record for fact in meaning.facts if fact.record.kind == "added" and fact.record.material]
    height = next((fact.record.height_m for fact in meaning.facts if fact.record.kind == "height"), None)
    if height is not None:
        values["height_m"] = height
    if built is not None:
        values["built"] = built.isoformat()
    elif added:
        values["built"] = min(record.on for record in added).isoformat()
    if added:
        values["ingredients"] = [[record.material, record.litres] for record in added]
    if set(values) <= {"fed", "covered", "shade", "bin"} and known.waiting.get("ask") not in (
        "pile_facts",
        "has_pile",
    ):
        return {}
    return values


def found_pile(known: Known, said: Mapping[str, Any], meaning: Meaning, outcome: Outcome) -> None:
    """The pile stands from now on, with stated assumptions for what was not said."""
    built = date.fromisoformat(said.get("built", known.today.isoformat()))
    if built > known.today:
        outcome.say("built.later", on_on=built.isoformat())
        outcome.opens = {"ask": "built_yet", "options": ["have_pile", "how_build"]}
        return
    if known.today - built > OLDEST:
        outcome.say("built.too_old")
        outcome.opens = {"ask": "pile_facts"}
        return
    values = {**filled_in(said), "built": built.isoformat()}
    outcome.new_pile = True
    outcome.set_up[0] = values
    outcome.closes.extend(pile.row.id for pile in known.piles if emptied(pile))
    rest = [fact.record for fact in meaning.facts if fact.record.kind not in ("built", "added", "height")]
    outcome.records.extend((0, record, None) for record in rest)
    row = new_row(known, values)
    found = known.look(row, tuple(rest), known.today)
    outcome.lines.extend(stands(known, said, values, found[0]))
    next_step(known, KnownPile(row, ()), rest, found, outcome, why=False)
    if "fed" not in said:
        outcome.say("ask.fill")
        outcome.ask("fill", "at_once", "as_i_go", pile=0)
    else:
        ask_thermometer(known, outcome, 0)


def emptied(pile: KnownPile) -> bool:
    """Whether a pile's compost was taken out and nothing told of it since; one that is fed goes on."""
    return bool(pile.records) and pile.records[-1].kind == "harvested" and not pile.row.setup.get("fed")


def filled_in(said: Mapping[str, Any]) -> dict[str, Any]:
    """Set-up values with the assumptions in: size from the amounts, else 3 ft each way."""
    values = dict(said)
    assumed = []
    litres = [amount for _, amount in values.get("ingredients", ()) if amount]
    if values.get("length_m") is None:
        side = values.get("width_m") or values.get("height_m") or USUAL_SIDE_M
        if litres and len(litres) == len(values["ingredients"]) and "height_m" not in values:
            side = min(max((sum(litres) / 1000 * SETTLED) ** (1 / 3), 0.3), 2.0)
        elif "height_m" not in values and "width_m" not in values:
            assumed.append("size")
        values["length_m"] = values.get("width_m") or side
        values["width_m"] = values.get("width_m") or side
        values["height_m"] = values.get("height_m") or side
    values["width_m"] = values.get("width_m") or values["length_m"]
    values["height_m"] = values.get("height_m") or min(values["length_m"], 1.2)
    if not values.get("ingredients"):
        assumed.append("ingredients")
        values["ingredients"] = [["dry_leaves", None], ["grass_clippings", None]]
    values["ingredients"] = shared_out(values)
    if "fed" not in values:
        values["fed"] = False
        assumed.append("fed")
    return {**values, "assumed": assumed}


SETTLED = 0.75
"""Built volume over the loose volumes tipped in, for a size guessed from amounts (common practice)."""


def shared_out(values: Mapping[str, Any]) -> list[list[Any]]:
    """Amounts for the ingredients: those said, and an equal share of the rest of the pile for the others."""
    box_l = 1000 * values["length_m"] * values["width_m"] * values["height_m"]
    loose_l = box_l * (1.0 if values.get("bin", True) else 0.5) / SETTLED
    named = values["ingredients"]
    known_l = sum(amount for _, amount in named if amount)
    unsaid = sum(1 for _, amount in named if not amount)
    if not unsaid:
        return [list(pair) for pair in named]
    share = max(loose_l - known_l, 0.1 * loose_l) / unsaid
    return [[material, amount or round(share, 1)] for material, amount in named]


def new_row(known: Known, values: Mapping[str, Any], pile_id: int = 0) -> PileRow:
    """The pile that is being set up, before it is stored."""
    return PileRow(
        id=pile_id,
        name=None,
        zone=known.person.zone,
        founder_id=known.person.id,
        setup=dict(values),
        created_at=known.local,
        closed_at=None,
        next_look_at=None,
        last_forecast=None,
        number=len(known.piles) + 1,
    )


def stands(known: Known, said: Mapping[str, Any], values: Mapping[str, Any], outlook: Forecast) -> list[Line]:
    """The pile as read, what was assumed, and the first done date."""
    lines = [Line("pile.stands", as_said_of(said, values))]
    assumed = [{"key": f"assumed.{code}", "values": {}} for code in values["assumed"] if code != "fed"]
    if assumed:
        lines.append(Line("pile.assumed", {"facts": assumed}))
    box_m3 = values["length_m"] * values["width_m"] * values["height_m"]
    if box_m3 < 0.6 * MIN_HOT_M3 and not values.get("fed"):
        lines.append(Line("pile.small", {}))
    lines.append(Line(mix_verdict(outlook), {}))
    row = new_row(known, values)
    lines.append(range_line(KnownPile(row, ()), outlook.ready, known.today, again=False))
    return lines


def as_said_of(said: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """What is read back of a new pile: its day, its size unless assumed, what went in, amounts where said."""
    facts: list[dict[str, Any]] = [{"key": "pile.built", "values": {"built_on": values["built"]}}]
    wide, high = values["length_m"], values["height_m"]
    if "size" not in values["assumed"]:
        even = abs(wide - high) < 0.05
        key = "pile.each_way" if even else "pile.size"
        facts.append({"key": key, "values": {"wide_m": wide} if even else {"wide_m": wide, "high_m": high}})
    for material, litres in said.get("ingredients", ()):
        amount = {"some_bulk": litres} if litres else {}
        key = "read.ingredient.amount" if litres else "read.ingredient"
        facts.append({"key": key, "values": {"what_material": material, **amount}})
    return {"facts": facts}


def mix_verdict(outlook: Forecast) -> str:
    """Good, too brown or too green, too dry or too wet: bands of the fact that home volumes are rough."""
    if outlook.mix_c_n > 50:
        return "mix.brown"
    if outlook.mix_c_n < 20:
        return "mix.green"
    if outlook.mix_moisture < 0.42:
        return "mix.dry"
    if outlook.mix_moisture > 0.70:
        return "mix.wet"
    return "mix.good"


def ask_thermometer(known: Known, outcome: Outcome, pile_id: int) -> None:
    """The last question of the set-up, asked only of somebody who has not said."""
    if known.person.thermometer is None:
        outcome.say("ask.thermometer")
        outcome.ask("thermometer", "thermometer", "no_thermometer", pile=pile_id)
    else:
        outcome.opens = {}


def change_set_up(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome) -> bool:
    """Something about how a standing pile is built: answers to the set-up questions, or said later."""
    setup = meaning.setup
    if setup is None:
        return False
    values = {
        name: getattr(setup, name)
        for name in ("length_m", "width_m", "height_m", "bin", "fed", "covered", "shade")
        if getattr(setup, name) is not None
    }
    if setup.volume_m3 is not None and setup.height_m is None:
        side = setup.volume_m3 ** (1 / 3)
        values.update(length_m=side, width_m=side, height_m=side)
    if setup.thermometer is not None:
        outcome.changes["thermometer"] = setup.thermometer
        if all(ask.kind != "how_measure" for ask in meaning.asks):
            outcome.say("thermometer.yes" if setup.thermometer else "thermometer.no")
        outcome.opens = {}
        if known.waiting.get("ask") == "thermometer":
            questions.begin(known, pile, outcome)
    if not values:
        return setup.thermometer is not None
    outcome.set_up[pile.row.id] = {
        **values,
        "assumed": [code for code in pile.row.setup.get("assumed", ()) if not settles(code, values)],
    }
    row = with_set_up(pile.row, outcome.set_up[pile.row.id])
    if "fed" in values:
        outcome.say("fill.as_i_go" if values["fed"] else "fill.at_once")
    if set(values) - {"fed"}:
        outcome.say("noted")
    outlook, _ = known.look(row, pile.records, known.today)
    outcome.told_ready[pile.row.id] = (outlook.ready.p10, outlook.ready.p90)
    if values.get("fed") or set(values) & {"length_m", "height_m"}:
        outcome.lines.append(range_line(KnownPile(row, ()), outlook.ready, known.today, again=False))
    if setup.thermometer is None and known.waiting.get("ask") == "fill":
        ask_thermometer(known, outcome, pile.row.id)
    return True


def settles(assumption: str, values: Mapping[str, Any]) -> bool:
    """Whether what was said now replaces an assumption."""
    return assumption in values or (assumption == "size" and bool({"length_m", "height_m"} & set(values)))


def with_set_up(row: PileRow, values: Mapping[str, Any]) -> PileRow:
    """The row as it will be once these set-up values are stored."""
    return replace(row, setup={**row.setup, **values})
