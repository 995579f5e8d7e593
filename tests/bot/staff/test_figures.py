"""The figures of a year against a hand count over ten invented households."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from bot.staff.figures import curve, figures
from bot.staff.households import condense, finish, households
from shared.diversion import FACTORS
from storage.reports import Asked, Graduate, Heap, Helped, Taught

END = datetime(2027, 1, 1, 7, tzinfo=UTC)
"""Midnight after New Year's Eve in Larkmoor County."""
LAST_DAY = date(2026, 12, 31)
SPRING = datetime(2026, 3, 2, 17, tzinfo=UTC)


def graduate(id_: int, **what: Any) -> Graduate:
    """Somebody of class FIG22 who joined on 2 March 2026."""
    usual = {
        "class_code": "FIG22",
        "language": "en",
        "joined_at": SPRING,
        "stopped_at": None,
        "composted_before": False,
    }
    return Graduate(id_, **(usual | what))


def heap(id_: int, keepers: tuple[int, ...], last_day: int, *records: Any, **what: Any) -> Heap:
    """A pile built in a bin on 3 March, last told of `last_day` days after the joining."""
    setup = {"built": "2026-03-03", "bin": True, "ingredients": [["dry_leaves", 400.0]]}
    return Heap(
        id_,
        keepers,
        SPRING + timedelta(days=1),
        SPRING + timedelta(days=last_day),
        setup | what.get("setup", {}),
        tuple(records),
        what.get("promises", ()),
    )


DONE = (
    ("texture", date(2026, 6, 1), {"word": "crumbly"}),
    ("smell", date(2026, 6, 3), {"word": "earthy"}),
    ("temperature", date(2026, 6, 5), {"core_c": 24.0}),
)
"""Crumbly, earthy, cool, within five days."""
PROMISED = (SPRING + timedelta(days=2), date(2026, 5, 20), date(2026, 7, 1))

GRADUATES = [
    graduate(1),  # and 2 share a pile: one household
    graduate(2, joined_at=SPRING + timedelta(days=9), language="es"),
    graduate(3, composted_before=True),
    graduate(4, stopped_at=SPRING + timedelta(days=40)),
    graduate(5, language="es"),
    graduate(6, language="es", composted_before=None),
    graduate(7, class_code=None),
    graduate(8),
    graduate(9, class_code="HIGO35", language="es"),
    graduate(10, joined_at=datetime(2025, 5, 1, 18, tzinfo=UTC)),
    graduate(11),
]
HEAPS = [
    heap(1, (1, 2), 95, *DONE, promises=(PROMISED,)),
    heap(2, (3,), 300, ("temperature", date(2026, 3, 9), {"core_c": 58.0})),
    heap(3, (4,), 39, ("temperature", date(2026, 3, 9), {"core_c": 31.0})),
    heap(4, (5,), 303, ("added", date(2026, 4, 1), {"material": "kitchen_scraps", "litres": 20.0})),
    heap(5, (6,), 20, ("added", date(2026, 4, 1), {"material": "kitchen_scraps", "litres": None})),
    heap(
        6, (8,), 200, ("harvested", date(2026, 9, 15), {"litres": 150.0}), setup={"assumed": ["ingredients"]}
    ),
    heap(7, (10,), 302, ("harvested", date(2026, 9, 20), {"litres": None}), setup={"built": "2025-05-02"}),
]
BATCHES = [condense(one, 2026) for one in HEAPS]
CLASSES = [
    Taught("FIG22", "Spring class", "en", 30, date(2026, 2, 28)),
    Taught("HIGO35", None, "es", 20, date(2026, 3, 1)),
    Taught("OLD77", None, "en", 25, date(2025, 4, 30)),
]


@pytest.fixture
def found() -> dict[str, Any]:
    """The figures of 2026."""
    asked = [
        Asked("may_add", SPRING, False),
        Asked("may_add", SPRING, False),
        Asked("trouble", SPRING, True),
    ]
    helped = [
        Helped("danger", SPRING, SPRING + timedelta(hours=1)),
        Helped("person", SPRING, SPRING + timedelta(hours=5)),
        Helped("complaint", SPRING, None),
    ]
    return figures(2026, END, LAST_DAY, GRADUATES, HEAPS, CLASSES, asked, helped, [], 1)


def test_people_who_share_a_pile_are_one_household() -> None:
    """Eleven graduates, two of them at one pile: ten households."""
    assert [len(one.members) for one in households(GRADUATES, BATCHES)].count(2) == 1
    assert len(households(GRADUATES, BATCHES)) == 10


def test_households_by_hand(found: dict[str, Any]) -> None:
    """Nine households joined in 2026; who counts in which line stands beside it."""
    assert found["households"] == {
        "joined": 9,
        "people": 10,
        "started": 6,  # 1+2, 3, 4, 5, 6, 8
        "new": 7,  # 1+2, 4, 5, 7, 8, 9, 11
        "before": 1,  # 3
        "not_said": 1,  # 6
        "stopped": 1,  # 4
        "unreachable": 1,
        "all_years": 10,
    }


def test_a_class_by_hand(found: dict[str, Any]) -> None:
    """Of FIG22: 1+2, 3, 4, 5, 6, 8, 10, 11 joined, seven started; 3, 5, 8 and 10 are still going."""
    fig = next(one for one in found["classes"]["each"] if one["code"] == "FIG22")

    assert (found["classes"]["held"], found["classes"]["seats"]) == (2, 50)
    assert (fig["joined"], fig["started"], fig["going"]) == (8, 7, 4)


