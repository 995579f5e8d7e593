"""A step of heat, water, air and matter, against SciPy's integration of the same laws."""

from typing import Any

import numpy as np
import pytest

from shared import balance
from tests.shared.by_scipy import by_scipy, put, slopes, state_of
from tests.shared.one_pile import GRASSY, LEAFY, WOODY, build, go, side_by_side, sky

SEASONS = [
    {"volume_m3": 1.2, "pools": GRASSY, "air_c": 17.0, "turn_every": 7},
    {"volume_m3": 0.76, "air_c": 20.0},
    {"volume_m3": 0.3, "pools": WOODY, "moisture": 0.5, "air_c": 8.0, "turn_every": 14},
    {"volume_m3": 1.5, "pools": LEAFY, "moisture": 0.45, "kg_m3": 267.0, "air_c": 13.0, "turn_every": 30},
    {"volume_m3": 0.06, "moisture": 0.25, "air_c": 30.0, "turn_every": 7},
]


@pytest.mark.parametrize("season", SEASONS)
def test_our_few_steps_go_where_scipy_goes(season: dict[str, Any]) -> None:
    """Six weeks, turned or not: the core's daily mean is right to 0.5 K on the mean, against rtol 1e-8."""
    built = {name: value for name, value in season.items() if name != "turn_every"}
    turned = range(season["turn_every"], 42, season["turn_every"]) if "turn_every" in season else ()
    lanes = side_by_side(*build(**built))

    exact = by_scipy(lanes, sky(42, season["air_c"])[0], turned, 1e-8)

    assert np.abs(go(42, **season).core_c - exact).mean() < 0.5


@pytest.mark.parametrize("warm_c", [5.0, 25.0, 45.0, 62.0])
def test_steps_close_in_on_scipy_s_day(warm_c: float) -> None:
    """Twice as many steps err well under half as much (near second order); very many come to the same."""
    pile, own = build(air_c=warm_c, growth_per_day=1.0)
    pile["shell"]["temp_c"] -= 0.4 * (warm_c - 5.0)
    exact = by_scipy(side_by_side(pile, own, air_c=5.0), sky(1, 5.0)[0], (), 1e-10)[0]

    def off_k(steps: int) -> float:
        lanes = side_by_side(pile, own, air_c=5.0)
        lanes.day.w_air[:] = sky(1, 5.0)[0, 0, 1]
        balance.dawn(lanes, 0)
        for _ in range(steps):
            balance.step(lanes, 0, 1.0 / steps)
        return abs(float(lanes.day.mean_c[0]) - exact)

    assert off_k(32) < 0.4 * off_k(16) + 1e-4
    assert off_k(512) < 2e-3


def test_the_state_that_scipy_works_on_is_the_pile_s() -> None:
    """What is written back is read again, and an inert pile as warm as the air does not change."""
    lanes = side_by_side(*build(fast_per_day=0.0, moderate_per_day=0.0, slow_per_day=0.0, draught=1e-9))
    state = state_of(lanes.pile)
    put(lanes.pile, 2.0 * state)
    doubled = state_of(lanes.pile)
    put(lanes.pile, state)
    balance.dawn(lanes, 0)

    assert doubled[:10] == pytest.approx(2.0 * state[:10])
    assert slopes(0.0, state, lanes)[:10] == pytest.approx(np.zeros(10), abs=1e-6)


def test_an_inert_cube_cools_as_theory_has_it() -> None:
    """CHK-5.5: conduction alone takes a 3 ft cube from 55 to 35.0 °C in 0.69 d at 15 °C; one node in theory.

    Two nodes lose more at first, the shell being nearer to the air.
    """
    inert = {"fast_per_day": 0.0, "moderate_per_day": 0.0, "slow_per_day": 0.0, "draught": 1e-9}
    lanes = side_by_side(*build(kg_m3=500.0, air_c=55.0, conductivity=0.40, **inert), air_c=15.0)
    balance.dawn(lanes, 0)
    for _ in range(69):
        balance.step(lanes, 0, 0.01)

    core, shell = lanes.pile.core.temp_c[0], lanes.pile.shell.temp_c[0]
    assert 0.67 * core + 0.33 * shell == pytest.approx(35.0, abs=1.5)
    assert shell < 35.0 < core
