"""The heartbeat: plans and sends at intervals, and stops cleanly.

Reminders are rows, not jobs; APScheduler only beats. Of several processes on one database, the one that
holds the lease plans; every one sends what its own channels reach.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.interval import IntervalTrigger  # type: ignore[import-untyped]

from scheduler.sender import Sender
from scheduler.times import Clock
from shared.errors import StorageTrouble, WarmheapError
from storage.work import Store

log = logging.getLogger(__name__)

SEND_EVERY_S, PLAN_EVERY_S = 2, 30
PLANNING = "planning"
PLANNING_LEASE = timedelta(minutes=3)
RENEW_EVERY_S = 60.0


class Worker:
    """Runs `plan` and the sender at their intervals, one beat of each at a time."""

    def __init__(
        self, store: Store, plan: Callable[[datetime], object], sender: Sender, clock: Clock, holder: str
    ) -> None:
        self._store = store
        self._plan = plan
        self._sender = sender
        self._clock = clock
        self._holder = holder
        self._beating: dict[str, asyncio.Lock] = {"plan": asyncio.Lock(), "send": asyncio.Lock()}
        self._scheduler = AsyncIOScheduler(
            timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
        )

    async def start(self) -> None:
        """Begin to beat, at once and then at the intervals."""
        for name, beat, every_s in (("send", self.send, SEND_EVERY_S), ("plan", self.plan, PLAN_EVERY_S)):
            self._scheduler.add_job(
                self._guarded,
                IntervalTrigger(seconds=every_s, timezone=UTC),
                args=(name, beat),
                id=name,
                next_run_time=datetime.now(UTC),
            )
        self._scheduler.start()

    async def stop(self) -> None:
        """Let the beat that runs come to its end, then stop; another process may plan at once."""
        self._scheduler.pause()
        self._sender.end()
        for lock in self._beating.values():
            await lock.acquire()
        self._scheduler.shutdown(wait=False)
        await asyncio.to_thread(self._release)

    async def plan(self) -> None:
        """Plan what is due, if no other process is at it; the lease is kept for as long as that takes."""
        if not await asyncio.to_thread(self._may_plan):
            return
        planning = asyncio.create_task(asyncio.to_thread(self._plan, self._clock.now()))
        while not (await asyncio.wait({planning}, timeout=RENEW_EVERY_S))[0]:
            with suppress(StorageTrouble):  # should the lease be lost, two plan the same, and each thing once
                await asyncio.to_thread(self._may_plan)
        await planning

    async def send(self) -> None:
        """Send what is due."""
        await self._sender.send_due(self._clock.now())

    async def _guarded(self, name: str, beat: Callable[[], Awaitable[None]]) -> None:
        """One beat. Trouble (a database that is gone for a minute) is said and met again at the next."""
        async with self._beating[name]:
            try:
                await beat()
            except WarmheapError as trouble:
                log.warning("action=%s trouble=%s", name, trouble)

    def _may_plan(self) -> bool:
        with self._store.work() as work:
            ours = work.leases.take(PLANNING, self._holder, self._clock.now(), PLANNING_LEASE)
            work.commit()
        return ours

    def _release(self) -> None:
        with self._store.work() as work:
            work.leases.release(PLANNING, self._holder)
            work.commit()
