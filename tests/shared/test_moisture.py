"""Water and air space in a pile, against the worked checks."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared import moisture


@pytest.mark.parametrize(
    ("kg_m3", "wet", "organic", "free"),
    [(475, 0.55, 0.85, 0.612), (593, 0.60, 0.85, 0.504), (800, 0.65, 0.80, 0.318), (950, 0.70, 0.80, 0.170)],
)
def test_free_air_space_has_the_worked_values(kg_m3: float, wet: float, organic: float, free: float) -> None:
    """Richard et al. 2004, Agnew and Leonard 2003 (CHK-3.1 to 3.4)."""
    dry = kg_m3 * (1 - wet)

    assert moisture.free_air_space(1.0, kg_m3 * wet, dry * organic, dry * (1 - organic)) == pytest.approx(
        free, abs=5e-4
    )


def test_a_pile_packed_beyond_its_pores_has_no_air() -> None:
    """Free air space does not fall below nothing."""
    assert moisture.free_air_space(1.0, 900.0, 300.0, 50.0) == 0.0


def test_moisture_is_wet_basis() -> None:
    """CHK-8.9: 23.41 lb of rain on 400 lb at 50 % make 52.76 %."""
    assert moisture.moisture_of(200 + 23.41, 200) == pytest.approx(0.5276, abs=5e-5)


def test_what_can_be_held_is_the_holding_moisture() -> None:
    """Leafy mixes hold 65-75 % (from memory): at that moisture nothing is over."""
    held = moisture.holding_kg(40.0, moisture.HOLDING_MOISTURE)

    assert 0.65 <= moisture.HOLDING_MOISTURE <= 0.75
    assert moisture.moisture_of(held, 40.0) == pytest.approx(moisture.HOLDING_MOISTURE)


@settings(deadline=None)
@given(st.floats(0, 0.9), st.floats(0, 0.9), st.floats(5, 60), st.floats(0, 400), st.floats(0, 100))
def test_settling_only_takes_air(free: float, most: float, pace: float, days: float, more: float) -> None:
    """Air space falls with the days since the last turn, never by more than `settling` allows."""
    now = moisture.settled_air(free, most, pace, days)

    assert free * (1 - most) - 1e-12 <= moisture.settled_air(free, most, pace, days + more) <= now <= free
