"""What is due for one pile, and why: from what was told, the forecast and what was already said. Pure.

A thing is due because this pile's readings or its forecast make it worth somebody's while, never because a
date has come round. What the keepers have done is not asked for. Most important first; what lies ahead is
listed too, with its moment, so that the planner knows when to look again.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from scheduler.case import Case, Due, Said
from shared.care import Action, Do
from shared.cautions import COOL_DOWN_C
from shared.pile import Kind, Stage
from storage.piles import Told

FIRST_READING_DAYS = (2, 3)
"""After the build or, later, the set-up: a good pile shows its heat on days 1 to 4 (extension pages)."""
READING_EVERY_DAYS: Mapping[Stage, int] = {"warming": 2, "hot": 4, "cooling": 6, "stalled": 10}
READING_EVERY_DAYS_FED = 28
"""How old the last word on the heat may be before another would tell something (common practice); twice as
old after the first four weeks, when things go slowly. A pile that is fed is seldom hot."""
LEFT_ALONE_DAYS: Mapping[Stage, int] = {"warming": 3, "hot": 3, "cooling": 5, "stalled": 7}
"""After any word of the keeper no reading is asked for: the reply has said what to do and by when."""
ADVISED_DAYS = 2
"""The reply to the keeper's last word asked for the work "today or tomorrow": so long it is theirs to do."""
CURING_TOLD_DAYS = 7
"""A reply in the cure says "let it rest" by itself."""
LEARNED_DAYS = 28
UNSURE_C = 8.0
"""Spread of the core's 80 % band from which a reading would tell much."""
TURN_REST_DAYS, WATER_REST_DAYS = 3, 2
"""So long a turn or a watering is left to work (turning more often than every 3 days is not taught)."""
WORTH_DAYS: Mapping[str, float] = {
    "cooling_food_left": 2.0,
    "stalled_food_left": 2.0,
    "hot_mixing": 3.0,
    "food_left": 3.0,
}
"""Days by which a turn must bring `ready` forward to be worth half an hour's work (judgement): few where
the pile has lost its heat, more where it goes on by itself. Trouble is worth it whatever it gains."""
WORTH_DAYS_UNTURNED = 7.0
"""For a keeper who said that they never turn."""
ASK_AGAIN_DAYS: Mapping[str, int] = {"turn": 5, "turn_water": 5, "water": 5}
ASK_AGAIN_LATER_DAYS = 14
"""How long the same work is not asked for again; browns, greens and a cover have to be found first, and a
pile that is fed goes on without being turned."""
ENOUGH_TIMES, ENOUGH_DAYS = 2, 28
"""One follow-up; if it is not done then, it is left alone for long: nobody is scolded."""
REHEAT_DAYS = (3, 10)
"""When after a turn a pile that reheats shows it."""
LITTLE_FOOD = 0.35
"""Share of readily decomposed matter left, under which the question is whether it still reheats."""
WINTER_DAYS = 180
NEXT_PILE_DAYS = 7
READY_AGAIN_DAYS, READY_TIMES = 45, 2

HEAT: tuple[Kind, ...] = ("temperature", "heat_feel")
KEY_OF: Mapping[Do, str] = {
    "turn": "turn",
    "water": "water",
    "add_browns": "browns",
    "add_greens": "greens",
    "cover": "cover",
}
"""Actions that are nudged for."""
SAME_WORK: Mapping[str, tuple[str, ...]] = {
    "turn": ("turn", "turn_water"),
    "turn_water": ("turn", "turn_water"),
    "water": ("water", "turn_water"),
}
"""Nudges that ask for the same work."""
DONE_BY: Mapping[str, tuple[Kind, ...]] = {
    "first_reading": HEAT,
    "reading": HEAT,
    "recheck": (*HEAT, "smoke"),
    "back": (*HEAT, "moisture"),
    "wake": ("moisture",),
    "reheat": HEAT,
    "turn": ("turned", "not_turned"),
    "turn_water": ("turned", "not_turned", "watered"),
    "water": ("watered",),
    "browns": ("added",),
    "greens": ("added",),
    "cover": ("covered",),
    "ready": ("harvested", "texture"),
}
"""The records that answer a nudge."""


