"""Care, against the written table of situations, and the promises that hold for every pile."""

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import hygiene
from shared.care import WHYS, Action, next_actions, stop_adding_date
from shared.forecast import DateRange, Day, Forecast, Habit, Range
from shared.pile import DailyWeather, Ingredient, Pile, Record

TODAY = date(2026, 6, 10)
TABLE = Path(__file__).with_name("care_truth.md")
USUAL = {
    "age": "14", "stage": "hot", "core": "55", "air": "20", "moisture": ".52", "free_air": ".45",
    "fast": ".5", "moderate": ".85", "trend": "0", "gain": "0", "litres": "0", "c_n": "29", "ready": "60",
    "bottom": "0", "size": "1x1x1", "covered": "yes", "fed": "no", "turning": "weekly", "rain": "0",
}  # fmt: skip
WORDS = {
    "moisture": ("dry", "bit_dry", "right", "bit_wet", "soggy"),
    "smell": ("earthy", "ammonia", "rotten", "sour"),
    "heat_feel": ("cold", "warm", "hot"),
    "texture": ("crumbly", "clumpy", "matted", "recognisable"),
    "pests": ("flies", "rodents", "ants", "larvae"),
}


def rows() -> list[tuple[str, str, str, str, str]]:
    """Number, forecast, told, first and never of each row of the table."""
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if re.match(r"\| \d", line)]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return [(f"{row[0]} {row[1]}", row[2], row[3], row[4], row[5]) for row in cells]


def told(words: str) -> list[Record]:
    """Records from words such as `turned@8 62C@5 dry@0`."""
    return [_record(*word.split("@")) for word in words.split()]


def _record(what: str, days_ago: str) -> Record:
    on = TODAY - timedelta(days=int(days_ago))
    if what[-1] == "C":
        return Record("temperature", on, core_c=float(what[:-1]))
    if what.startswith("height"):
        return Record("height", on, height_m=float(what[6:]) / 100)
    if what in ("dry_leaves", "shredded_paper"):
        return Record("added", on, material=what)
    if what == "powdery":
        return Record("growth", on)
    for kind, words in WORDS.items():
        if what in words:
            return Record(kind, on, word=what)  # type: ignore[arg-type]
    return Record(what, on)  # type: ignore[arg-type]


def situation(state: str) -> tuple[Pile, Forecast]:
    """A pile and what the forecast believes of it, from words such as `age=9 stage=hot core=62`."""
    given = USUAL | dict(word.split("=") for word in state.split())
    length, width, height = (float(side) for side in given["size"].split("x"))
    rain = float(given["rain"])
    pile = Pile(
        id="p",
        built=TODAY - timedelta(days=int(given["age"])),
        length_m=length,
        width_m=width,
        height_m=height,
        ingredients=(Ingredient("dry_leaves", 0.6), Ingredient("grass_clippings", 0.55)),
        turning=given["turning"],  # type: ignore[arg-type]
        bin=True,
        covered=given["covered"] == "yes",
        weather=DailyWeather(TODAY - timedelta(days=1), (12, 12), (28, 28), (rain, 0)) if rain else None,
        fed=given["fed"] == "yes",
    )
    return pile, outlook(given)


def outlook(given: dict[str, str]) -> Forecast:
    """The forecast that those words describe."""
    core, air = float(given["core"]), float(given["air"])
    low, high = float(given.get("low", core - 5)), float(given.get("high", core + 5))
    peak, ready = float(given.get("peak", core)), TODAY + timedelta(days=int(given["ready"]))
    thaw = int(given.get("thaw", 0))
    past = [Day(TODAY - timedelta(days=6), Range(peak - 4, peak, peak + 4), air)]
    coming = [
        Day(TODAY + timedelta(days=ahead), Range(low, core, high), 12.0 if thaw and ahead >= thaw else air)
        for ahead in range(1, 100)
    ]
    return Forecast(
        pile_id="p",
        as_of=TODAY,
        stage=given["stage"],  # type: ignore[arg-type]
        ready=DateRange(ready - timedelta(days=12), ready, ready + timedelta(days=20)),
        core_c=Range(low, core, high),
        air_c=air,
        moisture=_around(given["moisture"], 0.05),
        free_air=_around(given["free_air"], 0.05),
        fast_left=_around(given["fast"], 0.01),
        moderate_left=_around(given["moderate"], 0.03),
        trend_c_per_day=float(given["trend"]),
        mix_c_n=float(given["c_n"]),
        mix_moisture=0.6,
        credit=hygiene.credit([], []),
        harvest_litres=Range(200, 260, 320),
        bottom_litres=float(given["bottom"]),
        turn_gain_days=float(given["gain"]),
        water_gain_days=0.0,
        water_litres=float(given["litres"]),
        turn_due=_due(given, "turn_due"),
        water_due=_due(given, "water_due"),
        days=(*past, *coming),
        habit=Habit(7, None),
        moved=(),
        assumed=(),
    )


