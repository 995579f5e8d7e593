"""One thing to do with a pile: what, why, when and how much. The contract, and the makers of each action."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Literal

from shared.materials import material
from shared.mix import improve, parts_of, water_to_add_kg
from shared.signs import TURN_REST_DAYS
from shared.situation import Situation
from shared.units import L_PER_M3

Do = Literal[
    "turn",
    "water",
    "add_browns",
    "add_greens",
    "cover",
    "wait",
    "measure",
    "stop_adding",
    "cure",
    "harvest",
    "keep_away",
    "enlarge",
]

WHYS: Mapping[tuple[Do, str], tuple[str, ...]] = MappingProxyType(
    {
        # danger; keep_away comes alone
        ("keep_away", "smoke"): (),
        ("keep_away", "danger_heat"): ("core_c",),
        ("water", "too_hot_dry"): ("core_c", "moisture", "first_litres"),
        ("turn", "too_hot"): ("core_c",),
        ("measure", "recheck_heat"): ("core_c",),
        ("measure", "watch_heat"): ("core_c",),
        ("measure", "after_danger"): ("days_since_danger",),
        # turn
        ("turn", "cooling_food_left"): ("core_c", "peak_c", "days_since_turn"),
        ("turn", "hot_mixing"): ("core_c", "days_since_turn"),
        ("turn", "stalled_food_left"): ("core_c", "air_c", "days_since_turn"),
        ("turn", "airless"): ("free_air", "days_since_turn"),
        ("turn", "matted"): ("days_since_turn",),
        ("turn", "soggy"): ("moisture", "days_since_turn"),
        ("turn", "ammonia"): ("days_since_turn",),
        ("turn", "rotten"): ("days_since_turn",),
        ("turn", "sour"): ("days_since_turn",),
        ("turn", "food_left"): ("days_since_turn",),
        ("turn", "rodents"): (),
        # water: `litres` in all, `first_litres` now, then squeeze again
        ("water", "dry"): ("moisture", "first_litres"),
        ("water", "ants"): ("moisture", "first_litres"),
        ("water", "powdery"): ("moisture", "first_litres"),
        ("water", "dry_curing"): ("moisture", "first_litres"),
        ("water", "drying"): ("moisture",),
        # browns and greens
        ("add_browns", "ammonia"): (),
        ("add_browns", "soggy"): ("moisture",),
        ("add_browns", "rotten"): (),
        ("add_browns", "sour"): (),
        ("add_browns", "flies"): (),
        ("add_browns", "larvae"): (),
        ("add_browns", "too_rich"): ("c_n",),
        ("add_greens", "too_brown"): ("c_n",),
        ("enlarge", "too_small"): ("volume_m3",),
        # cover
        ("cover", "rain"): ("moisture",),
        ("cover", "sun"): ("moisture",),
        ("cover", "cold"): ("air_c",),
        # nothing to do but look or wait
        ("wait", "just_built"): ("days_since_build",),
        ("wait", "just_turned"): ("days_since_turn",),
        ("wait", "just_watered"): ("days_since_water",),
        ("wait", "hot"): ("core_c",),
        ("wait", "warming"): ("core_c",),
        ("wait", "frozen"): ("air_c",),
        ("wait", "winter"): ("air_c",),
        ("wait", "on_track"): ("core_c",),
        ("wait", "harvested"): ("days_since_harvest",),
        ("measure", "first_reading"): ("days_since_build",),
        ("measure", "not_heard"): ("days_since_heard",),
        ("measure", "did_it_reheat"): ("days_since_turn",),
        ("measure", "still_cold"): ("days_since_turn",),
        ("measure", "looks_done"): ("days_since_build",),
        # the end
        ("stop_adding", "full"): ("volume_m3",),
        ("stop_adding", "rodents"): (),
        ("cure", "food_spent"): ("fast_left", "days_to_ready"),
        ("cure", "resting"): ("days_to_ready",),
        ("cure", "still_raw"): (),
        ("harvest", "ready"): ("harvest_litres",),
        ("harvest", "bottom_ready"): ("bottom_litres",),
    }
)
"""Every pair of action and reason that care can give, with the numbers that come with it.

Temperatures in °C, moisture, free_air and fast_left as shares, c_n [kg/kg], the rest as named.
"""

TOO_BROWN, TOO_RICH = 40.0, 20.0
"""C:N outside the fair band (NRAES-54: 20-40)."""
WATER_GOAL, WATER_GOAL_CURING = 0.53, 0.45
"""Middle of the preferred moisture, a little on the dry side: adding is easier than taking out."""
CAN_L_M3 = 10.0
DRY_KG_M3 = 130.0
"""Dry matter in a settled pile, where nothing better is known (from 800-1,200 lb/yd³ at 60-75 % water)."""


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do, in the order of doing. `on` is None where it is due now.

    why       a code; (do, why) is a key of WHYS, worded elsewhere
    litres    loose volume or water; for water in all, `first_litres` of it now, then squeeze again
    numbers   what the reason rests on, unit in each name, those that WHYS lists
    minutes   what it costs in work, roughly
    """

    do: Do
    why: str
    on: date | None = None
    litres: float | None = None
    gain_days: float | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
    minutes: float = 0.0


Actions = tuple[Action, ...]


