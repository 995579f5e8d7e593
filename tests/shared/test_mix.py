"""The mix, against the printed examples of Cornell, of the handbook and of Michel's laboratory."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import Infeasible, OutOfRange
from shared.materials import Material, material
from shared.mix import (
    Part,
    band,
    blend,
    free_air_space,
    improve,
    kg_for_c_n,
    kg_for_moisture,
    parts_of,
    water_for_moisture,
    water_to_add_kg,
)
from shared.pile import Ingredient
from shared.units import KG_M3_PER_LB_YD3, KG_PER_LB, L_PER_GAL, M3_PER_YD3


def made(carbon_pct: float, nitrogen_pct: float, moisture_pct: float) -> Material:
    """A feedstock as a printed example states it."""
    return replace(
        material("dry_leaves"),
        nitrogen=nitrogen_pct / 100,
        c_n=carbon_pct / nitrogen_pct,
        moisture=moisture_pct / 100,
    )


CORNELL_GRASS, CORNELL_LEAVES = made(45, 2.4, 77), made(50, 0.75, 35)
MANURE, SAWDUST = made(60, 6.0, 70), made(55, 0.11, 35)
LEAVES, GRASS, STRAW = material("dry_leaves"), material("grass_clippings"), material("straw")


def by_volume(*volumes: tuple[str, float]) -> list[Part]:
    """Parts from volumes in cubic yards."""
    return list(parts_of([Ingredient(id, yards * M3_PER_YD3) for id, yards in volumes]))


def test_leaves_that_dry_grass_to_sixty_percent() -> None:
    """CHK-2.1, Cornell moisture note: 10 kg grass at 77 % wants 6.8 kg leaves at 35 %."""
    grass = blend([Part(CORNELL_GRASS, 10)])

    assert kg_for_moisture(grass, CORNELL_LEAVES, 0.60) == pytest.approx(6.8)


def test_leaves_that_balance_grass() -> None:
    """CHK-2.2, Cornell C/N note: 3.474 kg leaves for a ratio of 30 (printed as 3.5)."""
    grass = blend([Part(CORNELL_GRASS, 10)])

    assert kg_for_c_n(grass, CORNELL_LEAVES, 30) == pytest.approx(3.474, abs=5e-4)


def test_the_mix_of_the_moisture_example_has_a_ratio_near_37() -> None:
    """CHK-2.3, Cornell: 10 kg grass and 6.8 kg leaves are 60.0 % wet and C:N 36.73 (printed: about 37)."""
    mix = blend([Part(CORNELL_GRASS, 10), Part(CORNELL_LEAVES, 6.8)])

    assert mix.moisture == pytest.approx(0.600, abs=5e-4)
    assert mix.c_n == pytest.approx(36.73, abs=5e-3)


def test_sawdust_for_layer_manure() -> None:
    """CHK-2.4, handbook chapter 3 (from memory): 0.4 lb for 60 %, 0.795 for C:N 25, 1.071 for 30."""
    manure = blend([Part(MANURE, 1)])

    for_moisture, for_25 = kg_for_moisture(manure, SAWDUST, 0.60), kg_for_c_n(manure, SAWDUST, 25)

    assert for_moisture == pytest.approx(0.400)
    assert blend([Part(MANURE, 1), Part(SAWDUST, for_moisture)]).c_n == pytest.approx(17.66, abs=5e-3)
    assert for_25 == pytest.approx(0.795, abs=5e-4)
    assert blend([Part(MANURE, 1), Part(SAWDUST, for_25)]).moisture == pytest.approx(0.545, abs=5e-4)
    assert kg_for_c_n(manure, SAWDUST, 30) == pytest.approx(1.071, abs=5e-4)


def test_half_brown_half_green_by_volume_is_balanced() -> None:
    """CHK-2.5, the trade's rule: half dry leaves, half loose grass gives 275 lb at 66.0 % and C:N 29.67."""
    mix = blend(by_volume(("dry_leaves", 0.5), ("grass_clippings", 0.5)))

    assert mix.wet_kg / KG_PER_LB == pytest.approx(275.0)
    assert mix.carbon_kg / KG_PER_LB == pytest.approx(48.339, abs=5e-4)
    assert mix.nitrogen_kg / KG_PER_LB == pytest.approx(1.629, abs=5e-4)
    assert mix.moisture == pytest.approx(0.660, abs=5e-4)
    assert mix.c_n == pytest.approx(29.67, abs=5e-3)


