"""How fast a heartbeat finds and claims 1,000 due messages while ever more wait, on both databases.

    python tests/benchmarks/bench_outbox.py [--waiting 10000 100000 1000000] [--beats 5] [--drained 600]

prints for each size the median time of a claim and its ratio to that at the smallest size, peak memory, and
next to it the same beat with one APScheduler job for each message in a SQLAlchemy job store (to 100,000).
First, how long four processes take to drain a full outbox against the channel's stated limit, and how many
messages arrived more than once.
"""

import argparse
import asyncio
import pickle
import statistics
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from apscheduler.job import Job  # type: ignore[import-untyped]
from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore  # type: ignore[import-untyped]
from apscheduler.schedulers.background import BackgroundScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.date import DateTrigger  # type: ignore[import-untyped]
from sqlalchemy import create_engine, func, insert, select, text

sys.path.insert(0, str(Path(__file__).parents[2]))

from scheduler.sender import Outcome, Pace, Rendered, Sender, Sent
from scheduler.times import SystemClock
from storage.models import AddressTable, OutboxTable, PersonTable
from storage.work import Store
from tests.benchmarks.measure import databases, emptied, peak_mb

AT = datetime(2026, 3, 1, 16, tzinfo=UTC)
DUE = 1_000
LEASE = timedelta(minutes=5)
LARGEST_JOB_STORE = 100_000
TOGETHER = 5_000
WORKERS = 4
PER_SECOND = 20.0


def people(count: int) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """So many people who said yes, each with an address of the range kept for fiction, or made up on."""
    for number in range(1, count + 1):
        yield (
            {"id": number, "language": "en", "units": "f", "zone": "America/Denver", "standing": "joined"}
            | {"quiet_from": datetime(2026, 1, 1, 20).time(), "quiet_to": datetime(2026, 1, 1, 9).time()}
            | {"cannot_turn": False, "waiting_for": {}, "unanswered": 0, "created_at": AT},
            {"person_id": number, "channel": "sms", "address": f"+1303555{number:07}"}
            | {"current": True, "since": AT},
        )


def message(number: int, person_id: int, due_at: datetime) -> dict[str, Any]:
    """A nudge that waits for its moment."""
    lines = [["nudge.turn", {"core_c": 41.5, "days_since_turn": 9, "gain_days": 5}]]
    return (
        {"person_id": person_id, "kind": "nudge", "rank": 3, "lines": lines, "options": ["turned", "later"]}
        | {"opens": {"ask": "turn"}, "reason": {"why": "cooling_food_left", "core_c": 41.5}}
        | {"unique_key": f"m{number}", "due_at": due_at, "next_try_at": due_at}
        | {"status": "waiting", "attempts": 0}
    )