def act(
    now: Situation,
    do: Do,
    why: str,
    on: date | None = None,
    litres: float | None = None,
    gain_days: float | None = None,
    **more: float,
) -> Action:
    """An action with the numbers that WHYS lists for it, and its work; `more` overrides a number."""
    known = {
        "core_c": now.core_c,
        "air_c": now.air_c,
        "peak_c": now.peak_c,
        "moisture": now.moisture,
        "free_air": now.outlook.free_air.p50,
        "c_n": now.c_n,
        "fast_left": now.outlook.fast_left.p50,
        "volume_m3": now.volume_m3,
        "harvest_litres": now.outlook.harvest_litres.p50,
        "bottom_litres": now.outlook.bottom_litres,
        "days_to_ready": float((now.outlook.ready.p50 - now.outlook.as_of).days),
        "days_since_build": float(now.age_days),
        "days_since_turn": float(now.rested_days),
        "days_since_heard": float(now.heard_days_ago),
        "days_since_water": float(now.watered_days_ago or 0),
        "days_since_harvest": float(now.harvested_days_ago or 0),
        "days_since_danger": float(now.days_since_danger),
        **more,
    }
    numbers = {name: known[name] for name in WHYS[do, why]}
    return Action(do, why, on, litres, gain_days, numbers, _minutes(do, now.volume_m3))


def turn(now: Situation, why: str, on: date | None = None) -> Action:
    """A turning, not before the third day after the last one."""
    rest = TURN_REST_DAYS - (TURN_REST_DAYS if now.turned_days_ago is None else now.turned_days_ago)
    day = now.in_days(rest) if rest > 0 else on
    return act(now, "turn", why, on=day, gain_days=max(0.0, round(now.outlook.turn_gain_days, 1)))


def water(now: Situation, why: str) -> Action:
    """A watering by the forecast's amount, or by the squeeze where that asks for more."""
    litres = 0.0 if now.outlook.stage == "curing" else now.outlook.water_litres
    if litres <= 0 or now.moisture_felt:
        litres = max(litres, _water_litres(now))
    litres = float(max(2, round(litres)))
    return act(
        now,
        "water",
        why,
        litres=litres,
        gain_days=max(0.0, round(now.outlook.water_gain_days, 1)),
        first_litres=float(round(litres / 2)),
    )


def _water_litres(now: Situation) -> float:
    """Water to the goal for the dry matter of a pile of this size, at least a can to the cubic metre.

    Fresh greens hide their water from the hand: the amount goes halfway between the squeeze and the forecast.
    """
    goal = WATER_GOAL_CURING if now.outlook.stage == "curing" else WATER_GOAL
    moisture = (now.moisture + now.outlook.moisture.p50) / 2
    least = CAN_L_M3 * now.volume_m3
    if moisture >= goal:
        return least
    return max(least, water_to_add_kg(now.volume_m3 * DRY_KG_M3 / (1 - moisture), moisture, goal))


def _minutes(do: Do, volume_m3: float) -> float:
    """Work in minutes, by size where that counts. Common practice: a 3 ft cube turns in 20 to 30."""
    each_m3 = {"turn": 33.0, "harvest": 60.0, "water": 10.0}
    flat = {"add_browns": 15.0, "add_greens": 15.0, "enlarge": 60.0, "cover": 5.0, "measure": 3.0}
    return float(round(each_m3[do] * volume_m3)) if do in each_m3 else flat.get(do, 0.0)


def browns(now: Situation, why: str) -> Action:
    """A layer of browns over flies, about a quarter of the pile otherwise, more where the mix asks for it."""
    if why in ("flies", "larvae"):
        return act(now, "add_browns", why, litres=_round_litres(0.07 * now.volume_m3 * L_PER_M3))
    quarter = 0.25 * now.volume_m3 * L_PER_M3
    asked = _remedy_litres(now)[0] if why in ("too_rich", "ammonia") else 0.0
    return act(now, "add_browns", why, litres=_round_litres(max(quarter, min(asked, 2 * quarter))))


def greens(now: Situation) -> Action:
    """Greens as the mix of the build asks for, an eighth to a half of the pile."""
    quarter = 0.25 * now.volume_m3 * L_PER_M3
    asked = _remedy_litres(now)[1]
    return act(
        now, "add_greens", "too_brown", litres=_round_litres(max(0.5 * quarter, min(asked, 2 * quarter)))
    )


def more_browns(now: Situation, why: str) -> Actions:
    """Browns, unless they went in since."""
    return () if "browned" in now.told else (browns(now, why),)


def more_greens(now: Situation) -> Actions:
    """Greens for a pile far too brown that has not been hot for three weeks."""
    return (greens(now),) if now.c_n > TOO_BROWN and now.peak_c < 45 and now.food_left else ()


def cover_from_rain(now: Situation) -> Actions:
    return () if now.covered else (act(now, "cover", "rain"),)


def cover_from_sun(now: Situation) -> Actions:
    return () if now.covered or now.air_c < 20 else (act(now, "cover", "sun"),)


def cover_from_cold(now: Situation) -> Actions:
    return () if now.covered else (act(now, "cover", "cold"),)


def _remedy_litres(now: Situation) -> tuple[float, float]:
    """Browns and greens that the mix of the build asks for."""
    if not any(ingredient.volume_m3 > 0 for ingredient in now.pile.ingredients):
        return 0.0, 0.0
    remedy = improve(parts_of(now.pile.ingredients), material("dry_leaves"), material("grass_clippings"))
    return remedy.browns_litres, remedy.greens_litres


def _round_litres(litres: float) -> float:
    return float(max(5, 5 * round(litres / 5)))