def _due(given: dict[str, str], name: str) -> date | None:
    return TODAY + timedelta(days=int(given[name])) if name in given else None


def _around(middle: str, spread: float) -> Range:
    return Range(float(middle) - spread, float(middle), float(middle) + spread)


def due_today(actions: tuple[Action, ...]) -> set[str]:
    """What is asked for at once."""
    return {act.do for act in actions if act.on is None or act.on == TODAY}


@pytest.mark.parametrize(("name", "state", "words", "first", "never"), rows(), ids=[row[0] for row in rows()])
def test_the_table_of_situations(name: str, state: str, words: str, first: str, never: str) -> None:
    """The first action is one that an experienced composter would name, and none is one they never would."""
    pile, believed = situation(state)

    actions = next_actions(pile, told(words), believed)

    assert actions[0].do in first.split(), name
    assert not due_today(actions) & set(never.split()), name


def test_every_reason_is_given_somewhere() -> None:
    """The table makes care use each action with each of its reasons."""
    given = set()
    for _, state, words, _, _ in rows():
        pile, believed = situation(state)
        given |= {(act.do, act.why) for act in next_actions(pile, told(words), believed)}

    assert given == set(WHYS)


def test_the_table_is_wide() -> None:
    """Sixty situations and more, in which every kind of action is the right one somewhere."""
    assert len(rows()) >= 60
    assert {do for row in rows() for do in row[3].split()} == {do for do, _ in WHYS}


STATES = st.fixed_dictionaries(
    {
        "age": st.integers(0, 400).map(str),
        "stage": st.sampled_from(["warming", "hot", "cooling", "stalled", "curing", "ready"]),
        "core": st.integers(-10, 75).map(str),
        "air": st.integers(-15, 38).map(str),
        "moisture": st.sampled_from([".2", ".35", ".42", ".5", ".6", ".72"]),
        "free_air": st.sampled_from([".08", ".25", ".5"]),
        "fast": st.sampled_from([".01", ".08", ".3", "1"]),
        "moderate": st.sampled_from([".3", ".6", ".95"]),
        "gain": st.integers(-5, 40).map(str),
        "litres": st.integers(0, 90).map(str),
        "c_n": st.integers(8, 120).map(str),
        "bottom": st.sampled_from(["0", "90"]),
        "size": st.sampled_from(["1x1x1", ".6x.6x.5", "2x1.5x1.2"]),
        "covered": st.sampled_from(["yes", "no"]),
        "fed": st.sampled_from(["yes", "no"]),
        "turning": st.sampled_from(["weekly", "never"]),
    }
)
SAID = [
    *("40C", "58C", "68C", "73C", "79C", "turned", "not_turned", "watered", "smoke", "powdery", "covered"),
    *("harvested", "height40"),
    *(word for words in WORDS.values() for word in words),
]
SAYINGS = st.lists(st.tuples(st.sampled_from(SAID), st.integers(0, 12)), max_size=6).map(
    lambda said: " ".join(f"{what}@{ago}" for what, ago in sorted(said, key=lambda one: -one[1]))
)


@given(STATES, SAYINGS)
def test_promises_that_hold_for_every_pile(state: dict[str, str], words: str) -> None:
    """Never empty, each reason known with its numbers, days not past, danger alone, rest after a turning."""
    pile, believed = situation(" ".join(f"{name}={value}" for name, value in state.items()))
    records = told(words)

    actions = next_actions(pile, records, believed)

    assert actions
    assert next_actions(pile, records, believed) == actions
    for act in actions:
        assert set(act.numbers) == set(WHYS[act.do, act.why])
        assert act.on is None or act.on >= TODAY
        assert act.litres is None or 0 < act.litres < 3000
        assert act.gain_days is None or act.gain_days >= 0
    if any(act.do == "keep_away" for act in actions):
        assert len(actions) == 1
    dos = due_today(actions)
    if any(record.kind == "turned" and record.on == TODAY for record in records) and "turn" in dos:
        assert any(act.why == "too_hot" for act in actions)
    squeezed = [record for record in records if record.kind in ("moisture", "watered")][-1:]
    if any(record.word == "soggy" and record.on >= TODAY - timedelta(days=4) for record in squeezed):
        assert "water" not in dos
    if "add_greens" in dos:
        assert not any(record.word == "ammonia" and record.on == TODAY for record in records)
    if "harvest" in dos:
        assert believed.stage == "ready" or believed.bottom_litres > 0
    if believed.core_c.p50 <= 3 and believed.air_c <= 0 and not records:
        assert not dos & {"turn", "water"}
    assert not {"water", "add_browns"} <= dos


