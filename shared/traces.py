"""Skies that a pile may meet: the weather that is known, then normals with the noise of days and seasons."""

from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from shared import heat, weather
from shared.pile import DailyWeather, Pile

Array = npt.NDArray[np.float64]

TRACES = 16
LONGEST_DAYS = 4000
MEMORY_PER_DAY = 0.75  # day-to-day persistence of temperature anomalies; mid-latitude, from memory
DAY_NOISE_K = 3.5
SEASON_NOISE_K = 0.8
AIR_HUMIDITY = 0.70


class Sky(NamedTuple):
    """What `life.run` takes (air °C, humidity kg/kg, rain mm, ET0 mm [trace, day, 4]), and the usual air."""

    by_trace: Array
    air_c: Array


def skies(pile: Pile, days: int, seed: int) -> Sky:
    """The skies over a pile for `days` from its build. Raises BadInput for a climate that cannot be."""
    usual = weather.daily_series(pile.built, days, pile.climate, pile.latitude, pile.weather)
    anomaly_k, rain_share = _noise(seed)
    open_day = ~_known_days(pile, pile.weather, days)
    air_c = usual.mean_c + anomaly_k[:, :days] * open_day
    by_trace = np.empty((TRACES, days, 4))
    by_trace[:, :, 0] = air_c
    by_trace[:, :, 1] = _humidity(air_c)
    by_trace[:, :, 2] = usual.rain_mm * np.where(open_day, rain_share[:, :days], 1.0)
    by_trace[:, :, 3] = usual.et0_mm
    return Sky(by_trace, usual.mean_c)


def colder_than_usual_k(pile: Pile, days: int) -> float:
    """How much colder the known weather of the first `days` was than usual [K], 0 where none is known."""
    known = _known_days(pile, pile.weather, days)
    if not known.any():
        return 0.0
    usual = weather.daily_series(pile.built, days, pile.climate, pile.latitude).mean_c
    met = weather.daily_series(pile.built, days, pile.climate, pile.latitude, pile.weather).mean_c
    return float(np.mean((usual - met)[known]))


def _humidity(air_c: Array) -> Array:
    """Humidity ratio of the air outside [kg/kg], FAO-56 eq. 11 as in `heat`."""
    vapour_kpa = AIR_HUMIDITY * 0.6108 * np.exp(17.27 * air_c / (air_c + 237.3))
    return np.asarray(0.622 * vapour_kpa / (heat.AIR_PRESSURE_KPA - vapour_kpa))


def _known_days(pile: Pile, known: DailyWeather | None, days: int) -> npt.NDArray[np.bool_]:
    covered = np.zeros(days, bool)
    if known is not None:
        start = (known.start - pile.built).days
        covered[max(0, start) : max(0, start + len(known.min_c))] = True
    return covered


@cache
def _noise(seed: int) -> tuple[Array, Array]:
    """Anomalies of the air [K] and rain as a multiple of its daily normal [-], each [trace, day]."""
    rng = np.random.default_rng(seed)
    anomaly = rng.standard_normal((TRACES, LONGEST_DAYS))
    fresh = np.sqrt(1.0 - MEMORY_PER_DAY**2)
    for day in range(1, LONGEST_DAYS):
        anomaly[:, day] = MEMORY_PER_DAY * anomaly[:, day - 1] + fresh * anomaly[:, day]
    season = SEASON_NOISE_K * rng.standard_normal((TRACES, 1))
    wet_share = 0.35
    wet = rng.random(anomaly.shape) < wet_share
    return DAY_NOISE_K * anomaly + season, wet * rng.exponential(1.0 / wet_share, anomaly.shape)