def fill(url: str, waiting: int, beats: int) -> None:
    """So many waiting messages, ten to a person over the weeks to come; `DUE` fall due at each beat."""
    engine = create_engine(url)
    count = max(waiting // 10, DUE * beats)
    due = DUE * beats
    with engine.begin() as connection:
        rows = list(people(count))
        for start in range(0, count, TOGETHER):
            part = rows[start : start + TOGETHER]
            connection.execute(insert(PersonTable), [person for person, _ in part])
            connection.execute(insert(AddressTable), [address for _, address in part])
        del rows
        for start in range(0, waiting, TOGETHER):
            numbers = range(start, min(start + TOGETHER, waiting))
            connection.execute(
                insert(OutboxTable),
                [message(n, n % count + 1, moment_of(n, due, waiting)) for n in numbers],
            )
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    engine.dispose()


def moment_of(number: int, due: int, waiting: int) -> datetime:
    """The first ones fall due beat by beat, a minute apart; the others over the 60 days that follow."""
    if number < due:
        return AT + timedelta(minutes=number // DUE)
    return AT + timedelta(days=1) + timedelta(days=60) * (number / waiting)


def claims(url: str, beats: int) -> list[float]:
    """The time of each beat's claim, in one transaction. [s]"""
    store, took = Store(url), []
    for beat in range(beats):
        begun = time.perf_counter()
        with store.work() as work:
            rows = work.outbox.claim(AT + timedelta(minutes=beat), "bench", LEASE, DUE)
            work.commit()
        took.append(time.perf_counter() - begun)
        if len(rows) != DUE:
            raise SystemExit(f"claimed {len(rows)} instead of {DUE}")
        with store.work() as work:
            for row in rows:
                work.outbox.failed(row.id, "bench")
            work.commit()
    store.close()
    return took


class Wire:
    """A channel that takes so many messages a second and keeps what arrived."""

    name = "sms"
    addresses = None
    pace = Pace(per_second=PER_SECOND)

    def __init__(self) -> None:
        self.arrived: list[str] = []

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Take it."""
        self.arrived.append(reference)
        return Sent(reference)


def drain(url: str, worker: int) -> list[str]:
    """One process: sends until nothing is due; what it sent."""
    store, wire, clock = Store(url), Wire(), SystemClock()
    sender = Sender(store, {"sms": wire}, lambda *_: Rendered("turn it"), clock, f"worker {worker}")

    async def until_empty() -> None:
        quiet = 0
        while quiet < 3:  # what is claimed ahead by others leaves pauses
            quiet = 0 if await sender.send_due(clock.now()) else quiet + 1
            await asyncio.sleep(0.5)

    asyncio.run(until_empty())
    store.close()
    return wire.arrived


def drained(name: str, url: str, messages: int) -> None:
    """Let the workers drain a full outbox, and print what came of it."""
    with emptied(url) as own, ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        engine, now = create_engine(own), SystemClock().now()
        with engine.begin() as connection:
            rows = list(people(messages))
            connection.execute(insert(PersonTable), [person for person, _ in rows])
            connection.execute(insert(AddressTable), [address for _, address in rows])
            replies = [message(n, n + 1, now) | {"kind": "reply", "rank": 2} for n in range(messages)]
            connection.execute(insert(OutboxTable), replies)
        engine.dispose()
        arrived = Counter(
            reference for part in pool.map(drain, [own] * WORKERS, range(WORKERS)) for reference in part
        )
        engine = create_engine(own)
        with engine.connect() as connection:
            first, last = connection.execute(
                select(func.min(OutboxTable.sent_at), func.max(OutboxTable.sent_at))
            ).one()
        engine.dispose()
    took_s = (last - first).total_seconds()
    print(
        f"{name}, {WORKERS} processes: {len(arrived):,} of {messages:,} messages in {took_s:.1f} s; "
        f"{messages / took_s / PER_SECOND:.2f} of the channel's {PER_SECOND:.0f} a second; "
        f"{sum(times > 1 for times in arrived.values())} arrived twice",
        flush=True,
    )


def nothing() -> None:
    """What the jobs do."""


def jobs(url: str, waiting: int, beats: int) -> list[float]:
    """The same with one job for each message: fetch the due ones, take each out of the store. [s]"""
    scheduler = BackgroundScheduler(timezone=UTC)
    store = SQLAlchemyJobStore(url=url)
    scheduler.add_jobstore(store)
    scheduler.start(paused=True)
    due = DUE * beats
    with store.engine.begin() as connection:
        for start in range(0, waiting, TOGETHER):
            numbers = range(start, min(start + TOGETHER, waiting))
            connection.execute(
                store.jobs_t.insert(), [job_row(scheduler, n, moment_of(n, due, waiting)) for n in numbers]
            )
    took = []
    for beat in range(beats):
        begun = time.perf_counter()
        found = store.get_due_jobs(AT + timedelta(minutes=beat))
        for job in found:
            store.remove_job(job.id)
        took.append(time.perf_counter() - begun)
        if len(found) != DUE:
            raise SystemExit(f"found {len(found)} jobs instead of {DUE}")
    scheduler.remove_all_jobs()
    scheduler.shutdown()
    return took


def job_row(scheduler: Any, number: int, at: datetime) -> dict[str, Any]:
    """A job as the store keeps it."""
    job = Job(
        scheduler,
        id=f"job {number}",
        func=nothing,
        args=(),
        kwargs={},
        trigger=DateTrigger(at),
        executor="default",
        name="nudge",
        misfire_grace_time=None,
        coalesce=True,
        max_instances=1,
        next_run_time=at,
    )
    state = pickle.dumps(job.__getstate__(), pickle.HIGHEST_PROTOCOL)
    return {"id": job.id, "next_run_time": at.timestamp(), "job_state": state}


def line(what: str, waiting: int, took: list[float], base: float) -> float:
    """Print one line of the table; the median. [s]"""
    median = statistics.median(took)
    best = min(took) * 1e3
    print(
        f"{what:34} {waiting:>9,} waiting: claim {DUE:,} in {median * 1e3:7.1f} ms (best {best:7.1f}), "
        f"{median / (base or median):5.2f} of the smallest; peak {peak_mb():,.0f} MB",
        flush=True,
    )
    return base or median


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--waiting", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--beats", type=int, default=5)
    parser.add_argument("--drained", type=int, default=600)
    given = parser.parse_args()
    for name, url in databases():
        drained(name, url, given.drained)
        base = job_base = 0.0
        for waiting in given.waiting:
            with emptied(url) as own:
                fill(own, waiting, given.beats)
                base = line(f"{name}, outbox", waiting, claims(own, given.beats), base)
            if waiting <= LARGEST_JOB_STORE:
                with emptied(url) as own:
                    took = jobs(own, waiting, given.beats)
                    job_base = line(f"{name}, a job for each message", waiting, took, job_base)


if __name__ == "__main__":
    main()
