"""Records laid out by day."""

from datetime import date, timedelta

import numpy as np
import pytest

from shared.history import USUAL_CAN_L, Sight, matter, read_history
from shared.pile import Ingredient, Pile, Record

BUILT = date(2026, 5, 1)
PILE = Pile("p", BUILT, 1.0, 1.0, 1.0, (Ingredient("straw", 1.0),), bin=True)


def on(day: int) -> date:
    """That many days after the build."""
    return BUILT + timedelta(days=day)


def test_deeds_stand_on_their_days() -> None:
    """Turnings, litres and covers by day; a can of no stated size is a usual one, and is known to be."""
    history = read_history(
        PILE,
        [
            Record("turned", on(3)),
            Record("watered", on(3)),
            Record("watered", on(5), litres=30),
            Record("covered", on(4)),
        ],
        on(6),
    )

    assert history.turned == (3,)
    assert list(history.deeds[:, 1]) == [0, 0, 0, USUAL_CAN_L, 0, 30, 0]
    assert list(history.deeds[:, 3]) == [-1, -1, -1, -1, 1, 1, 1]
    assert history.unsaid_water


@pytest.mark.parametrize(
    "deed", [Record("turned", on(3)), Record("watered", on(3)), Record("added", on(3), material="straw")]
)
def test_a_pile_rests_from_the_last_deed_that_could_warm_it(deed: Record) -> None:
    """Turning, watering and feeding can; a reading changes nothing, and an untouched pile rested for ever."""
    reading = Record("temperature", on(5), core_c=40)

    assert read_history(PILE, [deed, reading], on(7)).rested_days == 4
    assert read_history(PILE, [reading], on(7)).rested_days == np.inf


def test_order_counts_within_a_day() -> None:
    """A reading before the turn is one of the untouched core, one after it is not."""
    history = read_history(
        PILE,
        [
            Record("temperature", on(3), core_c=60),
            Record("turned", on(3)),
            Record("temperature", on(3), core_c=40),
        ],
        on(3),
    )

    assert history.sights == (Sight("core", 3, 60.0), Sight("core_after_turn", 3, 40.0))


def test_several_readings_of_a_day_are_one() -> None:
    """Their median, so that an odd one among them does no harm."""
    history = read_history(PILE, [Record("temperature", on(2), core_c=c) for c in (55, 56, 13)], on(2))

    assert history.sights == (Sight("core", 2, 55.0),)


def test_additions_of_a_day_are_one_load() -> None:
    """Masses by pool add up; 10 litres of scraps at 600 lb/yd³ and 69 % water hold 1.10 kg of dry matter."""
    told = [Record("added", on(2), material="kitchen_scraps", litres=10)] * 2
    history = read_history(PILE, told, on(2))

    one = np.array(matter("kitchen_scraps", 0.010))
    assert one[:4].sum() == pytest.approx(0.010 * 600 * 0.593276 * 0.31, rel=1e-3)
    assert np.allclose(history.loads, [2 * one])


def test_what_was_before_the_build_or_after_the_day_is_left_out() -> None:
    """Only what had happened to this pile by then counts."""
    history = read_history(PILE, [Record("turned", on(-2)), Record("turned", on(9))], on(5))

    assert history.turned == ()
