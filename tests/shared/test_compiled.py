"""The two functions that compiled loops work out from basic operations, against the standard library."""

from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.compiled import cube_root, exponential


@settings(deadline=None)
@given(x=st.floats(-6, 6))
def test_exponential_is_that_of_the_library(x: float) -> None:
    """Within 1e-12 where the physics uses it."""
    assert exponential(x) == pytest.approx(exp(x), rel=1e-12)


@settings(deadline=None)
@given(x=st.floats(-20, 20))
def test_exponential_holds_far_out(x: float) -> None:
    """Within 2e-9 for logistic curves far from their middle."""
    assert exponential(x) == pytest.approx(exp(x), rel=2e-9)


@pytest.mark.parametrize("x", [-1e3, -1e9, 1e3, 1e9])
def test_exponential_neither_overflows_nor_turns_negative(x: float) -> None:
    """Beyond e^±40 it stays there: 40 time constants after a turn are as good as for ever."""
    assert exponential(x) == pytest.approx(exp(40 if x > 0 else -40), rel=1e-5)


@settings(deadline=None)
@given(x=st.floats(0.001, 50))
def test_cube_root_is_that_of_the_library(x: float) -> None:
    """Within 1e-9 for volumes from a litre to fifty cubic metres."""
    assert cube_root(x) == pytest.approx(x ** (1 / 3), rel=1e-9)
