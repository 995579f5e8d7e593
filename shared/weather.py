"""Weather of a pile's place: normals to days, sun and evapotranspiration, rough factors of cover and shade.

[H] Allen, Pereira, Raes and Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, 1998.
Days are counted in a year of 365; 29 February counts as the 28th.
"""

import math
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from shared.errors import BadInput, OutOfRange
from shared.pile import Climate, DailyWeather, Shade

Floats = NDArray[np.float64]

DEFAULT_LATITUDE = 39.5
DEFAULT_CLIMATE = Climate(
    min_c=(-5.0, -4.0, 0.0, 5.0, 10.0, 15.0, 18.0, 17.0, 12.0, 6.0, 1.0, -4.0),
    max_c=(4.0, 6.0, 11.0, 17.0, 22.0, 28.0, 31.0, 30.0, 25.0, 18.0, 11.0, 5.0),
    rain_mm=(70.0, 65.0, 90.0, 95.0, 105.0, 100.0, 100.0, 90.0, 85.0, 80.0, 85.0, 80.0),
)
"""Used where nobody said where the pile is: a temperate interior at mid-latitude, in round numbers."""

SOLAR_MJ_M2_MIN = 0.0820
MM_PER_MJ_M2 = 0.408
"""Water that 1 MJ/m² evaporates, 1/2.45 [H, eq. 20]."""

CATCH = {"covered": 0.05, "domed": 0.45, "dished": 0.9}
"""Share of the rain on its top that a pile takes in: 0-0.1, 0.3-0.6, 0.8-1.0 (common practice)."""
SHADE_FACTOR: dict[Shade, float] = {"sun": 1.0, "part": 0.8, "shade": 0.6}
"""Rough; common practice."""
WET_DAY_MM = 7.0
"""Mean rain on a day with rain, from memory of mid-latitude stations; rough."""

_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_MONTH_STARTS = np.concatenate(([0], np.cumsum(_MONTH_DAYS)[:-1]))


@dataclass(frozen=True, slots=True)
class Series:
    """Day by day from `start`: minimum and maximum [°C], rain and reference evapotranspiration [mm]."""

    start: date
    min_c: Floats
    max_c: Floats
    rain_mm: Floats
    et0_mm: Floats

    @property
    def mean_c(self) -> Floats:
        """Daily mean of the air, halfway between its extremes, as in [H, eq. 9]."""
        return (self.min_c + self.max_c) / 2


def inverse_distance(day_of_year: ArrayLike) -> Floats:
    """Relative inverse distance to the sun, squared [-]. [H, eq. 23]"""
    return np.asarray(1 + 0.033 * np.cos(2 * np.pi / 365 * np.asarray(day_of_year)))


def declination_rad(day_of_year: ArrayLike) -> Floats:
    """Solar declination. [H, eq. 24]"""
    return np.asarray(0.409 * np.sin(2 * np.pi / 365 * np.asarray(day_of_year) - 1.39))


def sunset_angle_rad(latitude_deg: float, day_of_year: ArrayLike) -> Floats:
    """Hour angle of the sunset; 0 in the polar night, pi under the midnight sun. [H, eq. 25]"""
    cosine = -math.tan(math.radians(latitude_deg)) * np.tan(declination_rad(day_of_year))
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def radiation_mj_m2(latitude_deg: float, day_of_year: ArrayLike) -> Floats:
    """Radiation above the air by day [MJ/m² day]. Raises OutOfRange beyond the poles. [H, eq. 21]"""
    if not -90 <= latitude_deg <= 90:
        raise OutOfRange(f"latitude must lie within -90 to 90 degrees, got {latitude_deg}")
    latitude = math.radians(latitude_deg)
    declination, sunset = declination_rad(day_of_year), sunset_angle_rad(latitude_deg, day_of_year)
    sun = sunset * math.sin(latitude) * np.sin(declination)
    sun = sun + math.cos(latitude) * np.cos(declination) * np.sin(sunset)
    return np.asarray(
        24 * 60 / np.pi * SOLAR_MJ_M2_MIN * inverse_distance(day_of_year) * np.maximum(sun, 0.0)
    )


def et0_mm(min_c: ArrayLike, max_c: ArrayLike, radiation: ArrayLike) -> Floats:
    """Reference evapotranspiration by day, Hargreaves, never below zero. [H, eq. 52]

    radiation is above the air [MJ/m² day].
    """
    low, high = np.asarray(min_c, dtype=float), np.asarray(max_c, dtype=float)
    swing = np.sqrt(np.maximum(high - low, 0.0))
    return np.asarray(
        np.maximum(0.0023 * ((low + high) / 2 + 17.8) * swing * np.asarray(radiation) * MM_PER_MJ_M2, 0.0)
    )


