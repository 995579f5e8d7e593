"""The agenda: what is due for a pile and why. Rules of the trade are marked "common practice"."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.agenda import agenda, answered_by
from scheduler.case import Case, Due, Said
from shared.care import Action
from shared.forecast import Day, Forecast, Range
from shared.pile import Kind, Record
from storage.piles import PileRow, Told

Outlook = Callable[..., Forecast]
DENVER = "America/Denver"
BUILT = date(2026, 3, 1)
WAIT = (Action("wait", "hot"),)
TURN = Action("turn", "cooling_food_left", gain_days=5.0, numbers={"core_c": 41.0, "days_since_turn": 9.0})
WATER = Action("water", "dry", litres=19.0, gain_days=8.0, numbers={"moisture": 0.38})


def on_day(day: int, hour: int = 9) -> datetime:
    """A day of the pile, at an hour of its wall."""
    return datetime.combine(BUILT + timedelta(day), time(hour), ZoneInfo(DENVER)).astimezone(UTC)


def told(day: int, kind: Kind, **data: Any) -> Told:
    """Something told on a day of the pile."""
    return Told(day, Record(kind, BUILT + timedelta(day), **data), 1, on_day(day, 18))


def case(
    outlook: Outlook,
    day: int,
    actions: Sequence[Action] = WAIT,
    records: Sequence[Told] = (),
    said: Sequence[Said] = (),
    setup: dict[str, Any] | None = None,
    **changes: Any,
) -> Case:
    """The pile on a day at nine, with what care says and what was told."""
    row = PileRow(1, None, DENVER, 1, {"built": BUILT.isoformat(), **(setup or {})}, on_day(0))
    return Case(row, records, outlook(BUILT + timedelta(day), **changes), actions, said, on_day(day))


def due_now(looked_at: Case) -> list[str]:
    """The keys that are due, most important first."""
    return [due.key for due in agenda(looked_at) if due.due_at <= looked_at.at]


def first(looked_at: Case) -> Due:
    """The most important due thing."""
    return next(due for due in agenda(looked_at) if due.due_at <= looked_at.at)


READ_LATELY = (told(1, "temperature", core_c=50.0), told(8, "temperature", core_c=52.0))


class TestFirstReading:
    """The first look into a new pile."""

    @pytest.mark.parametrize(("day", "keys"), [(1, []), (2, ["first_reading"]), (3, ["first_reading"])])
    def test_is_asked_for_on_day_two_or_three(self, outlook: Outlook, day: int, keys: list[str]) -> None:
        """Not before the pile can have warmed up; a good one has by day 4 (extension pages)."""
        assert due_now(case(outlook, day, stage="warming")) == keys

    def test_counts_from_when_we_were_told_of_the_pile(self, outlook: Outlook) -> None:
        """Who sets up a pile on its third day has just been told to read it."""
        late = case(outlook, 4, stage="warming")
        late = replace(late, row=replace(late.row, created_at=on_day(3)))

        assert due_now(late) == []
        assert due_now(replace(late, outlook=outlook(BUILT + timedelta(5)), at=on_day(5))) == [
            "first_reading"
        ]

    @pytest.mark.parametrize("kind", ["temperature", "heat_feel"])
    def test_is_not_asked_for_where_the_keeper_has_told(self, outlook: Outlook, kind: Kind) -> None:
        """A number or a hand's feel is a first reading."""
        word = {"core_c": 50.0} if kind == "temperature" else {"word": "warm"}
        assert due_now(case(outlook, 2, records=[told(1, kind, **word)], stage="warming")) == []

    def test_a_reading_near_the_surface_is_none(self, outlook: Outlook) -> None:
        """An edge reading tells nothing of the core."""
        edge = told(1, "temperature", core_c=20.0, edge=True)
        assert due_now(case(outlook, 2, records=[edge], stage="warming")) == ["first_reading"]

    def test_is_asked_for_once(self, outlook: Outlook) -> None:
        """Unanswered, it is not repeated on the next day."""
        asked = [Said("first_reading", on_day(2))]
        assert due_now(case(outlook, 3, said=asked, stage="warming")) == []


