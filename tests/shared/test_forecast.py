"""The forecast of one pile: what it says, what it learns, and what it makes of odd input."""

import dataclasses
import math
from datetime import date, timedelta

import pytest

from shared.errors import BadInput
from shared.forecast import Forecast, Habit, Range, forecast, forecast_many
from shared.pile import Climate, Ingredient, Pile, Record

BUILT = date(2026, 4, 1)
LEAVES_AND_GRASS = (Ingredient("dry_leaves", 0.5), Ingredient("grass_clippings", 0.5))
PILE = Pile("p1", BUILT, 0.914, 0.914, 0.914, LEAVES_AND_GRASS, turning="weekly", bin=True, covered=False)


def on(day: int) -> date:
    """That many days after the build."""
    return BUILT + timedelta(days=day)


def core(day: int, celsius: float) -> Record:
    """A reading of the core."""
    return Record("temperature", on(day), core_c=celsius)


def look(*records: Record, day: int, pile: Pile = PILE, habit: Habit | None = None) -> Forecast:
    """The forecast of that day."""
    return forecast(pile, records, on(day), habit=habit)


def middle(outlook: Forecast) -> int:
    """Days from the build to the middle done date."""
    return (outlook.ready.p50 - BUILT).days


def width(outlook: Forecast) -> int:
    """Days that the done range spans."""
    return (outlook.ready.p90 - outlook.ready.p10).days


def numbers(outlook: Forecast) -> list[float]:
    """Every number of a forecast."""
    found: list[float] = []
    for field in dataclasses.fields(outlook):
        value = getattr(outlook, field.name)
        if isinstance(value, Range):
            found += [value.p10, value.p50, value.p90]
        elif isinstance(value, float):
            found.append(value)
    return found + [
        q for day in outlook.days for q in (day.core_c.p10, day.core_c.p50, day.core_c.p90, day.air_c)
    ]


HOT_SEASON = (core(3, 60), core(5, 58), core(8, 55), Record("turned", on(9)), core(12, 52), core(16, 45))


def test_a_weekly_turned_spring_pile_is_done_in_ten_to_fourteen_weeks() -> None:
    """Common practice says 10-12 weeks; this one of half leaves, half grass is loose and light."""
    outlook = look(day=0)

    assert 63 <= middle(outlook) <= 105
    assert outlook.stage == "warming"
    assert not outlook.ready.open


def test_an_unturned_one_takes_far_longer_and_less_surely() -> None:
    """More than half a year is common practice: well inside the range, which reaches over a year."""
    never = look(day=0, pile=dataclasses.replace(PILE, turning="never"))

    assert middle(never) > 1.3 * middle(look(day=0))
    assert never.ready.p10 < on(183) < never.ready.p90
    assert never.ready.p90 > on(365)


def test_the_same_seed_gives_the_same_forecast() -> None:
    """Nothing but the seed is random."""
    assert look(*HOT_SEASON, day=20) == look(*HOT_SEASON, day=20)
    assert look(*HOT_SEASON, day=20) != forecast(PILE, HOT_SEASON, on(20), seed=7)


def test_a_batch_gives_what_each_pile_would_get_alone() -> None:
    """Batches change nothing but the time taken."""
    other = dataclasses.replace(PILE, id="p2", turning="monthly")
    cases = [(PILE, HOT_SEASON, on(20)), (other, (), on(0))]

    assert forecast_many(cases) == [forecast(*case) for case in cases]


def test_a_pile_that_cannot_be_forecast_leaves_the_others_of_its_batch_alone() -> None:
    """Its error stands in its place."""
    upside_down = Climate((30.0,) * 12, (10.0,) * 12, (1.0,) * 12)
    cases = [(dataclasses.replace(PILE, climate=upside_down), (), on(0)), (PILE, HOT_SEASON, on(20))]

    refused, told = forecast_many(cases)

    assert isinstance(refused, BadInput)
    assert told == forecast(PILE, HOT_SEASON, on(20))