def test_still_going_by_hand(found: dict[str, Any]) -> None:
    """Of ten, 7, 9 and 11 ended on day 0, 6 on day 20, 4 on day 39, 1+2 on day 95; the others go on."""
    points = {point["day"]: point for point in found["going"]["all"]["curve"]}

    assert [points[day]["share"]["value"] for day in (30, 90, 180)] == pytest.approx([0.6, 0.5, 0.4])
    assert [points[day]["seen"] for day in (30, 90, 180)] == [6, 5, 4]
    assert [points[day]["followed"] for day in (30, 90, 180)] == [10, 10, 10]


def test_who_rests_after_a_harvest_is_counted_either_way() -> None:
    """Five took compost out on day 50 and were not heard of since: at 90 days 0 to 100 %."""
    people = [graduate(n) for n in range(1, 6)]
    taken = ("harvested", date(2026, 4, 21), {})
    piles = [condense(heap(n, (n,), 50, taken), 2026) for n in range(1, 6)]
    soon = SPRING + timedelta(days=50 + 170)

    point = curve(known for one in households(people, piles) if (known := one.follow(soon)))[1]

    assert (point["day"], point["seen"], point["resting"], point["followed"]) == (90, 0, 5, 5)


def test_silence_of_less_than_sixty_days_tells_nothing() -> None:
    """Six joined 50 days ago: whether they still go on cannot be known yet."""
    fresh = households([graduate(n) for n in range(1, 7)], [])

    assert [one.follow(SPRING + timedelta(days=50)) for one in fresh] == [None] * 6


def test_a_year_that_few_have_reached_is_not_shown(found: dict[str, Any]) -> None:
    """Only household 10 joined more than a year ago: too few to tell."""
    year = found["going"]["all"]["curve"][-1]

    assert (year["day"], year["share"], year["followed"]) == (365, None, None)


def test_small_groups_are_hidden(found: dict[str, Any]) -> None:
    """Of the year's classes HIGO35 has one household: it is not shown, and that one is hidden is said."""
    assert list(found["going"]["class"]["groups"]) == ["FIG22"]
    assert found["going"]["class"]["hidden"] == 1


def test_piles_and_compost_by_hand(found: dict[str, Any]) -> None:
    """Six piles were built in 2026, three read, one of them hot; two harvests, one with 150 litres."""
    assert found["batches"] == {
        "built": 6,
        "with_readings": 3,
        "hot": 1,
        "harvests": 2,
        "harvests_with_amount": 1,
        "harvested_l": 150.0,
        "finished": 1,
        "median_days": 94,
    }


def test_diverted_mass_by_hand(found: dict[str, Any]) -> None:
    """New households told 3 x 400 l of leaves and 20 l of scraps; what was assumed or unsaid adds nothing."""
    new = found["diversion"]["new"]
    leaves, food = FACTORS["leaves"], FACTORS["food"]

    for key, place in (("low_kg", 0), ("middle_kg", 1), ("high_kg", 2)):
        assert new[key] == pytest.approx(1.2 * leaves[place].kg_m3 + 0.02 * food[place].kg_m3)
    assert new["spared_t"][0] == pytest.approx(0.02 * food[0].kg_m3 / 907.18474 * 0.3)
    assert new["spared_t"][1] == pytest.approx(0.02 * food[2].kg_m3 / 907.18474 * 0.7)
    assert found["diversion"]["before"]["litres"] == {"leaves": 400.0}
    assert found["diversion"]["before"]["spared_t"] == [0, 0]
    assert found["diversion"]["not_said"]["without_amount"] == 1


def test_a_promise_is_held_against_the_finish_that_was_seen(found: dict[str, Any]) -> None:
    """The one pile that was seen finished, on 5 June, lies within 20 May to 1 July."""
    assert (found["forecasts"]["kept"], found["forecasts"]["sooner"], found["forecasts"]["later"]) == (
        1,
        0,
        0,
    )


def test_a_range_told_just_before_the_finish_judges_nothing() -> None:
    """A range that was first told in the last four weeks was no promise."""
    late = (datetime(2026, 5, 20, tzinfo=UTC), date(2026, 6, 1), date(2026, 6, 9))

    assert condense(heap(1, (1,), 95, *DONE, promises=(late,)), 2026).kept is None


def test_a_harvest_alone_is_no_finish() -> None:
    """Whoever took compost out has not thereby seen that it was done."""
    assert finish(HEAPS[5]) is None


def test_a_pile_that_heats_again_is_not_finished() -> None:
    """A hot reading between the signs takes the cool one back."""
    hot = ("temperature", date(2026, 6, 4), {"core_c": 50.0})

    assert finish(heap(1, (1,), 95, DONE[0], DONE[2], hot, DONE[1])) is None


def test_questions_and_help_by_hand(found: dict[str, Any]) -> None:
    """Two answered by the program, one by staff; of three rows of help two handled, in 1 and 5 hours."""
    got = found["questions"]

    assert (got["by_program"], got["by_staff"], got["help_rows"], got["help_handled"]) == (2, 1, 3, 2)
    assert (got["median_hours"], got["dangers"], got["complaints"]) == (3.0, 1, 1)
    assert got["top"] == [("may_add", 2), ("trouble", 1)]
