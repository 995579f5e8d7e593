"""Answers to what people ask: one small function for each kind of ask, found in a table.

ABOUT_PILE has those about a pile; what needs none stands in `wishes.py`. Each adds lines to the outcome.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from bot.conversation.keeper import bed_covered_m2, next_step, tell_range
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask
from shared.care import WHYS, Do, stop_adding_date
from shared.cautions import holds_manure
from shared.forecast import Forecast, Habit
from shared.materials import Material, all_materials, material
from shared.mix import improve, parts_of
from shared.pile import Ingredient
from shared.units import BUCKET_L
from storage.outbox import Line, OutRow
from storage.piles import Piles

Answerer = Callable[[Known, KnownPile, Ask, Outcome], None]


def when_ready(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """The range, what it rests on, and what moved it."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    tell_range(pile, outlook, outcome)
    if outlook.stage == "ready":
        return
    readings = sum(1 for record in pile.records if record.kind == "temperature")
    if readings < 2:
        outcome.say("range.few_readings")
    elif outlook.moved:
        outcome.say(f"moved.{outlook.moved[0]}")


def what_next(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    next_step(known, pile, pile.records, known.look(pile.row, pile.records, known.today), outcome)


def state(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Stage, the core now, the range, the next action."""
    outlook, actions = known.look(pile.row, pile.records, known.today)
    days = (known.today - pile.built).days
    outcome.say(f"stage.{outlook.stage}", age=days, core_c=outlook.core_c.p50)
    if outlook.stage != "ready":
        tell_range(pile, outlook, outcome)
    next_step(known, pile, pile.records, (outlook, actions), outcome, why=False)


def picture(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The readings in words, which every phone can show."""
    readings = [
        told.record
        for told in pile.told
        if told.record.kind == "temperature" and told.record.core_c is not None
    ]
    if not readings:
        outcome.say("readings.none")
    else:
        shown = [
            {"key": "readings.one", "values": {"on_on": record.on.isoformat(), "core_c": record.core_c}}
            for record in readings[-6:]
        ]
        outcome.say("readings", facts=shown)
    state(known, pile, ask, outcome)


def may_add(known: Known, pile: KnownPile | None, ask: Ask, outcome: Outcome) -> None:
    """Whether a material may go in, the reason, and how."""
    if ask.material in (None, "other"):
        outcome.say("may_add.unknown", name=ask.name or "")
        return
    feedstock = as_written(ask)
    if feedstock.record_id in known.profile.keep_out and feedstock.verdict != "no":
        outcome.say("may_add.local", what_material=feedstock.id)
        return
    outcome.say(f"may_add.{feedstock.verdict}", what_material=feedstock.id)
    if feedstock.reason:
        outcome.say(f"reason.{feedstock.reason}")
    if feedstock.how and feedstock.verdict != "no":
        outcome.say(f"how.{feedstock.how}")
    if pile is not None and feedstock.verdict != "no":
        outlook, _ = known.look(pile.row, pile.records, known.today)
        if outlook.stage in ("curing", "ready"):
            outcome.say("may_add.finishing")


def as_written(ask: Ask) -> Material:
    """The finest row of the feedstock table that the written name has, else the row of the material's id."""
    names = {name: row for row in all_materials() for name in (*row.en, *row.es)}
    return names.get((ask.name or "").lower()) or material(ask.material or "other")


def mix(_known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """What to add to balance what went in, in buckets; where home volumes cannot tell, the rule of halves."""
    ingredients = [Ingredient(name, litres / 1000) for name, litres in pile.row.setup["ingredients"]]
    ingredients += [
        Ingredient(record.material, record.litres / 1000)
        for record in pile.records
        if record.kind == "added" and record.material and record.litres
    ]
    remedy = improve(parts_of(ingredients), material("dry_leaves"), material("grass_clippings"))
    if remedy.browns_litres > BUCKET_L / 2:
        outcome.say("mix.add_browns", n=buckets(remedy.browns_litres))
    elif remedy.greens_litres > BUCKET_L / 2:
        outcome.say("mix.add_greens", n=buckets(remedy.greens_litres))
    else:
        outcome.say("mix.balanced")
    if remedy.too_wet:
        outcome.say("mix.too_wet")
    outcome.say("mix.rule")


def buckets(litres: float) -> int:
    """Five-gallon buckets, at least one."""
    return max(1, round(litres / BUCKET_L))


def water_amount(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """How much, half of it now: a squeeze decides on the rest."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    if outlook.water_litres < 1:
        outcome.say("water.none")
        return
    outcome.say("water.amount", add_l=outlook.water_litres, half_l=outlook.water_litres / 2)
    if not known.profile.watering.hose:
        outcome.say("water.no_hose")
    if rule := known.profile.watering.rule.get(known.person.language):
        outcome.say("water.rule", rule=rule)


def harvest_amount(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Volume as a range and the bed that it covers an inch deep. A harvest already told is taken as it is."""
    taken = [record.litres for record in pile.records if record.kind == "harvested" and record.litres]
    if taken:
        outcome.say("harvest.taken", some_l=taken[-1], bed_m2=bed_covered_m2(taken[-1]))
    else:
        outlook, _ = known.look(pile.row, pile.records, known.today)
        low, high = outlook.harvest_litres.p10, outlook.harvest_litres.p90
        middle_m2 = bed_covered_m2(outlook.harvest_litres.p50)
        outcome.say("harvest.amount", low_l=low, high_l=high, bed_m2=middle_m2)
    outcome.say("harvest.use")


def safe_use(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Whether it may be used: by its stage, and by the manure rule where manure went in."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    outcome.say(f"use.{'ready' if outlook.stage == 'ready' else 'unfinished'}")
    if holds_manure(Piles.pile(pile.row, None, None), pile.records):
        outcome.say("use.manure")
    outcome.say("use.hygiene", hot_hours=outlook.hours_over_55c)


def what_if(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The same pile under another habit; the plan itself stays as it is."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    habit = HABITS.get(ask.topic or "", outlook.habit)
    if ask.topic in ("no_water", "water_weekly"):
        habit = replace(outlook.habit, water_every_days=habit.water_every_days)
    elif ask.topic in ("no_turn", "turn_weekly"):
        habit = replace(outlook.habit, turn_every_days=habit.turn_every_days)
    other, _ = known.look(pile.row, pile.records, known.today, habit)
    later_days = (other.ready.p50 - outlook.ready.p50).days
    if abs(later_days) < 7:
        outcome.say("what_if.same")
    else:
        key = "what_if.later" if later_days > 0 else "what_if.sooner"
        outcome.say(key, shift_weeks=max(1, round(abs(later_days) / 7)))
    if ask.topic == "no_turn":
        outcome.say("what_if.no_turn_cost")


HABITS: Mapping[str, Habit] = {
    "no_turn": Habit(None, None),
    "turn_weekly": Habit(7.0, None),
    "no_water": Habit(None, None),
    "water_weekly": Habit(None, 7.0),
}


def stop_adding(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The last day for adding, so that all of it is ready by the wished day."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    if ask.on is None:
        outcome.say(
            "stop_adding.when",
            first_about=outlook.ready.p10.isoformat(),
            last_about=outlook.ready.p90.isoformat(),
        )
        return
    last_day = stop_adding_date(outlook, ask.on)
    if last_day < known.today:
        outcome.say("stop_adding.late", last_about=outlook.ready.p90.isoformat())
    else:
        outcome.say("stop_adding.by", last_on=last_day.isoformat(), wish_on=ask.on.isoformat())


def why(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """The real inputs of the last nudge, or of the next step where none was sent."""
    outlook, actions = known.look(pile.row, pile.records, known.today)
    if known.last is not None and known.last.pile_id == pile.row.id:
        outcome.lines.append(why_nudged(known.last))
    else:
        outcome.lines.append(Line(f"why.{actions[0].do}.{actions[0].why}", dict(actions[0].numbers)))
    outcome.say("why.rests_on", facts=rests_on(pile, outlook))


def why_nudged(nudge: OutRow) -> Line:
    """The reason with which a nudge was sent: that of the work it asks for, or of the nudge itself."""
    code = nudge.reason["why"]
    named = [line.key.split(".")[1] for line in nudge.lines if line.key.startswith("nudge.")]
    work = WORK_OF.get(named[0]) if named else None
    key = f"why.{work}.{code}" if work and (work, code) in WHYS else f"why.nudge.{code}"
    return Line(key, {name: value for name, value in nudge.reason.items() if name != "why"})


WORK_OF: Mapping[str, Do] = {
    "turn": "turn",
    "nudge.turn.plain": "turn",
    "turn_water": "turn",
    "water": "water",
    "nudge.water.plain": "water",
    "browns": "add_browns",
    "greens": "add_greens",
    "cover": "cover",
}
"""The work that a nudge asks for."""


def rests_on(pile: KnownPile, outlook: Forecast) -> list[dict[str, Any]]:
    """What the forecast stands on: last reading, last feel, last turning, the air."""
    phrases = []
    for kind in ("temperature", "heat_feel", "moisture", "turned", "watered"):
        last = next((record for record in reversed(pile.records) if record.kind == kind), None)
        if last is None:
            continue
        values: dict[str, Any] = {"on_on": last.on.isoformat()}
        if kind == "temperature":
            values["core_c"] = last.core_c
        key = f"rests.{kind}.{last.word}" if last.word else f"rests.{kind}"
        phrases.append({"key": key, "values": values})
    if not phrases:
        phrases.append({"key": "rests.set_up", "values": {}})
    return [*phrases, {"key": "rests.model", "values": {"core_c": outlook.core_c.p50}}]


TROUBLE_KINDS = ("smell", "pests", "growth", "texture", "moisture", "heat_feel")


def trouble(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """The likeliest and cheapest cause first, by what is known of this pile."""
    named = [record for record, of in newest(pile, known.today) if of in TROUBLE_KINDS]
    if not named:
        not_heating(known, pile, outcome)
        return
    for record in named[:2]:
        if record.kind == "heat_feel" and record.word == "cold":
            not_heating(known, pile, outcome)
        elif record.kind == "heat_feel":
            state(known, pile, Ask("state"), outcome)
        else:
            outcome.say(f"trouble.{record.kind}" + (f".{record.word}" if record.word else ""))
            if record.word == "rodents":
                outcome.say("caution.rodents")


def newest(pile: KnownPile, today: date) -> list[tuple[Any, str]]:
    """Records of today, the last said first."""
    return [(told.record, told.record.kind) for told in reversed(pile.told) if told.record.on == today]


def not_heating(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """A pile that stays cold: too small, too dry, too wet, too brown, or done; asks for a squeeze."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    size_m3 = pile.row.setup["length_m"] * pile.row.setup["width_m"] * pile.row.setup["height_m"]
    felt = [
        record for record in pile.records if record.kind == "moisture" and (known.today - record.on).days <= 7
    ]
    if outlook.stage in ("curing", "ready"):
        outcome.say("trouble.cold.finishing")
    elif not felt:
        outcome.say("trouble.cold.squeeze")
        outcome.ask("squeeze", "feel.dry", "feel.right", "feel.soggy", pile=pile.row.id)
    elif felt[-1].word in ("dry", "bit_dry"):
        outcome.say("trouble.cold.dry", add_l=max(outlook.water_litres, 10.0))
    elif felt[-1].word in ("soggy", "bit_wet"):
        outcome.say("trouble.cold.wet")
    elif size_m3 < 0.45:
        outcome.say("trouble.cold.small")
    else:
        outcome.say("trouble.cold.brown")


def who_did(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Who turned it last, and when."""
    last = next((told for told in reversed(pile.told) if told.record.kind == "turned"), None)
    if last is None:
        outcome.say("who_did.nobody")
        return
    on = last.record.on.isoformat()
    name = pile.names.get(last.said_by)
    if last.said_by == known.person.id:
        outcome.say("who_did.you", on_on=on)
    elif name:
        outcome.say("who_did", name=name, on_on=on)
    else:
        outcome.say("who_did.other", on_on=on)


def share(_known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """A code to forward: whoever texts it joins this pile, after consenting from their own phone."""
    outcome.invite_to = pile.row.id


def rename(_known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    if not ask.name:
        outcome.say("rename.which")
        return
    outcome.renames[pile.row.id] = ask.name
    outcome.say("renamed", name=ask.name)


def tally(_known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Who turned how often: shown when asked, never pushed."""
    counts: dict[int, int] = {}
    for told in pile.told:
        if told.record.kind == "turned":
            counts[told.said_by] = counts.get(told.said_by, 0) + 1
    if not counts:
        outcome.say("who_did.nobody")
        return
    shares = [
        {"key": "tally.one", "values": {"name": pile.names.get(who) or f"#{number}", "n": n}}
        for number, (who, n) in enumerate(counts.items(), 1)
    ]
    outcome.say("tally", facts=shares)


ABOUT_PILE: Mapping[str, Answerer] = {
    "when_ready": when_ready,
    "what_next": what_next,
    "state": state,
    "picture": picture,
    "may_add": may_add,
    "mix": mix,
    "water_amount": water_amount,
    "harvest_amount": harvest_amount,
    "safe_use": safe_use,
    "trouble": trouble,
    "what_if": what_if,
    "stop_adding": stop_adding,
    "why": why,
    "who_did": who_did,
    "share": share,
    "rename": rename,
    "tally": tally,
}
