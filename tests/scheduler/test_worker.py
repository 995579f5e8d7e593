"""The heartbeat: it plans and sends at intervals, and stopping loses nothing."""

import asyncio
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from scheduler.sender import Outcome, Rendered, Sender, Sent
from scheduler.worker import Worker
from shared.errors import StorageTrouble
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store

Render = Callable[[OutRow, Person, datetime], Rendered]


class Doorman:
    """A channel that holds a message until it is told to let it go."""

    name = "sms"
    addresses = None

    def __init__(self) -> None:
        self.reached, self.let_go = asyncio.Event(), asyncio.Event()

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        self.reached.set()
        await self.let_go.wait()
        return Sent("7")


def worker_of(
    store: Store, sender: Sender, clock: Any, plan: Callable[[datetime], object], name: str
) -> Worker:
    """One process's worker."""
    return Worker(store, plan, sender, clock, name)


async def test_it_beats_until_it_is_stopped(
    store: Store, ines: Person, notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """Started, it plans and sends at once; stopped, it beats no more."""
    planned = asyncio.Event()
    loop = asyncio.get_running_loop()
    with store.work() as work:
        work.outbox.add(ines.id, "reply", [Line("hello", {})], due_at=at, unique_key="k", reason={})
        work.commit()
    sender = Sender(store, {"sms": notebook}, render, clock, "first")
    worker = worker_of(store, sender, clock, lambda _at: loop.call_soon_threadsafe(planned.set), "first")

    await worker.start()
    await asyncio.wait_for(planned.wait(), 10)
    async with asyncio.timeout(10):
        while not notebook.sent:
            await asyncio.sleep(0)
    await worker.stop()

    assert notebook.sent == [(ines.address, "hello")]


async def test_stopping_waits_for_what_is_on_its_way(
    store: Store, ines: Person, render: Render, clock: Any, at: datetime
) -> None:
    """A message that a channel is just sending is seen to its end, and its outcome kept."""
    door = Doorman()
    with store.work() as work:
        row_id = work.outbox.add(ines.id, "reply", [Line("hello", {})], due_at=at, unique_key="k", reason={})
        work.commit()
    worker = worker_of(
        store, Sender(store, {"sms": door}, render, clock, "first"), clock, lambda _at: None, "first"
    )
    await worker.start()
    await asyncio.wait_for(door.reached.wait(), 10)

    stopping = asyncio.create_task(worker.stop())
    door.let_go.set()
    await asyncio.wait_for(stopping, 10)

    assert row_id is not None
    with store.work(reading=True) as work:
        assert work.outbox.get(row_id).status == "sent"


async def test_trouble_with_the_database_is_survived(
    store: Store, notebook: Any, render: Render, clock: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """A database that is gone for a minute is said in one line; the heart goes on beating."""
    beats = 0

    def plan(_at: datetime) -> None:
        nonlocal beats
        beats += 1
        raise StorageTrouble("the database has gone away: try again")

    worker = worker_of(store, Sender(store, {"sms": notebook}, render, clock, "first"), clock, plan, "first")
    await worker.start()
    async with asyncio.timeout(10):
        while not beats:
            await asyncio.sleep(0)
    await worker.stop()

    assert "action=plan trouble=the database has gone away: try again" in caplog.text
