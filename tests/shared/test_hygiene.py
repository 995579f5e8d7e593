"""Time and heat, against the table of 40 CFR 503.32 and the words of the organic rule."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.hygiene import (
    Reading,
    credit,
    days_required,
    dose,
    harvest_from,
    heard,
    hours_over,
    never_hot_share,
    treat_as_raw,
    trials_matched,
)
from shared.pile import Record


def steady(celsius: float, days: int, start: float = 0.0) -> list[Reading]:
    """A reading a day at one temperature."""
    return [Reading(start + day, celsius) for day in range(days + 1)]


@pytest.mark.parametrize(
    ("celsius", "solid_days", "thin_days"),
    [
        (50, 13.170, 5.0070),
        (53, 5.0071, 1.9036),
        (55, 2.6278, 0.9990),
        (56, 1.9036, 0.7237),
        (58, 0.9990, 0.3798),
        (60, 0.5243, 0.1993),
        (62, 0.2752, 0.1046),
        (65, 0.1046, 0.0398),
        (67, 0.0549, 0.0209),
        (70, 0.0209, 0.0079),
    ],
)
def test_days_that_the_rule_asks_for(celsius: float, solid_days: float, thin_days: float) -> None:
    """CHK-6.1, 40 CFR 503.32(a)(3): both equations."""
    assert days_required(celsius) == pytest.approx(solid_days, abs=6e-4)
    assert days_required(celsius, thin=True) == pytest.approx(thin_days, abs=6e-5)


def test_seven_degrees_are_ten_times_the_speed() -> None:
    """CHK-6.1: tenfold per 7.143 °C; one day at 57.997 °C, three at 54.589 °C; nothing counts below 50 °C."""
    assert days_required(60) / days_required(60 + 1 / 0.14) == pytest.approx(10)
    assert days_required(57.997) == pytest.approx(1, abs=1e-3)
    assert days_required(54.589) == pytest.approx(3, abs=1e-3)
    assert days_required(49.9) == float("inf")


@pytest.mark.parametrize(("fahrenheit", "days"), [(130, 3.15), (140, 12.58 / 24)])
def test_the_trade_s_goal_band_in_days(fahrenheit: float, days: float) -> None:
    """CHK-14.2: 130 °F takes 3.15 days, 140 °F 12.58 hours."""
    assert days_required((fahrenheit - 32) / 1.8) == pytest.approx(days, abs=0.01)


def test_doses_add_up() -> None:
    """CHK-6.2: a day at 53, one at 56 and half a one at 58 °C are 1.2255 doses."""
    spells = [(1, 53), (1, 56), (0.5, 58)]

    assert dose(spells) == pytest.approx(1.2255, abs=6e-5)
    assert dose(spells[:1]) == pytest.approx(0.1997, abs=6e-5)


def test_readings_give_the_dose_of_the_cooler_end() -> None:
    """Two days read at 58 °C are two doses; a rise from 53 counts as 53; gaps give none."""
    assert credit(steady(57.997, 2), []).dose == pytest.approx(2, abs=2e-3)
    assert credit([Reading(0, 53), Reading(1, 58)], []).dose == pytest.approx(0.1997, abs=6e-5)
    assert credit([Reading(0, 60), Reading(3, 60)], []).dose == 0


def test_hours_count_between_near_readings_only() -> None:
    """Straight lines between readings up to two days apart; a gap of three proves nothing."""
    assert hours_over([Reading(0, 50), Reading(1, 60)]) == pytest.approx(12)
    assert hours_over([Reading(0, 60), Reading(2, 60)]) == pytest.approx(48)
    assert hours_over([Reading(0, 60), Reading(3, 60)]) == 0
    assert hours_over([Reading(0, 60)]) == 0
    assert hours_over([]) == 0


def test_hours_above_the_ceiling_do_not_count() -> None:
    """The organic rule's band ends at 77 °C (170 °F)."""
    assert hours_over([Reading(0, 67), Reading(1, 87)], 55, 77) == pytest.approx(12)
    assert hours_over(steady(80, 3), 55, 77) == 0


@pytest.mark.parametrize(("cycles", "percent"), [(0, 100), (1, 50), (3, 12), (5, 3)])
def test_share_that_was_never_hot(cycles: int, percent: float) -> None:
    """Half the pile is core: 50 % never hot after one cycle, 12 % after three, 3 % after five."""
    assert 100 * never_hot_share(cycles) == pytest.approx(percent, abs=0.6)


