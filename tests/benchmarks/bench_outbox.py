"""How fast a heartbeat finds and claims 1,000 due messages while ever more wait, on both databases.

    python tests/benchmarks/bench_outbox.py [--waiting 10000 100000 1000000] [--beats 5]

prints for each size the median time of a claim and its ratio to that at the smallest size, peak memory, and
next to it the same beat with one APScheduler job for each message in a SQLAlchemy job store (to 100,000).
"""

import argparse
import pickle
import statistics
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from apscheduler.job import Job  # type: ignore[import-untyped]
from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore  # type: ignore[import-untyped]
from apscheduler.schedulers.background import BackgroundScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.date import DateTrigger  # type: ignore[import-untyped]
from sqlalchemy import create_engine, insert, text

sys.path.insert(0, str(Path(__file__).parents[2]))

from storage.models import AddressTable, OutboxTable, PersonTable
from storage.work import Store
from tests.benchmarks.measure import databases, emptied, peak_mb

AT = datetime(2026, 3, 1, 16, tzinfo=UTC)
DUE = 1_000
LEASE = timedelta(minutes=5)
LARGEST_JOB_STORE = 100_000
TOGETHER = 5_000


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
    given = parser.parse_args()
    for name, url in databases():
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