class TestTurning:
    """A turn is asked for when it pays."""

    def test_with_its_gain_and_reason(self, outlook: Outlook) -> None:
        """The nudge carries how much sooner, and the numbers of care's reason."""
        due = first(case(outlook, 10, (TURN,), READ_LATELY))

        assert (due.key, due.gain_days, due.values["gain_days"]) == ("turn", 5, 5)
        assert due.reason == {"why": "cooling_food_left", "core_c": 41.0, "days_since_turn": 9.0}

    @pytest.mark.parametrize(("fed", "asked_again"), [(False, 15), (True, 24)])
    def test_a_fed_pile_is_not_pestered(self, outlook: Outlook, fed: bool, asked_again: int) -> None:
        """Asked on day 10, a batch is asked again after 5 days, a pile that goes on growing after 14."""
        said, setup = [Said("turn", on_day(10))], {"fed": fed}

        assert due_now(case(outlook, asked_again - 1, (TURN,), READ_LATELY, said, setup)) == []
        assert due_now(case(outlook, asked_again, (TURN,), READ_LATELY, said, setup)) == ["turn"]

    @pytest.mark.parametrize(
        ("why", "gain_days", "keys"),
        [
            ("cooling_food_left", 1.9, []),
            ("cooling_food_left", 2.0, ["turn"]),
            ("hot_mixing", 2.9, []),
            ("hot_mixing", 3.0, ["turn"]),
            ("ammonia", 0.0, ["turn"]),
            ("too_hot", 0.0, ["turn"]),
        ],
    )
    def test_where_it_is_worth_half_an_hour(
        self, outlook: Outlook, why: str, gain_days: float, keys: list[str]
    ) -> None:
        """A pile that goes on by itself must gain days; trouble is worth the work whatever it gains."""
        assert due_now(case(outlook, 10, (Action("turn", why, gain_days=gain_days),), READ_LATELY)) == keys

    @pytest.mark.parametrize(("turned_on", "keys"), [(8, []), (7, ["turn"])])
    def test_not_before_the_third_day_after_the_last(
        self, outlook: Outlook, turned_on: int, keys: list[str]
    ) -> None:
        """What was just turned is left to work (common practice)."""
        records = (*READ_LATELY, told(turned_on, "turned"))
        assert due_now(case(outlook, 10, (TURN,), records)) == keys

    def test_never_by_the_calendar_alone(self, outlook: Outlook) -> None:
        """However long ago the last turn was, without a reason from care none is asked for."""
        records = (told(1, "turned"), told(59, "temperature", core_c=40.0))
        assert due_now(case(outlook, 60, WAIT, records, stage="cooling")) == []

    def test_with_water_where_both_are_due(self, outlook: Outlook) -> None:
        """One job in one text; water alone follows, for a keeper who cannot turn."""
        dues = agenda(case(outlook, 10, (WATER, TURN), READ_LATELY))

        assert [due.key for due in dues] == ["turn_water", "water"]
        assert dues[0].values["water_l"] == 19
        assert dues[0].reason["why"] == "cooling_food_left"

    def test_not_again_for_some_days(self, outlook: Outlook) -> None:
        """Asked for four days ago it is not asked for again; after five it is."""
        assert due_now(case(outlook, 10, (TURN,), READ_LATELY, [Said("turn", on_day(6))])) == []
        assert due_now(case(outlook, 11, (TURN,), READ_LATELY, [Said("turn_water", on_day(6))])) == ["turn"]

    def test_what_the_reply_asked_for_is_theirs_to_do_first(self, outlook: Outlook) -> None:
        """Told yesterday to turn it "today or tomorrow", they are reminded on the day after that."""
        looked_at = case(outlook, 10, (TURN,), (*READ_LATELY, told(9, "heat_feel", word="warm")))

        assert due_now(looked_at) == []
        assert [due.due_at for due in agenda(looked_at) if due.key == "turn"] == [on_day(11, 0)]

    def test_what_was_declined_is_left_alone(self, outlook: Outlook) -> None:
        """Who said that it was not turned is not asked to for some days; water is another matter."""
        declined = (*READ_LATELY, told(9, "not_turned"))

        assert due_now(case(outlook, 13, (TURN,), declined)) == []
        assert due_now(case(outlook, 14, (TURN,), declined)) == ["turn"]
        assert due_now(case(outlook, 11, (WATER,), declined)) == ["water"]

    def test_asked_twice_in_vain_it_is_left_alone(self, outlook: Outlook) -> None:
        """Nobody is scolded: after one follow-up without a turn there is a month of peace."""
        asked = [Said("turn", on_day(day)) for day in (17, 24)]
        recent = [told(49, "temperature", core_c=40.0)]

        assert due_now(case(outlook, 51, (TURN,), recent, asked)) == []
        assert due_now(case(outlook, 52, (TURN,), recent, asked)) == ["turn"]
        assert due_now(
            case(outlook, 40, (TURN,), [told(30, "turned"), told(38, "heat_feel", word="warm")], asked)
        ) == ["turn"]

    def test_who_never_turns_is_asked_seldom_and_for_much(self, outlook: Outlook) -> None:
        """At most once in four weeks, and only where a week or more is to be gained."""
        never: dict[str, Any] = {"turning": "never"}
        much = (Action("turn", "cooling_food_left", gain_days=7.0),)

        assert due_now(case(outlook, 10, (TURN,), READ_LATELY, setup=never)) == []
        assert due_now(case(outlook, 10, much, READ_LATELY, setup=never)) == ["turn"]
        asked = [Said("turn", on_day(10))]
        lately = [told(36, "heat_feel", word="warm")]
        assert due_now(case(outlook, 37, much, lately, asked, setup=never)) == []
        assert due_now(case(outlook, 38, much, lately, asked, setup=never)) == ["turn"]

    def test_a_day_that_lies_ahead_is_when_to_look_again(self, outlook: Outlook) -> None:
        """What the forecast or care expects for a later day is due then, at the start of the pile's day."""
        later = Action("turn", "food_left", on=BUILT + timedelta(15), gain_days=5.0)
        looked_at = case(outlook, 10, (*WAIT, later), READ_LATELY, turn_due=BUILT + timedelta(13))

        assert due_now(looked_at) == []
        assert sorted(due.due_at for due in agenda(looked_at)) == [on_day(13, 0), on_day(15, 0)]


