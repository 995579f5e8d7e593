"""A dozen invented climates, and the daily weather that might have come in each."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Place:
    """latitude [°], mean and half swing of daily mean air [°C], daily range [K], rain [mm a year], its summer
    share (-1 all in winter, 1 all in summer), share of wet days, spread of daily mean [K]."""

    latitude: float
    mean_c: float
    swing_c: float
    range_k: float
    rain_mm: float
    summer_rain: float
    wet_days: float
    spread_k: float


PLACES = {
    "high plains": Place(39.7, 10.0, 12.5, 15.0, 380, 0.5, 0.22, 4.5),
    "hot desert": Place(33.4, 22.5, 10.5, 14.0, 200, 0.1, 0.09, 3.0),
    "cold forest": Place(46.8, 4.5, 15.5, 11.0, 780, 0.4, 0.33, 4.8),
    "mild wet coast": Place(47.5, 11.0, 6.5, 8.0, 950, -0.6, 0.42, 2.6),
    "humid east": Place(40.2, 12.5, 12.0, 10.5, 1150, 0.1, 0.33, 4.2),
    "humid south": Place(32.6, 18.5, 9.5, 11.5, 1250, 0.1, 0.30, 3.6),
    "summer-dry valley": Place(38.5, 16.5, 8.0, 15.0, 470, -0.9, 0.16, 2.8),
    "lake shore": Place(43.1, 9.0, 13.0, 9.5, 880, 0.1, 0.36, 4.3),
    "mountain town": Place(40.6, 6.5, 12.0, 16.0, 450, -0.1, 0.26, 4.2),
    "rainy isles": Place(52.4, 10.2, 6.3, 7.5, 720, -0.1, 0.42, 2.8),
    "subtropical coast": Place(26.5, 24.0, 4.5, 9.0, 1450, 0.6, 0.34, 1.8),
    "southern vale": Place(-36.9, 14.8, 6.2, 11.5, 640, -0.2, 0.30, 3.0),
}


def normals(place: Place) -> tuple[Floats, Floats, Floats]:
    """Monthly mean daily minimum and maximum [°C] and rain sums [mm], January first."""
    warmth = _season((np.arange(12) + 0.5) * 365.25 / 12, place.latitude)
    mean = place.mean_c + place.swing_c * warmth
    rain = place.rain_mm / 12 * (1 + place.summer_rain * warmth)
    return mean - place.range_k / 2, mean + place.range_k / 2, rain


def _season(day: Floats, latitude: float) -> Floats:
    """-1 in the depth of winter to 1 at the height of summer, some 25 days after the solstices."""
    return -np.cos(2 * np.pi * (day - 17) / 365.25) * (1.0 if latitude > 0 else -1.0)


@dataclass(frozen=True, slots=True)
class Weather:
    """Daily series: minimum and maximum [°C], rain [mm], soil at 0.2 m [°C], evapotranspiration [mm]."""

    min_c: Floats
    max_c: Floats
    rain_mm: Floats
    soil_c: Floats
    et0_mm: Floats
    sunshine: Floats


def daily_weather(place: Place, first_day_of_year: int, days: int, rng: np.random.Generator) -> Weather:
    """Draw weather from a day of the year on: AR(1) warmth, a wet/dry Markov chain, gamma amounts."""
    day = first_day_of_year + np.arange(days, dtype=float)
    warmth = _season(day, place.latitude)
    wet = _wet_days(place, warmth, rng)
    per_wet_day = (
        place.rain_mm * (1 + place.summer_rain * warmth) / 365.25 / np.maximum(0.03, _chance(place, warmth))
    )
    rain = wet * rng.gamma(0.75, per_wet_day / 0.75)
    spread = place.spread_k * (1 - 0.25 * warmth)
    anomaly = rng.normal(0, 0.7) + _red_noise(days, 0.72, rng) * spread
    mean = place.mean_c + place.swing_c * warmth + anomaly - 0.8 * wet
    half_range = place.range_k / 2 * np.exp(rng.normal(0, 0.22, days)) * np.where(wet, 0.65, 1.12)
    soil = (
        place.mean_c + place.swing_c * 0.75 * _season(day - 20, place.latitude) + 0.4 * _running(anomaly, 14)
    )
    radiation = extraterrestrial(day, place.latitude)
    # Hargreaves, FAO-56 equation 52
    et0 = np.maximum(0.0, 0.0023 * (mean + 17.8) * np.sqrt(2 * half_range) * radiation * 0.408)
    return Weather(
        mean - half_range, mean + half_range, rain, soil, et0, np.where(wet, 0.35, 0.75) * radiation / 40
    )


def _chance(place: Place, warmth: Floats) -> Floats:
    return np.clip(place.wet_days * (1 + 0.8 * place.summer_rain * warmth), 0.02, 0.8)


def _wet_days(place: Place, warmth: Floats, rng: np.random.Generator) -> NDArray[np.bool_]:
    """A two-state chain with the stated share of wet days and a memory of 0.3."""
    chance, draw = _chance(place, warmth), rng.random(len(warmth))
    wet = np.zeros(len(warmth), dtype=bool)
    for i in range(1, len(warmth)):
        wet[i] = draw[i] < 0.7 * chance[i] + 0.3 * wet[i - 1]
    return wet


def _red_noise(days: int, memory: float, rng: np.random.Generator) -> Floats:
    noise = rng.normal(0, 1, days)
    for i in range(1, days):
        noise[i] = memory * noise[i - 1] + np.sqrt(1 - memory**2) * noise[i]
    return noise


def _running(x: Floats, days: int) -> Floats:
    return np.convolve(np.concatenate([np.full(days - 1, x[0]), x]), np.full(days, 1 / days), "valid")


def extraterrestrial(day: Floats, latitude: float) -> Floats:
    """Radiation above the air [MJ/m² day], FAO-56 equations 21 to 25."""
    year, phi = 2 * np.pi * day / 365.25, np.radians(latitude)
    delta = 0.409 * np.sin(year - 1.39)
    omega = np.arccos(np.clip(-np.tan(phi) * np.tan(delta), -1, 1))
    sun = omega * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega)
    return np.asarray(24 * 60 / np.pi * 0.0820 * (1 + 0.033 * np.cos(year)) * sun)