def test_a_windrow_s_pattern_is_seen() -> None:
    """Appendix B and 7 CFR 205.203: 15 days at 55 °C with five turnings, from C:N 25 to 40."""
    turned = [3.0, 6.0, 9.0, 12.0, 15.0]
    shown = credit(steady(58, 16), turned, c_n=30)

    assert shown.further
    assert shown.organic
    assert not credit(steady(58, 16), turned[:4], c_n=30).further
    assert not credit(steady(58, 14), turned, c_n=30).further
    assert not credit(steady(58, 16), turned, c_n=22).organic
    assert not credit(steady(58, 16), turned).organic


def test_turnings_outside_the_heat_do_not_count() -> None:
    """Five turnings of a pile gone cool are not five in the hot time."""
    shown = credit(steady(58, 16), [20.0, 23.0, 26.0, 29.0, 32.0], c_n=30)

    assert not shown.further


def test_five_days_at_40_with_four_hours_at_55_reduce_significantly() -> None:
    """Appendix B: 40 °C for 5 days, over 55 °C for 4 hours in that time."""
    warm = [*steady(45, 5), Reading(5.5, 58), Reading(6, 58)]

    assert credit(warm, []).significant
    assert not credit(steady(45, 8), []).significant
    assert not credit(steady(58, 3), []).significant


def test_seeds_of_an_unturned_pile_survive_in_its_shell() -> None:
    """However long the core is hot, the half that was never in it keeps its seeds."""
    assert credit(steady(60, 30), []).seeds_killed == pytest.approx(0.5, abs=0.01)


def test_three_days_kill_most_common_seeds_where_all_was_hot() -> None:
    """The trade's 85-90 % needs every part three days at 55-60 °C: five cycles come near, never to all."""
    turned = [4.0, 8.0, 12.0, 16.0]
    shown = credit(steady(58, 20), turned)

    assert shown.cycles == 5
    assert 0.85 <= shown.seeds_killed < 0.99


@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(-40, 100)), max_size=30),
    st.lists(st.floats(0, 100), max_size=9),
)
def test_credit_is_bounded_and_grows_with_evidence(
    told: list[tuple[float, float]], turned: list[float]
) -> None:
    """Shares stay within 0 to 1, hours within the time told, and no reading makes the seeds come back."""
    readings = [Reading(day, celsius) for day, celsius in told]
    shown = credit(readings, turned)

    assert 0 <= shown.hours_over_55c <= 24 * 100
    assert 0 <= shown.seeds_killed < 1
    assert 0 < shown.never_hot <= 1


def test_trials_that_a_core_has_matched() -> None:
    """Three days at 50 °C kill cocklebur (Egley 1990); a week at 60 °C leaves up to 30 % of hardy seeds."""
    assert [trial.seeds for trial in trials_matched(steady(51, 4))] == ["cocklebur"]
    hardy = [trial for trial in trials_matched(steady(61, 8)) if "velvetleaf" in trial.seeds]
    assert hardy[0].alive_high == pytest.approx(0.30)
    assert trials_matched(steady(45, 30)) == ()


def test_the_manure_clock_runs_from_the_soil() -> None:
    """7 CFR 205.203(c)(1): 120 days where the crop touches soil, 90 where it does not."""
    mixed_in = date(2026, 4, 1)

    assert harvest_from(mixed_in, touches_soil=True) == date(2026, 7, 30)
    assert harvest_from(mixed_in, touches_soil=False) == date(2026, 6, 30)


def test_unproven_compost_with_manure_counts_as_raw() -> None:
    """Only the rule's whole pattern takes the clock off; without manure there is none."""
    proven = credit(steady(58, 16), [3.0, 6.0, 9.0, 12.0, 15.0], c_n=30)
    hot_but_unturned = credit(steady(60, 30), [], c_n=30)

    assert not treat_as_raw(proven)
    assert treat_as_raw(hot_but_unturned)


def test_records_become_readings_in_the_order_told() -> None:
    """Edge readings are left out; records of a day without an hour keep their order."""
    on = date(2026, 3, 5)
    told = [
        Record("temperature", on, core_c=60.0),
        Record("turned", on),
        Record("temperature", on, core_c=50.0),
        Record("temperature", on, core_c=31.0, edge=True),
        Record("temperature", date(2026, 3, 4), hour=12.0, core_c=58.0),
    ]

    readings, turned = heard(told, date(2026, 3, 1))

    assert [reading.core_c for reading in readings] == [58.0, 60.0, 50.0]
    assert readings[0].day == 3.5
    assert readings[1].day < turned[0] < readings[2].day
