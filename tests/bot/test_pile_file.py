"""The pile-file form, in and out."""

import json
from datetime import date

import pytest

from bot.pile_file import forecast_line, name_of, read_line
from shared.errors import BadInput
from shared.forecast import forecast
from shared.pile import Ingredient, Record

LEAST = {
    "pile": "p1",
    "built": "2026-03-01",
    "size_cm": [100, 90, 80],
    "ingredients": [{"material": "dry_leaves", "litres": 650}],
}


def line(**more: object) -> str:
    """The least pile file with more, or with something else, in it."""
    return json.dumps(LEAST | more)


def test_the_least_file_is_enough() -> None:
    """Only name, build, size and ingredients must be there; the rest is not said."""
    pile, records, as_of = read_line(line())

    assert (pile.id, pile.built, pile.length_m, pile.width_m, pile.height_m) == (
        "p1",
        date(2026, 3, 1),
        1.0,
        0.9,
        0.8,
    )
    assert pile.ingredients == (Ingredient("dry_leaves", 0.65),)
    assert (pile.climate, pile.turning, pile.bin, pile.weather, pile.fed) == (None, None, None, None, False)
    assert (records, as_of) == ((), date(2026, 3, 1))


def test_records_are_read_in_their_order() -> None:
    """Each kind with its own field, a time of day where one is said."""
    _, records, as_of = read_line(
        line(
            records=[
                {"kind": "temperature", "on": "2026-03-04", "f": 131.0},
                {"kind": "turned", "on": "2026-03-08T10:30"},
                {"kind": "moisture", "on": "2026-03-08", "feel": "dry"},
                {"kind": "watered", "on": "2026-03-08", "litres": None},
                {"kind": "height", "on": "2026-03-09", "cm": 70},
                {"kind": "added", "on": "2026-03-09", "material": "coffee_grounds", "litres": 4},
                {"kind": "pests", "on": "2026-03-09", "pest": "flies"},
            ]
        )
    )

    march = [date(2026, 3, day) for day in range(10)[1:]]
    assert records == (
        Record("temperature", march[3], core_c=pytest.approx(55.0)),
        Record("turned", march[7], hour=10.5),
        Record("moisture", march[7], word="dry"),
        Record("watered", march[7]),
        Record("height", march[8], height_m=0.7),
        Record("added", march[8], material="coffee_grounds", litres=4.0),
        Record("pests", march[8], word="flies"),
    )
    assert as_of == march[8]


def test_only_what_was_known_on_the_day_is_used() -> None:
    """The line's own day goes before the default; later records and weather are cut off."""
    text = line(
        as_of="2026-03-05",
        records=[{"kind": "turned", "on": "2026-03-05"}, {"kind": "turned", "on": "2026-03-06"}],
        weather={"start": "2026-03-01", "min_c": [1] * 9, "max_c": [9] * 9, "rain_mm": [0] * 9},
    )

    pile, records, as_of = read_line(text, date(2026, 4, 1))

    assert as_of == date(2026, 3, 5)
    assert len(records) == 1
    assert pile.weather is not None
    assert len(pile.weather.min_c) == len(pile.weather.rain_mm) == 5


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("{", "not JSON"),
        ("[]", "not a JSON object"),
        (json.dumps({"pile": "p"}), "built"),
        (line(built="spring"), "built"),
        (line(built="2026-02-30"), "built"),
        (line(size_cm=[100, 100]), "size_cm"),
        (line(size_cm=[0, 100, 100]), "size_cm"),
        (line(size_cm=[1, 1, "1"]), "size_cm"),
        (line(ingredients=[]), "ingredients"),
        (line(ingredients=["straw"]), r"ingredients\[0\]"),
        (line(ingredients=[{"material": "moon_dust", "litres": 1}]), r"ingredients\[0\]\.material"),
        (line(ingredients=[{"material": "straw", "litres": -1}]), r"ingredients\[0\]\.litres"),
        (line(ingredients=[{"material": "straw", "litres": 0}]), "ingredients"),
        (line(turning="daily"), "turning"),
        (line(bin="yes"), "bin"),
        (line(latitude=99), "latitude"),
        (line(climate={"min_c": [1], "max_c": [2] * 12, "rain_mm": [3] * 12}), r"climate\.min_c"),
        (line(weather={"start": "2026-03-01", "min_c": [1], "max_c": [2, 3], "rain_mm": [0]}), "weather"),
        (line(as_of="2026-02-01"), "as_of"),
        (line(records={}), "records"),
        (line(records=[{"kind": "sung to", "on": "2026-03-02"}]), r"records\[0\]\.kind"),
        (line(records=[{"kind": "turned"}]), r"records\[0\]\.on"),
        (line(records=[{"kind": "temperature", "on": "2026-03-02", "f": "hot"}]), r"records\[0\]\.f"),
        (line(records=[{"kind": "moisture", "on": "2026-03-02", "feel": "moist"}]), r"records\[0\]\.feel"),
    ],
)
def test_bad_input_names_the_place(text: str, place: str) -> None:
    """One line that says where it is."""
    with pytest.raises(BadInput, match=f"^{place}") as trouble:
        read_line(text)

    assert "\n" not in str(trouble.value)


def test_a_broken_line_may_still_tell_its_pile() -> None:
    """So that its error can stand in its place."""
    assert name_of(line(size_cm=[])) == "p1"
    assert name_of("{") is None
    assert name_of("[1]") is None


def test_a_forecast_is_written_in_the_fixed_form() -> None:
    """Every field of the form is there, of its type, and it is JSON."""
    pile, records, as_of = read_line(
        line(records=[{"kind": "temperature", "on": "2026-03-20", "f": 120.0}], turning="weekly")
    )

    told = json.loads(json.dumps(forecast_line(pile, records, forecast(pile, records, as_of))))

    assert list(told) == [
        *("pile", "as_of", "stage", "ready", "core_f", "moisture_pct"),
        *("mix", "hygiene", "harvest_litres", "next", "assumed"),
    ]
    assert told["pile"] == "p1"
    assert told["as_of"] == "2026-03-20"
    ready = [date.fromisoformat(told["ready"][q]) for q in ("p10", "p50", "p90")]
    assert ready == sorted(ready)
    assert all(
        told[name]["p10"] <= told[name]["p50"] <= told[name]["p90"] for name in ("core_f", "moisture_pct")
    )
    assert set(told["mix"]) == {"c_n", "moisture_pct"}
    assert set(told["hygiene"]) == {"hours_over_131f", "weed_seed_kill_pct"}
    assert told["next"]
    assert all(set(step) <= {"do", "on", "litres", "why", "gain_days"} for step in told["next"])
