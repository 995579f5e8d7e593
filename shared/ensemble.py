"""Likely piles: members that differ in what nobody knows, built as told, run up to today and on."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from shared import decay, life, prior, tending, weather
from shared.errors import BadInput
from shared.history import History, matter
from shared.lanes import PILE, TRAITS
from shared.materials import material
from shared.pile import MOUND_SHARE, Pile
from shared.traces import LONGEST_DAYS, TRACES, Sky

Array = npt.NDArray[np.float64]
Seen = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]

MEMBERS = 512

PIECES_SPEED = {"fine": 1.08, "mixed": 1.0, "coarse": 0.9}  # assumed
INTENDED_DAYS = {"weekly": 7.0, "fortnightly": 14.0, "monthly": 30.0, "never": 700.0}
INTENT_WORTH = {"weekly": 2.0, "fortnightly": 2.0, "monthly": 2.0, "never": 0.3, None: 1.0}
KEPT_PROMISE = 0.65  # of intended turnings; keepers forget (assumed)
WATERED_WHEN_DRY_DAYS = 25.0  # between waterings of a dry pile, before anything is known (assumed)
WATERED_BELOW = 0.50
HABIT_DRIFT = 0.3  # even a well-known habit changes (assumed)
DENSEST_KG_M3 = 900.0
USUAL_DRY_KG_M3 = 120.0  # in a built pile: 300 kg/m³ at 60 % moisture
DOUBT_OF_VOLUMES = 0.15  # how far a told mass is drawn to the usual one: told volumes are off by 30 %


@dataclass(frozen=True, slots=True)
class Likely:
    """The members of one pile.

    own        drawn values by the names of `prior.PRIOR` [member]
    traits, piles, loads   what `life.run` takes
    start                  what was built: fast, moderate, slow, ash [kg, member by pool]
    squeezed               volumes were too much for the pile's size, and cut
    """

    own: Mapping[str, Array]
    traits: npt.NDArray[np.void]
    piles: npt.NDArray[np.void]
    loads: Array
    start: Array
    squeezed: bool


def built_volume_m3(pile: Pile) -> float:
    """Volume of the pile as built: its box, half of it for a mound, never more than its loose ingredients."""
    box = pile.length_m * pile.width_m * pile.height_m
    loose = sum(part.volume_m3 for part in pile.ingredients)
    return min(box if pile.bin else MOUND_SHARE * box, loose)


def draw(pile: Pile, history: History, air_c: float, seed: int, members: int = MEMBERS) -> Likely:
    """Draw the members of a pile at its build. Raises BadInput without ingredients or size."""
    if not any(part.volume_m3 > 0.0 for part in pile.ingredients):
        raise BadInput(f"pile {pile.id}: no ingredients; name at least one material with its volume")
    if min(pile.length_m, pile.width_m, pile.height_m) <= 0.0:
        raise BadInput(f"pile {pile.id}: its size must be more than 0 each way")
    own, luck = prior.drawn(members, seed)
    mix = _mix(pile, own, luck)
    return Likely(
        own=own,
        traits=_traits(pile, history, own, mix.c_n),
        piles=_piles(pile, own, mix, max(air_c, 2.0), seed),
        loads=history.loads[None, :, :] * own["mass"][:, None, None],
        start=np.stack(mix.dry_kg, axis=1),
        squeezed=mix.squeezed,
    )


class _Mix(NamedTuple):
    """What was built: fast, moderate, slow and ash, water [kg], C:N [-], each [member]."""

    dry_kg: tuple[Array, Array, Array, Array]
    water_kg: Array
    c_n: Array
    squeezed: bool


def _mix(pile: Pile, own: Mapping[str, Array], z: Array) -> _Mix:
    """Sum the ingredients up, each with its own luck; what cannot lie in so small a pile is cut."""
    parts = [part for part in pile.ingredients if part.volume_m3 > 0.0]
    luck = np.exp(prior.INGREDIENT_SPREAD * z[np.arange(len(parts)) % prior.INGREDIENTS])
    brings = np.array([matter(part.material, part.volume_m3) for part in parts])
    pools = brings[:, :5].T @ luck * own["mass"]
    nitrogen = np.array([_nitrogen_kg(part.material, part.volume_m3) for part in parts]) @ luck * own["mass"]

    organic, ash = pools[:3].sum(axis=0), pools[3]
    fast = np.minimum(pools[0] * own["fast_share"], 0.9 * organic)
    moderate = np.minimum(pools[1] * own["moderate_share"], 0.95 * organic - fast)
    dry = organic + ash
    wetness = np.clip(pools[4] / (pools[4] + dry) + own["wetter"], 0.08, 0.88)
    water = dry * wetness / (1.0 - wetness)
    volume = built_volume_m3(pile)
    squeeze = np.minimum(1.0, DENSEST_KG_M3 * volume / (dry + water))
    scale = squeeze * (USUAL_DRY_KG_M3 * volume / dry) ** DOUBT_OF_VOLUMES
    c_n = organic * decay.CARBON_SHARE / np.maximum(nitrogen, 1e-9) * own["c_n"]
    dry_kg = (fast * scale, moderate * scale, (organic - fast - moderate) * scale, ash * scale)
    return _Mix(dry_kg, water * scale, c_n, bool(np.median(squeeze) < 1.0))


def _nitrogen_kg(material_id: str, volume_m3: float) -> float:
    """Nitrogen that a loose volume brings [kg]."""
    stuff = material(material_id)
    return volume_m3 * stuff.loose_kg_m3 * (1.0 - stuff.moisture) * stuff.nitrogen


def _traits(pile: Pile, history: History, own: Mapping[str, Array], c_n: Array) -> npt.NDArray[np.void]:
    """What stays fixed for each member; the keeper's habit is set later."""
    traits = np.zeros(len(c_n), TRAITS)
    for name in set(TRAITS.names or ()) & set(own):
        traits[name] = own[name]
    speed = own["pieces"] * PIECES_SPEED[pile.pieces or "mixed"]
    traits["fast_per_day"] *= speed
    traits["moderate_per_day"] *= speed
    slowing = decay.nitrogen_factor(c_n)
    traits["nitrogen_slowing"] = slowing ** own["nitrogen_need"]
    traits["et_share"] *= weather.SHADE_FACTOR[pile.shade or "part"]
    if pile.bin:
        more = weather.CATCH["dished"] / weather.CATCH["domed"]
        traits["catch_share"] = np.minimum(1.0, traits["catch_share"] * more)
    traits["plan_m2"] = pile.length_m * pile.width_m
    traits["water_l"] *= history.usual_water_l
    traits["water_below"] = WATERED_BELOW
    return traits


