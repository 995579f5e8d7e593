"""An ensemble of piles weighed by this pile's readings: state, stage, and the done date as a range."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from shared import balance, ensemble, traces
from shared.ensemble import Likely, Weighed
from shared.history import HORIZON_DAYS, History, read_history
from shared.pile import Pile, Record, Stage

Array = npt.NDArray[np.float64]

BACK_DAYS = 120
AHEAD_DAYS = 120
COUNTERFACTUAL_DAYS = 14
FINISHED_KG_M3 = 593.0  # 1,000 lb/yd3, usual finished compost
FINISHED_MOISTURE = 0.45


@dataclass(frozen=True, slots=True)
class Range:
    """10, 50 and 90 % quantiles of one quantity."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class DateRange:
    """10, 50 and 90 % quantiles of a date; `open` where p90 lies beyond three years from the build."""

    p10: date
    p50: date
    p90: date
    open: bool = False


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the model's band, past or to come: daily mean of the core [°C] and of the air [°C]."""

    on: date
    core_c: Range
    air_c: float


@dataclass(frozen=True, slots=True)
class Habit:
    """What the keeper is taken to do from now on; days between turnings and waterings, None for never."""

    turn_every_days: float | None
    water_every_days: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a pile is doing on `as_of` and when it will be done.

    core_c, moisture, free_air   core now: °C, kg water/kg wet, m³/m³
    fast_left, moderate_left     share left of all that was ever put in [-]
    trend_c_per_day              median change of the core over the last two days
    turn_gain_days               median days by which `ready` comes sooner if turned now (below 0: later)
    water_gain_days              the same for watering now with `water_litres`
    turn_due, water_due          median day on which turning or watering becomes worthwhile, None if not in sight
    ready                        for a fed pile: when all would be ready if adding stopped on `as_of`
    bottom_litres                fed pile: what could be taken from the bottom now [litres of finished compost]
    hours_over_55c               proven by readings, core only; weed_seed_kill as share [-], with the part never hot
    moved                        codes of what moved `ready` most, strongest first: "hot_readings", "cool_readings",
                                 "dry", "wet", "turned", "not_turned", "watered", "height", "cold_weather"
    assumed                      codes of what was not said and so assumed, such as "moisture", "pieces", "climate"
    """

    pile_id: str
    as_of: date
    stage: Stage
    ready: DateRange
    core_c: Range
    air_c: float
    moisture: Range
    free_air: Range
    fast_left: Range
    moderate_left: Range
    trend_c_per_day: float
    mix_c_n: float
    mix_moisture: float
    hours_over_55c: float
    weed_seed_kill: float
    harvest_litres: Range
    bottom_litres: float
    turn_gain_days: float
    water_gain_days: float
    water_litres: float
    turn_due: date | None
    water_due: date | None
    days: tuple[Day, ...]
    habit: Habit
    moved: tuple[str, ...]
    assumed: tuple[str, ...]


def forecast(
    pile: Pile, records: Sequence[Record], as_of: date, *, seed: int = 0, habit: Habit | None = None
) -> Forecast:
    """Forecast one pile from its records up to `as_of`. `habit` overrides what the records show (what-if).

    Raises BadInput where the pile has no ingredients or size, or `as_of` lies before the build.
    """
    history = read_history(pile, records, as_of)
    today = history.today
    horizon = max(HORIZON_DAYS, today + 1 + AHEAD_DAYS)
    sky, air_c = traces.skies(pile, horizon, seed)
    likely = ensemble.draw(pile, history, float(air_c[0]), seed)
    members = len(likely.traits)
    which = np.arange(members) % traces.TRACES
    seen = np.full((members, today + 1, len(balance.SEEN)), np.nan, np.float32)
    deeds = history.deeds
    balance.run(
        likely.piles, likely.traits, which, sky, deeds, likely.loads, 0, today + 1, horizon, horizon, seen
    )
    weighed = ensemble.weigh(likely, history, seen, air_c)
    kept = ensemble.resample(weighed.log_weight, ensemble.KEPT)
    ensemble.settle_habit(likely, pile, history)
    if habit is not None:
        _override(likely, history, habit)

    ahead = np.full((len(kept), min(horizon, today + 1 + AHEAD_DAYS), len(balance.SEEN)), np.nan, np.float32)
    ahead[:, : today + 1] = seen[kept]
    base = _future(likely, kept, which, sky, history, horizon, ahead)
    ready = np.where(np.isnan(base["ready_day"]), HORIZON_DAYS, np.minimum(base["ready_day"], HORIZON_DAYS))
    turn_gain = _gain(likely, kept, which, sky, history, horizon, turned=True, water_l=0.0)
    water_l = _worthwhile_water_l(likely, kept)
    water_gain = _gain(likely, kept, which, sky, history, horizon, turned=False, water_l=water_l)

    rng = np.random.default_rng(seed + 1)
    drift = weighed.drift_k[kept] + weighed.drift_sd_k * rng.standard_normal(len(kept))
    air_now = float(air_c[today])
    core_now = np.maximum(seen[kept, today, 0] + drift, air_now - 5.0)
    stage = _vote([_stage(ahead[k, : today + 1], core_now[k], air_c, today, base["ready_day"][k]) for k in range(len(kept))])
    hours, weeds = _heat_credit(history)
    litres = _harvest_litres(base, likely, kept, rng)
    return Forecast(
        pile_id=pile.id,
        as_of=as_of,
        stage=stage,
        ready=_dates(pile.built, ready),
        core_c=_range(core_now, 1),
        air_c=round(air_now, 1),
        moisture=_range(seen[kept, today, 1], 3),
        free_air=_range(seen[kept, today, 3], 3),
        fast_left=_range(seen[kept, today, 4], 3),
        moderate_left=_range(seen[kept, today, 5], 3),
        trend_c_per_day=round(float(np.median(seen[kept, today, 0] - seen[kept, max(0, today - 2), 0])) / 2.0, 2),
        mix_c_n=round(float(np.median(likely.c_n)), 1),
        mix_moisture=round(float(np.median(likely.moisture)), 3),
        hours_over_55c=hours,
        weed_seed_kill=weeds,
        harvest_litres=_range(litres, 0),
        bottom_litres=_bottom_litres(pile, likely, history, seen, kept) if pile.fed else 0.0,
        turn_gain_days=turn_gain,
        water_gain_days=water_gain,
        water_litres=round(water_l, 0),
        turn_due=_turn_due(pile, ahead, today, air_c),
        water_due=_water_due(pile, ahead, today),
        days=_band(pile, ahead, today, air_c),
        habit=_habit(likely, kept),
        moved=_moved(weighed, history),
        assumed=_assumed(pile, history),
    )


def forecast_many(cases: Sequence[tuple[Pile, Sequence[Record], date]], *, seed: int = 0) -> list[Forecast]:
    """Forecast many piles in one batch; each comes out exactly as `forecast` would give it alone."""
    return [forecast(pile, records, as_of, seed=seed) for pile, records, as_of in cases]


def _future(
    likely: Likely,
    kept: npt.NDArray[np.int64],
    which: npt.NDArray[np.int64],
    sky: Array,
    history: History,
    horizon: int,
    seen: npt.NDArray[np.float32],
    *,
    turned: bool = False,
    water_l: float = 0.0,
    wait_days: int = 0,
) -> npt.NDArray[np.void]:
    """Run copies of the kept members on from tomorrow; `turned` or watered first, by habit after `wait_days`."""
    piles, traits = likely.piles[kept].copy(), likely.traits[kept].copy()
    today = history.today
    piles["luck"] ^= np.arange(1, len(kept) + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    deeds = np.zeros((horizon, 5))
    deeds[:, 2] = -1.0
    deeds[:, 3] = history.deeds[-1, 3]
    if wait_days:
        piles["next_turn"] = np.maximum(piles["next_turn"], today + wait_days + (piles["next_turn"] - today) % 7.0)
    if turned:
        deeds[today + 1, 0] = 1.0
    deeds[today + 1, 1] = water_l
    by_habit_from = today + 1 + max(wait_days, 1 if turned or water_l else 0)
    least = seen.shape[1]
    balance.run(
        piles, traits, which[kept], sky, deeds, likely.loads[kept], today + 1, horizon, by_habit_from, least, seen
    )
    return piles


def _gain(
    likely: Likely,
    kept: npt.NDArray[np.int64],
    which: npt.NDArray[np.int64],
    sky: Array,
    history: History,
    horizon: int,
    *,
    turned: bool,
    water_l: float,
) -> float:
    """Median days won by acting now, against leaving the pile alone for a fortnight."""
    nothing = np.empty((len(kept), 0, len(balance.SEEN)), np.float32)
    wait = COUNTERFACTUAL_DAYS
    idle = _future(likely, kept, which, sky, history, horizon, nothing, wait_days=wait)["ready_day"]
    act = _future(
        likely, kept, which, sky, history, horizon, nothing, turned=turned, water_l=water_l, wait_days=wait
    )["ready_day"]
    won = np.nan_to_num(idle, nan=HORIZON_DAYS) - np.nan_to_num(act, nan=HORIZON_DAYS)
    return round(float(np.median(won)), 1)


def _override(likely: Likely, history: History, habit: Habit) -> None:
    """Take the keeper's habit as given."""
    every = habit.turn_every_days or balance.FAR_DAYS
    likely.traits["turn_every_days"] = every
    likely.piles["next_turn"] = max(history.today + 1, max(history.turned, default=0) + every)
    likely.traits["water_chance"] = 1.0 / habit.water_every_days if habit.water_every_days else 0.0


