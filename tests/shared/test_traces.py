"""Skies over a pile: what is known stays, the rest is the normals with noise around them."""

import dataclasses
from datetime import date

import numpy as np
import pytest

from shared.pile import DailyWeather, Ingredient, Pile
from shared.traces import DAY_NOISE_K, colder_than_usual_k, skies

KNOWN = DailyWeather(date(2026, 5, 3), (4.0,) * 5, (10.0,) * 5, (2.0,) * 5)
PILE = Pile("p", date(2026, 5, 1), 1, 1, 1, (Ingredient("straw", 1.0),), weather=KNOWN)


def test_known_days_are_the_same_in_every_trace() -> None:
    """Air and rain of days that were told; the air's mean is halfway between its extremes (FAO-56 eq. 9)."""
    sky = skies(PILE, 30, 0)

    assert np.all(sky.by_trace[:, 2:7, 0] == 7.0)
    assert np.all(sky.by_trace[:, 2:7, 2] == 2.0)


def test_other_days_scatter_around_the_normals() -> None:
    """Over a year the traces keep the mean of the normals, with days about 3.5 K off and dry days between."""
    sky = skies(dataclasses.replace(PILE, weather=None), 365, 0)
    off = sky.by_trace[:, :, 0] - sky.air_c

    assert abs(off.mean()) < 0.6
    assert off.std() == pytest.approx(DAY_NOISE_K, rel=0.15)
    assert 0.5 < np.mean(sky.by_trace[:, :, 2] == 0) < 0.8


def test_a_cold_spell_is_noticed() -> None:
    """Five days at 7 °C in May are colder than usual; nothing known is not."""
    assert colder_than_usual_k(PILE, 10) > 5
    assert colder_than_usual_k(dataclasses.replace(PILE, weather=None), 10) == 0
