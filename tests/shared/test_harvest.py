"""Yield, coverage and tests of maturity, against worked figures of the trade."""

from datetime import date

import pytest

from shared.errors import OutOfRange
from shared.harvest import (
    FINISHED_KG_M3,
    USES,
    area_at_depth_m2,
    finished_kg,
    finished_m3,
    fit_from,
)
from shared.units import KG_M3_PER_LB_YD3, KG_PER_LB, M2_PER_FT2, M3_PER_FT3, M3_PER_YD3, M_PER_IN


@pytest.mark.parametrize(
    ("ft3", "inches", "ft2"),
    [
        (9, 0.25, 432),
        (9, 1, 108),
        (9, 3, 36),
        (9, 3.5, 30.86),
        (9, 4, 27),
        (10.8, 0.5, 259.2),
        (10.8, 3.5, 37.03),
        (13.5, 2, 81),
        (13.5, 3.5, 46.29),
        (27, 0.25, 1296),
        (27, 1, 324),
        (27, 3, 108),
        (125 / 3, 3.5, 142.9),
        (62.5, 3.5, 214.3),
    ],
)
def test_coverage(ft3: float, inches: float, ft2: float) -> None:
    """CHK-10.1 to 10.3: area is volume by depth; 1 yd³ covers 324 ft² an inch deep (printed by agencies)."""
    area = area_at_depth_m2(ft3 * M3_PER_FT3, inches * M_PER_IN)

    assert area / M2_PER_FT2 == pytest.approx(ft2, abs=0.06)


def test_compost_for_a_bed() -> None:
    """CHK-10.4: 100 ft² an inch deep take 0.3086 yd³; 4 yd³ on 1,000 ft² are 1.296 in deep."""
    assert area_at_depth_m2(0.3086 * M3_PER_YD3, M_PER_IN) / M2_PER_FT2 == pytest.approx(100, abs=0.02)
    depth = 4 * M3_PER_YD3 / (1000 * M2_PER_FT2)
    assert depth / M_PER_IN == pytest.approx(1.296, abs=5e-4)


@pytest.mark.parametrize(
    ("lb", "moisture", "loss", "final", "result"),
    [(850, 0.60, 0.45, 0.40, 311.7), (275, 0.60, 0.50, 0.45, 100.0), (400, 0.55, 0.50, 0.45, 163.6)],
)
def test_mass_of_the_harvest(lb: float, moisture: float, loss: float, final: float, result: float) -> None:
    """CHK-10.5: dry matter less its loss, at the final moisture."""
    assert finished_kg(lb * (1 - moisture), loss, final) == pytest.approx(result, abs=0.06)


def test_density_of_the_harvest() -> None:
    """CHK-10.6: 9 ft³ weigh 333.3 lb at 1,000 lb/yd³, 450 lb at 1,350."""
    assert pytest.approx(333.3, abs=0.05) == 9 * M3_PER_FT3 * FINISHED_KG_M3 / KG_PER_LB
    assert pytest.approx(450.0) == 9 * M3_PER_FT3 * 1350 * KG_M3_PER_LB_YD3 / KG_PER_LB


def test_a_loosely_filled_bin_gives_far_less_than_a_third() -> None:
    """CHK-10.8: 93.5 lb dry matter of a loose cubic yard give 2.295 ft³, 8.5 % of the bin."""
    volume = finished_m3(93.5 * KG_PER_LB, 0.50, 0.45)

    assert volume / M3_PER_FT3 == pytest.approx(2.295, abs=6e-4)
    assert volume / M3_PER_YD3 == pytest.approx(0.085, abs=5e-4)


def test_a_settled_pile_gives_a_third() -> None:
    """CHK-10.8 backwards: 9 ft³ from 27 ft³ want 333.3 lb dry matter, which is what a settled pile holds."""
    assert finished_m3(333.3 * KG_PER_LB, 0.45, 0.45) / M3_PER_FT3 == pytest.approx(9, rel=1e-3)


def test_seeds_and_pots_wait_a_month_or_a_passed_test() -> None:
    """Ready is fit for beds and mulch; potting mix wants a month more or a test."""
    ready = date(2026, 6, 1)

    assert fit_from("mulch", ready) == ready
    assert fit_from("vegetable_bed", ready) == ready
    assert fit_from("potting_mix", ready) == date(2026, 7, 1)
    assert fit_from("potting_mix", ready, test_passed=True) == ready


def test_depths_of_use_are_the_trade_s() -> None:
    """Lawn a quarter to half an inch, a new bed one to two, mulch up to three; pots at most a third."""
    assert USES["lawn"].high_m == pytest.approx(0.0127)
    assert USES["new_bed"].high_m == pytest.approx(0.0508)
    assert USES["mulch"].high_m == pytest.approx(0.0762)
    assert USES["potting_mix"].share == pytest.approx(1 / 3)


def test_impossible_figures_are_refused() -> None:
    """A depth of nothing, a loss of more than all."""
    with pytest.raises(OutOfRange, match="depth"):
        area_at_depth_m2(1, 0)
    with pytest.raises(OutOfRange, match="loss"):
        finished_kg(100, 1.2)