@pytest.mark.parametrize(
    ("leaves", "grass", "moisture_pct", "c_n"),
    [(3, 1, 54.2, 39.56), (2, 1, 58.5, 35.88), (1, 2, 72.2, 24.65), (1, 0, 38.0, 54.0)],
)
def test_other_shares_of_leaves_and_grass(
    leaves: float, grass: float, moisture_pct: float, c_n: float
) -> None:
    """CHK-2.6, table values: the ratio falls and the water rises with the share of grass."""
    mix = blend(by_volume(("dry_leaves", leaves), ("grass_clippings", grass)))

    assert 100 * mix.moisture == pytest.approx(moisture_pct, abs=0.06)
    assert mix.c_n == pytest.approx(c_n, abs=6e-3)


def test_leaves_for_a_yard_of_grass() -> None:
    """CHK-2.7: 1.040 yd³ dry leaves with 1 yd³ loose grass for C:N 30."""
    kg = kg_for_c_n(blend(by_volume(("grass_clippings", 1))), LEAVES, 30)

    assert kg / LEAVES.loose_kg_m3 / M3_PER_YD3 == pytest.approx(1.040, abs=5e-4)


@pytest.mark.parametrize(("leaves", "moisture_pct", "c_n"), [(2, 58.7, 25.64), (3, 55.7, 29.04)])
def test_dense_scraps_want_three_volumes_of_leaves(leaves: float, moisture_pct: float, c_n: float) -> None:
    """CHK-2.8, scraps at 800 lb/yd³: sums go by mass, so two volumes of leaves do not do."""
    scraps = replace(material("kitchen_scraps"), loose_kg_m3=800 * KG_M3_PER_LB_YD3)
    mix = blend([*by_volume(("dry_leaves", leaves)), Part(scraps, scraps.loose_kg_m3 * M3_PER_YD3)])

    assert 100 * mix.moisture == pytest.approx(moisture_pct, abs=0.06)
    assert mix.c_n == pytest.approx(c_n, abs=6e-3)


def test_straw_balanced_with_grass_is_too_wet_and_says_so() -> None:
    """CHK-2.9: 2.511 yd³ grass to 1 yd³ straw is 67.6 % wet; no water brings that to 55 %."""
    straw = by_volume(("straw", 1))
    grass_kg = kg_for_c_n(blend(straw), GRASS, 30)
    mix = blend([*straw, Part(GRASS, grass_kg)])

    assert grass_kg / GRASS.loose_kg_m3 / M3_PER_YD3 == pytest.approx(2.511, abs=5e-4)
    assert mix.moisture == pytest.approx(0.676, abs=5e-4)
    with pytest.raises(Infeasible, match="water"):
        water_for_moisture(mix, 0.55)


def test_michel_s_laboratory_mixes_come_out() -> None:
    """CHK-2.10, Michel et al. 1993: leaves C:N 48, two thirds 30, one third 22; grass is then 17.14.

    Ratios add up inversely by dry mass where carbon is the same, which the mix must show.
    """
    leaves, grass = made(45, 45 / 48, 0), made(45, 45 / 17.14, 0)

    assert blend([Part(leaves, 2), Part(grass, 1)]).c_n == pytest.approx(30.0, abs=0.01)
    assert blend([Part(leaves, 1), Part(grass, 2)]).c_n == pytest.approx(21.8, abs=0.05)


def test_straw_does_not_tame_layer_manure_four_to_one() -> None:
    """CHK-2.11: four volumes of straw to one of layer manure are still C:N 15.79 at 47.3 %."""
    mix = blend(by_volume(("straw", 4), ("chicken_manure", 1)))

    assert mix.c_n == pytest.approx(15.79, abs=6e-3)
    assert 100 * mix.moisture == pytest.approx(47.3, abs=0.06)


