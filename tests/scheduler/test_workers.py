"""Several processes on one database: they share the work, and one that dies is taken over."""

import asyncio
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler import worker
from scheduler.sender import Rendered, Sender
from scheduler.worker import PLANNING, PLANNING_LEASE, Worker
from storage.outbox import OutRow
from storage.people import Person
from storage.work import Store
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


async def test_one_of_two_servers_plans(
    store: Store, database_url: str, notebook: Any, render: Render, clock: Any
) -> None:
    """Of two servers on one database the lease lets one plan, until that one is silent for too long."""
    planned: list[str] = []

    def server(its_store: Store, name: str) -> Worker:
        sender = Sender(its_store, {"sms": notebook}, render, clock, name)
        return Worker(its_store, lambda _at: planned.append(name), sender, clock, name)

    other_store = Store(database_url)
    first, second = server(store, "first"), server(other_store, "second")

    await asyncio.gather(first.plan(), second.plan())
    assert len(planned) == 1
    clock.moment += PLANNING_LEASE - timedelta(seconds=1)
    await asyncio.gather(first.plan(), second.plan())
    assert planned == 2 * planned[:1]

    silent = planned[0]
    clock.moment += PLANNING_LEASE
    await (second if silent == "first" else first).plan()
    assert planned[2:] == [{"first": "second", "second": "first"}[silent]]
    other_store.close()


async def test_a_long_planning_keeps_its_lease(
    store: Store, notebook: Any, render: Render, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one plans for longer than the lease lasts, it goes on holding it."""
    monkeypatch.setattr(worker, "RENEW_EVERY_S", 0.01)
    renewed = threading.Event()
    lease_ends = clock.moment + PLANNING_LEASE

    def plan(_at: datetime) -> None:
        clock.moment += PLANNING_LEASE / 2
        while not renewed.is_set():
            with store.work() as work:
                if not work.leases.take(PLANNING, "second", lease_ends, PLANNING_LEASE):
                    renewed.set()

    sender = Sender(store, {"sms": notebook}, render, clock, "first")
    await asyncio.wait_for(Worker(store, plan, sender, clock, "first").plan(), 30)

    assert renewed.is_set()
