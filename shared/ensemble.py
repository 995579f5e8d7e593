"""Likely piles: what nobody knows about a pile drawn from its prior, then weighed by what its keepers saw."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from shared import balance, decay, heat, moisture, weather
from shared.errors import BadInput
from shared.history import History, matter
from shared.materials import material
from shared.pile import Pile

Array = npt.NDArray[np.float64]

MEMBERS = 512  # drawn and run up to today
KEPT = 128  # drawn from them by weight, and run into the future

# What differs from member to member: median and spread, "log" as the standard deviation of the logarithm.
# Medians are the fact sheet's recommended set; spreads are its ranges read as about 80 % of the cases.
PRIOR: Mapping[str, tuple[str, float, float]] = {
    "fast_per_day": ("log", decay.FAST_PER_DAY, 0.30),
    "moderate_per_day": ("log", decay.MODERATE_PER_DAY, 0.30),
    "slow_per_day": ("log", decay.SLOW_PER_DAY, 0.30),
    "mild_peak": ("log", 0.70, 0.12),
    "growth_per_day": ("log", decay.GROWTH_PER_DAY, 0.30),
    "heat_mj_per_kg": ("log", decay.HEAT_MJ_PER_KG, 0.06),
    "conductivity": ("log", heat.CONDUCTIVITY_W_PER_M_K, 0.25),
    "film": ("log", heat.FILM_W_PER_M2_K, 0.30),
    "draught": ("log", 1.0, 0.40),
    "shell_share": ("even", 0.33, 0.05),
    "mixing": ("even", 0.80, 0.10),
    "turn_loss": ("even", 0.35, 0.10),
    "settling": ("even", 0.70, 0.15),
    "settling_days": ("log", 20.0, 0.40),
    "reach_floor": ("even", 0.50, 0.20),
    "reach_days": ("log", 25.0, 0.40),
    "catch_share": ("log", 0.45, 0.35),
    "et_share": ("log", moisture.ET_FACTOR, 0.30),
    "holding_moisture": ("even", moisture.HOLDING_MOISTURE, 0.03),
    "creep_per_day": ("log", moisture.SHELL_EXCHANGE_PER_DAY, 0.50),
    "water_l": ("log", 1.0, 0.30),
    # of the mix and of the one who tells us
    "mass": ("log", 1.0, 0.20),
    "fast_share": ("log", 1.0, 0.20),
    "moderate_share": ("log", 1.0, 0.15),
    "c_n": ("log", 1.0, 0.15),
    "nitrogen_need": ("even", 0.45, 0.3),
    "wetter": ("even", 0.0, 0.05),
    "pieces": ("log", 1.0, 0.15),
    "probe_gain": ("log", 1.0, 0.06),
    "hand_bias": ("even", 0.0, 0.04),
    "turn_habit": ("even", 0.0, 1.0),
    "water_habit": ("even", 0.0, 1.0),
}
INGREDIENT_SPREAD = 0.30  # home volumes and densities, about ±30 %
INGREDIENTS = 8  # more than so many share their luck
BOUNDS = {
    "shell_share": (0.2, 0.45),
    "mixing": (0.5, 1.0),
    "turn_loss": (0.1, 0.6),
    "settling": (0.1, 0.97),
    "reach_floor": (0.03, 1.0),
    "nitrogen_need": (0.0, 1.5),
    "catch_share": (0.02, 1.0),
    "holding_moisture": (0.6, 0.78),
}
PIECES_SPEED = {"fine": 1.15, "mixed": 1.0, "coarse": 0.8}
MOUND_SHARE = 0.5
DENSEST_KG_M3 = 900.0


@cache
def _draws(members: int, seed: int) -> Array:
    """Standard normal numbers spread evenly over each dimension (Latin hypercube) [dimension, member]."""
    rng = np.random.default_rng(seed)
    normal = NormalDist()
    levels = np.array([normal.inv_cdf((rank + 0.5) / members) for rank in range(members)])
    return np.array([rng.permutation(levels) for _ in range(len(PRIOR) + INGREDIENTS)])


@dataclass(frozen=True, slots=True)
class Likely:
    """The members of one pile.

    own        drawn values by the names of PRIOR [member]
    traits, piles, loads   what `balance.run` takes
    c_n, moisture          of the mix as built [member]
    """

    own: Mapping[str, Array]
    traits: npt.NDArray[np.void]
    piles: npt.NDArray[np.void]
    loads: Array
    c_n: Array
    moisture: Array


def built_volume_m3(pile: Pile) -> float:
    """Volume of the pile as built: its box, half of it for a mound, never more than its loose ingredients."""
    box = pile.length_m * pile.width_m * pile.height_m
    loose = sum(part.volume_m3 for part in pile.ingredients)
    return min(box if pile.bin else MOUND_SHARE * box, loose)


def draw(pile: Pile, history: History, air_c: float, seed: int, members: int = MEMBERS) -> Likely:
    """Draw the members of a pile at its build. Raises BadInput without ingredients or size."""
    parts = [part for part in pile.ingredients if part.volume_m3 > 0.0]
    if not parts:
        raise BadInput(f"pile {pile.id}: no ingredients; name at least one material with its volume")
    if min(pile.length_m, pile.width_m, pile.height_m) <= 0.0:
        raise BadInput(f"pile {pile.id}: its size must be more than 0 each way")
    z = _draws(members, seed)
    own: dict[str, Array] = {}
    for row, (name, (kind, middle, spread)) in enumerate(PRIOR.items()):
        values = middle * np.exp(spread * z[row]) if kind == "log" else middle + spread * z[row]
        if name in BOUNDS:
            values = np.clip(values, *BOUNDS[name])
        own[name] = values

    brings = np.array([matter(part.material, part.volume_m3) for part in parts])
    luck = np.exp(INGREDIENT_SPREAD * z[len(PRIOR) + np.arange(len(parts)) % INGREDIENTS])
    pools = (brings[:, :5].T @ luck) * own["mass"]  # [pool, member]
    nitrogen = np.array([_nitrogen_kg(part.material, part.volume_m3) for part in parts]) @ luck * own["mass"]
    organic = pools[:3].sum(axis=0)
    fast = np.minimum(pools[0] * own["fast_share"], 0.9 * organic)
    moderate = np.minimum(pools[1] * own["moderate_share"], 0.95 * organic - fast)
    ash = pools[3]
    dry = organic + ash
    wet_share = np.clip(pools[4] / (pools[4] + dry) + own["wetter"], 0.08, 0.88)
    water = dry * wet_share / (1.0 - wet_share)
    volume = built_volume_m3(pile)
    squeeze = np.minimum(1.0, DENSEST_KG_M3 * volume / (dry + water))
    fast, moderate, ash, dry, water = (kg * squeeze for kg in (fast, moderate, ash, dry, water))
    nitrogen = nitrogen * squeeze
    c_n = (dry - ash) * decay.CARBON_SHARE / np.maximum(nitrogen, 1e-9) * own["c_n"]

    traits = np.zeros(members, balance.TRAITS)
    for name in balance.TRAITS.names or ():
        if name in own:
            traits[name] = own[name]
    speed = own["pieces"] * PIECES_SPEED[pile.pieces or "mixed"]
    traits["fast_per_day"] *= speed
    traits["moderate_per_day"] *= speed
    traits["nitrogen_slowing"] = [decay.nitrogen_factor(value) for value in c_n] ** own["nitrogen_need"]
    traits["et_share"] *= weather.SHADE_FACTOR[pile.shade or "part"]
    if pile.bin:
        traits["catch_share"] = np.minimum(1.0, traits["catch_share"] * weather.CATCH["dished"] / weather.CATCH["domed"])
    traits["plan_m2"] = pile.length_m * pile.width_m
    traits["water_l"] *= history.usual_water_l
    traits["water_below"] = 0.50

    piles = np.zeros(members, balance.PILE)
    for node, share in (("shell", own["shell_share"]), ("core", 1.0 - own["shell_share"])):
        piles[node]["fast_kg"] = fast * share
        piles[node]["moderate_kg"] = moderate * share
        piles[node]["slow_kg"] = (dry - ash - fast - moderate) * share
        piles[node]["ash_kg"] = ash * share
        piles[node]["water_kg"] = water * share
        piles[node]["temp_c"] = max(air_c, 2.0)
    piles["activity"] = decay.START_ACTIVITY
    piles["ever_fast_kg"] = fast
    piles["ever_moderate_kg"] = moderate
    piles["ever_dry_kg"] = dry
    piles["filled_m3"] = volume
    piles["ready_day"] = np.nan
    piles["next_turn"] = balance.FAR_DAYS
    piles["luck"] = np.arange(1, members + 1, dtype=np.uint64) * np.uint64(7919 * 104729 + seed)
    loads = history.loads[None, :, :] * own["mass"][:, None, None]
    return Likely(own, traits, piles, loads, c_n, wet_share)


def _nitrogen_kg(material_id: str, volume_m3: float) -> float:
    """Nitrogen that a loose volume brings [kg]."""
    stuff = material(material_id)
    return volume_m3 * stuff.loose_kg_m3 * (1.0 - stuff.moisture) * stuff.nitrogen


def settle_habit(likely: Likely, pile: Pile, history: History) -> None:
    """Set what each member's keeper will do: rates blended from what was intended and what was done.

    Turnings and waterings are counted as a Poisson process with a gamma prior at the intended rate, less a
    quarter, since keepers forget (assumed); each member draws its own rate from the posterior.
    """
    intended_days = INTENDED_DAYS[pile.turning or "fortnightly"]
    weight = 0.3 if pile.turning == "never" else (1.0 if pile.turning is None else 2.0)
    turns = _rate(len(history.turned), history.today, KEPT_PROMISE / intended_days, weight, likely.own["turn_habit"])
    waters = _rate(len(history.watered), history.today, 1.0 / WATER_WHEN_DRY_DAYS, 0.5, likely.own["water_habit"])
    likely.traits["turn_every_days"] = 1.0 / turns
    likely.traits["water_chance"] = np.minimum(1.0, waters)
    last = max(history.turned, default=0)
    waited = history.today - last
    gap = np.maximum(likely.traits["turn_every_days"] * (1.0 + 0.3 * likely.own["water_habit"]), 1.0)
    overdue = np.maximum(gap - waited, 0.3 * gap * _draws(len(gap), 1)[0].clip(-1.5, 1.5) + 0.5 * gap)
    likely.piles["next_turn"] = history.today + np.where(gap > waited, gap - waited, overdue)


INTENDED_DAYS = {"weekly": 7.0, "fortnightly": 14.0, "monthly": 30.0, "never": 700.0}
KEPT_PROMISE = 0.65
WATER_WHEN_DRY_DAYS = 80.0


def _rate(count: int, days: int, prior_per_day: float, weight: float, z: Array) -> Array:
    """Events a day: gamma posterior after `count` in `days`, the prior worth `weight` events [1/day]."""
    shape = weight + count
    mean = shape / (weight / prior_per_day + days)
    spread = np.sqrt(np.log1p(1.0 / shape))
    return np.asarray(mean * np.exp(spread * z - 0.5 * spread * spread))


# How keepers see. A kitchen thermometer errs by 3 °C; the model itself strays for days on end.
PROBE_SD_K = 3.0
DRIFT_BASE_K = 1.5
DRIFT_SHARE = 0.15  # of the rise over the air
DRIFT_DAYS = 5.0
HAND_SD = 0.06
FEELS = {"dry": (0.0, 0.35), "bit_dry": (0.35, 0.45), "right": (0.45, 0.57), "bit_wet": (0.57, 0.65), "soggy": (0.65, 1.0)}
WARMTH_C = {"cold": (-50.0, 28.0), "warm": (28.0, 42.0), "hot": (42.0, 100.0)}
STRAY = 0.03  # chance of a word or reading that has nothing to do with the pile


@dataclass(frozen=True, slots=True)
class Weighed:
    """Logarithms of the members' weights, and the drift of the true core from each member today [°C]."""

    log_weight: Array
    drift_k: Array
    drift_sd_k: float
    parts: Mapping[str, Array]