class TestWaterAndOtherWork:
    """Water, browns, greens, cover."""

    @pytest.mark.parametrize(
        ("action", "key"),
        [
            (WATER, "water"),
            (Action("add_browns", "soggy", litres=40.0), "browns"),
            (Action("add_greens", "too_brown", litres=40.0), "greens"),
            (Action("cover", "rain"), "cover"),
        ],
    )
    def test_is_nudged_for_as_care_says(self, outlook: Outlook, action: Action, key: str) -> None:
        """Each with care's reason."""
        due = first(case(outlook, 10, (action,), READ_LATELY))
        assert (due.key, due.reason["why"]) == (key, action.why)

    def test_what_was_just_watered_is_left_alone(self, outlook: Outlook) -> None:
        """Yesterday's water is given a day to sink in."""
        assert due_now(case(outlook, 10, (WATER,), (*READ_LATELY, told(9, "watered")))) == []
        assert due_now(case(outlook, 10, (WATER,), (*READ_LATELY, told(8, "watered")))) == ["water"]

    def test_things_that_must_be_found_are_asked_for_seldom(self, outlook: Outlook) -> None:
        """Greens are asked for again after two weeks, not after one."""
        greens = (Action("add_greens", "too_brown", litres=40.0),)
        asked = [Said("greens", on_day(10))]

        assert due_now(case(outlook, 23, greens, [told(22, "heat_feel", word="warm")], asked)) == []
        assert due_now(case(outlook, 24, greens, [told(22, "heat_feel", word="warm")], asked)) == ["greens"]

    @pytest.mark.parametrize("do", ["wait", "enlarge", "stop_adding", "cure"])
    def test_other_actions_are_no_nudge(self, outlook: Outlook, do: Any) -> None:
        """Waiting and the like is said in answers, not unasked."""
        assert due_now(case(outlook, 10, (Action(do, "on_track"),), READ_LATELY)) == []


