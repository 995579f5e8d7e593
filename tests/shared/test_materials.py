"""The feedstock table: whole, sourced, and named in both languages."""

import csv
from pathlib import Path

import pytest

import shared.materials
from shared.errors import UnknownMaterial
from shared.materials import HOWS, REASONS, Material, all_materials, material
from shared.units import KG_M3_PER_LB_YD3

RECORD_IDS = [
    "dry_leaves", "straw", "hay", "sawdust", "wood_chips", "cardboard", "newspaper",
    "shredded_paper", "dryer_lint", "pine_needles", "twigs", "corn_stalks", "grass_clippings",
    "vegetable_scraps", "fruit_scraps", "kitchen_scraps", "coffee_grounds", "tea", "flowers",
    "garden_trimmings", "weeds", "chicken_manure", "horse_manure", "cow_manure", "rabbit_manure",
    "egg_shells", "wood_ash", "soil", "finished_compost", "meat", "dairy", "fat", "pet_waste",
    "diseased_plants", "thorny_plants", "other",
]  # fmt: skip
PRINTED_APART = {"sawdust", "bark"}
"""NRAES-54 prints means of N and of C:N that come from different samples."""
KNOWN_MARKS = {"read", "memory", "low", "derived", "none"}

every = pytest.mark.parametrize("feedstock", all_materials(), ids=lambda feedstock: feedstock.id)


@pytest.mark.parametrize("id", RECORD_IDS)
def test_every_id_of_a_record_has_a_feedstock(id: str) -> None:
    """What a message can report can be weighed."""
    assert material(id).record_id == id


def test_there_are_more_than_fifty_measured_feedstocks() -> None:
    """At least 50 rows with values of their own."""
    assert len({feedstock.like for feedstock in all_materials()}) >= 50


def test_an_unknown_id_is_named_in_the_error() -> None:
    """A material that the table lacks gets one clear line."""
    with pytest.raises(UnknownMaterial, match="'moon_rock'"):
        material("moon_rock")


@every
def test_values_lie_within_nature(feedstock: Material) -> None:
    """Shares lie within 0 to 1, pools add up, settled is no lighter than loose, carbon is at most 60 %."""
    assert 0 <= feedstock.moisture < 1
    assert 0 <= feedstock.volatile <= 1
    assert feedstock.fast + feedstock.moderate + feedstock.slow == pytest.approx(1)
    assert 0 < feedstock.loose_kg_m3 <= feedstock.settled_kg_m3 < 1400
    assert feedstock.carbon <= 0.6 or feedstock.like in PRINTED_APART


@every
def test_every_value_names_its_source_and_mark(feedstock: Material) -> None:
    """No figure without where it comes from and how well it is known."""
    for field, source in feedstock.sources.items():
        assert source.split()[-1] in KNOWN_MARKS, field


@every
def test_each_feedstock_is_named_and_judged(feedstock: Material) -> None:
    """Names in both languages, a verdict, a known reason and a known way."""
    assert feedstock.en
    assert feedstock.es
    assert feedstock.verdict in ("yes", "some", "hot_only", "no")
    assert feedstock.reason in REASONS
    assert feedstock.how in HOWS
    assert feedstock.record_id in RECORD_IDS


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_name_means_two_things(language: str) -> None:
    """Each name belongs to one feedstock."""
    names = [name for feedstock in all_materials() for name in getattr(feedstock, language)]

    assert sorted(names) == sorted(set(names))


def test_every_measured_row_is_used() -> None:
    """The table holds nothing that nobody can name."""
    with Path(shared.materials.__file__).with_name("materials.csv").open(encoding="utf-8") as file:
        measured = {row["id"] for row in csv.DictReader(file)}

    assert measured == {feedstock.like for feedstock in all_materials()}


@pytest.mark.parametrize("id", ["meat", "dairy", "fat", "pet_waste", "diseased_plants"])
def test_what_to_keep_out_is_kept_out(id: str) -> None:
    """Meat, dairy, fat, pet waste and diseased plants stay out of an open pile (EPA lists, extension)."""
    assert material(id).verdict == "no"


@pytest.mark.parametrize(
    ("id", "carbon_pct"), [("grass_clippings", 57.8), ("dry_leaves", 48.6), ("wood_chips", 57.7)]
)
def test_carbon_is_nitrogen_times_the_ratio(id: str, carbon_pct: float) -> None:
    """NRAES-54 gives N and C:N; carbon is their product."""
    assert 100 * material(id).carbon == pytest.approx(carbon_pct, abs=0.06)


def test_carbon_comes_from_the_ash_where_there_is_no_ratio() -> None:
    """CHK-1.1: ash 10 % means 50 % carbon, (100 - ash)/1.8; egg shells have 95 % ash."""
    assert 100 * material("egg_shells").carbon == pytest.approx((100 - 95) / 1.8)
    assert pytest.approx(50.0) == (100 - 10) / shared.materials.ORGANIC_PER_CARBON


@pytest.mark.parametrize(
    ("id", "lb_yd3"), [("dry_leaves", 200), ("grass_clippings", 350), ("straw", 227), ("horse_manure", 1379)]
)
def test_densities_are_the_handbook_s(id: str, lb_yd3: float) -> None:
    """Loose densities are those that NRAES-54 prints in lb/yd³."""
    assert material(id).loose_kg_m3 / KG_M3_PER_LB_YD3 == pytest.approx(lb_yd3)


@pytest.mark.parametrize(
    ("id", "low", "high"),
    [
        ("dry_leaves", 30, 80),
        ("straw", 40, 100),
        ("vegetable_scraps", 15, 20),
        ("coffee_grounds", 20, 20),
        ("grass_clippings", 15, 25),
        ("cow_manure", 5, 25),
        ("newspaper", 560, 563),
        ("cardboard", 560, 563),
    ],
)
def test_ratios_lie_in_cornell_s_ranges(id: str, low: float, high: float) -> None:
    """C:N of the chemistry page of the Cornell composting notes, a second list beside the handbook's."""
    ratio = material(id).c_n

    assert ratio is not None
    assert low <= ratio <= high


@pytest.mark.parametrize(
    ("id", "lignin_pct"),
    [("kitchen_scraps", 0.4), ("shredded_paper", 0.4), ("cardboard", 12.9), ("newspaper", 21.9)],
)
def test_the_degradable_share_follows_lignin(id: str, lignin_pct: float) -> None:
    """CHK-4.5, Chandler et al. 1980: 0.830 - 0.028 x lignin % of VS; 0.82, 0.82, 0.47 and 0.22 as printed."""
    assert material(id).degradable == pytest.approx(0.830 - 0.028 * lignin_pct, abs=6e-3)
