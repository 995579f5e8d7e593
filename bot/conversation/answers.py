"""Answers to what people ask: one small function for each kind of ask, found in a table.

ABOUT_PILE has those about a pile; what needs none stands in `wishes.py`. Each adds lines to the outcome.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from bot.conversation import adding, sharing
from bot.conversation.keeper import bed_covered_m2
from bot.conversation.steps import next_step, tell_range
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.conversation.trouble import trouble
from bot.language.meaning import Ask
from bot.language.wording import Voice
from shared.care import WHYS, Do
from shared.cautions import holds_manure
from shared.forecast import Forecast, Habit
from shared.harvest import fit_from
from shared.hygiene import harvest_from, treat_as_raw
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
    if pile.row.setup.get("fed"):
        some = outlook.bottom_litres >= BUCKET_L / 2
        outcome.say("bottom.some" if some else "bottom.none", some_bulk=outlook.bottom_litres)
        return
    readings = sum(1 for record in pile.records if record.kind in ("temperature", "heat_feel"))
    if readings < 2:
        outcome.say("range.few_readings")
    elif outlook.moved:
        outcome.say(f"moved.{outlook.moved[0]}")


def what_next(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    found = known.look(pile.row, pile.records, known.today)
    next_step(known, pile, pile.records, found, outcome, asked=True)


def state(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Stage, the core now, the range, the next action; a ready pile is told by the action alone."""
    outlook, actions = known.look(pile.row, pile.records, known.today)
    if actions[0].do != "harvest":
        days = (known.today - pile.built).days
        outcome.say(f"stage.{outlook.stage}", age=days, core_c=outlook.core_c.p50)
        tell_range(pile, outlook, outcome)
    next_step(known, pile, pile.records, (outlook, actions), outcome, why=False)


def picture(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The readings in words, which every phone can show, and the picture where the channel can."""
    outcome.picture_of = pile.row.id
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


def water_amount(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """How much, half of it now: a squeeze decides on the rest."""
    outlook, actions = known.look(pile.row, pile.records, known.today)
    due = next((action.litres for action in actions if action.do == "water" and action.litres), 0.0)
    litres = max(due, outlook.water_litres)
    if litres < 1:
        outcome.say("water.none")
        return
    outcome.say("water.amount", add_l=litres, half_l=litres / 2)
    if not known.profile.watering.hose:
        outcome.say("water.no_hose")
    if rule := known.profile.watering.rule.get(known.person.language):
        outcome.say("water.rule", rule=rule)


def harvest_amount(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Volume as a range and the bed that it covers an inch deep. A harvest already told is taken as it is."""
    taken = [record.litres for record in pile.records if record.kind == "harvested" and record.litres]
    if taken:
        outcome.say("harvest.taken", some_bulk=taken[-1], bed_m2=bed_covered_m2(taken[-1]))
    else:
        outlook, _ = known.look(pile.row, pile.records, known.today)
        low, high = outlook.harvest_litres.p10, outlook.harvest_litres.p90
        middle_m2 = bed_covered_m2(outlook.harvest_litres.p50)
        outcome.say("harvest.amount", low_vol=low, high_l=high, bed_m2=middle_m2)
    outcome.say("harvest.use")


def safe_use(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Whether it may be used: first by the manure rule where manure went in, then by its stage."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    if holds_manure(Piles.pile(pile.row, None, None), pile.records):
        dug_in = {
            "touching_on": harvest_from(known.today, touches_soil=True).isoformat(),
            "clear_on": harvest_from(known.today, touches_soil=False).isoformat(),
        }
        outcome.say("use.manure" if treat_as_raw(outlook.credit) else "use.manure_heated", **dug_in)
    outcome.say(f"use.{'ready' if outlook.stage == 'ready' else 'unfinished'}")
    pots_on = fit_from("potting_mix", outlook.ready.p50)
    if outlook.stage == "ready" and pots_on > known.today:
        outcome.say("use.pots", pots_on=pots_on.isoformat())
    tell_range(pile, outlook, outcome, only_if_moved=outlook.stage == "ready")
    if outlook.credit.hours_over_55c >= 1:
        outcome.say("use.hygiene", hot_c=55.0, hot_hours=outlook.credit.hours_over_55c)


def what_if(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The same pile under another habit, or with nothing done at all; the plan itself stays as it is."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    habit = outlook.habit if ask.topic == "no_add" else HABITS.get(ask.topic or "", Habit(None, None))
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
    if ask.topic in ("no_turn", None):
        outcome.say("what_if.no_turn_cost")


HABITS: Mapping[str, Habit] = {
    "no_turn": Habit(None, None),
    "turn_weekly": Habit(7.0, None),
    "no_water": Habit(None, None),
    "water_weekly": Habit(None, 7.0),
}


def why(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """The real inputs of the nudge that waits for an answer, or of the next step where none does."""
    outlook, actions = known.look(pile.row, pile.records, known.today)
    nudge = known.last
    heard = known.person.last_heard_at
    unanswered = nudge is not None and nudge.sent_at is not None and (heard is None or heard < nudge.sent_at)
    if nudge is not None and unanswered and nudge.pile_id == pile.row.id:
        outcome.lines.append(why_nudged(nudge))
    else:
        outcome.lines.append(Line(f"why.{actions[0].do}.{actions[0].why}", dict(actions[0].numbers)))
        if actions[0].minutes >= WORTH_TELLING_MIN:
            outcome.say("why.work", work_minutes=5 * round(actions[0].minutes / 5))
        why_quiet(known, pile, outcome)
    outcome.say("why.rests_on", facts=rests_on(pile, outlook))


def why_quiet(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """What kept the last message back that this keeper would have got, where nothing has gone out since."""
    held, last = known.held, known.last
    if held is None or held.pile_id != pile.row.id or held.why_not not in WHY_HELD:
        return
    if last is None or last.due_at <= held.due_at:
        outcome.say("why.held", reason=[{"key": f"held.{WHY_HELD[held.why_not]}", "values": {}}])


WHY_HELD = {
    "wrote within a day": "wrote",
    "one a day": "gap",
    "gap": "gap",
    "gap doubled": "doubled",
    "budget": "budget",
    "four unanswered": "silent",
    "outside their hours": "hours",
    "paused": "paused",
    "only about water": "only",
    "only about turn": "only",
    "cannot turn": "cannot",
    "staff": "staff",
    "done meanwhile": "done",
    "another keeper does it": "other",
    "nobody is free for it": "nobody",
}
"""Why restraint keeps a message back, by the sentence that says so."""
WORTH_TELLING_MIN = 15.0
"""Work that somebody would rather know of before they fetch the fork. [min]"""


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


def rename(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    picked = Voice(known.person.language, known.person.units, known.today)
    name = picked.line(Line(f"option.{ask.topic}", {})) if ask.topic else ask.name
    if not name:
        outcome.say("rename.which")
        outcome.ask("rename", "front", "back", "pass", pile=pile.row.id)
        return
    outcome.renames[pile.row.id] = name
    outcome.say("renamed", name=name)
    outcome.opens = {}


ABOUT_PILE: Mapping[str, Answerer] = {
    "when_ready": when_ready,
    "what_next": what_next,
    "state": state,
    "picture": picture,
    "may_add": adding.may_add,
    "mix": adding.mix,
    "water_amount": water_amount,
    "harvest_amount": harvest_amount,
    "safe_use": safe_use,
    "trouble": trouble,
    "what_if": what_if,
    "stop_adding": adding.stop_adding,
    "why": why,
    "rename": rename,
    **sharing.ANSWERS,
}