class TestReading:
    """A reading is asked for when it would tell most."""

    def test_where_the_last_is_old_and_care_wants_one(self, outlook: Outlook) -> None:
        """In the heat after four days, and not before."""
        measure = (Action("measure", "not_heard"),)
        last = [told(9, "temperature", core_c=52.0)]

        assert due_now(case(outlook, 12, measure, last)) == []
        assert due_now(case(outlook, 13, measure, last)) == ["reading"]

    def test_not_so_soon_after_any_word_of_the_keeper(self, outlook: Outlook) -> None:
        """The reply to a turning said what comes next; a reading is asked for some days later."""
        records = [told(5, "heat_feel", word="warm"), told(12, "turned")]
        wide = Range(40, 50, 60)

        assert due_now(case(outlook, 14, records=records, core_c=wide)) == []
        assert due_now(case(outlook, 15, records=records, core_c=wide)) == ["reading"]

    def test_where_the_forecast_is_unsure(self, outlook: Outlook) -> None:
        """A wide band of the core makes a reading worth asking for; a narrow one does not."""
        last = [told(5, "heat_feel", word="warm")]

        assert due_now(case(outlook, 13, records=last, core_c=Range(45, 50, 53))) == ["reading"]
        assert due_now(case(outlook, 13, records=last, core_c=Range(47, 50, 53))) == []

    @pytest.mark.parametrize(("fed", "due_on"), [(False, 48), (True, 68)])
    def test_less_often_once_things_go_slowly(self, outlook: Outlook, fed: bool, due_on: int) -> None:
        """After four weeks the waits are twice as long, and four weeks in a pile that is fed."""
        last, wide = [told(40, "heat_feel", word="warm")], Range(30, 40, 50)
        setup = {"fed": fed}

        assert due_now(case(outlook, due_on - 1, records=last, core_c=wide, setup=setup)) == []
        assert due_now(case(outlook, due_on, records=last, core_c=wide, setup=setup)) == ["reading"]

    def test_not_in_the_cure(self, outlook: Outlook) -> None:
        """A resting pile is left alone."""
        said = [Said("curing", on_day(61))]
        wide = Range(20, 30, 40)
        assert due_now(case(outlook, 80, said=said, stage="curing", core_c=wide)) == []


class TestReheating:
    """Has it stopped reheating?"""

    def test_is_asked_some_days_after_a_turn(self, outlook: Outlook) -> None:
        """From the third to the tenth day, when little food is left, before another turn is asked for."""
        little = Range(0.1, 0.2, 0.3)
        records = (*READ_LATELY, told(40, "turned"))

        assert due_now(case(outlook, 42, WAIT, records, stage="cooling", fast_left=little)) == []
        assert due_now(case(outlook, 43, (TURN,), records, stage="cooling", fast_left=little))[0] == "reheat"
        assert due_now(case(outlook, 51, WAIT, records, stage="cooling", fast_left=little)) == []

    def test_not_where_the_keeper_has_looked_since(self, outlook: Outlook) -> None:
        """A reading after the turn has answered it."""
        records = (told(40, "turned"), told(42, "temperature", core_c=30.0))
        little = Range(0.1, 0.2, 0.3)
        assert due_now(case(outlook, 44, WAIT, records, stage="cooling", fast_left=little)) == []

    def test_once_for_each_turn(self, outlook: Outlook) -> None:
        """Asked after this turn it is not asked again; asked after the one before it is."""
        records, little = [told(40, "turned")], Range(0.1, 0.2, 0.3)
        after_this, after_last = [Said("reheat", on_day(43))], [Said("reheat", on_day(33))]
        changes = {"stage": "cooling", "fast_left": little}

        assert "reheat" not in due_now(case(outlook, 44, WAIT, records, after_this, **changes))
        assert "reheat" in due_now(case(outlook, 44, WAIT, records, after_last, **changes))