def agenda(case: Case) -> tuple[Due, ...]:
    """What is due for a set-up pile by now or later, most important first."""
    rechecks = [again] if (again := recheck(case.told, case.said)) else []
    if any(action.do == "keep_away" for action in case.actions):
        return tuple(rechecks)
    if case.harvested:
        return (*rechecks, *next_pile(case))
    if case.asleep:
        return (*rechecks, *sleep(case))
    rules = (wake, ready, first_reading, reheat, work, curing, reading)
    return (*rechecks, *(due for rule in rules for due in rule(case)))


def recheck(told: Sequence[Told], said: Sequence[Said]) -> Due | None:
    """A core of 71 °C or more is looked at again a day after it was told, unless somebody has since."""
    heat = [each for each in told if each.record.kind in DONE_BY["recheck"] and not each.record.edge]
    if not heat or heat[-1].record.core_c is None or heat[-1].record.core_c < COOL_DOWN_C:
        return None
    hot = heat[-1]
    if any(each.key == "recheck" and each.at > hot.said_at for each in said):
        return None
    core_c = hot.record.core_c
    numbers = {"core_c": core_c}
    return Due("recheck", hot.said_at + timedelta(days=1), numbers, {"why": "recheck"} | numbers, urgent=True)


def next_pile(case: Case) -> Iterator[Due]:
    """Some days after the harvest: another one?"""
    harvested = case.last("harvested")
    if harvested is not None and case.last_said("next_pile") is None:
        yield case.due("next_pile", "next_pile", harvested + timedelta(NEXT_PILE_DAYS))


def sleep(case: Case) -> Iterator[Due]:
    """Winter has come: said once a winter, then nothing until it is over."""
    if not case.said_within(WINTER_DAYS, "sleep"):
        yield case.due("sleep", "sleep", numbers={"air_c": round(case.week_air_c, 1)})


def wake(case: Case) -> Iterator[Due]:
    """A mild week after winter."""
    if case.told_to_sleep:
        yield case.due("wake", "wake", numbers={"air_c": round(case.week_air_c, 1)})


def ready(case: Case) -> Iterator[Due]:
    """It is ready, or the bottom of a fed pile is; asked once more, weeks later, where nobody answered."""
    bottom = case.fed and case.outlook.bottom_litres > 0 and any(a.do == "harvest" for a in due_now(case))
    if case.outlook.stage != "ready" and not bottom:
        return
    times = sum(each.key == "ready" for each in case.said)
    if case.said_within(READY_AGAIN_DAYS, "ready") or (times >= READY_TIMES and not bottom):
        return
    litres = case.outlook.bottom_litres if bottom else case.outlook.harvest_litres.p50
    yield case.due("ready", "ready", word_over(case, ADVISED_DAYS), harvest_l=round(litres))


def first_reading(case: Case) -> Iterator[Due]:
    """The first look into a new pile, where nobody has said how warm it is."""
    first, last = FIRST_READING_DAYS
    if case.last(*HEAT) is None and case.last_said("first_reading") is None and case.age_days < 7:
        known = max(case.built, case.founded)
        if (case.today - known).days <= last:
            yield case.due("first_reading", "first_reading", known + timedelta(first))


def work(case: Case) -> Iterator[Due]:
    """Turn, water, browns, greens, cover: in the order of care, each where it is worth the work.

    Water that is due with a turn goes into the same words; alone it follows, for who cannot turn.
    """
    now = [action for action in due_now(case) if worth_it(case, action)]
    turn = next((action for action in now if action.do == "turn"), None)
    water = next((action for action in now if action.do == "water"), None)
    if turn is not None and water is not None:
        now = [action for action in now if action is not turn]
        now.insert(0, turn)
    for action in now:
        both = action is turn and water is not None
        key = "turn_water" if both else KEY_OF[action.do]
        if not asked_enough(case, key):
            litres = water.litres if both and water is not None else action.litres
            yield asked_for(case, key, action, litres)
    yield from ahead(case)