def test_a_quarter_of_sawdust_outweighs_the_grass() -> None:
    """CHK-2.12: three volumes of grass to one of sawdust are C:N 53.3 at 69.9 %, though mostly green."""
    mix = blend(by_volume(("grass_clippings", 3), ("sawdust", 1)))

    assert mix.c_n == pytest.approx(53.3, abs=0.06)
    assert 100 * mix.moisture == pytest.approx(69.9, abs=0.06)


@pytest.mark.parametrize(
    ("lb", "from_pct", "to_pct", "water_lb", "gallons"),
    [
        (250, 20, 50, 150.0, 17.97),
        (200, 38, 55, 75.56, 9.05),
        (275, 45, 55, 61.11, 7.32),
        (400, 30, 50, 160.0, 19.17),
        (100, 40, 50, 20.0, 2.40),
    ],
)
def test_water_to_add(lb: float, from_pct: float, to_pct: float, water_lb: float, gallons: float) -> None:
    """CHK-8.1 to 8.5: water by the balance of the wet masses."""
    kg = water_to_add_kg(lb * KG_PER_LB, from_pct / 100, to_pct / 100)

    assert kg / KG_PER_LB == pytest.approx(water_lb, abs=6e-3)
    assert kg / L_PER_GAL == pytest.approx(gallons, abs=0.02)


@pytest.mark.parametrize(
    ("lb", "from_pct", "to_pct", "dry_pct", "add_lb"),
    [
        (300, 75, 60, 38, 204.5),
        (300, 75, 60, 12, 93.75),
        (275, 66, 60, 12, 34.4),
        (300, 70, 60, 8, 57.7),
    ],
)
def test_dry_material_for_a_soggy_mix(
    lb: float, from_pct: float, to_pct: float, dry_pct: float, add_lb: float
) -> None:
    """CHK-8.6: leaves, straw and cardboard that dry a wet mix to 60 %."""
    soggy = blend([Part(made(45, 1, from_pct), lb * KG_PER_LB)])

    kg = kg_for_moisture(soggy, made(45, 1, dry_pct), to_pct / 100)

    assert kg / KG_PER_LB == pytest.approx(add_lb, abs=0.05)


def test_water_lost_is_the_water_that_would_bring_it_back() -> None:
    """CHK-8.7: 300 lb at 70 % dried to 60 % lose 75.0 lb; adding them again leads back."""
    assert water_to_add_kg((300 - 75) * KG_PER_LB, 0.60, 0.70) / KG_PER_LB == pytest.approx(75.0)


@pytest.mark.parametrize(
    ("lb", "from_pct", "result_pct"), [(250, 20, 52.0), (300, 20, 48.6), (200, 38, 66.2)]
)
def test_twenty_gallons_a_yard_is_for_dry_leaves(lb: float, from_pct: float, result_pct: float) -> None:
    """CHK-8.8, New Jersey leaf manual (Strom and Finstein 1994): 20 gal/yd³ aims at 50 % from dry leaves."""
    leaves = made(50, 0.9, from_pct)
    mix = blend([Part(leaves, lb * KG_PER_LB)], water_kg=20 * 8.3454 * KG_PER_LB)

    assert 100 * mix.moisture == pytest.approx(result_pct, abs=0.06)


@pytest.mark.parametrize(
    ("kg_m3", "moisture", "organic", "ours", "haug"),
    [
        (475, 0.55, 0.85, 0.612, 0.544),
        (593, 0.60, 0.85, 0.504, 0.428),
        (800, 0.65, 0.80, 0.318, 0.234),
        (950, 0.70, 0.80, 0.170, 0.084),
    ],
)
def test_free_air_space_in_both_forms(
    kg_m3: float, moisture: float, organic: float, ours: float, haug: float
) -> None:
    """CHK-3.1 to 3.4: Richard et al. 2004, and Haug 1993 with lighter organic matter: a standing conflict."""
    assert free_air_space(kg_m3, moisture, organic) == pytest.approx(ours, abs=6e-4)
    light_m3_kg = organic / 1000 + (1 - organic) / 2500
    assert 1 - kg_m3 * (moisture / 1000 + (1 - moisture) * light_m3_kg) == pytest.approx(haug, abs=6e-4)
    assert haug < ours