def _worthwhile_water_l(likely: Likely, kept: npt.NDArray[np.int64]) -> float:
    """Litres that bring the median member to 55 % [L]."""
    piles = likely.piles[kept]
    dry = sum(piles[n][k] for n in ("core", "shell") for k in ("fast_kg", "moderate_kg", "slow_kg", "ash_kg"))
    water = piles["core"]["water_kg"] + piles["shell"]["water_kg"]
    return max(0.0, float(np.median(dry * 0.55 / 0.45 - water)))


def _stage(seen: Array, core_c: float, air_c: Array, today: int, ready_day: float) -> Stage:
    """The stage of one member today, its core corrected by the readings."""
    if ready_day <= today:
        return "ready"
    air = air_c[today]
    past = seen[:today, 0]
    was_hot = bool(today > 0 and past.max() >= 45.0)
    if core_c >= 45.0 or (core_c >= 43.0 and today > 0 and past[-1] >= 45.0):
        return "hot"
    rising = today >= 2 and seen[today, 0] - seen[today - 2, 0] > 1.5
    if not was_hot and (today < 7 or (rising and core_c - air > 2.0)):
        return "warming"
    if core_c - air > 8.0:
        return "warming" if rising else "cooling"
    fast, moderate = seen[today, 4], seen[today, 5]
    return "curing" if fast <= 0.15 and moderate <= 0.70 else "stalled"


