"""The channels of a serving process: hear them until told to stop, answer as fast as can be, end in time."""

import asyncio
import logging
import os
import signal
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Iterable
from contextlib import aclosing
from threading import Timer
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from bot import metrics
from scheduler.sender import Channel
from shared.errors import StorageTrouble
from storage.inbox import Incoming
from storage.outbox import Receipt

if TYPE_CHECKING:
    from bot.app import Warmheap

log = logging.getLogger(__name__)

AGAIN_S = 5.0
"""Pause before a message is stored again after trouble with the database. [s]"""
RECEIPT_TRIES = 3
"""How often a receipt is looked up before it is let go."""
LEAVE_S = 9.0
"""How long after a stop signal whatever still runs may come to its end. [s]"""


class Line(Channel, Protocol):
    """A channel that brings messages as well; each is stored when the next is asked for."""

    async def open(self) -> None:
        """Make ready. Raises ChannelTrouble where that can never be."""

    async def close(self) -> None:
        """Let go of everything."""

    def incoming(self) -> AsyncGenerator[Incoming, None]:
        """Every message, without end."""


@runtime_checkable
class KeepsLink(Protocol):
    """A line that hangs on a link of its own."""

    @property
    def is_up(self) -> bool:
        """Whether the link is there."""


@runtime_checkable
class TellsReceipts(Protocol):
    """A line that hears what became of what was sent."""

    def receipts(self) -> AsyncIterator[Receipt]:
        """Every receipt, without end."""


async def health(warmheap: "Warmheap", lines: Iterable[Line]) -> dict[str, str]:
    """The state of each part, "ok" where it is well; says nothing of anybody."""
    try:
        await asyncio.to_thread(warmheap.look)
    except StorageTrouble:
        return {"database": "cannot serve"}
    return {"database": "ok"} | {
        line.name: "no link" if isinstance(line, KeepsLink) and not line.is_up else "ok" for line in lines
    }


async def listen(warmheap: "Warmheap", lines: Iterable[Line]) -> None:
    """Bring what arrives to the program: stored at once, answered as fast as it can, sent beside that."""
    arrived, answered = asyncio.Event(), asyncio.Event()
    arrived.set()  # what an earlier run stored and did not answer

    async def answer() -> None:
        await asyncio.to_thread(warmheap.answer, answered_one)

    def answered_one() -> None:
        loop.call_soon_threadsafe(answered.set)

    loop = asyncio.get_running_loop()
    tasks = [
        asyncio.create_task(_whenever(arrived, "answer", answer)),
        asyncio.create_task(_whenever(answered, "send", warmheap.send)),
    ]
    for line in lines:
        tasks.append(asyncio.create_task(_hear(warmheap, line, arrived)))
        if isinstance(line, TellsReceipts):
            tasks.append(asyncio.create_task(_note_receipts(warmheap, line)))
    try:
        await asyncio.gather(*tasks)
    finally:
        for task in tasks:
            if not task.cancelling():  # told twice, a sender would not wait for what is on its way
                task.cancel()
        await asyncio.wait(tasks)


async def until_told_to_stop(running: asyncio.Task[Any], end: Callable[[], None] = lambda: None) -> None:
    """Wait for a stop signal, or for the trouble that ends what runs; `end`: begin nothing more."""
    told = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, told.set)
    stop = asyncio.create_task(told.wait())
    await asyncio.wait({stop, running}, return_when=asyncio.FIRST_COMPLETED)
    stop.cancel()
    if running.done():
        await running
    end()
    late = Timer(LEAVE_S, _leave_late)
    late.daemon = True
    late.start()
    running.cancel()
    await asyncio.wait({running})


def _leave_late() -> None:
    log.warning("action=stopped how=late")
    leave()


def leave() -> None:
    """Go as a power cut would: what still runs is in a transaction or on its way, and neither is lost."""
    logging.shutdown()
    os._exit(0)


async def _hear(warmheap: "Warmheap", line: Line, arrived: asyncio.Event) -> None:
    async with aclosing(line.incoming()) as messages:
        async for incoming in messages:
            while not await _stored(warmheap, incoming):
                await asyncio.sleep(AGAIN_S)
            metrics.RECEIVED.labels(line.name, incoming.form).inc()
            arrived.set()


async def _stored(warmheap: "Warmheap", incoming: Incoming) -> bool:
    try:
        await asyncio.to_thread(warmheap.take, incoming)
    except StorageTrouble as trouble:
        log.warning("action=take trouble=%s", trouble)
        return False
    return True


async def _note_receipts(warmheap: "Warmheap", line: TellsReceipts) -> None:
    async with asyncio.TaskGroup() as tasks:
        async for receipt in line.receipts():
            tasks.create_task(_note(warmheap, receipt))


async def _note(warmheap: "Warmheap", receipt: Receipt) -> None:
    """Write down what became of a text. A receipt may overtake the note that its text was sent."""
    for _ in range(RECEIPT_TRIES):
        try:
            if await asyncio.to_thread(warmheap.note, receipt):
                return
        except StorageTrouble as trouble:
            log.warning("action=receipt trouble=%s", trouble)
        await asyncio.sleep(AGAIN_S)


async def _whenever(event: asyncio.Event, action: str, do: Callable[[], Awaitable[None]]) -> None:
    while True:
        await event.wait()
        event.clear()
        try:
            await do()
        except Exception as trouble:  # it must outlive any trouble; the database's passes by itself
            known = isinstance(trouble, StorageTrouble)
            log.warning("action=%s trouble=%s", action, trouble, exc_info=not known)
            await asyncio.sleep(AGAIN_S)
            event.set()
