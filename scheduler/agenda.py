"""What is due for one pile, and why: from what was told, the forecast and what was already said. Pure.

A thing is due because this pile's readings or its forecast make it worth somebody's while, never because a
date has come round. What the keepers have done is not asked for. Most important first; what lies ahead is
listed too, with its moment, so that the planner knows when to look again.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from shared.care import Action, Do
from shared.forecast import Forecast
from shared.pile import Kind, Stage
from storage.piles import PileRow, Told

COOL_DOWN_C = 71.0
"""From here on (160 °F) the core is looked at again in a day: the project's safety line."""
FIRST_READING_DAYS = (2, 3)
"""A good pile shows its heat on days 1 to 4 (extension pages); asked for where nothing was heard."""
READING_EVERY_DAYS: Mapping[Stage, int] = {"warming": 2, "hot": 4, "cooling": 6, "stalled": 7}
"""How old the last word on the heat may be before another would tell something (common practice)."""
UNSURE_C = 8.0
"""Spread of the core's 80 % band from which a reading would tell much."""
TURN_REST_DAYS, WATER_REST_DAYS = 3, 2
"""So long a turn or a watering is left to work (turning more often than every 3 days is not taught)."""
WORTH_DAYS: Mapping[str, float] = {"turn": 3.0, "turn_water": 3.0, "water": 2.0}
"""Days by which it must bring `ready` forward to be worth half an hour's work, or ten minutes (judgement)."""
ASK_AGAIN_DAYS = 5
REHEAT_DAYS = (3, 10)
"""When after a turn a pile that reheats shows it."""
LITTLE_FOOD = 0.35
"""Share of readily decomposed matter left, under which the question is whether it still reheats."""
SLEEP_AIR_C, SLEEP_CORE_C, WAKE_AIR_C = 4.4, 10.0, 10.0
"""Weekly means of 40 and 50 °F, core under 50 °F (common practice thresholds)."""
NEXT_PILE_DAYS = 7
READY_AGAIN_DAYS, READY_TIMES = 30, 2

HEAT: tuple[Kind, ...] = ("temperature", "heat_feel")
KEY_OF: Mapping[Do, str] = {
    "turn": "turn",
    "water": "water",
    "add_browns": "browns",
    "add_greens": "greens",
    "cover": "cover",
}
"""Actions that are nudged for."""
DONE_BY: Mapping[str, tuple[Kind, ...]] = {
    "first_reading": HEAT,
    "reading": HEAT,
    "recheck": (*HEAT, "smoke"),
    "back": HEAT,
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


@dataclass(frozen=True, slots=True)
class Said:
    """A nudge about the pile that was sent, or waits to be: its key without "nudge.", and when."""

    key: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Due:
    """Something to say about a pile.

    key        "turn" for the message `nudge.turn`
    due_at     from when on it makes sense
    values     what the wording may use: core_c, first_on, last_on, days_since_turn always; gain_days, water_l
               and harvest_l where the key is about them
    reason     the code `why` and the numbers that led here
    gain_days  how much sooner the pile would be ready
    urgent     a matter of safety: goes through at any hour, over any budget
    """

    key: str
    due_at: datetime
    values: dict[str, Any]
    reason: dict[str, Any]
    gain_days: float | None = None
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """One set-up pile at one moment, with the questions that the rules ask of it.

    told   what holds of the pile's records, in the order told
    said   the nudges about this pile so far, to any of its keepers
    at     the moment, UTC; the pile's day is `outlook.as_of`
    """

    row: PileRow
    told: Sequence[Told]
    outlook: Forecast
    actions: Sequence[Action]
    said: Sequence[Said]
    at: datetime
    built: date = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "built", date.fromisoformat(self.row.setup["built"]))

    @property
    def today(self) -> date:
        """The pile's day."""
        return self.outlook.as_of

    @property
    def age_days(self) -> int:
        """Whole days since the build."""
        return (self.today - self.built).days

    @property
    def fed(self) -> bool:
        """Added to as its keepers go."""
        return bool(self.row.setup.get("fed"))

    @property
    def harvested(self) -> bool:
        """A batch that was taken out: nothing more to do for it."""
        return not self.fed and self.last("harvested") is not None

    @property
    def week_air_c(self) -> float:
        """Mean of the air over the last seven days."""
        week = [day.air_c for day in self.outlook.days if 0 <= (self.today - day.on).days < 7]
        return sum(week) / len(week) if week else self.outlook.air_c

    @property
    def asleep(self) -> bool:
        """Winter: too cold for anything to be worth doing, until the air is mild for a week."""
        if self.outlook.stage == "ready":
            return False
        if self.told_to_sleep:
            return self.week_air_c < WAKE_AIR_C
        return self.week_air_c < SLEEP_AIR_C and self.outlook.core_c.p50 < SLEEP_CORE_C

    @property
    def told_to_sleep(self) -> bool:
        """Whether the last word about winter was that the pile sleeps."""
        slept, woke = self.last_said("sleep"), self.last_said("wake")
        return slept is not None and (woke is None or woke < slept)

    def last(self, *kinds: Kind) -> date | None:
        """The last day on which any of this was told to have happened; a reading near the surface is none."""
        days = [each.record.on for each in self.told if each.record.kind in kinds and not each.record.edge]
        return max(days, default=None)

    def days_since(self, *kinds: Kind) -> int:
        """Days since then, or since the build."""
        return (self.today - (self.last(*kinds) or self.built)).days

    def last_said(self, *keys: str) -> datetime | None:
        """When any of this was said last."""
        return max((each.at for each in self.said if each.key in keys), default=None)

    def said_within(self, days: int, *keys: str) -> bool:
        """Whether any of this was said in the last days."""
        last = self.last_said(*keys)
        return last is not None and (self.today - last.astimezone(ZoneInfo(self.row.zone)).date()).days < days

    def on(self, day: date) -> datetime:
        """From when on something is due on that day of the pile; now, where the day has come."""
        if day <= self.today:
            return self.at
        return datetime.combine(day, time.min, ZoneInfo(self.row.zone)).astimezone(UTC)

    def due(self, key: str, why: str, on: date | None = None, **more: Any) -> Due:
        """A due thing: the values that every wording may use, the reason with the numbers behind it."""
        ready = self.outlook.ready
        core_c = round(self.outlook.core_c.p50, 1)
        common = {
            "core_c": core_c,
            "days_since_turn": self.days_since("turned"),
            "first_on": ready.p10.isoformat(),
            "last_on": ready.p90.isoformat(),
        }
        numbers = more.pop("numbers", {"core_c": core_c})
        gain_days = more.get("gain_days")
        return Due(
            key, self.on(on or self.today), common | more, {"why": why} | dict(numbers), gain_days=gain_days
        )


