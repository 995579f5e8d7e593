"""The model against measured piles of home size, which `tests/benchmarks/draw_curves.py` draws."""

import numpy as np
import pytest

from tests.shared.measured import BANDS, CURVES, Band, Measured


@pytest.mark.parametrize("measured", CURVES, ids=lambda measured: measured.name)
def test_peaks_are_those_that_were_measured(measured: Measured) -> None:
    """Each within 9 °C, with mix and moisture guessed; no published model hits within 5 (Mason 2006)."""
    assert measured.modelled().core_c.max() == pytest.approx(measured.peak_c, abs=9)


def test_peaks_are_right_to_a_few_degrees_on_the_whole() -> None:
    """The mean error of the peaks is under 4 °C, and the median under 3 °C."""
    errors = [abs(measured.modelled().core_c.max() - measured.peak_c) for measured in CURVES]

    assert np.mean(errors) < 4
    assert np.median(errors) < 3


def test_the_logged_home_pile_of_grass_and_hay() -> None:
    """Fastie 2016: 66 °C at 40 h, peak 69 °C on day 3, hot on day 7, the volume then 80 %.

    The model heats half a day too late, and its peak is right within 2 °C on the day.
    """
    course = CURVES[0].modelled()

    assert course.core_c[2] >= 64
    assert course.core_c.max() == pytest.approx(69, abs=2)
    assert course.core_c.argmax() in (2, 3)
    assert course.core_c[7] >= 55
    assert course.volume_m3[7] / course.volume_m3[0] == pytest.approx(0.80, abs=0.08)


def test_the_large_heap_dips_at_a_turn_and_comes_back() -> None:
    """Near 50 °C just after the turn at two weeks, over 60 again soon, over 50 for weeks (Alexander 2007)."""
    course = CURVES[2].modelled(42)

    assert course.core_c[15] < 55
    assert course.core_c[16:19].max() > 60
    assert np.sum(course.core_c > 50) >= 28


@pytest.mark.parametrize("band", BANDS, ids=lambda band: band.name)
def test_peaks_lie_in_the_bands_of_home_piles(band: Band) -> None:
    """Peak and its day for each kind of pile, under each air; bands stand for many measured piles."""
    for course in band.modelled():
        assert band.peak_c[0] <= course.core_c.max() <= band.peak_c[1]
        assert band.days[0] <= course.core_c.argmax() + 1 <= band.days[1]