class TestTheEnd:
    """Curing, ready, harvest, next pile."""

    def test_curing_is_told_once(self, outlook: Outlook) -> None:
        """With the range in which it is likely ready."""
        due = first(case(outlook, 60, stage="curing"))

        assert (due.key, due.values["first_about"], due.values["last_about"]) == (
            "curing",
            "2026-05-11",
            "2026-06-02",
        )
        assert due_now(case(outlook, 75, said=[Said("curing", on_day(60))], stage="curing")) == []

    def test_curing_is_not_told_on_top_of_a_reply(self, outlook: Outlook) -> None:
        """Who wrote lately was told to let it rest."""
        wrote = [told(58, "temperature", core_c=25.0)]

        assert due_now(case(outlook, 64, records=wrote, stage="curing")) == []
        assert due_now(case(outlook, 65, records=wrote, stage="curing")) == ["curing"]

    def test_ready_is_asked_with_the_amount_and_once_more_later(self, outlook: Outlook) -> None:
        """Unanswered it is asked again after weeks, and then no more."""
        due = first(case(outlook, 90, stage="ready"))
        once, twice = [Said("ready", on_day(90))], [Said("ready", on_day(90)), Said("ready", on_day(135))]

        assert (due.key, due.values["harvest_l"]) == ("ready", 240)
        assert due_now(case(outlook, 134, said=once, stage="ready")) == []
        assert due_now(case(outlook, 135, said=once, stage="ready")) == ["ready"]
        assert due_now(case(outlook, 300, said=twice, stage="ready")) == []

    def test_the_bottom_of_a_fed_pile(self, outlook: Outlook) -> None:
        """A pile that still grows is not said to be ready; what can be taken from the bottom is."""
        harvest = (Action("harvest", "bottom_ready"),)
        due = first(
            case(outlook, 120, harvest, READ_LATELY, setup={"fed": True}, stage="cooling", bottom_litres=60.0)
        )

        assert (due.key, due.values["harvest_l"]) == ("ready", 60)

    def test_after_the_harvest_only_the_next_pile_is_left(self, outlook: Outlook) -> None:
        """A week later, once; turning or watering an emptied bin is not asked for."""
        records = [told(90, "harvested", litres=200.0)]

        assert due_now(case(outlook, 96, (TURN, WATER), records, stage="ready")) == []
        assert due_now(case(outlook, 97, (TURN, WATER), records, stage="ready")) == ["next_pile"]
        assert due_now(case(outlook, 120, said=[Said("next_pile", on_day(97))], records=records)) == []

    def test_a_bucket_taken_early_ends_nothing(self, outlook: Outlook) -> None:
        """Who takes some from a pile that still works goes on with it."""
        records = [told(40, "harvested", litres=20.0), told(48, "heat_feel", word="warm")]
        assert due_now(case(outlook, 50, (TURN,), records, stage="cooling")) == ["turn"]

    def test_a_fed_pile_goes_on_after_a_harvest(self, outlook: Outlook) -> None:
        """Taking from the bottom ends nothing."""
        records = [told(90, "harvested", litres=60.0), told(99, "heat_feel", word="warm")]
        looked_at = case(outlook, 101, (WATER,), records, setup={"fed": True}, stage="cooling")
        assert due_now(looked_at) == ["water"]


class TestDanger:
    """Heat of 71 °C (160 °F) and more."""

    @pytest.mark.parametrize(("core_c", "due"), [(70.9, False), (71.0, True), (82.0, True)])
    def test_is_looked_at_again_after_a_day(self, outlook: Outlook, core_c: float, due: bool) -> None:
        """Twenty-four hours after it was told, urgent, whatever else is due."""
        hot = told(9, "temperature", core_c=core_c)
        looked_at = case(outlook, 9, (TURN,), [hot])
        rechecks = [each for each in agenda(looked_at) if each.key == "recheck"]

        assert bool(rechecks) is due
        assert [(each.due_at, each.urgent) for each in rechecks] == [(on_day(10, 18), True)] * due

    def test_a_cooler_reading_answers_it(self, outlook: Outlook) -> None:
        """Once somebody has looked, nothing is asked; nor twice for one reading."""
        hot, cooler = told(9, "temperature", core_c=73.0), told(10, "temperature", core_c=60.0)

        assert "recheck" not in [due.key for due in agenda(case(outlook, 10, records=[hot, cooler]))]
        said = [Said("recheck", on_day(10, 18))]
        assert "recheck" not in [due.key for due in agenda(case(outlook, 11, records=[hot], said=said))]

    def test_nothing_else_is_said_while_people_must_stay_back(self, outlook: Outlook) -> None:
        """No turning, watering or other advice stands beside a danger."""
        keep_away = (Action("keep_away", "smoke"), TURN)
        assert due_now(case(outlook, 10, keep_away, READ_LATELY)) == []


