"""The stage of one pile, each as it is defined."""

import numpy as np
import pytest

from shared import life, stages


def seen(core_c: list[float], fast: float = 0.5, moderate: float = 0.9) -> np.ndarray:
    """Days of a pile with that core and so much food left."""
    days = np.zeros((len(core_c), len(life.SEEN)), np.float32)
    days[:, 0], days[:, 4], days[:, 5] = core_c, fast, moderate
    return days


@pytest.mark.parametrize(
    ("core_c", "food", "ready", "expected"),
    [
        ([15, 18, 25], (0.9, 1.0), False, "warming"),
        ([15, 15, 15], (0.9, 1.0), False, "warming"),  # its first week
        ([20, 40, 45], (0.8, 1.0), False, "hot"),
        ([30, 46, 44], (0.8, 1.0), False, "hot"),  # leaves hot below 43 °C
        ([60, 46, 42.9], (0.8, 1.0), False, "cooling"),
        ([50, 48, 40, 38, 36, 35, 34, 33, 32], (0.3, 0.9), False, "cooling"),
        ([20, 21, 20, 20, 20, 20, 20, 20, 20], (0.8, 1.0), False, "stalled"),
        ([50, 48, 40, 38, 36, 30, 22, 20, 19], (0.16, 0.6), False, "stalled"),
        ([50, 48, 40, 38, 36, 30, 22, 20, 19], (0.15, 0.71), False, "stalled"),
        ([50, 48, 40, 38, 36, 30, 22, 20, 19], (0.14, 0.69), False, "curing"),
        ([50, 48, 40, 38, 36, 30, 22, 20, 19], (0.02, 0.4), True, "ready"),
    ],
)
def test_each_stage_as_defined(
    core_c: list[float], food: tuple[float, float], ready: bool, expected: str
) -> None:
    """Hot from 45 to under 43 °C; 8 K over air of 15 °C; curing with 15 % and 70 % of the food left."""
    assert stages.stage(seen(core_c, *food), 15.0, ready) == expected


@pytest.mark.parametrize(
    ("core_c", "rested_days", "expected"),
    [
        (31, 0, "warming"),
        (31, 5, "warming"),
        (31, 6, "cooling"),
        (31, np.inf, "cooling"),
        (29, 0, "cooling"),
        (36, np.inf, "warming"),
    ],
)
def test_a_second_rise_is_one_after_a_turn(core_c: float, rested_days: float, expected: str) -> None:
    """More than 2 K in two days within five of a turn, water or food; else more than the weather does."""
    days = seen([50, 30, 28, 28, 28, 28, 28, 28.5, core_c], 0.3, 0.9)

    assert stages.stage(days, 15.0, False, rested_days=rested_days) == expected


def test_a_first_rise_needs_no_turn() -> None:
    """A pile that never was hot is warming whenever it rises by more than 2 K in two days."""
    slow = [10.0, 12, 14, 16, 18, 20, 22, 24, 26.5]

    assert stages.stage(seen(slow, 0.9, 1.0), 15.0, False) == "warming"


def test_most_members_decide() -> None:
    """The stage of two in three members is said."""
    members = np.stack([seen([20, 50, 50]), seen([20, 48, 47]), seen([20, 25, 28])])

    assert stages.likeliest(members, 15.0, np.full(3, np.nan), False) == "hot"
