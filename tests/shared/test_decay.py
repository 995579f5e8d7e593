"""Rates of decay and what slows them, against the printed tables and worked checks of their sources."""

from math import exp

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shared import decay, heat, tending


@pytest.mark.parametrize(
    ("temp_c", "to_85", "to_71_6", "to_75"),
    [
        (10, 0.0231, 0.0141, 0.0155),
        (20, 0.1827, 0.1229, 0.1331),
        (30, 0.4354, 0.3264, 0.3468),
        (40, 0.7079, 0.5968, 0.6193),
        (50, 0.9230, 0.8736, 0.8828),
        (55, 0.9836, 0.9725, 0.9726),
        (60, 0.9989, 0.9947, 0.9980),
        (65, 0.9579, 0.8522, 0.9107),
        (70, 0.8492, 0.3300, 0.6289),
        (75, 0.6614, 0.0, 0.0),
    ],
)
def test_growth_between_cardinal_temperatures(
    temp_c: float, to_85: float, to_71_6: float, to_75: float
) -> None:
    """The cardinal form gives the printed table for the three sets met in composting papers.

    Source: Rosso et al. 1993; Richard and Walker 2006 (CHK-4.1).
    """
    assert decay.cardinal(temp_c, 5, 59, 85)[0] == pytest.approx(to_85, abs=1e-4)
    assert decay.cardinal(temp_c, 5, 58.6, 71.6)[0] == pytest.approx(to_71_6, abs=1e-4)
    assert decay.cardinal(temp_c, 5, 59, 75)[0] == pytest.approx(to_75, abs=1e-4)


def test_cardinal_form_is_one_at_the_optimum_and_nothing_outside() -> None:
    """CHK-4.2: 1 at 59 °C, 0 at and beyond 5 and 75 °C."""
    assert decay.cardinal(59, 5, 59, 75)[0] == pytest.approx(1.0, abs=1e-12)
    assert [decay.cardinal(t, 5, 59, 75)[0] for t in (-10, 5, 75, 90)] == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("temp_c", "factor"),
    [
        (5, 0.0285),
        (10, 0.1068),
        (15, 0.2221),
        (20, 0.3593),
        (25, 0.4996),
        (30, 0.6202),
        (37, 0.7000),
        (40, 0.6802),
        (45, 0.7069),
        (50, 0.8733),
        (55, 0.9798),
        (58, 1.0000),
        (60, 0.9899),
        (65, 0.8623),
        (70, 0.5501),
        (75, 0.0000),
    ],
)
def test_two_communities_work_from_cold_to_hot(temp_c: float, factor: float) -> None:
    """The two-humped factor gives its table (CHK-4.8)."""
    assert decay.temperature_factor(temp_c, 0.7, 0.0)[0] == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize(
    ("percent", "factor"),
    list(
        zip(
            (20, 25, 30, 35, 40, 45, 50, 55, 60, 65),
            (0.0286, 0.0665, 0.1472, 0.2947, 0.5028, 0.7100, 0.8557, 0.9349, 0.9720, 0.9883),
            strict=True,
        )
    ),
)
def test_dryness_slows_decay(percent: float, factor: float) -> None:
    """Haug's moisture factor gives its table (Haug 1993, CHK-4.3)."""
    assert decay.moisture_factor(percent / 100) == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize(
    ("percent", "factor"),
    list(
        zip(
            (5, 10, 15, 20, 25, 30, 35, 40, 50),
            (0.0902, 0.2447, 0.5142, 0.7757, 0.9187, 0.9736, 0.9918, 0.9975, 0.9998),
            strict=True,
        )
    ),
)
def test_lack_of_air_space_slows_decay(percent: float, factor: float) -> None:
    """Haug's air-space factor gives its table (Haug 1993, CHK-4.3)."""
    assert decay.air_space_factor(percent / 100) == pytest.approx(factor, abs=1e-4)