def agenda(case: Case) -> tuple[Due, ...]:
    """What is due for a set-up pile by now or later, most important first."""
    rechecks = [again] if (again := recheck(case.told, case.said)) else []
    if any(action.do == "keep_away" for action in case.actions):
        return tuple(rechecks)
    if case.harvested:
        return (*rechecks, *next_pile(case))
    if case.asleep:
        return (*rechecks, *sleep(case))
    rules = (wake, ready, first_reading, work, reheat, curing, reading)
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
    """Winter has come: said once, then nothing until it is over."""
    if not case.told_to_sleep:
        yield case.due("sleep", "sleep", numbers={"air_c": round(case.week_air_c, 1)})


def wake(case: Case) -> Iterator[Due]:
    """A mild week after winter."""
    if case.told_to_sleep:
        yield case.due("wake", "wake", numbers={"air_c": round(case.week_air_c, 1)})


def ready(case: Case) -> Iterator[Due]:
    """It is ready, or the bottom of a fed pile is; asked once more a month later where nobody answered."""
    bottom = case.fed and any(action.do == "harvest" for action in due_now(case))
    if case.outlook.stage != "ready" and not bottom:
        return
    times = sum(each.key == "ready" for each in case.said)
    if case.said_within(READY_AGAIN_DAYS, "ready") or (times >= READY_TIMES and not case.fed):
        return
    litres = case.outlook.bottom_litres if bottom else case.outlook.harvest_litres.p50
    yield case.due("ready", "ready", harvest_l=round(litres))


def first_reading(case: Case) -> Iterator[Due]:
    """The first look into the pile, on day 2 or 3, where nobody has said how warm it is."""
    first, last = FIRST_READING_DAYS
    if case.age_days <= last and case.last(*HEAT) is None and case.last_said("first_reading") is None:
        yield case.due("first_reading", "first_reading", case.built + timedelta(first))


def work(case: Case) -> Iterator[Due]:
    """Turn, water, browns, greens, cover: in the order of care, each where it is worth the work."""
    now = due_now(case)
    water = next((action for action in now if action.do == "water"), None)
    turns = any(action.do == "turn" for action in now)
    for action in case.actions:
        key = KEY_OF.get(action.do)
        if key is None or (key == "water" and turns and action in now):
            continue
        if key == "turn" and action in now and water is not None:
            key = "turn_water"
        if not worth_it(case, key, action) or case.said_within(ASK_AGAIN_DAYS, key):
            continue
        litres = water.litres if key == "turn_water" and water else action.litres
        extra = {"water_l": round(litres)} if litres else {}
        gain = {"gain_days": max(0, round(action.gain_days or 0))}
        yield case.due(key, action.why, action.on, **extra, **gain, numbers=action.numbers or {})
    yield from ahead(case)


def ahead(case: Case) -> Iterator[Due]:
    """Days on which the forecast expects turning or watering to become worthwhile."""
    for key, day in (("turn", case.outlook.turn_due), ("water", case.outlook.water_due)):
        if day is not None and day > case.today:
            yield case.due(key, "forecast", day)


def worth_it(case: Case, key: str, action: Action) -> bool:
    """Whether it gains enough for its work and was not just done. Trouble (no gain given) is worth it."""
    if key in ("turn", "turn_water") and case.days_since("turned") < TURN_REST_DAYS:
        return False
    if key == "water" and case.last("watered") is not None and case.days_since("watered") < WATER_REST_DAYS:
        return False
    if action.gain_days is None:
        return True
    never = case.row.setup.get("turning") == "never" and key in ("turn", "turn_water")
    return not never and action.gain_days >= WORTH_DAYS.get(key, 0.0)


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
        yield case.due("curing", "curing")


def reading(case: Case) -> Iterator[Due]:
    """A reading or a hand's feel, where the last is old and another would tell."""
    every = READING_EVERY_DAYS.get(case.outlook.stage)
    if every is None or case.said_within(every, "reading", "first_reading", "reheat"):
        return
    measure = any(action.do == "measure" for action in due_now(case))
    core = case.outlook.core_c
    if measure or core.p90 - core.p10 >= UNSURE_C:
        heard = max(case.last(*HEAT) or case.built, case.built + timedelta(FIRST_READING_DAYS[0]))
        yield case.due("reading", "reading", heard + timedelta(every))


def answered_by(kind: Kind) -> Iterable[str]:
    """The nudges that a record of this kind answers."""
    return [key for key, kinds in DONE_BY.items() if kind in kinds]