def test_what_comes_later_is_not_used() -> None:
    """Records after `as_of` change nothing."""
    assert look(*HOT_SEASON, core(40, 20), day=20) == look(*HOT_SEASON, day=20)


def test_the_range_narrows_with_evidence() -> None:
    """Eight weeks of readings and turnings, habit unknown before, leave two thirds of the first range."""
    unknown = dataclasses.replace(PILE, turning=None)
    records = [*HOT_SEASON, *(Record("turned", on(day)) for day in range(16, 57, 7))]
    records += [core(day, 40 - day / 3) for day in range(20, 57, 4)]

    assert width(look(*records, day=56, pile=unknown)) <= 0.67 * width(look(day=0, pile=unknown))


def test_hot_readings_bring_the_date_forward_and_cold_ones_put_it_off() -> None:
    """And the forecast says which of them moved it."""
    hot = look(*(core(day, 60) for day in range(3, 12, 2)), day=14)
    cold = look(*(core(day, 16) for day in range(3, 12, 2)), day=14)

    assert middle(hot) < middle(cold)
    assert "hot_readings" in hot.moved
    assert "cool_readings" in cold.moved


def test_the_core_follows_the_thermometer() -> None:
    """Today's core lies near today's reading, surer than without."""
    read, unread = look(core(10, 57), day=10), look(day=10)

    assert read.core_c.p50 == pytest.approx(57, abs=5)
    assert read.core_c.p90 - read.core_c.p10 < unread.core_c.p90 - unread.core_c.p10
    assert read.stage == "hot"


def test_future_turning_follows_what_was_done() -> None:
    """A weekly intent without a turn in eight weeks is a slower habit, and a later date."""
    kept = look(*(Record("turned", on(day)) for day in range(7, 57, 7)), day=56)
    lapsed = look(day=56)

    assert kept.habit.turn_every_days is not None
    assert kept.habit.turn_every_days < 14
    assert lapsed.habit.turn_every_days is None or lapsed.habit.turn_every_days > 20
    assert middle(kept) < middle(lapsed)
    assert "not_turned" in lapsed.moved


def test_what_if_overrides_the_habit() -> None:
    """Never turning again makes it later than turning each week."""
    weekly = look(*HOT_SEASON, day=20, habit=Habit(7.0, None))
    never = look(*HOT_SEASON, day=20, habit=Habit(None, None))

    assert never.habit == Habit(None, None)
    assert middle(weekly) <= middle(never)
    assert weekly.ready.p90 < never.ready.p90


def test_water_gains_where_a_pile_is_dry() -> None:
    """A dry, covered pile of leaves wants water, and gains by it; a wet one does not."""
    leaves = dataclasses.replace(PILE, ingredients=(Ingredient("dry_leaves", 1.5),), covered=True)
    dry = look(*(Record("moisture", on(day), word="dry") for day in (5, 10, 15)), day=15, pile=leaves)
    wet = look(*(Record("moisture", on(day), word="soggy") for day in (5, 10, 15)), day=15)

    assert dry.water_litres > 10
    assert dry.water_gain_days > 0
    assert dry.water_due == on(15)
    assert wet.water_litres == 0
    assert wet.water_gain_days == 0


def test_turning_gains_where_a_pile_was_left_alone() -> None:
    """Eight weeks unturned with food left: turning now brings the date forward."""
    alone = look(core(3, 55), core(8, 48), core(20, 30), day=56)

    assert alone.turn_gain_days > 0
    assert alone.turn_due == on(56)


def test_a_fed_pile_has_ready_stuff_at_the_bottom() -> None:
    """A year of weekly pails: the bottom is ready though the whole is not."""
    fed = dataclasses.replace(PILE, fed=True, ingredients=(Ingredient("dry_leaves", 0.2),))
    pails = [
        Record("added", on(day), material=what, litres=10)
        for day in range(7, 360, 7)
        for what in ("kitchen_scraps", "dry_leaves")
    ]
    turns = [Record("turned", on(day)) for day in range(14, 360, 14)]
    after_a_month = look(*[r for r in pails + turns if r.on <= on(30)], day=30, pile=fed)
    after_a_year = look(*sorted(pails + turns, key=lambda r: r.on), day=360, pile=fed)

    assert after_a_month.bottom_litres == 0
    assert 0 < after_a_year.bottom_litres < after_a_year.harvest_litres.p50
    assert after_a_year.ready.p50 > on(360)


