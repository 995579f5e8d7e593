"""An ensemble of piles weighed by this pile's readings: state, stage, and the done date as a range."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from shared.pile import Pile, Record, Stage


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
    """Forecast one pile from its records up to `as_of`. `habit` overrides what the records show (what-if)."""
    raise NotImplementedError


def forecast_many(cases: Sequence[tuple[Pile, Sequence[Record], date]], *, seed: int = 0) -> list[Forecast]:
    """Forecast many piles in one batch; each comes out exactly as `forecast` would give it alone."""
    raise NotImplementedError
