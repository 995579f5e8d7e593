"""Several processes on one database: they share the work, and one that dies is taken over."""

import asyncio
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from datetime import date, datetime, timedelta
from math import inf
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from scheduler import worker
from scheduler.planner import LEASE, plan
from scheduler.sender import LEASE as SENDING_LEASE
from scheduler.sender import Rendered, Sender
from scheduler.worker import JOB_LEASE, FixedJob, Worker
from shared.care import Action
from shared.errors import StorageTrouble
from shared.forecast import Forecast
from shared.pile import Record
from storage.outbox import OutRow
from storage.people import Person
from storage.piles import PileRow
from storage.work import Store
from tests.scheduler.conftest import forecast
from tests.scheduler.killable import PLANNED_TOGETHER
from tests.scheduler.test_killed import EVERY_S, fill, nursery

Render = Callable[[OutRow, Person, datetime], Rendered]


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A store on an empty database, once of each kind."""
    opened = Store(database_url)
    yield opened
    opened.close()


def holders(store: Store, ids: list[int]) -> Counter[str | None]:
    """How many of the messages each process had last."""
    with store.work(reading=True) as work:
        return Counter(work.outbox.get(row_id).holder for row_id in ids)


def test_four_workers_share_a_full_outbox(
    store: Store, database_url: str, tmp_path: Path, at: datetime
) -> None:
    """Four processes drain what is due; each does a part of it, and every message arrives once."""
    ids, log = fill(store, at, [0], people=60), tmp_path / "arrived.log"

    with nursery(database_url, log) as processes:
        assert processes.run(0, *["never"] * 4) == [0] * 4

    assert Counter(int(line) for line in log.read_text().split()) == Counter(ids)
    assert len(holders(store, ids)) > 1


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
async def test_a_server_that_cuts_every_link_loses_and_doubles_nothing(
    store: Store,
    database_url: str,
    notebook: Any,
    render: Render,
    clock: Any,
    at: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As at a restart: what was in hand waits for its lease, and in the end all has gone out once."""
    monkeypatch.setattr("storage.work.RESTS_S", inf)  # nobody asks whether the links still stand
    sender = Sender(store, {"sms": notebook}, render, clock, "this process")
    ids = fill(store, at, [0], people=5)
    administrator = create_engine(database_url)
    with administrator.begin() as connection:
        others = "SELECT pid FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND datname IS NOT NULL"
        cut = connection.execute(text(f"SELECT pg_terminate_backend(pid) FROM ({others}) AS links")).all()
    administrator.dispose()

    for moment in (at, at, at, at + SENDING_LEASE, at + 2 * SENDING_LEASE):
        clock.moment = moment
        with suppress(StorageTrouble):
            await sender.send_due(moment)

    assert cut
    assert len(notebook.sent) == len(ids)
    with store.work(reading=True) as work:
        assert {work.outbox.get(row_id).status for row_id in ids} == {"sent"}


def test_the_others_take_over_from_one_that_dies(
    store: Store, database_url: str, tmp_path: Path, at: datetime
) -> None:
    """One of three processes is killed before it sent what it had claimed: nothing is lost or doubled."""
    ids, log = fill(store, at, [0], people=20), tmp_path / "arrived.log"

    with nursery(database_url, log) as processes:
        assert processes.run(0, "worded-warning-1") == [-9]
        assert processes.run(0, "never", "never") == [0, 0]
        left_by_the_dead = set(ids) - {int(line) for line in log.read_text().split()}
        assert processes.run(EVERY_S, "never", "never") == [0, 0]

    assert left_by_the_dead
    assert Counter(int(line) for line in log.read_text().split()) == Counter(ids)


def keep_piles(store: Store, at: datetime, count: int) -> list[int]:
    """So many people with a pile each, built nine days ago, to be looked at now; the piles."""
    before = at - timedelta(days=9)
    ids = []
    with store.work() as work:
        for number in range(count):
            person = work.people.add("sms", f"+1505{number:07}", None, "en", "f", "America/Denver", before)
            work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", before)
            work.people.change(person.id, next_look_at=None, last_heard_at=before)
            pile = work.piles.found(person.id, "America/Denver", before)
            work.piles.set_up(pile.id, person.id, {"built": before.date().isoformat()}, before)
            work.piles.look_again(pile.id, at)
            ids.append(pile.id)
        work.commit()
    return ids


def looks(log: Path) -> dict[int, list[int]]:
    """Which processes looked at each pile."""
    found: dict[int, list[int]] = {}
    for line in Path(f"{log}.looked").read_text().splitlines():
        process, pile = line.split()
        found.setdefault(int(pile), []).append(int(process))
    return found


