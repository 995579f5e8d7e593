"""Danger and doubt: fixed lines that no forecast can move."""

from datetime import date, timedelta

import pytest

from shared.cautions import alarm, cautions_for, danger, doubt, holds_manure, possible
from shared.pile import Ingredient, Pile, Record
from shared.units import c_from_f

TODAY = date(2026, 6, 10)
PILE = Pile(
    "p", date(2026, 5, 1), 1, 1, 1, (Ingredient("straw", 0.5), Ingredient("horse_manure", 0.2)), bin=True
)


def read(fahrenheit: float, days_ago: int = 0, *, edge: bool = False) -> Record:
    """A temperature told so many days ago."""
    return Record("temperature", TODAY - timedelta(days=days_ago), core_c=c_from_f(fahrenheit), edge=edge)


@pytest.mark.parametrize(
    ("fahrenheit", "level"),
    [
        (149, "none"),
        (150, "watch"),
        (159, "watch"),
        (160, "cool_down"),
        (169, "cool_down"),
        (170, "stay_back"),
    ],
)
def test_levels_of_heat(fahrenheit: float, level: str) -> None:
    """From 150 °F watch, from 160 cool down, from 170 stay back."""
    assert danger(c_from_f(fahrenheit)) == level


def test_smoke_is_danger_at_any_temperature() -> None:
    """Smoke, flame and a burnt smell need no reading."""
    assert danger(None, smoke=True) == "stay_back"
    assert danger(20.0, smoke=True) == "stay_back"
    assert danger(None) == "none"


def test_a_cooler_reading_takes_a_warning_back() -> None:
    """Hot yesterday, 140 °F today: no alarm."""
    assert alarm([read(172, 1), read(140)], TODAY).level == "none"
    assert alarm([read(140, 1), read(172)], TODAY).level == "stay_back"


def test_a_lesser_reading_of_the_same_day_does_not_soften_a_stay_back() -> None:
    """172 °F and an hour later 168 or 120: stay back all day; on the next day the new reading counts."""
    for later in (168, 120):
        assert alarm([read(172), read(later)], TODAY).level == "stay_back"
    assert alarm([read(172, 1), read(168)], TODAY).level == "cool_down"


def test_an_edge_reading_takes_nothing_back() -> None:
    """A cool surface says nothing of the core."""
    assert alarm([read(172, 1), read(90, edge=True)], TODAY).level == "stay_back"


def test_smoke_outlasts_a_lesser_warning() -> None:
    """A warm reading after smoke does not lower it to a watch."""
    smoke = Record("smoke", TODAY - timedelta(days=1))

    assert alarm([smoke, read(152)], TODAY).cause == "smoke"
    assert alarm([smoke, read(130)], TODAY).level == "none"


def test_an_old_warning_settles_but_is_not_forgotten() -> None:
    """After some days without a cooler reading the pile is to be looked at before anything else."""
    old = alarm([Record("smoke", TODAY - timedelta(days=6))], TODAY)

    assert old.level == "stay_back"
    assert old.settled


def test_what_is_told_later_does_not_count_yet() -> None:
    """Records after the day asked about are left out."""
    assert alarm([read(172, -2)], TODAY).level == "none"


@pytest.mark.parametrize(
    ("celsius", "can_be"), [(-40, True), (100, True), (-41, False), (101, False), (482, False)]
)
def test_possible_readings(celsius: float, can_be: bool) -> None:
    """-40 to 100 °C (212 °F) can be; the rest is a mistake."""
    assert possible(celsius) is can_be


@pytest.mark.parametrize(
    ("number", "units", "expected_c", "air_c", "why"),
    [
        (135, "f", 55.0, 20.0, None),
        (900, "f", 55.0, 20.0, "impossible"),
        (300, "f", None, None, "impossible"),
        (-80, "f", None, None, "impossible"),
        (13, "f", 50.0, 20.0, "digits"),
        (13, "f", None, None, "digits"),
        (13, "f", -8.0, -10.0, None),
        (55, "f", 54.0, 20.0, "unit"),
        (55, "f", 15.0, 12.0, None),
        (55, "c", 54.0, 20.0, None),
        (131, "c", 54.0, 20.0, "unit"),
        (95, "c", 38.0, 20.0, "unit"),
        (5, "c", 55.0, 20.0, "digits"),
        (5, "c", 6.0, 4.0, None),
        (68, "f", 55.0, 20.0, "surface"),
        (68, "f", 25.0, 20.0, None),
        (160, "f", 55.0, 20.0, None),
        (400, "c", 55.0, 20.0, "impossible"),
    ],
)
def test_doubtful_readings(
    number: float, units: str, expected_c: float | None, air_c: float | None, why: str | None
) -> None:
    """Missing digits, the other unit, a surface reading and the impossible are told apart."""
    assert doubt(number, units, expected_c, air_c) == why  # type: ignore[arg-type]


def test_a_danger_reading_is_never_doubted_away() -> None:
    """A Fahrenheit person's 165 or 175 stands, whatever was expected."""
    for fahrenheit in (160, 165, 175, 190):
        assert doubt(fahrenheit, "f", 30.0, 20.0) is None


def test_work_carries_the_usual_cautions() -> None:
    """Lifting at each turn, steam when hot, dust when dry, rodents before all."""
    rats = [Record("pests", TODAY, word="rodents")]

    assert cautions_for("turn", PILE, [], 62.0, 0.5) == ("steam", "lift")
    assert cautions_for("turn", PILE, [], 30.0, 0.3) == ("dust", "lift")
    assert cautions_for("turn", PILE, rats, 30.0, 0.5)[0] == "rodent_dust"
    assert cautions_for("wait", PILE, rats, 30.0, 0.3) == ()


def test_a_harvest_of_manure_compost_carries_the_manure_caution() -> None:
    """Manure near food crops and herbicide in hay or manure are named at harvest."""
    plain = Pile("q", date(2026, 5, 1), 1, 1, 1, (Ingredient("dry_leaves", 0.5),))

    assert {"manure", "herbicide", "wash_hands"} <= set(cautions_for("harvest", PILE, [], 20.0, 0.45))
    assert "manure" not in cautions_for("harvest", plain, [], 20.0, 0.45)


def test_manure_added_later_counts() -> None:
    """What a keeper adds is known as well as what was built in."""
    plain = Pile("q", date(2026, 5, 1), 1, 1, 1, (Ingredient("dry_leaves", 0.5),))

    assert not holds_manure(plain, [])
    for kind in ("chicken_manure", "manure", "sheep_manure", "bird_manure", "human_waste"):
        assert holds_manure(plain, [Record("added", TODAY, material=kind)])


def test_a_reading_that_cannot_be_is_no_danger() -> None:
    """900 degrees is a slip of the thumb, asked about elsewhere; it keeps nobody away from the pile."""
    slip = Record("temperature", date(2026, 3, 4), core_c=482.0)

    assert alarm([slip], date(2026, 3, 5)).level == "none"


def test_a_cooler_reading_takes_smoke_back_only_on_a_later_day():
    """What smoked this morning is not opened this afternoon, whatever the thermometer says (judgement)."""
    day = date(2026, 5, 1)
    smoke, cooler = Record("smoke", day), Record("temperature", day, core_c=60.0)
    tomorrow = Record("temperature", date(2026, 5, 2), core_c=60.0)

    assert alarm([smoke, cooler], day).level == "stay_back"
    assert alarm([smoke, cooler, tomorrow], date(2026, 5, 2)).level == "none"