def test_what_was_added_counts_in_the_mix() -> None:
    """A fed bin grows rich by what went in since its first layer; kitchen scraps have a C:N of 15."""
    fed = dataclasses.replace(PILE, fed=True, ingredients=(Ingredient("dry_leaves", 0.05),))
    scraps = [Record("added", on(day), material="kitchen_scraps", litres=900) for day in (3, 6)]

    assert look(day=6, pile=fed).mix_c_n == pytest.approx(54)
    assert look(*scraps, day=6, pile=fed).mix_c_n == pytest.approx(15, abs=1)
    assert look(*scraps, day=2, pile=fed).mix_c_n == pytest.approx(54)


def test_fresh_greens_in_a_resting_pile_put_the_date_off_by_weeks_not_years() -> None:
    """An addition with a turn, in spring after a cold winter, is done in the same season."""
    winter = dataclasses.replace(PILE, built=date(2026, 11, 7), turning=None)
    told = [
        Record("temperature", date(2026, 11, 10), core_c=16),
        Record("turned", date(2027, 3, 27)),
        Record("added", date(2027, 3, 27), material="grass_clippings", litres=95),
        Record("temperature", date(2027, 3, 30), core_c=47),
    ]
    before = forecast(winter, told[:1], date(2027, 3, 26))
    after = forecast(winter, told, date(2027, 3, 30))

    assert after.ready.p50 - before.ready.p50 < timedelta(days=45)
    assert after.stage in ("warming", "hot")


def test_fresh_greens_on_a_pile_all_but_done_put_off_the_early_end_of_the_range_too() -> None:
    """Likely piles that were done already are no longer done, so the 10 % date moves back by weeks."""
    told = [*HOT_SEASON, *(Record("turned", on(day)) for day in range(16, 50, 7))]
    told += [core(day, 38 - day / 4) for day in range(20, 50, 4)]
    before = look(*told, day=50)
    after = look(*told, Record("added", on(50), material="grass_clippings", litres=150), day=50)

    assert after.ready.p10 - before.ready.p10 > timedelta(days=14)


def test_the_trend_is_that_of_the_readings() -> None:
    """A reheating that no likely pile expects is seen all the same, and its end."""
    rising = look(core(20, 22), core(22, 24), core(24, 40), day=24)
    falling = look(core(20, 50), core(22, 48), core(24, 30), day=24)

    assert rising.trend_c_per_day > 3
    assert rising.stage == "warming"
    assert falling.trend_c_per_day < -3


def test_heat_that_readings_prove_is_credited() -> None:
    """Two days at 60 °C between joined readings are 48 hours over 55 °C."""
    outlook = look(core(3, 60), core(4, 60), core(5, 60), day=6)

    assert outlook.credit.hours_over_55c == pytest.approx(48)
    assert 0 < outlook.credit.seeds_killed < 1


def test_what_was_not_said_is_named() -> None:
    """Each default that stands in for an answer has its code."""
    bare = Pile("p", BUILT, 1, 1, 1, LEAVES_AND_GRASS)
    outlook = look(Record("watered", on(2)), core(3, 300), day=5, pile=bare)

    assert {"pieces", "climate", "turning", "bin", "covered", "shade", "latitude"} <= set(outlook.assumed)
    assert {"moisture", "water_litres", "reading_left_out"} <= set(outlook.assumed)


def test_the_days_run_from_the_build_to_four_months_ahead() -> None:
    """One for each day, in order; of an old pile the last 120 days."""
    young, old = look(day=10), look(day=200)

    assert [day.on for day in young.days] == [on(day) for day in range(131)]
    assert (old.days[0].on, old.days[-1].on) == (on(80), on(320))


