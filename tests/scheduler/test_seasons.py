"""Whole seasons on a jumping clock: six kinds of pile get their prompts in the right windows, and no others.

The piles here are stand-ins of a few lines each, so that what is judged is when we speak, not the forecast.
"""

import asyncio
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest

from scheduler.planner import answered, plan
from scheduler.sender import Sender
from scheduler.times import local
from shared.care import Action
from shared.forecast import Day, Forecast, Range
from shared.pile import Kind, Record
from storage.people import Person
from storage.piles import PileRow
from storage.work import Store

DENVER = "America/Denver"
DAY = timedelta(days=1)
Answer = Callable[[str, date], Sequence[Record]]
Stand = Callable[[date, Sequence[Record]], tuple[Forecast, tuple[Action, ...]]]


@dataclass
class Nudge:
    """A nudge as it went out: day of the pile, key, hour on the keeper's wall."""

    day: int
    key: str
    hour: int


@dataclass
class Season:
    """One keeper and one pile from the build on; `live` runs the real planner and sender day by day."""

    store: Store
    sender: Sender
    clock: Any
    person_id: int
    pile_id: int
    built: date
    stand: Stand
    answer: Answer
    nudges: list[Nudge] = field(default_factory=list)

    def live(self, days: int) -> list[Nudge]:
        """Let so many days pass, jumping from event to event."""
        end = self.clock.moment + days * DAY
        while self.clock.moment < end:
            plan(self.store, self.clock.moment, self.look)
            if asyncio.run(self.sender.send_due(self.clock.moment)):
                self.heard()
            with self.store.work(reading=True) as work:
                moments = (
                    work.outbox.next_due(self.clock.moment),
                    work.piles.next_look(self.clock.moment),
                    work.people.next_look(self.clock.moment),
                )
            self.clock.moment = min([moment for moment in moments if moment is not None] + [end])
        return self.nudges

    def look(self, _row: PileRow, records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        """The stand-in's forecast."""
        return self.stand(on, records)

    def heard(self) -> None:
        """The keeper reads the nudge, and may do and tell something an hour later."""
        now = self.clock.moment
        with self.store.work() as work:
            row = work.outbox.thread(self.person_id, 1)[0]
            key, wall = row.lines[0].key.removeprefix("nudge."), local(now, DENVER)
            self.nudges.append(Nudge((wall.date() - self.built).days, key, wall.hour))
            told = self.answer(key, wall.date())
            for record in told:
                work.piles.record(self.pile_id, self.person_id, record, now + timedelta(hours=1))
                answered(work, self.pile_id, record.kind)
            if told:
                work.people.change(self.person_id, last_heard_at=now + timedelta(hours=1), unanswered=0)
                work.piles.look_again(self.pile_id, now + timedelta(hours=1))
            work.commit()

    def days_of(self, *keys: str) -> list[int]:
        """The days on which any of these was said."""
        return [nudge.day for nudge in self.nudges if nudge.key in keys]


@pytest.fixture
def season(
    store: Store, ines: Person, notebook: Any, render: Any, clock: Any, at: datetime
) -> Callable[..., Season]:
    """Starts a season: the keeper builds the pile at the clock's moment."""

    def start(stand: Stand, answer: Answer, built: date = date(2026, 3, 1), **setup: Any) -> Season:
        clock.moment = at + (built - date(2026, 3, 1))
        with store.work() as work:
            row = work.piles.found(ines.id, DENVER, clock.moment)
            work.piles.set_up(row.id, ines.id, {"built": built.isoformat(), **setup}, clock.moment)
            work.people.change(ines.id, last_heard_at=clock.moment, next_look_at=None)
            work.commit()
        sender = Sender(store, {"sms": notebook}, render, clock, "this process")
        return Season(store, sender, clock, ines.id, row.id, built, stand, answer)

    return start


def last(records: Sequence[Record], *kinds: Kind) -> date | None:
    """The last day on which any of this happened."""
    return max((record.on for record in records if record.kind in kinds), default=None)


def willing(key: str, on: date) -> list[Record]:
    """A keeper who does what is asked and tells it."""
    done: dict[str, list[Record]] = {
        "first_reading": [Record("temperature", on, core_c=52.0)],
        "reading": [Record("temperature", on, core_c=50.0)],
        "first_reading.feel": [Record("heat_feel", on, word="warm")],
        "reading.feel": [Record("heat_feel", on, word="warm")],
        "turn": [Record("turned", on)],
        "turn_water": [Record("turned", on), Record("watered", on, litres=20.0)],
        "water": [Record("watered", on, litres=20.0)],
        "reheat": [Record("heat_feel", on, word="cold")],
        "ready": [Record("harvested", on, litres=200.0)],
    }
    return done.get(key, [])


def silent(_key: str, _on: date) -> list[Record]:
    """A keeper who never answers."""
    return []


def batch(outlook: Callable[..., Forecast], built: date, ready_on: int = 85) -> Stand:
    """A batch that heats, loses its heat a week after each turn while food is left, cures and is ready."""

    def stand(on: date, records: Sequence[Record]) -> tuple[Forecast, tuple[Action, ...]]:
        age = (on - built).days
        rested = (on - (last(records, "turned") or built)).days
        food = max(0.0, 1 - age / 55)
        if age >= ready_on:
            return outlook(on, stage="ready"), (Action("harvest", "ready"),)
        if food <= 0:
            return outlook(on, stage="curing", fast_left=Range(0, 0.02, 0.05)), (
                Action("cure", "food_spent"),
            )
        left = Range(food * 0.8, food, food * 1.1)
        if rested >= 6:
            turn = Action("turn", "cooling_food_left", gain_days=6 * food, numbers={"core_c": 40.0})
            return outlook(on, stage="cooling", fast_left=left, core_c=Range(36, 40, 43)), (turn,)
        lost = built + timedelta(age - rested + 6)
        return outlook(on, fast_left=left, turn_due=lost), (Action("wait", "hot", on=on + 3 * DAY),)

    return stand


def test_a_good_hot_pile(season: Callable[..., Season], outlook: Callable[..., Forecast]) -> None:
    """A first reading, a turn each time the heat is lost and it pays, the cure, ready, and the next pile."""
    one = season(batch(outlook, date(2026, 3, 1)), willing)
    one.live(150)

    assert one.days_of("first_reading") in ([2], [3])
    turns = one.days_of("turn", "turn.plain")
    assert 3 <= len(turns) <= 8
    assert all(later - earlier >= 6 for earlier, later in pairwise(turns))
    assert max(turns) < 55
    assert len(one.days_of("curing")) == 1
    assert 55 <= one.days_of("curing")[0] <= 66
    assert len(one.days_of("ready")) == 1
    assert 85 <= one.days_of("ready")[0] <= 95
    assert one.days_of("next_pile") == [one.days_of("ready")[0] + 7]
    assert max(nudge.day for nudge in one.nudges) == one.days_of("next_pile")[0]


def test_a_dry_pile(season: Callable[..., Season], outlook: Callable[..., Forecast]) -> None:
    """Water when it is dry, by what this pile's own interval of ten days says; no turning on top."""

    def dries(on: date, records: Sequence[Record]) -> tuple[Forecast, tuple[Action, ...]]:
        watered = last(records, "watered") or date(2026, 2, 24)
        if (on - watered).days < 10:
            return outlook(on, water_due=watered + 10 * DAY, stage="cooling"), (Action("wait", "on_track"),)
        water = Action("water", "dry", litres=20.0, gain_days=9.0, numbers={"moisture": 0.36})
        return outlook(on, moisture=Range(0.3, 0.36, 0.4), stage="cooling"), (water,)

    one = season(dries, willing)
    one.live(60)

    watered = one.days_of("water")
    assert watered[0] in (5, 6)
    assert all(10 <= later - earlier <= 12 for earlier, later in pairwise(watered))
    assert one.days_of("turn", "turn_water") == []


def test_a_pile_that_is_fed(season: Callable[..., Season], outlook: Callable[..., Forecast]) -> None:
    """No date for a pile that still grows: its bottom when it can be taken, nothing of curing."""

    def grows(on: date, _records: Sequence[Record]) -> tuple[Forecast, tuple[Action, ...]]:
        bottom = max(0.0, (on - date(2026, 3, 1)).days - 100.0)
        actions = (Action("harvest", "bottom_ready"),) if bottom >= 40 else (Action("wait", "on_track"),)
        return outlook(on, stage="curing", bottom_litres=bottom), actions

    one = season(grows, silent, fed=True)
    one.live(160)

    assert 140 <= one.days_of("ready")[0] <= 150
    assert one.days_of("curing", "turn", "next_pile") == []


def test_a_keeper_without_thermometer(
    season: Callable[..., Season], outlook: Callable[..., Forecast], ines: Person
) -> None:
    """Everything is asked for by hand, and the season runs as with a thermometer."""
    one = season(batch(outlook, date(2026, 3, 1)), willing)
    with one.store.work() as work:
        work.people.change(ines.id, thermometer=False)
        work.commit()
    one.live(150)

    assert one.days_of("first_reading.feel") in ([2], [3])
    assert one.days_of("first_reading", "reading") == []
    assert len(one.days_of("turn", "turn.plain")) >= 3
    assert len(one.days_of("ready")) == 1


def test_a_cold_winter_start(season: Callable[..., Season], outlook: Callable[..., Forecast]) -> None:
    """Built at the end of November: one word that it sleeps, silence, one word when it wakes."""

    def air_on(day: date) -> float:
        return 14.0 if date(2026, 4, 10) <= day < date(2026, 11, 1) else -2.0

    def freezes(on: date, records: Sequence[Record]) -> tuple[Forecast, tuple[Action, ...]]:
        air_c = air_on(on)
        week = tuple(Day(on - back * DAY, Range(0, 2, 4), air_on(on - back * DAY)) for back in range(7))
        turn = Action("turn", "stalled_food_left", gain_days=20.0)
        turned = last(records, "turned") is not None
        core_c = Range(0, 2, 4) if air_c < 0 else Range(15, 18, 21)
        return (
            outlook(on, stage="stalled", air_c=air_c, days=week, core_c=core_c),
            (Action("wait", "winter"),) if turned else (turn,),
        )

    one = season(freezes, silent, built=date(2025, 11, 30))
    one.live(145)

    (slept,), (woke,) = one.days_of("sleep"), one.days_of("wake")
    assert 14 <= slept <= 21
    assert date(2026, 4, 15) <= date(2025, 11, 30) + woke * DAY <= date(2026, 4, 22)
    assert [nudge.key for nudge in one.nudges if slept < nudge.day < woke] == []


def test_a_neglected_pile(season: Callable[..., Season], outlook: Callable[..., Forecast]) -> None:
    """Never answered: the gaps grow, one friendly restart around week three, and then nothing more."""
    one = season(batch(outlook, date(2026, 3, 1)), silent)
    one.live(300)

    days = [nudge.day for nudge in one.nudges]
    assert len(days) <= 5
    assert 20 <= one.days_of("restart")[0] <= 35
    assert one.nudges[-1].key == "restart"
    gaps = [later - earlier for earlier, later in pairwise(days[:-1])]
    assert gaps == sorted(gaps)


def test_a_holiday(season: Callable[..., Season], outlook: Callable[..., Forecast], ines: Person) -> None:
    """Silence to the last day of the pause, and one question on the first day after it."""
    one = season(batch(outlook, date(2026, 3, 1)), willing)
    one.live(15)
    before = len(one.nudges)
    with one.store.work() as work:
        work.people.change(ines.id, paused_until=date(2026, 4, 5), last_heard_at=one.clock.moment)
        work.commit()
    one.live(25)

    away_until = (date(2026, 4, 5) - date(2026, 3, 1)).days
    assert (one.nudges[before].key, one.nudges[before].day) == ("back", away_until)


@pytest.mark.parametrize("seed", range(2))
def test_no_budget_is_ever_breached(
    season: Callable[..., Season], outlook: Callable[..., Forecast], seed: int
) -> None:
    """Whatever a keeper does: never at night, one a day at most, and the limits of each phase of the pile."""
    draw = random.Random(seed)
    moods = draw.random()

    def moody(key: str, on: date) -> Sequence[Record]:
        return willing(key, on) if draw.random() < moods else []

    one = season(batch(outlook, date(2026, 3, 1)), moody)
    one.live(150)

    days = [nudge.day for nudge in one.nudges]
    assert all(9 <= nudge.hour < 20 for nudge in one.nudges)
    assert len(days) == len(set(days))
    assert sum(day < 7 for day in days) <= 3
    for first, limit, window in ((7, 2, 7), (28, 1, 7), (57, 2, 30)):
        ends = {7: 28, 28: 55, 57: 150}[first]
        for start in range(first, ends - window + 1):
            assert sum(start <= day < start + window for day in days) <= limit