def weigh(likely: Likely, history: History, seen: Array, air_c: Array) -> Weighed:
    """Weigh members by what was seen. `seen` as from `balance.run`, `air_c` the known or usual air [day].

    Readings of the core: member + drift + noise, drift being an Ornstein-Uhlenbeck process, followed by an
    exact scalar Kalman filter (its gain is the same for all members).
    """
    members = seen.shape[0]
    parts = {name: np.zeros(members) for name in ("core", "moisture", "other")}
    drift, variance, last_day = np.zeros(members), 0.0, -999
    for sight in history.sights:
        row = seen[:, min(sight.day, seen.shape[1] - 1), :]
        if sight.kind in ("core", "core_after_turn"):
            air = air_c[sight.day]
            model = air + likely.own["probe_gain"] * (row[:, 0] - air)
            stationary = (DRIFT_BASE_K + DRIFT_SHARE * max(0.0, sight.value - air)) ** 2
            fade = np.exp(-(sight.day - last_day) / DRIFT_DAYS)
            drift = fade * drift
            variance = fade * fade * variance + (1.0 - fade * fade) * stationary
            noise = PROBE_SD_K**2 if sight.kind == "core" else (3.0 * PROBE_SD_K) ** 2
            total = variance + noise
            off = sight.value - model - drift
            normal = np.exp(-0.5 * off * off / total) / np.sqrt(2.0 * np.pi * total)
            parts["core"] += np.log((1.0 - STRAY) * normal + STRAY / 60.0)
            trust = np.clip(4.0 * np.sqrt(total) / np.maximum(np.abs(off), 1e-9), 0.0, 1.0)
            drift = drift + variance / total * off * trust
            variance *= noise / total
            last_day = sight.day
        elif sight.kind == "moisture" and sight.word in FEELS:
            low, high = FEELS[sight.word]
            felt = row[:, 1] + likely.own["hand_bias"]
            parts["moisture"] += np.log(_between(felt, low, high, HAND_SD) + STRAY)
        elif sight.kind == "heat_feel" and sight.word in WARMTH_C:
            low, high = WARMTH_C[sight.word]
            parts["core"] += np.log(_between(row[:, 0], low, high, 8.0) + STRAY)
        elif sight.kind == "texture" and sight.word in ("crumbly", "recognisable"):
            rotted = _logistic((0.60 - row[:, 5]) / 0.12)
            parts["other"] += np.log((rotted if sight.word == "crumbly" else 1.0 - rotted) + 0.2)
        elif sight.kind == "smell" and sight.word in ("rotten", "sour"):
            parts["other"] += np.log(_logistic((0.25 - row[:, 3]) / 0.06) + 0.2)
        elif sight.kind == "height":
            pass
    fade = np.exp(-(history.today - last_day) / DRIFT_DAYS)
    stationary = (DRIFT_BASE_K + DRIFT_SHARE * 15.0) ** 2
    variance = fade * fade * variance + (1.0 - fade * fade) * stationary
    return Weighed(sum(parts.values()), fade * drift, float(np.sqrt(variance)), parts)  # type: ignore[arg-type]


def _between(value: Array, low: float, high: float, sd: float) -> Array:
    """Chance that `value` with logistic noise falls between two marks."""
    scale = 0.55 * sd
    return _logistic((high - value) / scale) - _logistic((low - value) / scale)


def _logistic(x: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))


def resample(log_weight: Array, count: int) -> npt.NDArray[np.int64]:
    """Indices of `count` members, as many of each as its weight deserves (systematic resampling).

    Weights are tempered until they are worth at least a sixteenth of the members, so that no single
    lucky member speaks for all.
    """
    least = len(log_weight) / 16.0
    temper = 1.0
    while True:
        weight = np.exp(temper * (log_weight - log_weight.max()))
        weight /= weight.sum()
        if 1.0 / np.sum(weight * weight) >= least:
            break
        temper *= 0.85
    marks = (np.arange(count) + 0.5) / count
    return np.searchsorted(np.cumsum(weight), marks * (1.0 - 1e-12)).clip(max=len(weight) - 1)
