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

from bot.conversation import keeper
from bot.conversation.meant import together
from bot.conversation.steps import next_step, range_line
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Fact, Meaning, Setup
from shared.forecast import Forecast
from shared.units import f_from_c
from storage.outbox import Line
from storage.piles import PileRow, Told

USUAL_SIDE_M = 0.91
"""A pile of unsaid size is taken as 3 ft each way, the least that heats well (common practice)."""
MIN_HOT_M3 = 0.765
"""27 ft³, the least that is taught as a hot pile (common practice)."""
OLDEST = timedelta(days=3 * 365)


def begin(known: Known, meaning: Meaning, outcome: Outcome) -> bool:
    """A joined person without a pile, or one that starts another: True where the message was about that."""
    asking, answered, asks = known.waiting.get("ask"), meaning.bare, meaning.asks
    meaning = together(known.waited, meaning)
    setup = meaning.setup or Setup()
    said = set_up_values(known, meaning)
    if setup.has_pile is False and not said:
        without_pile(known, outcome)
    elif "built" in said or (said and (known.piles or asking == "built_yet")):
        picked = asking == "built" and meaning.on is None
        found_pile(known, said, meaning, outcome, assumed=("day",) if picked else ())
    elif asking == "built" and (answered in ("dont_know", "skip") or known.waiting.get("again")):
        found_pile(known, {**said, "built": long_ago(known, meaning)}, meaning, outcome, assumed=("built",))
    elif said or (meaning.facts and not known.piles) or asking == "built":
        ask_built(known, meaning, outcome)
    elif any(ask.kind == "new_pile" for ask in meaning.asks):
        outcome.say("new_pile")
        outcome.ask("built_yet", "how_build")
    elif setup.has_pile:
        ask_facts("ask.pile_facts", outcome)
        outcome.holds = known.waited is not None
    elif asking == "pile_facts" and not asks:
        ask_built(known, meaning, outcome)
    else:
        return False
    return True


def ask_built(known: Known, meaning: Meaning, outcome: Outcome) -> None:
    """Of a pile that is told of the day of the build matters most; what was told waits for it."""
    heard = () if known.waited is None else known.waited.facts
    new = [fact for fact in meaning.facts if fact.doubt in (None, "vague") and fact not in heard]
    outcome.lines.extend(keeper.facts_as_read(known, new, outcome))
    again = {"again": True} if known.waiting.get("ask") == "built" else {}
    outcome.say("ask.built")
    outcome.ask("built", *BUILT, **again)
    outcome.holds = True


BUILT = ("built.today", "built.week", "built.weeks", "built.months")


def long_ago(known: Known, meaning: Meaning) -> str:
    """The day of the build where nobody knows it: two weeks back, or when the first thing was told of it."""
    told = [fact.record.on for fact in meaning.facts]
    return min([known.today - timedelta(weeks=2), *told]).isoformat()


def ask_facts(key: str, outcome: Outcome) -> None:
    """When, how big, what went in; one digit says that it is not known."""
    outcome.say(key)
    outcome.ask("pile_facts", "unknown")


def without_pile(known: Known, outcome: Outcome) -> None:
    """What to gather, where to put it, said once; build day is the next step."""
    if known.waiting.get("ask") == "built_yet":
        outcome.say("no_hurry")
        return
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
    asking = known.waiting.get("ask")
    new = known.piles or asking == "built_yet"
    if built is not None and asking == "built":  # a rough answer: nothing was told from before the build
        values["built"] = min([built, *(fact.record.on for fact in meaning.facts)]).isoformat()
    elif built is not None:  # "started in november" names a month, which dates no fact
        values["built"] = min(built, meaning.on or built).isoformat()
    elif meaning.on is not None and asking in SIZE_ASKED:
        values["built"] = meaning.on.isoformat()
    elif added and (new or meaning.on is not None):
        values["built"] = min([*(record.on for record in added), meaning.on or known.today]).isoformat()
    if added:
        values["ingredients"] = [[record.material, record.litres] for record in added]
    if asking in SIZE_ASKED and meaning.length_m is not None and not {"length_m", "height_m"} & set(values):
        values |= dict.fromkeys(("length_m", "width_m", "height_m"), meaning.length_m)
    if set(values) <= {"fed", "covered", "shade", "bin"} and asking not in (
        "pile_facts",
        "has_pile",
        "built",
    ):
        return {}
    return values