@pytest.mark.parametrize(
    ("pile", "day", "words"),
    [
        (dataclasses.replace(PILE, ingredients=()), 0, "no ingredients"),
        (dataclasses.replace(PILE, ingredients=(Ingredient("straw", 0.0),)), 0, "no ingredients"),
        (dataclasses.replace(PILE, height_m=0.0), 0, "size"),
        (PILE, -1, "before the build"),
        (PILE, 3651, "ten years"),
        (dataclasses.replace(PILE, built=date(9999, 3, 1)), 0, "check the year"),
    ],
)
def test_what_cannot_be_forecast_is_said_in_one_line(pile: Pile, day: int, words: str) -> None:
    """No ingredients, no size, a day before the build or ten years after it, a year that never comes."""
    with pytest.raises(BadInput, match=words) as trouble:
        forecast(pile, (), pile.built + timedelta(days=day))

    assert "\n" not in str(trouble.value)


ODD_PILES = {
    "one ingredient": dataclasses.replace(PILE, ingredients=(Ingredient("grass_clippings", 1.0),)),
    "only eggshells": dataclasses.replace(PILE, ingredients=(Ingredient("egg_shells", 0.3),)),
    "only soil": dataclasses.replace(PILE, ingredients=(Ingredient("soil", 0.5),)),
    "far too much for its size": dataclasses.replace(PILE, ingredients=(Ingredient("horse_manure", 9.0),)),
    "a thimble": dataclasses.replace(PILE, length_m=0.05, width_m=0.05, height_m=0.05),
    "a hall": dataclasses.replace(PILE, length_m=30.0, width_m=30.0, height_m=5.0),
    "under the polar night": dataclasses.replace(PILE, latitude=-89.0),
}


@pytest.mark.parametrize("name", ODD_PILES)
def test_odd_piles_give_honest_numbers(name: str) -> None:
    """Nothing breaks, no number is NaN, and ranges are in order."""
    outlook = look(core(3, 30), day=30, pile=ODD_PILES[name])

    assert all(math.isfinite(number) for number in numbers(outlook))
    assert outlook.ready.p10 <= outlook.ready.p50 <= outlook.ready.p90
    assert outlook.core_c.p10 <= outlook.core_c.p50 <= outlook.core_c.p90


def test_contradictions_and_impossible_readings_do_not_break_it() -> None:
    """Hot and cold on one day, dry and soggy at once, 900 °C, a record from before the build."""
    outlook = look(
        core(5, 70),
        core(5, 5),
        core(6, 480),
        Record("moisture", on(6), word="dry"),
        Record("moisture", on(6), word="soggy"),
        Record("turned", on(-30)),
        day=10,
    )

    assert all(math.isfinite(number) for number in numbers(outlook))


def test_three_thousand_records_of_two_years() -> None:
    """An old, well-watched pile is forecast like any other, and is long done."""
    kinds = (
        lambda day: core(day, 18.0),
        lambda day: Record("moisture", on(day), word="right"),
        lambda day: Record("smell", on(day), word="earthy"),
        lambda day: Record("texture", on(day), word="crumbly"),
    )
    records = [make(day) for day in range(1, 731) for make in kinds]
    records += [Record("turned", on(day)) for day in range(7, 731, 7)]

    outlook = look(*records, day=730)

    assert len(records) > 3000
    assert outlook.stage == "ready"
    assert outlook.ready.p90 <= on(730)


def test_the_band_passes_through_the_core_of_today() -> None:
    """What the readings say of today is what the picture shows, however far the model strays from them."""
    outlook = look(*(core(day, 66.0 - 0.2 * day) for day in range(2, 35, 2)), day=35)
    today, ahead = (next(d.core_c for d in outlook.days if d.on == on(day)) for day in (35, 38))

    assert today == outlook.core_c
    assert outlook.core_c.p50 > 50.0
    assert abs(ahead.p50 - today.p50) < 15.0
