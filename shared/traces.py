"""Skies that a pile may meet: the weather that is known, then normals with the noise of days and seasons."""

from datetime import timedelta
from functools import cache
from math import pi

import numpy as np
import numpy.typing as npt

from shared import heat
from shared.pile import Climate, Pile

Array = npt.NDArray[np.float64]

TRACES = 16
MEMORY_PER_DAY = 0.75  # day-to-day persistence of temperature anomalies; a usual mid-latitude value, from memory
DAY_NOISE_K = 3.5
SEASON_NOISE_K = 0.8
WET_DAY_SHARE = 0.3
AIR_HUMIDITY = 0.70
USUAL_LATITUDE = 39.5
USUAL_CLIMATE = Climate(
    min_c=(-4.0, -3.0, 1.0, 6.0, 11.0, 16.0, 19.0, 18.0, 14.0, 7.0, 2.0, -2.0),
    max_c=(5.0, 7.0, 12.0, 18.0, 23.0, 28.0, 30.0, 29.0, 25.0, 19.0, 12.0, 6.0),
    rain_mm=(75.0, 70.0, 90.0, 90.0, 100.0, 95.0, 100.0, 90.0, 85.0, 80.0, 80.0, 80.0),
)  # an invented temperate place, used where no climate is given


@cache
def _noise(days: int, seed: int) -> tuple[Array, Array]:
    """Temperature anomalies [K] and rain relative to its normal [-], each [trace, day]."""
    rng = np.random.default_rng(seed)
    shocks = rng.standard_normal((TRACES, days)) * np.sqrt(1.0 - MEMORY_PER_DAY**2)
    anomaly = np.empty_like(shocks)
    anomaly[:, 0] = rng.standard_normal(TRACES)
    for day in range(1, days):
        anomaly[:, day] = MEMORY_PER_DAY * anomaly[:, day - 1] + shocks[:, day]
    season = SEASON_NOISE_K * rng.standard_normal((TRACES, 1))
    wet = rng.random((TRACES, days)) < WET_DAY_SHARE
    rain = wet * rng.exponential(1.0 / WET_DAY_SHARE, (TRACES, days))
    return DAY_NOISE_K * anomaly + season, rain


def skies(pile: Pile, days: int, seed: int) -> tuple[Array, Array]:
    """The skies over a pile from its build on, and the day's normal mean air temperature [°C].

    First result: air °C, humidity kg/kg, rain mm, ET0 mm [trace, day, 4], from day 0 up to `days`.
    """
    climate = pile.climate or USUAL_CLIMATE
    first = pile.built.toordinal()
    day_of_year = np.array(
        [(pile.built + timedelta(days=offset)).timetuple().tm_yday for offset in range(366)], dtype=float
    )
    day_of_year = np.concatenate([day_of_year] * (days // 366 + 1))[:days]
    middles = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])

    def daily(monthly: tuple[float, ...]) -> Array:
        return np.interp(day_of_year, middles, np.array(monthly), period=365.25)

    low, high = daily(climate.min_c), daily(climate.max_c)
    anomaly, relative = _noise(HORIZON, seed)
    air = 0.5 * (low + high) + anomaly[:, :days]
    rain = daily(climate.rain_mm) / 30.44 * relative[:, :days]
    spread = np.broadcast_to(np.maximum(high - low, 1.0), air.shape).copy()
    known = pile.weather
    if known is not None:
        start = known.start.toordinal() - first
        count = min(len(known.min_c), days - start)
        begin = max(0, -start)
        at = slice(start + begin, start + count)
        if count > begin:
            k_low, k_high = np.array(known.min_c[begin:count]), np.array(known.max_c[begin:count])
            air[:, at] = 0.5 * (k_low + k_high)
            spread[:, at] = np.maximum(k_high - k_low, 1.0)
            rain[:, at] = np.array(known.rain_mm[begin:count])
    radiation = _radiation_mm(day_of_year, USUAL_LATITUDE if pile.latitude is None else pile.latitude)
    et0 = np.maximum(0.0, 0.0023 * (air + 17.8) * np.sqrt(spread) * radiation)
    sky = np.empty((TRACES, days, 4))
    sky[:, :, 0] = air
    vapour = AIR_HUMIDITY * 0.6108 * np.exp(17.27 * air / (air + 237.3))
    sky[:, :, 1] = 0.622 * vapour / (heat.AIR_PRESSURE_KPA - vapour)
    sky[:, :, 2] = rain
    sky[:, :, 3] = et0
    return sky, 0.5 * (low + high)


HORIZON = 1200


def _radiation_mm(day_of_year: Array, latitude: float) -> Array:
    """Extraterrestrial radiation as mm of water [mm/day], FAO-56 eq. 21-25."""
    phi = np.radians(latitude)
    turn = 2.0 * pi * day_of_year / 365.0
    near = 1.0 + 0.033 * np.cos(turn)
    tilt = 0.409 * np.sin(turn - 1.39)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(tilt), -1.0, 1.0))
    sun = sunset * np.sin(phi) * np.sin(tilt) + np.cos(phi) * np.cos(tilt) * np.sin(sunset)
    return 0.408 * 24 * 60 / pi * 0.0820 * near * sun