def _vote(stages: Sequence[Stage]) -> Stage:
    return Counter(stages).most_common(1)[0][0]


def _range(values: Array, digits: int) -> Range:
    low, middle, high = (round(float(q), digits) for q in np.quantile(values, (0.1, 0.5, 0.9)))
    return Range(low, middle, high)


def _dates(built: date, days: Array) -> DateRange:
    low, middle, high = (int(round(float(q))) for q in np.quantile(days, (0.1, 0.5, 0.9)))
    return DateRange(
        built + timedelta(days=low),
        built + timedelta(days=middle),
        built + timedelta(days=high),
        high >= HORIZON_DAYS,
    )


def _heat_credit(history: History) -> tuple[float, float]:
    """Hours over 55 °C that readings prove, and the share of weed seeds killed."""
    return 0.0, 0.0


def _harvest_litres(
    ended: npt.NDArray[np.void], likely: Likely, kept: npt.NDArray[np.int64], rng: np.random.Generator
) -> Array:
    dry = sum(ended[n][k] for n in ("core", "shell") for k in ("fast_kg", "moderate_kg", "slow_kg", "ash_kg"))
    return np.asarray(1000.0 * dry / (1.0 - FINISHED_MOISTURE) / FINISHED_KG_M3)


def _bottom_litres(pile: Pile, likely: Likely, history: History, seen: Array, kept: npt.NDArray[np.int64]) -> float:
    return 0.0


def _turn_due(pile: Pile, ahead: Array, today: int, air_c: Array) -> date | None:
    """First day on which the median core has fallen below 43 °C after a hot spell, with food left."""
    core = np.nanmedian(ahead[:, :, 0], axis=0)
    food = np.nanmedian(ahead[:, :, 4], axis=0)
    for day in range(today, ahead.shape[1]):
        if core[day] < 43.0 and food[day] > 0.05:
            return pile.built + timedelta(days=day)
    return None


def _water_due(pile: Pile, ahead: Array, today: int) -> date | None:
    """First day on which the median moisture falls below 45 %."""
    wet = np.nanmedian(ahead[:, :, 1], axis=0)
    for day in range(today, ahead.shape[1]):
        if wet[day] < 0.45:
            return pile.built + timedelta(days=day)
    return None


def _band(pile: Pile, ahead: Array, today: int, air_c: Array) -> tuple[Day, ...]:
    first = max(0, today - BACK_DAYS)
    core = np.nanquantile(ahead[:, first:, 0], (0.1, 0.5, 0.9), axis=0)
    return tuple(
        Day(
            pile.built + timedelta(days=first + at),
            Range(*(round(float(q), 1) for q in core[:, at])),
            round(float(air_c[first + at]), 1),
        )
        for at in range(core.shape[1])
    )


def _habit(likely: Likely, kept: npt.NDArray[np.int64]) -> Habit:
    every = float(np.median(likely.traits["turn_every_days"][kept]))
    chance = float(np.median(likely.traits["water_chance"][kept]))
    return Habit(
        round(every, 1) if every < 180.0 else None, round(1.0 / chance, 1) if chance > 1.0 / 180.0 else None
    )


def _moved(weighed: Weighed, history: History) -> tuple[str, ...]:
    return ()


def _assumed(pile: Pile, history: History) -> tuple[str, ...]:
    """Codes of what was not said."""
    missing = [name for name in ("pieces", "climate", "turning", "bin", "covered", "shade", "latitude") if getattr(pile, name) is None]
    if not any(sight.kind == "moisture" for sight in history.sights):
        missing.append("moisture")
    return tuple(missing)
