"""The heartbeat: plans, sends and does the fixed jobs at intervals, and stops cleanly.

Reminders are rows, not jobs; APScheduler only beats. Several processes on one database share the planning;
each sends what its own channels reach; a fixed job is done by one of them, by a lease in the database that
another takes over when its holder is silent.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.interval import IntervalTrigger  # type: ignore[import-untyped]

from scheduler.sender import Sender
from scheduler.times import Clock
from shared.errors import StorageTrouble, WarmheapError
from storage.work import Store

log = logging.getLogger(__name__)

SEND_EVERY_S, PLAN_EVERY_S = 2, 30
JOBS_EVERY_S = 30
"""How often it is looked whether a fixed job is due. [s]"""
JOB_LEASE = timedelta(minutes=3)
RENEW_EVERY_S = 60.0


@dataclass(frozen=True, slots=True)
class FixedJob:
    """Something that one of all processes does at intervals; done twice at once it must do no harm."""

    name: str
    every: timedelta
    run: Callable[[datetime], object]


class Worker:
    """Runs `plan`, the sender and the fixed jobs at their intervals, one beat of each at a time."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[datetime], object],
        sender: Sender,
        clock: Clock,
        holder: str,
        jobs: Sequence[FixedJob] = (),
    ) -> None:
        self._store = store
        self._plan = plan
        self._sender = sender
        self._clock = clock
        self._holder = holder
        self._jobs = jobs
        self._beats: dict[str, tuple[Callable[[], Awaitable[None]], int]] = {
            "send": (self.send, SEND_EVERY_S),
            "plan": (self.plan, PLAN_EVERY_S),
            "jobs": (self.do_jobs, JOBS_EVERY_S),
        }
        self._beating = {name: asyncio.Lock() for name in self._beats}
        self._scheduler = AsyncIOScheduler(
            timezone=UTC, job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None}
        )

    async def start(self) -> None:
        """Begin to beat, at once and then at the intervals."""
        for name, (beat, every_s) in self._beats.items():
            self._scheduler.add_job(
                self._guarded,
                IntervalTrigger(seconds=every_s, timezone=UTC),
                args=(name, beat),
                id=name,
                next_run_time=datetime.now(UTC),
            )
        self._scheduler.start()

    async def stop(self) -> None:
        """Let the beat that runs come to its end, then stop."""
        self._scheduler.pause()
        self._sender.end()
        for lock in self._beating.values():
            await lock.acquire()
        self._scheduler.shutdown(wait=False)

    async def plan(self) -> None:
        """Plan what is due and no other process has in hand."""
        await asyncio.to_thread(self._plan, self._clock.now())

    async def do_jobs(self) -> None:
        """Do the fixed jobs that are due and no other process is at."""
        for job in self._jobs:
            if await asyncio.to_thread(self._may_do, job):
                await self._do(job)

    async def _do(self, job: FixedJob) -> None:
        """One job, its lease kept for as long as it takes; one that fails is due again when that ends."""
        begun_at = self._clock.now()
        doing = asyncio.create_task(asyncio.to_thread(job.run, begun_at))
        while not (await asyncio.wait({doing}, timeout=RENEW_EVERY_S))[0]:
            with suppress(StorageTrouble):
                await asyncio.to_thread(self._may_do, job)
        await doing
        await asyncio.to_thread(self._rest, job, begun_at + job.every)

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

    def _may_do(self, job: FixedJob) -> bool:
        with self._store.work() as work:
            ours = work.leases.take(job.name, self._holder, self._clock.now(), JOB_LEASE)
            work.commit()
        return ours

    def _rest(self, job: FixedJob, until: datetime) -> None:
        with self._store.work() as work:
            work.leases.rest(job.name, self._holder, until)
            work.commit()