SIZE_ASKED = ("has_pile", "pile_facts", "built")
"""Questions to which a lone day or length is an answer."""


def found_pile(
    known: Known,
    said: Mapping[str, Any],
    meaning: Meaning,
    outcome: Outcome,
    assumed: tuple[str, ...] = (),
) -> None:
    """The pile stands from now on, with stated assumptions for what was not said, and what was told of it.

    assumed   what of `said` nobody has said
    """
    heard = () if known.waited is None else known.waited.facts
    built = date.fromisoformat(said["built"]) if "built" in said else known.today
    if built > known.today:
        outcome.say("built.later", on_on=built.isoformat())
        outcome.opens = {"ask": "built_yet", "options": ["have_pile", "how_build"]}
        return
    if known.today - built > OLDEST:
        outcome.say("built.too_old")
        outcome.ask("built", *BUILT)
        outcome.holds = True
        return
    values = {**filled_in(said, assumed), "built": built.isoformat()}
    outcome.new_pile = True
    outcome.set_up[0] = values
    outcome.closes.extend(pile.row.id for pile in known.piles if emptied(pile))
    if meaning.units and not keeper.has_read(known):
        outcome.changes["units"] = meaning.units
    pile = new_pile(known, outcome)
    rest = [fact for fact in meaning.facts if fact.record.kind not in ("built", "added", "height")]
    if outcome.changes.get("units") == "c":
        rest = [in_celsius(fact) for fact in rest]
    told = [fact.record for fact in rest if fact.doubt is None]
    found = known.look(pile.row, told, known.today)
    outcome.lines.extend(stands(known, said, values, found[0]))
    advise = not {ask.kind for ask in meaning.asks} & keeper.ADVISE
    if rest:
        keeper.report(known, pile, rest, outcome, brief=True, heard=heard, advise=advise)
    elif advise:
        next_step(known, pile, (), found, outcome, why=False)


def in_celsius(fact: Fact) -> Fact:
    """A bare reading that could be of either scale, of somebody who measures in metres."""
    if fact.doubt != "unit" or fact.record.core_c is None:
        return fact
    return replace(fact, record=replace(fact.record, core_c=f_from_c(fact.record.core_c)), doubt=None)


def new_pile(known: Known, outcome: Outcome) -> KnownPile:
    """The pile that this message founds, with what was told of it."""
    told = [
        Told(0, record, known.person.id, known.at) for pile_id, record, _ in outcome.records if pile_id == 0
    ]
    return KnownPile(new_row(known, outcome.set_up[0]), tuple(told))


def emptied(pile: KnownPile) -> bool:
    """Whether a pile's compost was taken out and nothing told of it since; one that is fed goes on."""
    return bool(pile.records) and pile.records[-1].kind == "harvested" and not pile.row.setup.get("fed")


def filled_in(said: Mapping[str, Any], guessed: tuple[str, ...] = ()) -> dict[str, Any]:
    """Set-up values with the assumptions in: size from the amounts, else 3 ft each way."""
    values = dict(said)
    assumed = list(guessed)
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


SILENT = ("fed", "day")
"""Assumptions that are asked about, or stand in what is read back: the day of the build, told roughly."""


def stands(known: Known, said: Mapping[str, Any], values: Mapping[str, Any], outlook: Forecast) -> list[Line]:
    """The pile as read, what was assumed, and the first done date."""
    as_said = as_said_of(said, values)
    lines = [Line("pile.stands", as_said)] if as_said["facts"] else []
    assumed = [{"key": f"assumed.{code}", "values": {}} for code in values["assumed"] if code not in SILENT]
    if assumed:
        lines.append(Line("pile.assumed", {"facts": assumed}))
    box_m3 = values["length_m"] * values["width_m"] * values["height_m"]
    if box_m3 < 0.6 * MIN_HOT_M3 and not values.get("fed"):
        lines.append(Line("pile.small", {}))
    if "ingredients" not in values["assumed"]:
        lines.append(Line(mix_verdict(outlook), {}))
    row = new_row(known, values)
    lines.append(range_line(KnownPile(row, ()), outlook.ready, known.today, again=False))
    return lines


def as_said_of(said: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """What is read back of a new pile: its day and size unless assumed, what went in, amounts where said."""
    facts: list[dict[str, Any]] = []
    if "built" not in values["assumed"]:
        facts.append({"key": "pile.built", "values": {"built_on": values["built"]}})
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