def daily_series(
    start: date,
    days: int,
    climate: Climate | None = None,
    latitude_deg: float | None = None,
    known: DailyWeather | None = None,
    rng: np.random.Generator | None = None,
) -> Series:
    """Days from `start`: what is known where it is known, the normals elsewhere.

    Temperatures run smoothly through the year and keep each month's mean. Rain is each month's daily mean, or
    wet and dry days drawn with `rng`. Raises BadInput for a climate that cannot be.
    """
    day = _days_of_year(start, days)
    year = _year(climate or DEFAULT_CLIMATE, DEFAULT_LATITUDE if latitude_deg is None else latitude_deg)
    low, high, rain, radiation = year[:, day]
    if rng is not None:
        rain = _drawn_rain(rain, rng)
    if known is not None:
        _put_known(start, known, low, high, rain)
    return Series(start, low, high, rain, et0_mm(low, high, radiation))


def _check(climate: Climate) -> None:
    for name in ("min_c", "max_c", "rain_mm"):
        values = getattr(climate, name)
        if len(values) != 12 or not all(math.isfinite(value) for value in values):
            raise BadInput(f"climate.{name} needs 12 numbers, January first, got {len(values)}")
    if any(low > high for low, high in zip(climate.min_c, climate.max_c, strict=True)):
        raise BadInput("climate: a month's min_c lies above its max_c; check their order")
    if any(rain < 0 for rain in climate.rain_mm):
        raise BadInput("climate.rain_mm: rain must be 0 or more")


def _days_of_year(start: date, days: int) -> NDArray[np.int64]:
    """Day of a 365-day year (0 to 364) of each day."""
    dates = np.datetime64(start, "D") + np.arange(days)
    months = dates.astype("datetime64[M]")
    month, in_month = months.astype(np.int64) % 12, (dates - months).astype(np.int64)
    return np.asarray(_MONTH_STARTS[month] + np.minimum(in_month, _MONTH_DAYS[month] - 1))


@lru_cache(maxsize=256)
def _year(climate: Climate, latitude_deg: float) -> Floats:
    """Normal minimum, maximum [°C], rain [mm] and radiation [MJ/m²] of a place [4, day of the year]."""
    _check(climate)
    low, high = (_smooth_weights() @ np.asarray(of_month) for of_month in (climate.min_c, climate.max_c))
    rain = np.repeat(np.asarray(climate.rain_mm) / _MONTH_DAYS, _MONTH_DAYS)
    return np.array([low, high, rain, radiation_mj_m2(latitude_deg, np.arange(1, 366))])


@cache
def _smooth_weights() -> Floats:
    """365 x 12: straight lines between mid-months, the knots set so that each month keeps its mean."""
    middles = _MONTH_STARTS + (_MONTH_DAYS - 1) / 2
    knots = np.concatenate((middles[-1:] - 365, middles, middles[:1] + 365))
    lines = np.array(
        [np.interp(np.arange(365), knots, np.concatenate((row[-1:], row, row[:1]))) for row in np.eye(12)]
    ).T
    of_month = np.repeat(np.arange(12), _MONTH_DAYS)
    means = np.array([lines[of_month == month].mean(axis=0) for month in range(12)])
    return np.asarray(lines @ np.linalg.inv(means))


def _drawn_rain(mean_mm: Floats, rng: np.random.Generator) -> Floats:
    """Wet days of exponential amount whose mean is that of the month."""
    chance = np.clip(mean_mm / WET_DAY_MM, 0.0, 0.9)
    wet = rng.random(len(mean_mm)) < chance
    amount = np.divide(mean_mm, chance, out=np.zeros_like(mean_mm), where=chance > 0)
    return np.where(wet, rng.exponential(1.0, len(mean_mm)) * amount, 0.0)


def _put_known(start: date, known: DailyWeather, low: Floats, high: Floats, rain: Floats) -> None:
    """Overwrite the days that are known; a value that is no number leaves the normal in its place."""
    offset = (known.start - start).days
    for target, values in ((low, known.min_c), (high, known.max_c), (rain, known.rain_mm)):
        day = np.arange(len(values)) + offset
        given = np.asarray(values, dtype=float)
        use = (day >= 0) & (day < len(target)) & np.isfinite(given)
        target[day[use]] = given[use]