@pytest.mark.parametrize(
    ("percent", "factor"),
    [(0.5, 0.2), (1, 0.3333), (2, 0.5), (5, 0.7143), (10, 0.8333), (15, 0.8824), (20.9, 0.9127)],
)
def test_lack_of_oxygen_slows_decay(percent: float, factor: float) -> None:
    """Haug's oxygen factor gives its table (Haug 1993, CHK-4.3)."""
    assert decay.oxygen_factor(percent) == pytest.approx(factor, abs=1e-4)


def test_factors_multiply() -> None:
    """CHK-4.4: at 50 % moisture, 0.30 air space and 10 % oxygen the three factors make 0.6942."""
    together = decay.moisture_factor(0.50) * decay.air_space_factor(0.30) * decay.oxygen_factor(10)

    assert together == pytest.approx(0.6942, abs=1e-4)


@pytest.mark.parametrize(
    ("c_n", "factor"), [(20, 1), (35, 1), (47.5, 0.75), (60, 0.5), (80, 0.4), (100, 0.3), (500, 0.3)]
)
def test_too_little_nitrogen_slows_decay(c_n: float, factor: float) -> None:
    """1 to C:N 35, then by straight lines to 0.5 at 60 and 0.3 at 100 (derived, low confidence)."""
    assert decay.nitrogen_factor(c_n) == pytest.approx(factor)


@settings(deadline=None)
@given(demand=st.floats(0, 50), air=st.floats(0.05, 500), inflow=st.floats(0.01, decay.AIR_OXYGEN_PCT))
def test_oxygen_settles_where_supply_meets_demand(demand: float, air: float, inflow: float) -> None:
    """What is drawn at the oxygen left is what the air has lost on its way."""
    left = decay.oxygen_left_pct(decay.oxygen_drop_pct(demand, air), inflow)

    used_kg = demand * decay.oxygen_factor(left)
    lost_kg = air * decay.AIR_OXYGEN_KG_PER_KG * (inflow - left) / decay.AIR_OXYGEN_PCT
    assert 0 <= left <= inflow + 1e-9
    assert used_kg == pytest.approx(lost_kg, rel=1e-6, abs=1e-9 * air)


def test_first_order_loss() -> None:
    """CHK-4.6 and CHK-4.7: one pool at 0.05 for 14 days leaves 49.66 %, two pools leave 53.63 % after 30."""
    day_by_day = decay.share_left(0.05) ** 14
    fast, slow = decay.share_left(0.10) ** 30, decay.share_left(0.005) ** 30

    assert 1 - day_by_day == pytest.approx(0.5034, abs=5e-5)
    assert 0.4 * fast + 0.6 * slow == pytest.approx(0.5363, abs=5e-5)


@settings(deadline=None)
@given(x=st.floats(0, 0.4))
def test_loss_of_a_step_is_as_good_as_exact(x: float) -> None:
    """An alternating series cut short errs by at most its next term, x⁴/24: 0.001 for the longest step."""
    assert abs(decay.share_left(x) - exp(-x)) <= x**4 / 24 + 1e-15


@settings(deadline=None)
@given(temp_c=st.floats(-20, 80), peak=st.floats(0.5, 0.9), low_c=st.floats(-10, 5))
def test_slope_of_the_temperature_factor_is_that_of_its_curve(
    temp_c: float, peak: float, low_c: float
) -> None:
    """The slope agrees with a small difference, but at the corners where communities wake or take over."""
    low, high = (decay.temperature_factor(temp_c + off, peak, low_c) for off in (-1e-4, 1e-4))
    assume(abs(high[1] - low[1]) < 1e-3)

    slope = decay.temperature_factor(temp_c, peak, low_c)[1]

    assert slope == pytest.approx((high[0] - low[0]) / 2e-4, abs=1e-3)


@settings(deadline=None)
@given(drop=st.floats(0.01, 200), inflow=st.floats(0.5, decay.AIR_OXYGEN_PCT))
def test_oxygen_slope_is_what_a_little_more_demand_uses(drop: float, inflow: float) -> None:
    """The slope of what is used with what is asked for agrees with a small difference."""
    used = [more * decay.oxygen_factor(decay.oxygen_left_pct(more, inflow)) for more in (drop, 1.001 * drop)]

    slope = decay.oxygen_slope(decay.oxygen_left_pct(drop, inflow), drop)

    assert slope == pytest.approx((used[1] - used[0]) / (0.001 * drop), rel=5e-3, abs=1e-4)