class TestWinter:
    """Sleep under 40 °F with a core under 50 °F, wake over 50 °F, by weekly means (common practice)."""

    def cold(self, outlook: Outlook, day: int, air_c: float, **more: Any) -> Case:
        """A cold pile in a week of this mean."""
        today = BUILT + timedelta(day)
        days = tuple(Day(today - timedelta(back), Range(1, 3, 5), air_c) for back in range(7))
        return case(outlook, day, (TURN, WATER), days=days, core_c=Range(1, 3, 5), stage="stalled", **more)

    def test_sleep_is_told_once_and_nothing_else(self, outlook: Outlook) -> None:
        """A sleeping pile wants no work."""
        slept = [Said("sleep", on_day(30))]

        assert due_now(self.cold(outlook, 30, 4.0)) == ["sleep"]
        assert due_now(self.cold(outlook, 45, 4.0, said=slept)) == []
        assert due_now(self.cold(outlook, 60, 9.9, said=slept)) == []

    def test_wake_is_told_once_after_a_mild_week(self, outlook: Outlook) -> None:
        """Then the season begins again."""
        slept = Said("sleep", on_day(30))

        assert due_now(self.cold(outlook, 90, 10.0, said=[slept]))[0] == "wake"
        assert "wake" not in due_now(self.cold(outlook, 95, 10.0, said=[slept, Said("wake", on_day(90))]))

    @pytest.mark.parametrize(
        ("record", "wakes"),
        [
            (told(80, "turned"), True),
            (told(80, "temperature", core_c=47.0), True),
            (told(80, "added"), False),
        ],
    )
    def test_a_keeper_who_was_sooner_has_woken_it(self, outlook: Outlook, record: Told, wakes: bool) -> None:
        """Who turned it, or found it warm, is not told that spring has come; scraps on top wake nothing."""
        slept = [Said("sleep", on_day(30))]

        assert ("wake" not in due_now(self.cold(outlook, 90, 10.0, said=slept, records=[record]))) is wakes
        assert due_now(self.cold(outlook, 85, 3.0, said=slept, records=[record])) == []

    def test_a_new_or_a_warm_pile_does_not_sleep(self, outlook: Outlook) -> None:
        """A pile built in the cold has two weeks to warm up; one that is warm goes on through the winter."""
        assert "sleep" not in due_now(self.cold(outlook, 5, -5.0))
        today = BUILT + timedelta(30)
        frost = tuple(Day(today - timedelta(back), Range(40, 45, 50), -5.0) for back in range(7))
        assert "sleep" not in due_now(case(outlook, 30, days=frost, core_c=Range(40, 45, 50)))


@pytest.mark.parametrize(
    ("kind", "answers"),
    [
        ("turned", {"turn", "turn_water"}),
        ("not_turned", {"turn", "turn_water"}),
        ("watered", {"water", "turn_water"}),
        ("temperature", {"first_reading", "reading", "recheck", "back", "reheat"}),
        ("heat_feel", {"first_reading", "reading", "recheck", "back", "reheat"}),
        ("moisture", {"back", "wake"}),
        ("added", {"browns", "greens"}),
        ("covered", {"cover"}),
        ("harvested", {"ready"}),
        ("pests", set()),
    ],
)
def test_a_record_answers_what_would_ask_for_it(kind: Kind, answers: set[str]) -> None:
    """What the keeper has told of is not asked for."""
    assert set(answered_by(kind)) == answers
