"""An ensemble of piles weighed by this pile's readings: state, stage, and the done date as a range."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from shared import ensemble, evidence, harvest, hygiene, life, mix, stages, tending, traces
from shared.ensemble import Array, Indices, Likely, Plan, Seen
from shared.evidence import Weighed
from shared.history import HORIZON_DAYS, History, read_history
from shared.pile import Pile, Record, Stage

BACK_DAYS = 120
AHEAD_DAYS = 120
COMPARED = 48  # members on which acting now is compared with waiting
COMPARED_DAYS = 14
COMPARED_AHEAD_DAYS = 400  # a gain beyond is none that a keeper would wait for
GOAL_MOISTURE = 0.55
DUE_CORE_C = 43.0  # below 105-110 °F with food left a turn pays (common practice)
DUE_MOISTURE = 0.45
FOOD_LEFT = 0.05
FEWEST_DAYS_BETWEEN_TURNS = 3
NEVER_DAYS = 180.0
LEAST_PULL = 0.25


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
    mix_c_n, mix_moisture        of all that ever went in as told, water from rain and cans aside
    trend_c_per_day              median change of the core over the last two days
    turn_gain_days               median days by which `ready` comes sooner if turned now, against leaving the
                                 pile alone for a fortnight (below 0: later)
    water_gain_days              the same for watering now with `water_litres`
    turn_due, water_due          median day on which turning or watering becomes pays, None if not in sight
    ready                        for a fed pile: when all would be ready if adding stopped on `as_of`
    bottom_litres                fed pile: what could be taken from the bottom now [L of finished compost]
    hours_over_55c               proven by readings, core only
    weed_seed_kill               share [-], with the part that was never hot
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


class _Look(NamedTuple):
    """One pile on its way through the forecast."""

    pile: Pile
    records: Sequence[Record]
    history: History
    sky: traces.Sky
    likely: Likely
    seen: Seen
    weighed: Weighed
    kept: Indices


def forecast(
    pile: Pile, records: Sequence[Record], as_of: date, *, seed: int = 0, habit: Habit | None = None
) -> Forecast:
    """Forecast one pile from its records up to `as_of`. `habit` overrides what the records show (what-if).

    Raises BadInput where the pile has no ingredients or size, or `as_of` lies before the build.
    """
    look = _look(pile, records, as_of, seed, habit)
    history, sky, kept = look.history, look.sky, look.kept
    today = history.today
    band = _band_so_far(look)
    ended = ensemble.live_on(look.likely, kept, history, sky, seen=band)
    ready_days = _ready_days(ended, len(sky.air_c))
    _drift(look, band, seed)
    core_c = band[:, today, 0].astype(np.float64)
    now = look.seen[kept, today].astype(np.float64)
    water_l = _water_litres(look)
    turn_gain, water_gain = _gains(look, water_l)
    credit = hygiene.credit(*hygiene.heard([r for r in records if r.on <= as_of], pile.built))
    recipe = mix.blend(mix.parts_of([*pile.ingredients, *history.added]))
    return Forecast(
        pile_id=pile.id,
        as_of=as_of,
        stage=stages.likeliest(
            band[:, : today + 1], float(sky.air_c[today]), ended["ready_day"], history.hot_seen
        ),
        ready=_dates(pile.built, ready_days),
        core_c=_range(core_c, 1),
        air_c=round(float(sky.air_c[today]), 1),
        moisture=_range(now[:, 1], 3),
        free_air=_range(now[:, 3], 3),
        fast_left=_range(now[:, 4], 3),
        moderate_left=_range(now[:, 5], 3),
        trend_c_per_day=_trend(band, today),
        mix_c_n=round(recipe.c_n, 1),
        mix_moisture=round(recipe.moisture, 3),
        hours_over_55c=round(credit.hours_over_55c, 1),
        weed_seed_kill=round(credit.seeds_killed, 3),
        harvest_litres=_range(1000.0 * _finished_m3(ended), 0),
        bottom_litres=_bottom_litres(look) if pile.fed else 0.0,
        turn_gain_days=turn_gain,
        water_gain_days=water_gain,
        water_litres=water_l,
        turn_due=_turn_due(look, band),
        water_due=_first_day(pile, today, np.median(band[:, :, 1], axis=0) < DUE_MOISTURE),
        days=_days(look, band),
        habit=_habit(look),
        moved=_moved(look),
        assumed=_assumed(look),
    )


def forecast_many(cases: Sequence[tuple[Pile, Sequence[Record], date]], *, seed: int = 0) -> list[Forecast]:
    """Forecast many piles in one batch; each comes out exactly as `forecast` would give it alone."""
    return [forecast(pile, records, as_of, seed=seed) for pile, records, as_of in cases]


def _look(pile: Pile, records: Sequence[Record], as_of: date, seed: int, habit: Habit | None) -> _Look:
    """Draw the members, run them up to today, weigh them, and settle what their keepers will do."""
    history = read_history(pile, records, as_of)
    horizon = max(HORIZON_DAYS, history.today + 1 + AHEAD_DAYS)
    sky = traces.skies(pile, horizon, seed)
    likely = ensemble.draw(pile, history, float(sky.air_c[0]), seed)
    seen = ensemble.live_through(likely, history, sky)
    weighed = evidence.weigh(likely, history, seen, sky.air_c)
    kept = evidence.resample(weighed.log_weight)
    if habit is None:
        ensemble.settle_habit(likely, pile, history, sky.air_c)
    else:
        every = np.full(len(likely.traits), habit.turn_every_days or tending.FAR_DAYS)
        chance = np.full(len(likely.traits), 1.0 / (habit.water_every_days or tending.FAR_DAYS))
        ensemble.set_habit(likely, history, every, chance)
    return _Look(pile, records, history, sky, likely, seen, weighed, kept)


def _band_so_far(look: _Look) -> Seen:
    """What was seen of the kept members up to today, with room for the days ahead."""
    today = look.history.today
    band = np.full((len(look.kept), today + 1 + AHEAD_DAYS, len(life.SEEN)), np.nan, np.float32)
    band[:, : today + 1] = look.seen[look.kept]
    return band


def _ready_days(ended: npt.NDArray[np.void], horizon: int) -> Array:
    """Days from the build to `ready`, the last day of the horizon where it lies beyond."""
    days = np.nan_to_num(ended["ready_day"], nan=horizon)
    return np.asarray(np.minimum(days, HORIZON_DAYS), dtype=np.float64)


def _drift(look: _Look, band: Seen, seed: int) -> None:
    """Move the core of each kept member as the readings show, less and less in the days ahead."""
    days = np.arange(band.shape[1])
    unsure = np.random.default_rng(seed + 1).standard_normal(len(look.kept))
    fading = np.exp(-np.abs(days - look.history.today) / evidence.DRIFT_DAYS)
    drift = look.weighed.drift_on(days, look.kept) + look.weighed.drift_sd_k * unsure[:, None] * fading
    air_c = look.sky.air_c[: len(days)]
    band[:, :, 0] = np.clip(band[:, :, 0] + drift, air_c - 5.0, 80.0)


def _trend(band: Seen, today: int) -> float:
    """Median change of the core over the last two days, as the readings have it [°C/day]."""
    before = max(0, today - 2)
    change = band[:, today, 0] - band[:, before, 0]
    return round(float(np.median(change)) / max(1, today - before), 2)


def _gains(look: _Look, water_l: float) -> tuple[float, float]:
    """Median days won by turning now and by watering now, against leaving the pile alone for a fortnight."""
    some = look.kept[:: max(1, len(look.kept) // COMPARED)]
    last = look.history.today + 1 + COMPARED_AHEAD_DAYS

    def ready_days(plan: Plan) -> Array:
        return _ready_days(ensemble.live_on(look.likely, some, look.history, look.sky, plan), last)

    alone = ready_days(Plan(False, 0.0, COMPARED_DAYS, COMPARED_AHEAD_DAYS))
    turned = round(
        float(np.median(alone - ready_days(Plan(True, 0.0, COMPARED_DAYS, COMPARED_AHEAD_DAYS)))), 1
    )
    watered = (
        round(
            float(np.median(alone - ready_days(Plan(False, water_l, COMPARED_DAYS, COMPARED_AHEAD_DAYS)))), 1
        )
        if water_l
        else 0.0
    )
    return turned, watered


def _water_litres(look: _Look) -> float:
    """Litres that bring the median member to 55 % [L]."""
    piles = look.likely.piles[look.kept]
    dry = _dry_kg(piles)
    water = piles["core"]["water_kg"] + piles["shell"]["water_kg"]
    return max(0.0, round(float(np.median(dry * GOAL_MOISTURE / (1.0 - GOAL_MOISTURE) - water))))


def _dry_kg(piles: npt.NDArray[np.void]) -> Array:
    pools = ("fast_kg", "moderate_kg", "slow_kg", "ash_kg")
    return np.asarray(sum(piles[node][pool] for node in ("core", "shell") for pool in pools))


def _finished_m3(ended: npt.NDArray[np.void]) -> Array:
    """Volume of the compost that each member ends as, by mass balance [m³]."""
    return np.array([harvest.finished_m3(float(kg), dry_loss=0.0) for kg in _dry_kg(ended)])


def _bottom_litres(look: _Look) -> float:
    """Finished compost of those additions of a fed pile that were already done a week ago [litres].

    Additions are cohorts: what was put in together has had the same days of decay since.
    """
    history, kept = look.history, look.kept
    eaten = look.seen[kept, :, 7].astype(np.float64)
    week_ago = max(0, history.today - life.DONE_DAYS - life.REST_DAYS)
    traits, start = look.likely.traits[kept], look.likely.start[kept]
    total_m3 = np.zeros(len(kept))
    days = [0] + [day for day in range(history.today + 1) if history.deeds[day, 2] >= 0]
    for day in days:
        load = start if day == 0 else look.likely.loads[kept, int(history.deeds[day, 2])]
        until_week_ago = eaten[:, week_ago] - eaten[:, min(day, week_ago)]
        fast = np.exp(-traits["fast_per_day"] * until_week_ago)
        moderate = np.exp(-traits["moderate_per_day"] * until_week_ago)
        done = (fast < life.DONE_FAST) & (moderate < life.DONE_MODERATE)
        so_far = eaten[:, -1] - eaten[:, day]
        left_kg = load[:, 1] * np.exp(-traits["moderate_per_day"] * so_far) + load[:, 2] + load[:, 3]
        total_m3 += done * harvest.finished_m3(1.0, dry_loss=0.0) * left_kg
    return round(1000.0 * float(np.median(total_m3)))


def _first_day(pile: Pile, start: int, due: npt.NDArray[np.bool_]) -> date | None:
    """The first due day from `start` on, None if not in sight."""
    hits = np.flatnonzero(due[start:])
    return pile.built + timedelta(days=start + int(hits[0])) if hits.size else None


def _turn_due(look: _Look, band: Seen) -> date | None:
    """First day, three after the last turn, on which the median core has lost its heat with food left."""
    cool = np.median(band[:, :, 0], axis=0) < DUE_CORE_C
    food = np.median(band[:, :, 4], axis=0) > FOOD_LEFT
    rested = max(look.history.turned, default=0) + FEWEST_DAYS_BETWEEN_TURNS
    return _first_day(look.pile, max(look.history.today, rested), cool & food)


def _days(look: _Look, band: Seen) -> tuple[Day, ...]:
    """The band of the core from the build, or the last 120 days, to 120 days ahead."""
    first = max(0, look.history.today - BACK_DAYS)
    core = np.round(np.quantile(band[:, first:, 0], (0.1, 0.5, 0.9), axis=0).astype(np.float64), 1).T
    air = np.round(look.sky.air_c[first : first + len(core)], 1)
    start = look.pile.built.toordinal() + first
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


def _habit(look: _Look) -> Habit:
    """The median keeper; more than half a year between two deeds is never."""
    every = float(np.median(look.likely.traits["turn_every_days"][look.kept]))
    water = 1.0 / float(np.median(look.likely.traits["water_chance"][look.kept]))
    return Habit(*(round(days, 1) if days < NEVER_DAYS else None for days in (every, water)))


def _moved(look: _Look) -> tuple[str, ...]:
    """Codes of what moved the done date most, strongest first.

    Each kind of evidence is measured by how far it alone shifts the days of decay that the members have had
    (moisture: how wet they are), in standard deviations; deeds by their rate against the intended one.
    """
    now = look.seen[:, -1].astype(np.float64)
    pulls: dict[str, float] = {}

    def shift(part: str, column: int) -> float:
        weight = np.exp(look.weighed.parts[part] - look.weighed.parts[part].max())
        values = now[:, column]
        return float((np.average(values, weights=weight) - values.mean()) / max(values.std(), 1e-9))

    eaten, wet = shift("core", 7), shift("moisture", 1)
    pulls["hot_readings" if eaten > 0 else "cool_readings"] = abs(eaten)
    pulls["wet" if wet > 0 else "dry"] = abs(wet)
    if any(sight.kind == "height" for sight in look.history.sights):
        pulls["height"] = abs(shift("other", 7))
    intended = ensemble.INTENDED_DAYS[look.pile.turning or "fortnightly"]
    expected = ensemble.KEPT_PROMISE * look.history.today / intended
    extra = (len(look.history.turned) - expected) / np.sqrt(expected + 1.0)
    pulls["turned" if extra > 0 else "not_turned"] = 0.5 * abs(float(extra))
    if look.history.watered:
        pulls["watered"] = 0.3 * float(np.sqrt(len(look.history.watered)))
    cold = traces.colder_than_usual_k(look.pile, look.history.today)
    if cold > 0.0:
        pulls["cold_weather"] = 0.2 * cold
    strong = [code for code, pull in pulls.items() if pull >= LEAST_PULL]
    return tuple(sorted(strong, key=lambda code: -pulls[code]))


def _assumed(look: _Look) -> tuple[str, ...]:
    """Codes of what was not said and so assumed."""
    unsaid = ("pieces", "climate", "turning", "bin", "covered", "shade", "latitude")
    codes = [name for name in unsaid if getattr(look.pile, name) is None]
    if not any(sight.kind == "moisture" for sight in look.history.sights):
        codes.append("moisture")
    if look.history.unsaid_water:
        codes.append("water_litres")
    if look.history.unsaid_addition:
        codes.append("added_litres")
    if look.likely.squeezed:
        codes.append("volumes")
    if look.history.passed_over:
        codes.append("reading_left_out")
    return tuple(codes)
