"""An ensemble of piles weighed by this pile's readings: state, stage, and the done date as a range."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from shared import ensemble, evidence, gains, grounds, harvest, hygiene, life, mix, stages
from shared.belief import AHEAD_DAYS, Belief, believe, dry_kg, ready_days
from shared.belief import Habit as Habit
from shared.ensemble import Array, Seen
from shared.errors import BadInput
from shared.history import HORIZON_DAYS
from shared.pile import Pile, Record, Stage

BACK_DAYS = 120
NEVER_DAYS = 180.0


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
class Forecast:
    """What a pile is doing on `as_of` and when it will be done.

    core_c, moisture, free_air   core now: °C, kg water/kg wet, m³/m³
    fast_left, moderate_left     share left of all that was ever put in [-]
    mix_c_n, mix_moisture        of all that ever went in as told, water from rain and cans aside
    trend_c_per_day              median change of the core over the last two days
    turn_gain_days               median days by which `ready` comes sooner if turned now, against leaving the
                                 pile alone for a fortnight (below 0: later)
    water_gain_days              the same for watering now with `water_litres`
    turn_due, water_due          median day on which turning or watering becomes pays, None if not in sight
    ready                        for a fed pile: when all would be ready if adding stopped on `as_of`
    bottom_litres                fed pile: what could be taken from the bottom now [L of finished compost]
    credit                       time in the heat that the readings prove
    moved                        codes of what moved `ready` most, strongest first: "hot_readings",
                                 "cool_readings", "dry", "wet", "turned", "not_turned", "watered", "height",
                                 "cold_weather"
    assumed                      codes of what was not said, so assumed: "pieces", "climate", "turning",
                                 "bin", "covered", "shade", "latitude", "moisture", "water_litres",
                                 "added_litres", "volumes" (too much for the size, so cut),
                                 "reading_left_out" (it cannot be)
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
    credit: hygiene.Credit
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

    Raises BadInput where the pile has no ingredients or size, its climate cannot be, or `as_of` lies before
    the build or more than ten years after it.
    """
    belief = believe(pile, records, as_of, seed, habit)
    history, sky, kept = belief.history, belief.sky, belief.kept
    today = history.today
    band = _band_so_far(belief)
    ended = ensemble.live_on(belief.likely, kept, history, sky, seen=band)
    _drift(belief, band, seed)
    core_c = band[:, today, 0].astype(np.float64)
    now = belief.seen[kept, today].astype(np.float64)
    water_l = gains.water_litres(belief)
    turn_gain, water_gain = gains.gains_days(belief, water_l)
    told = [record for record in records if record.on <= as_of]
    recipe = mix.blend(mix.parts_of([*pile.ingredients, *history.added]))
    return Forecast(
        pile_id=pile.id,
        as_of=as_of,
        stage=stages.likeliest(
            band[:, : today + 1],
            float(sky.air_c[today]),
            ended["ready_day"],
            history.hot_seen,
            history.rested_days,
        ),
        ready=_dates(pile.built, ready_days(ended, len(sky.air_c))),
        core_c=_range(core_c, 1),
        air_c=round(float(sky.air_c[today]), 1),
        moisture=_range(now[:, 1], 3),
        free_air=_range(now[:, 3], 3),
        fast_left=_range(now[:, 4], 3),
        moderate_left=_range(now[:, 5], 3),
        trend_c_per_day=_trend(band, today),
        mix_c_n=round(recipe.c_n, 1),
        mix_moisture=round(recipe.moisture, 3),
        credit=hygiene.credit(*hygiene.heard(told, pile.built), recipe.c_n),
        harvest_litres=_range(1000.0 * _finished_m3(ended), 0),
        bottom_litres=_bottom_litres(belief) if pile.fed else 0.0,
        turn_gain_days=turn_gain,
        water_gain_days=water_gain,
        water_litres=water_l,
        turn_due=gains.turn_due(belief, band),
        water_due=gains.water_due(belief, band),
        days=_days(belief, band),
        habit=_habit(belief),
        moved=grounds.moved(belief),
        assumed=grounds.assumed(belief),
    )


def forecast_many(
    cases: Iterable[tuple[Pile, Sequence[Record], date]], *, seed: int = 0
) -> list[Forecast | BadInput]:
    """Forecast many piles in one batch; each comes out exactly as `forecast` would give it alone.

    A pile that cannot be forecast has the error in its place; the others go on.
    """
    told: list[Forecast | BadInput] = []
    for pile, records, as_of in cases:
        try:
            told.append(forecast(pile, records, as_of, seed=seed))
        except BadInput as trouble:
            told.append(trouble)
    return told


def _band_so_far(belief: Belief) -> Seen:
    """What was seen of the kept members up to today, with room for the days ahead."""
    today = belief.history.today
    band = np.full((len(belief.kept), today + 1 + AHEAD_DAYS, len(life.SEEN)), np.nan, np.float32)
    band[:, : today + 1] = belief.seen[belief.kept]
    return band


def _drift(belief: Belief, band: Seen, seed: int) -> None:
    """Move the core of each kept member as the readings show, less and less in the days ahead."""
    days = np.arange(band.shape[1])
    unsure = np.random.default_rng(seed + 1).standard_normal(len(belief.kept))
    fading = np.exp(-np.abs(days - belief.history.today) / evidence.DRIFT_DAYS)
    drift = belief.weighed.drift_on(days, belief.kept) + belief.weighed.drift_sd_k * unsure[:, None] * fading
    air_c = belief.sky.air_c[: len(days)]
    band[:, :, 0] = np.clip(band[:, :, 0] + drift, air_c - 5.0, 80.0)


def _trend(band: Seen, today: int) -> float:
    """Median change of the core over the last two days, as the readings have it [°C/day]."""
    before = max(0, today - 2)
    change = band[:, today, 0] - band[:, before, 0]
    return round(float(np.median(change)) / max(1, today - before), 2)


def _finished_m3(ended: npt.NDArray[np.void]) -> Array:
    """Volume of the compost that each member ends as, by mass balance [m³]."""
    return np.array([harvest.finished_m3(float(kg), dry_loss=0.0) for kg in dry_kg(ended)])


def _bottom_litres(belief: Belief) -> float:
    """Finished compost of those additions of a fed pile that were already done a week ago [litres].

    Additions are cohorts: what was put in together has had the same days of decay since.
    """
    history, kept = belief.history, belief.kept
    eaten = belief.seen[kept, :, 7].astype(np.float64)
    week_ago = max(0, history.today - life.DONE_DAYS - life.REST_DAYS)
    traits, start = belief.likely.traits[kept], belief.likely.start[kept]
    total_m3 = np.zeros(len(kept))
    days = [0] + [day for day in range(history.today + 1) if history.deeds[day, 2] >= 0]
    for day in days:
        load = start if day == 0 else belief.likely.loads[kept, int(history.deeds[day, 2])]
        until_week_ago = eaten[:, week_ago] - eaten[:, min(day, week_ago)]
        fast = np.exp(-traits["fast_per_day"] * until_week_ago)
        moderate = np.exp(-traits["moderate_per_day"] * until_week_ago)
        done = (fast < life.DONE_FAST) & (moderate < life.DONE_MODERATE)
        so_far = eaten[:, -1] - eaten[:, day]
        left_kg = load[:, 1] * np.exp(-traits["moderate_per_day"] * so_far) + load[:, 2] + load[:, 3]
        total_m3 += done * harvest.finished_m3(1.0, dry_loss=0.0) * left_kg
    return round(1000.0 * float(np.median(total_m3)))


def _days(belief: Belief, band: Seen) -> tuple[Day, ...]:
    """The band of the core from the build, or the last 120 days, to 120 days ahead."""
    first = max(0, belief.history.today - BACK_DAYS)
    core = np.round(np.quantile(band[:, first:, 0], (0.1, 0.5, 0.9), axis=0).astype(np.float64), 1).T
    air = np.round(belief.sky.air_c[first : first + len(core)], 1)
    start = belief.pile.built.toordinal() + first
    return tuple(
        Day(date.fromordinal(start + at), Range(*quantiles), air_c)
        for at, (quantiles, air_c) in enumerate(zip(core.tolist(), air.tolist(), strict=True))
    )


def _range(values: Array, digits: int) -> Range:
    low, middle, high = (round(float(q), digits) for q in np.quantile(values, (0.1, 0.5, 0.9)))
    return Range(low, middle, high)


def _dates(built: date, days: Array) -> DateRange:
    low, middle, high = (built + timedelta(days=round(float(q))) for q in np.quantile(days, (0.1, 0.5, 0.9)))
    return DateRange(low, middle, high, open=high >= built + timedelta(days=HORIZON_DAYS))


def _habit(belief: Belief) -> Habit:
    """The median keeper; more than half a year between two deeds is never."""
    every = float(np.median(belief.likely.traits["turn_every_days"][belief.kept]))
    water = 1.0 / float(np.median(belief.likely.traits["water_chance"][belief.kept]))
    return Habit(*(round(days, 1) if days < NEVER_DAYS else None for days in (every, water)))