@pytest.mark.parametrize("litres", [12.0, 50.0])
def test_water_comes_half_now_and_is_squeezed_again(litres: float) -> None:
    """The amount is the forecast's, half of it now; the reason carries both."""
    pile, believed = situation(f"stage=cooling core=40 fast=.4 moisture=.36 litres={litres}")

    water = next_actions(pile, told("turned@2 40C@0"), believed)[0]

    assert water.do == "water"
    assert water.litres == litres
    assert water.numbers["first_litres"] == litres / 2


def test_water_for_a_dry_squeeze_that_the_forecast_did_not_see() -> None:
    """CHK-8.4's balance on 130 kg of dry matter, from halfway between squeeze and forecast to 53 %."""
    pile, believed = situation("stage=hot core=50 moisture=.5 litres=0")

    water = next_actions(pile, told("turned@4 dry@0"), believed)[0]

    halfway = (0.33 + 0.50) / 2
    assert water.litres == pytest.approx(130 * (0.53 / 0.47 - halfway / (1 - halfway)), abs=1)


def test_a_turn_says_what_it_gains_and_when_to_look() -> None:
    """Days saved stand with the turn; a look on the third day shows whether it reheated."""
    pile, believed = situation("stage=cooling core=42 peak=62 fast=.4 gain=5 trend=-2 age=18")

    turn, look = next_actions(pile, told("turned@8 62C@5 42C@0"), believed)

    assert (turn.do, turn.gain_days) == ("turn", 5)
    assert turn.numbers == {"core_c": 42.0, "peak_c": 62.0, "days_since_turn": 8.0}
    assert (look.do, look.on) == ("measure", TODAY + timedelta(days=3))


def test_a_mound_holds_half_its_box() -> None:
    """CHK-10.7: a cone holds a quarter of its box, a cylinder four fifths; a heap is taken as half."""
    pile, believed = situation("stage=stalled core=22 size=1x1x.9")
    heap = replace(pile, bin=False)

    assert next_actions(pile, told("cold@0 right@0"), believed)[0].do == "turn"
    assert next_actions(heap, told("cold@0 right@0"), believed)[0].numbers == {
        "volume_m3": pytest.approx(0.45)
    }


def test_jobs_in_sight_are_told_with_their_day() -> None:
    """A wait names the next turning and watering that the forecast sees coming."""
    pile, believed = situation("stage=hot core=58 turn_due=6 water_due=2")

    actions = next_actions(pile, told("turned@4 58C@0"), believed)

    days = [(act.do, (act.on - TODAY).days) for act in actions if act.on is not None]
    assert days == [("wait", 2), ("water", 2), ("turn", 6)]


def test_a_later_record_is_not_known_yet() -> None:
    """Only what was told up to the day of the forecast counts."""
    pile, believed = situation("stage=hot core=58")

    assert next_actions(pile, told("turned@4 58C@0 smoke@-1"), believed)[0].do == "wait"


def test_work_is_counted_by_the_size_of_the_pile() -> None:
    """CHK-14.1: a 3 ft cube turns in 20 to 30 minutes, a season of 10 to 12 turns in 3.3 to 6 hours."""
    side = 3 * 0.3048
    pile, believed = situation(
        f"stage=cooling core=42 peak=62 fast=.4 gain=5 age=18 size={side}x{side}x{side}"
    )

    turn = next_actions(pile, told("turned@8 62C@5 42C@0"), believed)[0]

    assert 20 <= turn.minutes <= 30
    assert 3.3 <= 11 * turn.minutes / 60 <= 6.0
    assert next_actions(pile, told("turned@1"), believed)[0].minutes == 0


def test_stop_adding_for_a_day_of_use() -> None:
    """Counted back from the late edge of the forecast, so that nine in ten are in time."""
    _, believed = situation("ready=60")

    assert stop_adding_date(believed, TODAY + timedelta(days=100)) == TODAY + timedelta(days=20)
    assert stop_adding_date(believed, TODAY + timedelta(days=30)) < TODAY