def test_moderate_rate_agrees_with_measured_losses() -> None:
    """Michel et al. 1993 lost 57-82 % of cellulose and hemicellulose in 43 days at about 60 % moisture.

    At the full rate the pool must lose somewhat more, since their temperatures were not all at the optimum.
    """
    lost = 1 - exp(-decay.MODERATE_PER_DAY * 43)

    assert 0.78 <= lost <= 0.90


def test_an_unturned_pile_slips_out_of_reach() -> None:
    """All is in reach when just turned, and the floor is left in the end."""
    assert decay.reach(0, 0.4, 25) == 1
    assert decay.reach(25, 0.4, 25) == pytest.approx(0.4 + 0.6 / 2.718281828)
    assert decay.reach(1000, 0.4, 25) == pytest.approx(0.4)


CELLULOSE, GLUCOSE = 162.141, 180.156  # g/mol, with 6 O2 (191.993 g) to 5 and 6 H2O (18.015 g)


def test_heat_and_oxygen_are_those_of_burning_plant_matter() -> None:
    """CHK-5.1 to 5.3: 14 MJ/kg oxygen give 16.58 MJ/kg of cellulose, 14.92 of glucose; sludge has 23.2.

    17.5 MJ/kg at 14 MJ/kg O2 wants 1.250 kg O2/kg, and mixes 1.2-1.6.
    """
    cellulose, glucose = 14 * 191.993 / CELLULOSE, 14 * 191.993 / GLUCOSE

    assert cellulose == pytest.approx(16.58, abs=5e-3)
    assert glucose == pytest.approx(14.92, abs=5e-3)
    assert 17 <= decay.HEAT_MJ_PER_KG <= 19
    assert glucose < cellulose < decay.HEAT_MJ_PER_KG < 4.1868e-3 * 5550
    implied = decay.HEAT_MJ_PER_KG / 14
    assert implied == pytest.approx(1.250, abs=5e-4)
    assert implied <= decay.OXYGEN_KG_PER_KG <= 1.05 * implied


def test_water_formed_is_that_of_the_stoichiometry() -> None:
    """0.556 kg per kg of cellulose, 0.600 of glucose; 0.55 is rounded down from the first."""
    cellulose, glucose = 5 * 18.015 / CELLULOSE, 6 * 18.015 / GLUCOSE

    assert cellulose == pytest.approx(0.556, abs=5e-4)
    assert glucose == pytest.approx(0.600, abs=5e-4)
    assert 0.98 * cellulose <= decay.WATER_KG_PER_KG <= cellulose


def test_a_three_foot_cube_makes_as_much_heat_as_it_loses_hot() -> None:
    """CHK-5.9: 382 kg at 60 %, 85 % volatile, 60 % of that degradable: 78.0 kg, 474 W, 12.6 kg air a day."""
    burnt_kg = 0.03 * 382.3 * 0.40 * 0.85 * 0.60

    assert burnt_kg / 0.03 == pytest.approx(78.0, abs=0.05)
    assert burnt_kg * decay.HEAT_MJ_PER_KG / 0.0864 == pytest.approx(474, abs=0.5)
    assert 1.25 * burnt_kg == pytest.approx(2.925, abs=1e-3)
    assert 1.25 * burnt_kg / decay.AIR_OXYGEN_KG_PER_KG == pytest.approx(12.6, abs=0.05)


def test_heat_could_dry_a_pile_or_boil_it() -> None:
    """CHK-5.10, 5.11: a kg burnt could evaporate 7.29 kg of water; 1 % of the wet mass warms it by 59.7 K."""
    warmed_k = 0.01 * decay.HEAT_MJ_PER_KG / heat.heat_capacity_mj_per_k(0.60, 0.40)
    driven_off_kg = decay.HEAT_MJ_PER_KG / tending.LATENT_MJ_PER_KG

    assert driven_off_kg == pytest.approx(7.29, abs=5e-3)
    assert warmed_k == pytest.approx(59.7, abs=0.1)
