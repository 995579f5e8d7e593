"""Processes that send or plan, and die by SIGKILL where told; run by test_killed.py and test_workers.py.

    killable.py DATABASE_URL LOG

Reads lines "SECONDS POINT POINT ..." and for each runs one sender a point, side by side, on what is due so
many seconds after the first of March. The channel's far end is LOG: what is written there has arrived. A
point is "never", "outside" (killed by its parent once something was handed over) or "STEP-KIND-NTH", as in
"begun-reply-2": "worded" (claimed, not begun), "begun" (not handed over), "handed" (not written down); or
"plan" for a process that plans instead, "plan-NTH" for one that dies at its nth forecast: beside it, all
planners wait for each other at their first, so that each has piles in hand. Each forecast is
written to LOG.looked, as "PROCESS PILE".
Prints the exit statuses of each line, -9 for the killed.
"""

import asyncio
import itertools
import multiprocessing
import os
import signal
import sys
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from multiprocessing.synchronize import Barrier

import scheduler.planner
import scheduler.sender
from scheduler.planner import plan
from scheduler.sender import Outcome, Rendered, Sender, Sent
from shared.care import Action
from shared.forecast import Forecast
from shared.pile import Record
from storage.outbox import OutRow
from storage.people import Person
from storage.piles import PileRow
from storage.work import Store
from tests.scheduler.conftest import forecast

LEASE_S = 10
PLANNED_TOGETHER = 4
MOMENT = datetime(2026, 3, 1, 16, tzinfo=UTC)


class Mortal:
    """The channel, the wording and the clock of one process, which dies at its point."""

    name = "sms"
    addresses = None

    def __init__(self, log: str, moment: datetime, point: str, told: int) -> None:
        self._file = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        self._moment = moment
        self._point, _, nth = point.rpartition("-")
        self._last = int(nth) if nth.isdigit() else None
        self._passages = itertools.count(1)
        self._told = told

    def now(self) -> datetime:
        """The moment of this run."""
        return self._moment

    def worded(self, row: OutRow, _person: Person, _at: datetime) -> Rendered:
        """A message's kind for its words."""
        self._passing("worded", row.kind)
        return Rendered(row.kind)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Let it arrive."""
        self._passing("begun", message.text)
        os.write(self._file, f"{reference}\n".encode())
        os.write(self._told, b".")
        await asyncio.sleep(0)
        self._passing("handed", message.text)
        return Sent(reference)

    def _passing(self, step: str, kind: str) -> None:
        if f"{step}-{kind}" == self._point and next(self._passages) == self._last:
            os.kill(os.getpid(), signal.SIGKILL)


def born(url: str, log: str, seconds: int, point: str, gate: Barrier | None) -> tuple[int, int]:
    """Start a sender: its process, and a pipe on which it tells of each message that it handed over."""
    heard, told = os.pipe()
    child = os.fork()
    if child:
        os.close(told)
        return child, heard
    at = MOMENT + timedelta(seconds=seconds)
    if point.startswith("plan"):
        plan(Store(url), at, looking(f"{log}.looked", point, gate))
        os._exit(0)
    mortal = Mortal(log, at, point, told)
    sender = Sender(Store(url), {"sms": mortal}, mortal.worded, mortal, f"process {os.getpid()}")
    asyncio.run(sender.send_due(mortal.now()))
    os._exit(0)


def looking(log: str, point: str, gate: Barrier | None) -> scheduler.planner.Look:
    """Finds a turn worth while in every pile, and dies at its point."""
    file = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    last = int(point.partition("-")[2] or 0)
    passages = itertools.count(1)

    def look(row: PileRow, _records: Sequence[Record], on: date) -> tuple[Forecast, tuple[Action, ...]]:
        os.write(file, f"{os.getpid()} {row.id}\n".encode())
        passage = next(passages)
        if passage == 1 and gate is not None:
            gate.wait(30)
        if passage == last:
            os.kill(os.getpid(), signal.SIGKILL)
        return forecast(on), (Action("turn", "cooling_food_left", gain_days=5.0),)

    return look


def main(url: str, log: str) -> None:
    """Run what the lines say."""
    scheduler.sender.LEASE = scheduler.planner.LEASE = timedelta(seconds=LEASE_S)
    scheduler.planner.BATCH = PLANNED_TOGETHER
    for line in sys.stdin:
        seconds, *points = line.split()
        planners = sum(point.startswith("plan") for point in points)
        gate = (
            multiprocessing.Barrier(planners) if any(point.startswith("plan-") for point in points) else None
        )
        children = [born(url, log, int(seconds), point, gate) for point in points]
        for (child, heard), point in zip(children, points, strict=True):
            if point == "outside" and os.read(heard, 1):
                os.kill(child, signal.SIGKILL)
        statuses = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child, _ in children]
        for _, heard in children:
            os.close(heard)
        print(*statuses, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
