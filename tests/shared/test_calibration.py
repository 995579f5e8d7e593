"""The forecast against piles of an independent simulator: honest ranges and a useful middle.

A smoke test on some thirty piles with wide bands; `tests/benchmarks/score_forecast.py` measures on a thousand.
"""

import json
from datetime import date, timedelta

import numpy as np
import pytest

from bot.pile_file import read_line
from shared.forecast import forecast_many
from tests.simulator import bank

DAYS = (0, 28, 56)
HORIZON = 3 * 365


@pytest.fixture(scope="module")
def scored() -> dict[str, np.ndarray]:
    """Said quantiles and true days from the build, for piles that are not ready yet."""
    cases, true = [], []
    for pile, truth in bank.make(30, seed=7, fed_share=0.0):
        built = date.fromisoformat(pile["built"])
        ready = truth["ready"]
        days = HORIZON if ready is None else min((date.fromisoformat(ready) - built).days, HORIZON)
        for day in DAYS:
            if day < days:
                cases.append(read_line(json.dumps(bank.cut(pile, day)), built + timedelta(day)))
                true.append((days, day))
    said = [
        [(quantile - pile.built).days for quantile in (told.ready.p10, told.ready.p50, told.ready.p90)]
        for (pile, _, _), told in zip(cases, forecast_many(cases), strict=True)
    ]
    return {"said": np.array(said, float), "true": np.array([days for days, _ in true], float)}


def pinball(said: np.ndarray, true: np.ndarray) -> float:
    """Mean pinball loss over the 10, 50 and 90 % quantiles. [days]"""
    quantiles = np.array([0.1, 0.5, 0.9])
    miss = true[:, None] - said
    return float(np.maximum(quantiles * miss, (quantiles - 1) * miss).mean())


def test_the_range_holds_the_truth_about_as_often_as_it_promises(scored: dict[str, np.ndarray]) -> None:
    """Eight in ten, within what a few dozen piles can tell."""
    low, high = scored["said"][:, 0], scored["said"][:, 2]
    held = (low <= scored["true"]) & (scored["true"] <= high)

    assert 0.62 <= held.mean() <= 0.97


def test_it_beats_one_date_for_every_pile(scored: dict[str, np.ndarray]) -> None:
    """Far better than "built + 77 days", and than a range that is the same for all."""
    true = scored["true"]
    same = np.tile(np.quantile(true, [0.1, 0.5, 0.9]), (len(true), 1))

    assert pinball(scored["said"], true) < 0.6 * pinball(np.full((len(true), 3), 77.0), true)
    assert pinball(scored["said"], true) < pinball(same, true)