def _piles(
    pile: Pile, own: Mapping[str, Array], mix: _Mix, start_c: float, seed: int
) -> npt.NDArray[np.void]:
    """Each member as it was built, core and shell alike."""
    members = len(mix.c_n)
    piles = np.zeros(members, PILE)
    names = ("fast_kg", "moderate_kg", "slow_kg", "ash_kg")
    for node, share in (("shell", own["shell_share"]), ("core", 1.0 - own["shell_share"])):
        for name, kg in zip(names, mix.dry_kg, strict=True):
            piles[node][name] = kg * share
        piles[node]["water_kg"] = mix.water_kg * share
        piles[node]["temp_c"] = start_c
    piles["activity"] = decay.START_ACTIVITY
    piles["ever_fast_kg"], piles["ever_moderate_kg"] = mix.dry_kg[0], mix.dry_kg[1]
    piles["ever_dry_kg"] = sum(mix.dry_kg)
    piles["filled_m3"] = built_volume_m3(pile)
    piles["ready_day"] = np.nan
    piles["next_turn"] = tending.FAR_DAYS
    piles["luck"] = np.arange(1, members + 1, dtype=np.uint64) * np.uint64(7919 * 104729 + seed)
    return piles


def settle_habit(likely: Likely, pile: Pile, history: History, air_c: Array) -> None:
    """Set what each member's keeper will do: rates blended from what was intended and what was done.

    Turnings, and waterings on dry days, are counted as a Poisson process with a gamma prior; each member
    draws its own rate from the posterior. Days of frost do not count: nobody forks a frozen pile.
    """
    days = int(np.sum(air_c[: history.today] > tending.WORKABLE_C))
    intended = INTENDED_DAYS[pile.turning or "fortnightly"]
    trust = INTENT_WORTH[pile.turning]
    turns = _rate(len(history.turned), days, KEPT_PROMISE / intended, trust, likely.own["turn_habit"])
    dry_days = 1.0 / WATERED_WHEN_DRY_DAYS
    waters = _rate(len(history.watered), days, dry_days, 0.5, likely.own["water_habit"])
    set_habit(likely, history, 1.0 / turns, waters)