def asked_enough(case: Case, key: str) -> bool:
    """Whether this work was asked for or declined lately, or asked for often enough without being done."""
    keys = SAME_WORK.get(key, (key,))
    declined = case.last("not_turned") if "turn" in keys else None
    if declined is not None and (case.today - declined).days < ASK_AGAIN_DAYS["turn"]:
        return True
    done = case.last(*DONE_BY[key])
    times = sum(each.key in keys and (done is None or each.at.date() > done) for each in case.said)
    later = case.fed and "turn" in keys
    pause = ASK_AGAIN_LATER_DAYS if later else ASK_AGAIN_DAYS.get(key, ASK_AGAIN_LATER_DAYS)
    seldom = times >= ENOUGH_TIMES or (case.never_turned and key in ("turn", "turn_water"))
    return case.said_within(ENOUGH_DAYS if seldom else pause, *keys)


def asked_for(case: Case, key: str, action: Action, litres: float | None) -> Due:
    """The due thing for one action of care, with its reason and numbers."""
    values: dict[str, Any] = {"water_l": round(litres)} if litres and "water" in key else {}
    if action.gain_days is not None and round(action.gain_days) >= 1:
        values["gain_days"] = round(action.gain_days)
    return case.due(key, action.why, word_over(case, ADVISED_DAYS), numbers=action.numbers, **values)


def word_over(case: Case, days: int) -> date:
    """The day on which our reply to the last word of a keeper has stood for so long."""
    return case.today if case.last_word is None else case.last_word + timedelta(days)


def ahead(case: Case) -> Iterator[Due]:
    """Days on which care or the forecast expects work to become worthwhile: when to look again."""
    by_care = [action.on for action in case.actions]
    for day in (case.outlook.turn_due, case.outlook.water_due, *by_care):
        if day is not None and day > case.today:
            yield case.due("look", "forecast", day)


def worth_it(case: Case, action: Action) -> bool:
    """Whether an action is one to nudge for, gains enough for its work, and was not just done."""
    if action.do not in KEY_OF:
        return False
    if action.do == "turn" and case.last("turned") and case.days_since("turned") < TURN_REST_DAYS:
        return False
    if action.do == "water" and case.last("watered") and case.days_since("watered") < WATER_REST_DAYS:
        return False
    worth_days = WORTH_DAYS.get(action.why, 0.0)
    if worth_days and case.never_turned:
        worth_days = WORTH_DAYS_UNTURNED
    return action.gain_days is None or action.gain_days >= worth_days


def due_now(case: Case) -> list[Action]:
    """The actions of care whose day has come."""
    return [action for action in case.actions if action.on is None or action.on <= case.today]


def reheat(case: Case) -> Iterator[Due]:
    """Has it stopped reheating? Asked once after a turn, when little food is left and nobody has looked."""
    turned = case.last("turned")
    if turned is None or case.outlook.stage not in ("cooling", "curing") or case.fed:
        return
    looked, asked = case.last(*HEAT), case.last_said("reheat")
    first, last = REHEAT_DAYS
    if (looked is not None and looked > turned) or case.days_since("turned") > last:
        return
    if case.outlook.fast_left.p50 > LITTLE_FOOD or (asked is not None and asked.date() >= turned):
        return
    yield case.due("reheat", "reheat", turned + timedelta(first))


def curing(case: Case) -> Iterator[Due]:
    """That it cures now, told once."""
    if case.outlook.stage == "curing" and not case.fed and case.last_said("curing") is None:
        yield case.due("curing", "curing", word_over(case, CURING_TOLD_DAYS))


def reading(case: Case) -> Iterator[Due]:
    """A reading or a hand's feel, where the last is old and another would tell."""
    every = READING_EVERY_DAYS.get(case.outlook.stage)
    if every is not None and case.age_days >= LEARNED_DAYS:
        every = READING_EVERY_DAYS_FED if case.fed else 2 * every
    if every is None or case.said_within(every, "reading", "first_reading", "reheat"):
        return
    measure = any(action.do == "measure" for action in due_now(case))
    core = case.outlook.core_c
    if measure or core.p90 - core.p10 >= UNSURE_C:
        heard = max(case.last(*HEAT) or case.built, case.founded)
        free_on = word_over(case, LEFT_ALONE_DAYS[case.outlook.stage])
        yield case.due("reading", "reading", max(heard + timedelta(every), free_on))


def answered_by(kind: Kind) -> Iterable[str]:
    """The nudges that a record of this kind answers."""
    return [key for key, kinds in DONE_BY.items() if kind in kinds]
