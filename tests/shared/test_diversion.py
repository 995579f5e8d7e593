"""Diversion, against worked figures from the published volume-to-weight lists."""

import pytest

from shared.diversion import FACTORS, diverted, food_saving_tonnes, group_of
from shared.errors import UnknownMaterial
from shared.materials import all_materials
from shared.pile import Ingredient
from shared.units import BUCKET_L, KG_M3_PER_LB_YD3, KG_PER_LB, M3_PER_YD3


@pytest.mark.parametrize(
    ("lb_yd3", "bucket_lb"), [(250, 6.19), (350, 8.66), (396, 9.80), (1000, 24.76), (400, 9.90), (667, 16.51)]
)
def test_a_bucket_by_each_list(lb_yd3: float, bucket_lb: float) -> None:
    """CHK-11.1: one level 5 gal bucket by the densities of EPA, Massachusetts and the handbook."""
    assert lb_yd3 * KG_M3_PER_LB_YD3 * BUCKET_L / 1000 / KG_PER_LB == pytest.approx(bucket_lb, abs=6e-3)


def test_a_cubic_yard_of_leaves_and_grass() -> None:
    """CHK-11.2: half leaves at 200, half loose grass at 350 lb/yd³ weigh 275 lb, between our low and high."""
    half = M3_PER_YD3 / 2
    mass = diverted([Ingredient("dry_leaves", half), Ingredient("grass_clippings", half)])

    assert mass.low_kg / KG_PER_LB == pytest.approx(225)
    assert mass.middle_kg / KG_PER_LB == pytest.approx(300)
    assert mass.high_kg / KG_PER_LB == pytest.approx(533.5)
    assert mass.low_kg < 275 * KG_PER_LB < mass.high_kg
    assert "Massachusetts DEP factors" in mass.lists


def test_food_spans_the_lists_that_disagree() -> None:
    """396 lb/yd³ (EPA 2016) to 1,513 (EPA 1997): the standing conflict is shown, not hidden."""
    mass = diverted([Ingredient("kitchen_scraps", M3_PER_YD3)])

    assert mass.low_kg / KG_PER_LB == pytest.approx(396)
    assert mass.high_kg / KG_PER_LB == pytest.approx(1513)


@pytest.mark.parametrize("group", sorted(FACTORS))
def test_each_group_runs_from_low_to_high_with_its_lists(group: str) -> None:
    """Factors rise and each names its list."""
    low, middle, high = FACTORS[group]  # type: ignore[index]

    assert low.lb_yd3 <= middle.lb_yd3 <= high.lb_yd3
    assert all(factor.source for factor in (low, middle, high))


def test_soil_ash_and_old_compost_divert_nothing() -> None:
    """What would not have gone to the landfill does not count."""
    mass = diverted([Ingredient(id, 1.0) for id in ("soil", "wood_ash", "finished_compost")])

    assert mass.high_kg == 0
    assert mass.lists == ()


def test_every_feedstock_has_a_group() -> None:
    """A special kind counts as what it is recorded as."""
    assert group_of("onions") == "food"
    assert group_of("oak_leaves") == "leaves"
    assert {group_of(feedstock.id) for feedstock in all_materials()} == {*FACTORS, "none"}
    with pytest.raises(UnknownMaterial):
        diverted([Ingredient("moon_rock", 1.0)])


def test_the_greenhouse_figure_is_for_food_alone() -> None:
    """CHK-11.4: 400 kg food at 0.62 t per short ton would be 0.273 t, inside the rough range."""
    low, high = food_saving_tonnes(400)

    assert pytest.approx(0.273, abs=5e-4) == 400 / 907.18474 * 0.62
    assert low < 0.273 < high
