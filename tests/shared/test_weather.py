"""Weather, against the printed examples of FAO-56 and the reference library refet."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from refet import calcs

from shared.errors import BadInput, OutOfRange
from shared.pile import Climate, DailyWeather
from shared.units import KG_PER_LB, L_PER_GAL, M2_PER_FT2, MM_PER_IN
from shared.weather import (
    DEFAULT_CLIMATE,
    daily_series,
    declination_rad,
    et0_mm,
    inverse_distance,
    radiation_mj_m2,
    sunset_angle_rad,
)

HOT_DRY = Climate(
    min_c=(1, 3, 6, 10, 15, 20, 24, 23, 19, 12, 5, 1),
    max_c=(16, 18, 22, 27, 32, 38, 39, 38, 35, 29, 21, 16),
    rain_mm=(20, 19, 18, 7, 4, 5, 40, 52, 30, 20, 14, 22),
)
"""An invented place."""


def test_radiation_of_the_printed_example() -> None:
    """CHK-8.11, FAO-56 example 8: 20° south, 3 September, step by step to 32.2 MJ/m² day."""
    assert inverse_distance(246) == pytest.approx(0.985, abs=5e-4)
    assert declination_rad(246) == pytest.approx(0.120, abs=5e-4)
    assert sunset_angle_rad(-20, 246) == pytest.approx(1.527, abs=5e-4)
    assert radiation_mj_m2(-20, 246) == pytest.approx(32.19, abs=5e-3)


@pytest.mark.parametrize(
    ("latitude", "day", "mj_m2"), [(45.72, 196, 40.55), (40, 172, 41.87), (40, 355, 13.52)]
)
def test_radiation_of_northern_summer_and_winter(latitude: float, day: int, mj_m2: float) -> None:
    """CHK-8.11: FAO-56 equation 21 at two latitudes."""
    assert radiation_mj_m2(latitude, day) == pytest.approx(mj_m2, abs=6e-3)


@given(latitude=st.floats(-60, 60), day=st.integers(1, 365))
def test_radiation_agrees_with_refet(latitude: float, day: int) -> None:
    """An independent library of the ASCE form comes to the same within 0.2 % (its solar constant is 4.92)."""
    theirs = float(calcs.ra_daily(np.radians(latitude), day, method="asce"))

    assert radiation_mj_m2(latitude, day) == pytest.approx(theirs, rel=2e-3, abs=0.02)


def test_no_sun_in_the_polar_night() -> None:
    """Nothing is divided by zero beyond the circle, and a latitude beyond the pole is refused."""
    assert radiation_mj_m2(80, 355) == 0
    assert radiation_mj_m2(80, 172) > 40
    with pytest.raises(OutOfRange, match="latitude"):
        radiation_mj_m2(91, 1)


def test_hargreaves_of_the_printed_example() -> None:
    """CHK-8.10, FAO-56 example 20: Lyon in July, 5.04 mm/day (printed 5.0)."""
    assert et0_mm(14.8, 26.6, 40.6) == pytest.approx(5.04, abs=5e-3)


def test_evapotranspiration_of_a_summer_and_a_winter_day() -> None:
    """CHK-8.12: latitude 40°, 6.13 mm in June, 0.71 in December; 5.13 L = 1.35 gal from a 3 × 3 ft top."""
    june = float(et0_mm(15, 30, radiation_mj_m2(40, 172)))
    top_m2 = 9 * M2_PER_FT2

    assert june == pytest.approx(6.13, abs=5e-3)
    assert et0_mm(-5, 5, radiation_mj_m2(40, 355)) == pytest.approx(0.71, abs=5e-3)
    assert june * top_m2 == pytest.approx(5.13, abs=5e-3)
    assert june * top_m2 / L_PER_GAL == pytest.approx(1.35, abs=6e-3)


@pytest.mark.parametrize(("feet", "gallons", "pounds"), [(3, 5.61, 46.8), (4, 9.97, 83.2), (5, 15.58, 130.1)])
def test_an_inch_of_rain_on_a_pile(feet: float, gallons: float, pounds: float) -> None:
    """Section 8 of the moisture sheet: 1 mm on 1 m² is 1 L."""
    caught = MM_PER_IN * feet**2 * M2_PER_FT2

    assert caught / L_PER_GAL == pytest.approx(gallons, abs=6e-3)
    assert caught / KG_PER_LB == pytest.approx(pounds, abs=0.1)


def test_rain_moistens_a_pile_by_the_balance() -> None:
    """CHK-8.9: half an inch, all caught, on 3 × 3 ft and 400 lb at 50 %: 23.41 lb in, 52.76 %."""
    caught_lb = MM_PER_IN / 2 * 9 * M2_PER_FT2 / KG_PER_LB

    assert caught_lb == pytest.approx(23.41, abs=5e-3)
    assert (200 + caught_lb) / (400 + caught_lb) == pytest.approx(0.5276, abs=5e-5)


@pytest.mark.parametrize("climate", [DEFAULT_CLIMATE, HOT_DRY], ids=["temperate", "hot-dry"])
def test_days_keep_each_month_s_mean(climate: Climate) -> None:
    """Smooth days average to the normals in each month, and rain adds up to its sum."""
    year = daily_series(date(2027, 1, 1), 365, climate, 39.5)
    months = np.array([date.fromordinal(date(2027, 1, 1).toordinal() + day).month for day in range(365)])

    for month in range(1, 13):
        days = months == month
        assert year.min_c[days].mean() == pytest.approx(climate.min_c[month - 1], abs=1e-9)
        assert year.max_c[days].mean() == pytest.approx(climate.max_c[month - 1], abs=1e-9)
        assert year.rain_mm[days].sum() == pytest.approx(climate.rain_mm[month - 1], abs=1e-9)


def test_days_run_smoothly_through_the_year_s_end() -> None:
    """No day jumps from the one before by more than a degree, leap day included."""
    series = daily_series(date(2027, 11, 1), 500)

    assert np.abs(np.diff(series.mean_c)).max() < 1.0


def test_known_weather_takes_the_place_of_the_normals() -> None:
    """Days that are known are used as given; a gap keeps its normal, and days outside are left out."""
    known = DailyWeather(date(2026, 3, 2), (-9.0, float("nan")), (3.0, 4.0), (12.0, 0.0))
    normal = daily_series(date(2026, 3, 1), 4)
    series = daily_series(date(2026, 3, 1), 4, known=known)

    assert list(series.rain_mm[1:3]) == [12.0, 0.0]
    assert series.min_c[1] == -9.0
    assert series.min_c[2] == normal.min_c[2]
    assert series.max_c[3] == normal.max_c[3]
    assert daily_series(date(2026, 5, 1), 3, known=known).rain_mm[0] == pytest.approx(105 / 31)


def test_drawn_rain_has_wet_and_dry_days_with_the_month_s_mean() -> None:
    """Over many draws the mean stays; a seed draws the same again; a dry place has many dry days."""
    draws = [
        daily_series(date(2027, 7, 1), 31, HOT_DRY, rng=np.random.default_rng(seed)) for seed in range(400)
    ]
    again = daily_series(date(2027, 7, 1), 31, HOT_DRY, rng=np.random.default_rng(7))

    assert np.mean([draw.rain_mm.sum() for draw in draws]) == pytest.approx(40, rel=0.1)
    assert np.mean([(draw.rain_mm == 0).mean() for draw in draws]) > 0.7
    assert list(again.rain_mm) == list(draws[7].rain_mm)


@pytest.mark.parametrize(
    ("climate", "complaint"),
    [
        (Climate((1.0,) * 11, (2.0,) * 12, (3.0,) * 12), "climate.min_c needs 12"),
        (Climate((5.0,) * 12, (2.0,) * 12, (3.0,) * 12), "above its max_c"),
        (Climate((1.0,) * 12, (2.0,) * 12, (-3.0,) * 12), "rain must be 0"),
        (Climate((1.0,) * 12, (float("nan"),) * 12, (3.0,) * 12), "climate.max_c"),
    ],
)
def test_a_climate_that_cannot_be_is_named(climate: Climate, complaint: str) -> None:
    """Bad normals get one line with the place and the mend."""
    with pytest.raises(BadInput, match=complaint):
        daily_series(date(2026, 3, 1), 10, climate)
