"""The planner: agendas become outbox rows once, for one named person, with restraint and reasons."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import create_engine, text

from scheduler.planner import Look, answered, plan
from scheduler.restraint import key_of
from scheduler.times import local
from shared.care import Action
from shared.forecast import Forecast
from shared.pile import Kind, Record
from storage.outbox import OutRow
from storage.people import Person
from storage.piles import PileRow
from storage.work import Store

DAY = timedelta(days=1)
BUILT = date(2026, 3, 1)
TURN = Action("turn", "cooling_food_left", gain_days=5.0, numbers={"core_c": 41.0, "days_since_turn": 9.0})
WATER = Action("water", "dry", litres=19.0, gain_days=8.0, numbers={"moisture": 0.38})


@pytest.fixture
def look(outlook: Callable[..., Forecast]) -> Callable[..., Look]:
    """Makes a forecaster that finds the same every day: these actions, these changes to the forecast."""

    def looking(*actions: Action, **changes: Any) -> Look:
        def at_pile(
            _row: PileRow, _records: Sequence[Record], on: date
        ) -> tuple[Forecast, tuple[Action, ...]]:
            return outlook(on, **changes), actions or (Action("wait", "hot"),)

        return at_pile

    return looking


@pytest.fixture
def pile(store: Store, ines: Person, at: datetime) -> PileRow:
    """A pile that Ines built on the first of March, and read on days 1 and 8."""
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        work.piles.set_up(row.id, ines.id, {"built": BUILT.isoformat()}, at)
        for day in (1, 8):
            work.piles.record(
                row.id, ines.id, Record("temperature", BUILT + day * DAY, core_c=50.0), at + day * DAY
            )
        work.people.change(ines.id, last_heard_at=at + 8 * DAY, next_look_at=None)
        work.piles.look_again(row.id, at + 10 * DAY)
        work.commit()
    return row


@pytest.fixture
def leo(store: Store, pile: PileRow, at: datetime) -> Person:
    """A second keeper of the pile."""
    with store.work() as work:
        stored = work.people.add("sms", "+13035550102", "Leo", "en", "f", "America/Denver", at)
        stored = work.people.consent(stored.id, True, "Yes?", "en", "sms", None, "1", at)
        work.people.change(stored.id, next_look_at=None)
        work.piles.join(pile.id, stored.id, at)
        work.piles.look_again(pile.id, at + 10 * DAY)
        work.commit()
    return stored


def outbox(store: Store, url: str) -> list[OutRow]:
    """Every message of the outbox, oldest first."""
    engine = create_engine(url)
    with engine.connect() as connection:
        ids = [row_id for (row_id,) in connection.execute(text("SELECT id FROM outbox ORDER BY id"))]
    engine.dispose()
    with store.work(reading=True) as work:
        return [work.outbox.get(row_id) for row_id in ids]


def next_look(store: Store, pile: PileRow) -> datetime | None:
    """When the pile is looked at next."""
    with store.work(reading=True) as work:
        return work.piles.get(pile.id).next_look_at


def test_a_due_nudge_is_put_into_the_outbox(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """With its key, values, question, quick answers and reason; due at once, stale after half a day."""
    now = at + 10 * DAY

    assert plan(store, now, look(TURN)) == 1

    (row,) = outbox(store, sqlite_url)
    assert (row.person_id, row.pile_id, row.kind, row.status) == (ines.id, pile.id, "nudge", "waiting")
    assert row.lines[0].key == "nudge.turn"
    assert row.lines[0].values["gain_days"] == 5
    assert "pile" not in row.lines[0].values
    assert row.options == ("turned", "not_turned", "later")
    assert row.opens == {"ask": "turn", "options": ["turned", "not_turned", "later"], "pile": pile.id}
    assert row.reason == {
        "why": "cooling_food_left",
        "core_c": 41.0,
        "days_since_turn": 9.0,
        "phase": "weeks 1 to 3",
    }
    assert (row.due_at, row.expires_at) == (now, now + timedelta(hours=12))


def test_planning_twice_is_harmless(
    store: Store, sqlite_url: str, pile: PileRow, look: Callable[..., Look], at: datetime
) -> None:
    """The same look again, by another process or after a crash, adds nothing."""
    plan(store, at + 10 * DAY, look(TURN))
    with store.work() as work:
        work.piles.look_again(pile.id, at + 10 * DAY)
        work.commit()

    assert plan(store, at + 10 * DAY, look(TURN)) == 0

    assert [row.status for row in outbox(store, sqlite_url)] == ["waiting"]


def test_what_is_held_back_leaves_its_reason(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """What restraint holds back is written down with why; the pile is looked at again when it may go."""
    with store.work() as work:
        work.people.change(ines.id, paused_until=date(2026, 3, 20))
        work.commit()

    assert plan(store, at + 10 * DAY, look(TURN)) == 0

    (row,) = outbox(store, sqlite_url)
    assert (row.status, row.why_not, row.reason["why"]) == ("held", "paused", "cooling_food_left")
    assert next_look(store, pile) == datetime(2026, 3, 20, 15, tzinfo=at.tzinfo)


def test_the_reply_has_said_it(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """Within a day of the keeper's own report no forecast is made and nothing is nudged for."""
    looked: list[date] = []

    def counting(row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        looked.append(on)
        return look(TURN)(row, records, on)

    with store.work() as work:
        work.piles.record(pile.id, ines.id, Record("turned", BUILT + 9 * DAY), at + 9.5 * DAY)
        work.commit()
    plan(store, at + 10 * DAY, counting)

    assert looked == []
    assert outbox(store, sqlite_url) == []
    assert next_look(store, pile) == at + 10 * DAY + timedelta(hours=23)


def test_outside_their_hours_it_waits_for_them(
    store: Store, sqlite_url: str, pile: PileRow, look: Callable[..., Look], at: datetime
) -> None:
    """At night nothing is put into the outbox; the pile is looked at in the morning."""
    midnight = at + 10 * DAY + timedelta(hours=14)

    assert plan(store, midnight, look(TURN)) == 0

    assert outbox(store, sqlite_url) == []
    assert next_look(store, pile) == datetime(2026, 3, 12, 15, tzinfo=at.tzinfo)


def test_what_was_told_meanwhile_is_not_asked_for(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """A turning that is told while the forecast is being made stops the nudge that would ask for it."""

    def slow(row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        if len(records) == 2:
            with store.work() as work:
                work.piles.record(pile.id, ines.id, Record("turned", on), at + 10 * DAY)
                work.commit()
        return look(TURN)(row, records, on)

    assert plan(store, at + 10 * DAY, slow) == 0
    assert [row for row in outbox(store, sqlite_url) if row.status == "waiting"] == []


@pytest.mark.parametrize(
    ("kind", "status"), [("turned", "held"), ("not_turned", "held"), ("pests", "waiting")]
)
def test_a_record_withdraws_the_nudge_that_it_answers(
    store: Store,
    sqlite_url: str,
    pile: PileRow,
    look: Callable[..., Look],
    at: datetime,
    kind: Kind,
    status: str,
) -> None:
    """What the keeper has told before the nudge was sent is not asked for any more."""
    plan(store, at + 10 * DAY, look(TURN))

    with store.work() as work:
        answered(work, pile.id, kind)
        work.commit()

    assert outbox(store, sqlite_url)[0].status == status


def test_a_hot_reading_is_followed_at_any_hour(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """A day after 72 °C was told, at ten in the evening, a warning asks again: it must arrive."""
    told_at = at + 10 * DAY + timedelta(hours=13)
    with store.work() as work:
        work.piles.record(pile.id, ines.id, Record("temperature", BUILT + 10 * DAY, core_c=72.0), told_at)
        work.people.change(ines.id, last_heard_at=told_at, paused_until=date.max)
        work.piles.look_again(pile.id, told_at)
        work.commit()

    plan(store, told_at, look(TURN))
    assert next_look(store, pile) == told_at + DAY
    plan(store, told_at + DAY, look(TURN))

    (row,) = [each for each in outbox(store, sqlite_url) if each.status == "waiting"]
    assert (row.kind, row.lines[0].key, row.lines[0].values["core_c"]) == ("warning", "nudge.recheck", 72.0)


def test_a_warning_goes_alone(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """Where a look after a hot reading and a turn fall due together, only the look is asked for."""
    told_at = at + 10 * DAY
    with store.work() as work:
        work.piles.record(pile.id, ines.id, Record("temperature", BUILT + 10 * DAY, core_c=72.0), told_at)
        work.people.change(ines.id, last_heard_at=told_at - DAY)
        work.piles.look_again(pile.id, told_at + DAY)
        work.commit()

    assert plan(store, told_at + DAY, look(TURN)) == 1

    (row,) = outbox(store, sqlite_url)
    assert (row.kind, row.lines[0].key) == ("warning", "nudge.recheck")


def test_a_keeper_without_thermometer_is_asked_for_a_hand(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """The reading is asked for as cold, warm or hot, with a digit for each."""
    with store.work() as work:
        work.people.change(ines.id, thermometer=False)
        work.piles.look_again(pile.id, at + 14 * DAY)
        work.commit()

    plan(store, at + 14 * DAY, look(Action("measure", "not_heard")))

    (row,) = outbox(store, sqlite_url)
    assert row.lines[0].key == "nudge.reading.feel"
    assert row.lines[0].values["thermometer"] is False
    assert row.options == ("heat.cold", "heat.warm", "heat.hot")


@pytest.mark.parametrize(
    ("action", "key"),
    [
        (replace(TURN, gain_days=None), "nudge.turn.plain"),
        (replace(TURN, why="ammonia", gain_days=0.0), "nudge.turn.plain"),
        (replace(WATER, litres=None), "nudge.water.plain"),
        (WATER, "nudge.water"),
    ],
)
@pytest.mark.usefixtures("pile")
def test_a_number_that_is_not_known_is_not_promised(
    store: Store,
    sqlite_url: str,
    look: Callable[..., Look],
    at: datetime,
    action: Action,
    key: str,
) -> None:
    """Without a gain or an amount the plain wording is used."""
    plan(store, at + 10 * DAY, look(action))

    assert outbox(store, sqlite_url)[0].lines[0].key == key


@pytest.mark.usefixtures("pile")
def test_who_cannot_turn_is_asked_to_water(
    store: Store, sqlite_url: str, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """Where turning with water is due, this keeper is asked for the water; the turn is held with why."""
    with store.work() as work:
        work.people.change(ines.id, cannot_turn=True)
        work.commit()

    assert plan(store, at + 10 * DAY, look(WATER, TURN)) == 1

    held, waiting = outbox(store, sqlite_url)
    assert (held.lines[0].key, held.why_not) == ("nudge.turn_water", "cannot turn")
    assert (waiting.lines[0].key, waiting.status) == ("nudge.water", "waiting")


class TestSeveral:
    """Several piles, several keepers."""

    def test_one_a_day_whatever_the_number_of_piles(
        self,
        store: Store,
        sqlite_url: str,
        pile: PileRow,
        ines: Person,
        look: Callable[..., Look],
        at: datetime,
    ) -> None:
        """Of two piles the one with more to gain is nudged for, by its name; the other waits."""
        with store.work() as work:
            other = work.piles.found(ines.id, "America/Denver", at, "back fence")
            work.piles.set_up(other.id, ines.id, {"built": BUILT.isoformat()}, at)
            work.piles.look_again(other.id, at + 10 * DAY)
            work.commit()
        better = replace(TURN, gain_days=20.0)

        def by_pile(row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
            return look(better if row.id == other.id else TURN)(row, records, on)

        assert plan(store, at + 10 * DAY, by_pile) == 1

        waiting, held = outbox(store, sqlite_url)
        assert (waiting.pile_id, waiting.lines[0].values["pile"]) == (other.id, "back fence")
        assert (held.pile_id, held.lines[0].values["pile"], held.why_not) == (pile.id, "1", "gap")

    def test_the_work_goes_round(
        self,
        store: Store,
        sqlite_url: str,
        ines: Person,
        leo: Person,
        look: Callable[..., Look],
        at: datetime,
    ) -> None:
        """One named person for each turn, asked again where it is not done; the next turn is the other's."""
        for day in range(10, 30):
            plan(store, at + day * DAY, look(TURN))
        with store.work() as work:
            work.piles.record(1, ines.id, Record("turned", BUILT + 30 * DAY), at + 30 * DAY)
            work.commit()
        for day in range(31, 60):
            plan(store, at + day * DAY, look(TURN))

        asked = [row for row in outbox(store, sqlite_url) if row.status == "waiting"]
        assert [row.person_id for row in asked] == [ines.id, ines.id, leo.id, leo.id]
        assert [line.key for line in asked[0].lines] == ["nudge.turn", "turn_of.you"]

    @pytest.mark.parametrize("size", [2, 5, 40])
    def test_a_season_goes_round_a_group(
        self, store: Store, pile: PileRow, look: Callable[..., Look], at: datetime, size: int
    ) -> None:
        """Twelve weeks, each turn asked of one keeper who does it: all do as many, or one more."""
        with store.work() as work:
            for number in range(2, size + 1):
                one = work.people.add(
                    "sms", f"+1505555{100 + number:04}", None, "en", "f", "America/Denver", at
                )
                work.people.consent(one.id, True, "Yes?", "en", "sms", None, "1", at)
                work.people.change(one.id, next_look_at=None)
                work.piles.join(pile.id, one.id, at)
            work.commit()
        done: list[int] = []
        asked: list[int] = []
        for day in range(10, 94):
            plan(store, at + day * DAY, look(TURN))
            with store.work() as work:
                turns = [row for row in work.outbox.about(pile.id) if key_of(row) == "turn"]
                asked, new = [row.person_id for row in turns], [row.person_id for row in turns][len(asked) :]
                for who in new:
                    record = Record("turned", BUILT + day * DAY)
                    work.piles.record(pile.id, who, record, at + day * DAY + timedelta(hours=3))
                    work.piles.look_again(pile.id, at + (day + 1) * DAY)
                work.commit()
            done += new

        counts = [done.count(who) for who in range(1, size + 1)]
        assert len(done) >= 11
        assert max(counts) - min(counts) <= 1
        assert all(first != second for first, second in pairwise(done))

    def test_who_opted_out_is_passed_over(
        self,
        store: Store,
        sqlite_url: str,
        ines: Person,
        leo: Person,
        look: Callable[..., Look],
        at: datetime,
    ) -> None:
        """One keeper's opt-out silences one phone; the other keeper is asked."""
        with store.work() as work:
            work.people.consent(ines.id, False, "stop", "en", "sms", None, "1", at)
            work.commit()

        plan(store, at + 10 * DAY, look(TURN))

        (row,) = outbox(store, sqlite_url)
        assert row.person_id == leo.id

    @pytest.mark.usefixtures("sqlite_url")
    def test_a_pile_whose_keepers_all_left_is_not_looked_at(
        self,
        store: Store,
        pile: PileRow,
        ines: Person,
        look: Callable[..., Look],
        at: datetime,
    ) -> None:
        """With the last keeper's opt-out the pile sleeps; coming back wakes it."""
        with store.work() as work:
            work.people.consent(ines.id, False, "stop", "en", "sms", None, "1", at)
            work.commit()
        plan(store, at + 10 * DAY, look(TURN))
        assert next_look(store, pile) is None

        with store.work() as work:
            work.people.consent(ines.id, True, "Yes?", "en", "sms", None, "1", at + 20 * DAY)
            work.people.change(ines.id, last_heard_at=at + 20 * DAY)
            work.commit()
        assert plan(store, at + 20 * DAY, look(TURN)) == 0
        assert plan(store, at + 22 * DAY, look(TURN)) == 1


def test_a_pile_that_nobody_keeps_any_more_sleeps(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """When its last keeper has left there is nobody to nudge, and no reason to look again."""
    with store.work() as work:
        work.piles.leave(pile.id, ines.id, at + 9 * DAY)
        work.commit()

    assert plan(store, at + 10 * DAY, look(TURN)) == 0

    assert next_look(store, pile) is None
    assert outbox(store, sqlite_url) == []


class TestWithoutPile:
    """Somebody who joined and has no pile yet."""

    @pytest.mark.usefixtures("ines")
    def test_is_offered_help_twice_and_then_left_alone(
        self, store: Store, sqlite_url: str, look: Callable[..., Look], at: datetime
    ) -> None:
        """After a day and after a week, once each (common practice: the largest loss is before the pile)."""
        for hour in range(0, 24 * 40, 6):
            plan(store, at + timedelta(hours=hour), look())

        rows = outbox(store, sqlite_url)
        assert [(row.due_at - at).days for row in rows] == [1, 7]
        assert {(row.lines[0].key, row.pile_id) for row in rows} == {("nudge.start", None)}
        assert rows[0].opens == {"ask": "built_yet", "options": ["have_pile", "how_build"], "pile": None}

    @pytest.mark.usefixtures("ines")
    def test_is_asked_once_more_in_the_next_spring(
        self, store: Store, sqlite_url: str, look: Callable[..., Look], at: datetime
    ) -> None:
        """In the middle of the next March that lies three months ahead, once; then never again."""
        for day in range(800):
            plan(store, at + timedelta(days=day, hours=2), look())

        rows = outbox(store, sqlite_url)
        assert [row.lines[0].key for row in rows] == ["nudge.start", "nudge.start", "nudge.start_again"]
        asked = local(rows[-1].due_at, "America/Denver")
        assert (asked.year, asked.month, asked.day in range(15, 18)) == (at.year + 1, 3, True)

    def test_is_not_asked_once_there_is_a_pile(
        self, store: Store, sqlite_url: str, ines: Person, look: Callable[..., Look], at: datetime
    ) -> None:
        """A pile that was founded in the meantime is all the answer needed."""
        plan(store, at, look())
        with store.work() as work:
            work.piles.set_up(
                work.piles.found(ines.id, "America/Denver", at).id, ines.id, {"built": BUILT.isoformat()}, at
            )
            work.commit()

        plan(store, at + 1 * DAY, look())
        plan(store, at + 8 * DAY, look())

        assert [row for row in outbox(store, sqlite_url) if row.lines[0].key == "nudge.start"] == []


def test_a_pile_that_breaks_the_forecast_stops_no_other(
    store: Store, sqlite_url: str, pile: PileRow, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """It is logged and looked at again in a week; the others are planned."""
    with store.work() as work:
        broken = work.piles.found(ines.id, "America/Denver", at)
        work.piles.set_up(broken.id, ines.id, {"built": BUILT.isoformat()}, at)
        work.piles.look_again(broken.id, at + 10 * DAY)
        work.commit()

    def breaking(row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        if row.id == broken.id:
            raise ZeroDivisionError
        return look(TURN)(row, records, on)

    assert plan(store, at + 10 * DAY, breaking) == 1

    assert next_look(store, broken) == at + 17 * DAY
    assert [row.pile_id for row in outbox(store, sqlite_url)] == [pile.id]


def test_a_pile_that_is_not_set_up_waits_for_its_keeper(
    store: Store, sqlite_url: str, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """Without a build day there is nothing to forecast; the set-up brings it back."""
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        work.commit()

    plan(store, at, look(TURN))

    assert next_look(store, row) is None
    assert outbox(store, sqlite_url) == []


@pytest.mark.usefixtures("pile")
def test_what_was_put_off_is_asked_again_on_that_day(
    store: Store, sqlite_url: str, ines: Person, look: Callable[..., Look], at: datetime
) -> None:
    """ "Later" to a turn brings the same turn the next day, gap or no gap, and no welcome back."""
    plan(store, at + 10 * DAY, look(TURN))
    told_at = at + 10 * DAY + timedelta(minutes=5)
    with store.work() as work:
        tomorrow = (told_at + DAY).date()
        midnight = datetime.combine(tomorrow, time.min, ZoneInfo("America/Denver"))
        work.people.change(ines.id, last_heard_at=told_at, paused_until=tomorrow, next_look_at=midnight)
        work.commit()
    plan(store, midnight, look(TURN))

    assert plan(store, told_at + DAY, look(TURN)) == 1

    assert [row.lines[0].key for row in outbox(store, sqlite_url) if row.status == "waiting"] == [
        "nudge.turn",
        "nudge.turn",
    ]
    with store.work(reading=True) as work:
        assert work.people.get(ines.id).paused_until is None