def set_habit(likely: Likely, history: History, turn_every_days: Array, water_chance: Array) -> None:
    """Give each member's keeper its days between turnings, and its chance to water on a dry day."""
    likely.traits["turn_every_days"] = turn_every_days
    likely.traits["water_chance"] = np.minimum(1.0, water_chance)
    waited = history.today - max(history.turned, default=0)
    overdue = likely.own["overdue"] * turn_every_days
    likely.piles["next_turn"] = history.today + np.maximum(turn_every_days - waited, overdue)


def _rate(count: int, days: int, prior_per_day: float, worth: float, z: Array) -> Array:
    """Events a day: gamma posterior after `count` in `days`, the prior being worth `worth` events [1/day]."""
    shape = worth + count
    mean = shape / (worth / prior_per_day + days)
    spread = np.sqrt(np.log1p(1.0 / shape) + HABIT_DRIFT**2)
    return np.asarray(mean * np.exp(spread * z - 0.5 * spread * spread))


def live_through(likely: Likely, history: History, sky: Sky) -> Seen:
    """Run the members from the build to the end of today; what can be seen of them [member, day, SEEN]."""
    days = history.today + 1
    seen = np.full((len(likely.traits), days, len(life.SEEN)), np.nan, np.float32)
    traces = _traces(len(likely.traits))
    deeds, loads = history.deeds, likely.loads
    life.run(likely.piles, likely.traits, traces, sky.by_trace, deeds, loads, 0, days, days, days, seen)
    return seen


@dataclass(frozen=True, slots=True)
class Plan:
    """What is done from tomorrow on: turned or watered at once, left alone for some days, then by habit.

    days   how far ahead is looked
    """

    turned: bool = False
    water_l: float = 0.0
    left_alone_days: int = 0
    days: int = LONGEST_DAYS


BY_HABIT = Plan()


def live_on(
    likely: Likely, kept: Indices, history: History, sky: Sky, plan: Plan = BY_HABIT, seen: Seen | None = None
) -> npt.NDArray[np.void]:
    """Run copies of the kept members on until they are ready, or as far as the sky goes; gives their end.

    seen   filled for its days beyond today; members are run to its end even if they are ready before
    """
    piles, traits = likely.piles[kept].copy(), likely.traits[kept].copy()
    tomorrow = history.today + 1
    horizon = min(tomorrow + plan.days, sky.by_trace.shape[1])
    # Copies of one member part ways by their luck alone.
    piles["luck"] ^= np.arange(1, len(kept) + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    deeds = np.zeros((horizon, history.deeds.shape[1]))
    deeds[:, 2] = -1.0
    deeds[:, 3] = history.deeds[-1, 3]
    deeds[tomorrow, 0] = float(plan.turned)
    deeds[tomorrow, 1] = plan.water_l
    if plan.left_alone_days:
        again = tomorrow + plan.left_alone_days
        piles["next_turn"] = np.maximum(piles["next_turn"], again + (piles["next_turn"] - again) % 7.0)
    if seen is None:
        seen = np.empty((len(kept), 0, len(life.SEEN)), np.float32)
    life.run(
        piles,
        traits,
        _traces(len(likely.traits))[kept],
        sky.by_trace,
        deeds,
        likely.loads[kept],
        tomorrow,
        horizon,
        tomorrow + plan.left_alone_days,
        seen.shape[1],
        seen,
    )
    return piles


def _traces(members: int) -> Indices:
    """Which weather each member meets."""
    return np.arange(members) % TRACES