def test_planning_is_shared_and_a_dead_planner_is_taken_over(
    store: Store, database_url: str, tmp_path: Path, at: datetime
) -> None:
    """Three processes plan and one of them is killed; two more plan and two send: one nudge a pile."""
    piles, log = keep_piles(store, at, 40), tmp_path / "arrived.log"

    with nursery(database_url, log) as processes:
        assert processes.run(0, "plan-2", "plan", "plan") == [-9, 0, 0]
        first = looks(log)
        with store.work(reading=True) as work:
            left_by_the_dead = [pile for pile in piles if not work.outbox.about(pile)]
        assert processes.run(EVERY_S, "plan", "plan", "never", "never") == [0] * 4
        assert processes.run(2 * EVERY_S, "never") == [0]

    assert len({process for by in first.values() for process in by}) == 3
    assert all(len(by) == 1 for by in first.values())
    assert len(left_by_the_dead) == PLANNED_TOGETHER
    with store.work(reading=True) as work:
        nudges = [[row.id for row in work.outbox.about(pile)] for pile in piles]
    assert [len(rows) for rows in nudges] == [1] * len(piles)
    assert Counter(int(line) for line in log.read_text().split()) == Counter(row for (row,) in nudges)


def test_what_a_process_planned_too_long_ago_is_not_stored(store: Store, at: datetime) -> None:
    """A process that slept over its lease during a forecast adds nothing to what another planned."""
    (pile,) = keep_piles(store, at, 1)
    turn = (Action("turn", "cooling_food_left", gain_days=5.0),)

    def sleeps_over(_row: PileRow, _told: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        assert plan(store, at + LEASE, lambda *_: (forecast(on), turn)) == 1
        return forecast(on), turn

    assert plan(store, at, sleeps_over) == 0

    with store.work(reading=True) as work:
        assert [row.due_at for row in work.outbox.about(pile)] == [at + LEASE]


async def test_a_fixed_job_is_done_by_one_of_two_servers(
    store: Store, database_url: str, notebook: Any, render: Render, clock: Any
) -> None:
    """Of two servers on one database one does a job, once in its time, whichever comes first."""
    done: list[str] = []

    def server(its_store: Store, name: str) -> Worker:
        sender = Sender(its_store, {"sms": notebook}, render, clock, name)
        job = FixedJob("tidy", timedelta(hours=1), lambda _at: done.append(name))
        return Worker(its_store, lambda _at: None, sender, clock, name, [job])

    other_store = Store(database_url)
    first, second = server(store, "first"), server(other_store, "second")

    await asyncio.gather(first.do_jobs(), second.do_jobs())
    await asyncio.gather(first.do_jobs(), second.do_jobs())
    assert len(done) == 1
    clock.moment += timedelta(hours=1)
    await second.do_jobs()
    await first.do_jobs()
    assert done[1:] == ["second"]
    other_store.close()


async def test_a_job_whose_server_died_is_taken_over(
    store: Store, notebook: Any, render: Render, clock: Any
) -> None:
    """Begun and never ended, it is another's once the lease has run out; so is one that failed."""
    done: list[datetime] = []
    with store.work() as work:
        assert work.leases.take("tidy", "the dead", clock.moment, JOB_LEASE)
        work.commit()
    sender = Sender(store, {"sms": notebook}, render, clock, "first")
    job = FixedJob("tidy", timedelta(hours=1), done.append)
    living = Worker(store, lambda _at: None, sender, clock, "first", [job])

    await living.do_jobs()
    assert done == []
    clock.moment += JOB_LEASE
    await living.do_jobs()
    assert done == [clock.moment]


async def test_a_long_job_keeps_its_lease(
    store: Store, notebook: Any, render: Render, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one works for longer than the lease lasts, it goes on holding it."""
    monkeypatch.setattr(worker, "RENEW_EVERY_S", 0.01)
    renewed = threading.Event()
    lease_ends = clock.moment + JOB_LEASE

    def tidy(_at: datetime) -> None:
        clock.moment += JOB_LEASE / 2
        while not renewed.is_set():
            with store.work() as work:
                if not work.leases.take("tidy", "second", lease_ends, JOB_LEASE):
                    renewed.set()

    sender = Sender(store, {"sms": notebook}, render, clock, "first")
    job = FixedJob("tidy", timedelta(hours=1), tidy)
    await asyncio.wait_for(Worker(store, lambda _at: None, sender, clock, "first", [job]).do_jobs(), 30)

    assert renewed.is_set()
