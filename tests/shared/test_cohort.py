"""The share still going, against a reference library and published examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter

from shared.cohort import Spell, bounds, still_going, wilson
from shared.errors import OutOfRange

REMISSION_6MP = [6, 6, 6, 7, 10, 13, 16, 22, 23]
STILL_WELL_6MP = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
"""Weeks of remission under 6-MP: Freireich et al., Blood 21 (1963) 699-716, as textbooks print them."""

spells = st.lists(st.builds(Spell, st.integers(0, 400).map(float), st.booleans()), min_size=1, max_size=60)


def freireich() -> list[Spell]:
    """The 21 children of the textbook's example."""
    return [Spell(week, True) for week in REMISSION_6MP] + [Spell(week, False) for week in STILL_WELL_6MP]


@pytest.mark.parametrize(
    ("week", "share"),
    [(6, 0.857), (7, 0.807), (10, 0.753), (13, 0.690), (16, 0.627), (22, 0.538), (23, 0.448)],
)
def test_the_textbook_table_comes_out(week: int, share: float) -> None:
    """Kaplan-Meier's estimate of the 6-MP data, as printed in textbooks to three places."""
    got = still_going(freireich(), week)

    assert got is not None
    assert got.value == pytest.approx(share, abs=0.0006)


@given(spells, st.integers(0, 400))
def test_estimate_and_band_are_those_of_the_reference_library(followed: list[Spell], day: int) -> None:
    """lifelines gives the same share and the same log-log band, wherever anybody is still followed."""
    got = still_going(followed, day)
    if got is None:
        assert all(spell.days < day for spell in followed)
        return
    fit = KaplanMeierFitter().fit([s.days for s in followed], [s.ended for s in followed])
    share = fit.survival_function_at_times(day).iloc[0]
    band = fit.confidence_interval_survival_function_
    row = band[band.index <= day].iloc[-1]

    assert got.value == pytest.approx(share, abs=1e-9)
    if 0 < got.value < 1:
        assert (got.low, got.high) == pytest.approx(tuple(row), abs=1e-6)


def test_a_day_nobody_has_reached_has_no_share() -> None:
    """A class of forty days ago says nothing of day ninety."""
    assert still_going([Spell(40, False)] * 12, 90) is None


@given(spells)
def test_the_share_never_rises(followed: list[Spell]) -> None:
    """Nobody comes back in this count: the curve only falls."""
    shares = [got.value for day in range(0, 400, 20) if (got := still_going(followed, day)) is not None]

    assert shares == sorted(shares, reverse=True)


def test_wilsons_interval_has_its_published_value() -> None:
    """15 of 148: 0.0624 to 0.1605 without correction, Newcombe, Stat. Med. 17 (1998) 857-872, table I."""
    share = wilson(15, 148)

    assert (share.low, share.high) == pytest.approx((0.0624, 0.1605), abs=5e-5)


def test_silence_widens_the_bounds() -> None:
    """400 invited, 120 answer, 102 say yes: 25.5 to 95.5 %, however good 85 % of the answers sound."""
    assert bounds(102, 120, 400) == pytest.approx((0.255, 0.955))


@pytest.mark.parametrize("bad", [(2, 1, 3), (1, 4, 3), (0, 0, 0), (-1, 2, 3)])
def test_impossible_counts_are_refused(bad: tuple[int, int, int]) -> None:
    """More yes than answers, more answers than asked, nobody asked: a clear error."""
    with pytest.raises(OutOfRange):
        bounds(*bad)


def test_a_time_before_the_start_is_refused() -> None:
    """Days are counted from the joining on."""
    with pytest.raises(OutOfRange):
        still_going([Spell(-1, True)], 30)
    assert not math.isnan(wilson(0, 5).low)