def test_loose_volumes_add_up_to_more_than_the_built_pile() -> None:
    """CHK-10.8: a bin filled loosely with leaves and grass holds a third of what a settled one does."""
    mix = blend(by_volume(("dry_leaves", 0.5), ("grass_clippings", 0.5)))

    assert mix.loose_m3 == pytest.approx(M3_PER_YD3)
    assert mix.dry_kg / KG_PER_LB == pytest.approx(93.5, abs=0.05)
    assert 0.4 * mix.loose_m3 < mix.settled_m3 < 0.6 * mix.loose_m3


def test_the_band_admits_how_rough_home_volumes_are() -> None:
    """Eight buckets of scraps, four of grass, 28 of leaves: C:N 25-40 in 20,000 draws of realistic errors."""
    bucket = 5 * L_PER_GAL / 1000
    shares = {"kitchen_scraps": 8, "grass_clippings": 4, "dry_leaves": 28}
    parts = parts_of([Ingredient(id, number * bucket) for id, number in shares.items()])

    spread = band(parts)

    assert blend(parts).c_n == pytest.approx(31, abs=0.5)
    assert spread.c_n_low == pytest.approx(25, abs=1.5)
    assert spread.c_n_high == pytest.approx(40, abs=1.5)
    assert 0.45 < spread.moisture_low < 0.52
    assert 0.60 < spread.moisture_high < 0.68


def test_goals_that_no_amount_reaches_are_reported() -> None:
    """Grass cannot be brought to C:N 30 by more grass, nor dried by it."""
    grass = blend([Part(GRASS, 10)])

    with pytest.raises(Infeasible, match="grass_clippings"):
        kg_for_c_n(grass, GRASS, 30)
    with pytest.raises(Infeasible, match="grass_clippings"):
        kg_for_moisture(blend([Part(LEAVES, 10)]), GRASS, 0.20)


def test_a_mix_of_nothing_is_refused() -> None:
    """No volume, a negative one, or one that is no number gives one clear line."""
    with pytest.raises(OutOfRange, match="more than 0 kg"):
        blend([])
    with pytest.raises(OutOfRange, match="dry_leaves"):
        parts_of([Ingredient("dry_leaves", -0.1)])
    with pytest.raises(OutOfRange, match="dry_leaves"):
        parts_of([Ingredient("dry_leaves", float("nan"))])


def test_a_mix_without_nitrogen_has_an_infinite_ratio() -> None:
    """Wood ash alone has no C:N; nothing crashes."""
    assert blend(by_volume(("wood_ash", 0.1))).c_n == float("inf")


def test_a_good_mix_is_left_alone() -> None:
    """Within 25-35 and 45-65 % nothing is added."""
    remedy = improve(by_volume(("dry_leaves", 0.6), ("grass_clippings", 0.5)), LEAVES, GRASS)

    assert (remedy.browns_litres, remedy.greens_litres, remedy.water_litres) == (0, 0, 0)


VOLUMES = st.floats(0.01, 2.0)
IDS = st.sampled_from(
    ["dry_leaves", "grass_clippings", "kitchen_scraps", "straw", "horse_manure", "cardboard"]
)


@given(st.lists(st.tuples(IDS, VOLUMES), min_size=1, max_size=5))
def test_masses_add_up_and_a_remedy_never_harms(volumes: list[tuple[str, float]]) -> None:
    """Water and dry matter are conserved to 1e-9; advice brings the mix no further from its goals."""
    parts = by_volume(*volumes)
    mix = blend(parts)
    remedy = improve(parts, LEAVES, GRASS)

    assert mix.wet_kg == pytest.approx(sum(part.wet_kg for part in parts), rel=1e-9)
    assert mix.water_kg + mix.dry_kg == pytest.approx(mix.wet_kg, rel=1e-9)
    assert mix.fast_kg + mix.moderate_kg + mix.slow_kg == pytest.approx(mix.volatile_kg, rel=1e-9)
    assert remedy.browns_litres >= 0
    assert remedy.greens_litres >= 0
    assert remedy.water_litres >= 0
    assert max(0, remedy.mix.c_n - 50) <= max(0, mix.c_n - 50) + 1e-9
    assert max(0, 25 - remedy.mix.c_n) <= max(0, 25 - mix.c_n) + 1e-9
    assert max(0, remedy.mix.moisture - 0.65) <= max(0, mix.moisture - 0.65) + 1e-9
