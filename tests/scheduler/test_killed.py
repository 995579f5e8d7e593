"""A sender that is killed at any point: nothing is lost, nothing doubled beyond what its kind allows."""

import os
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from scheduler.sender import AT_ONCE
from storage.claims import MUST_ARRIVE
from storage.models import OutKind
from storage.outbox import Line
from storage.work import Store

HERE = Path(__file__).parent
EVERY_S = 10
"""A run begins when the leases of the one before have ended. [s]"""
KINDS: tuple[OutKind, ...] = ("reply", "nudge", "warning")
PEOPLE = 3
"""To whom a message of each kind falls due at each run."""


class Nursery:
    """Starts senders on one database, several at a time."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process

    def run(self, seconds: int, *points: str) -> list[int]:
        """Senders that die at these points, side by side; their exit statuses."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(seconds, *points, file=self._process.stdin, flush=True)
        return [int(status) for status in self._process.stdout.readline().split()]


@contextmanager
def nursery(url: str, log: Path) -> Iterator[Nursery]:
    """A process that starts senders, which write to `log` what arrived."""
    root = HERE.parents[1]
    with subprocess.Popen(
        [sys.executable, str(HERE / "killable.py"), url, str(log)],
        cwd=root,
        env=os.environ | {"PYTHONPATH": str(root)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        yield Nursery(process)


def fill(store: Store, at: datetime, moments_s: Sequence[int], people: int = PEOPLE) -> list[int]:
    """For each moment as many new people, with a message of each kind that falls due then; the messages."""
    ids = []
    with store.work() as work:
        for number, (seconds, _) in enumerate((s, p) for s in moments_s for p in range(people)):
            person = work.people.add("sms", f"+1303{number:07}", None, "en", "f", "America/Denver", at)
            work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", at)
            due_at = at + timedelta(seconds=seconds)
            for kind in KINDS:
                row_id = work.outbox.add(
                    person.id, kind, [Line("x", {})], due_at=due_at, unique_key=f"{kind} {number}", reason={}
                )
                assert row_id is not None
                ids.append(row_id)
        work.commit()
    return ids


def points_of(times: int, seed: int) -> list[str]:
    """Where to die: every step with every kind, the first, second or third of it, and from outside."""
    chance = random.Random(seed)
    every = [
        *(
            f"{step}-{kind}-{chance.randint(1, PEOPLE)}"
            for step in ("worded", "begun", "handed")
            for kind in KINDS
        ),
        "outside",
    ]
    points = every * (times // len(every) + 1)
    chance.shuffle(points)
    return points[:times]


def survive(store: Store, url: str, log: Path, at: datetime, times: int) -> Counter[str]:
    """Kill a sender so many times, then let four run to the end, and check each message; what became of them.

    Every message is sent or marked as unknown; one that is sent arrived exactly once, one that must arrive
    at least once, one that is unknown at most once; no more are unknown than were on their way.
    """
    ids = fill(store, at, range(0, times * EVERY_S, EVERY_S))
    with nursery(url, log) as processes:
        for number, point in enumerate(points_of(times, seed=times)):
            assert processes.run(number * EVERY_S, point) == [-9], point
        assert processes.run(times * EVERY_S, *["never"] * 4) == [0] * 4
        assert processes.run((times + 1) * EVERY_S, "never") == [0]

    arrived = Counter(int(line) for line in log.read_text().split())
    with store.work(reading=True) as work:
        rows = [work.outbox.get(row_id) for row_id in ids]
    once = [row for row in rows if row.kind not in MUST_ARRIVE]
    unknown = [row for row in once if row.status == "unknown"]
    assert len(unknown) <= AT_ONCE * times
    assert all(arrived[row.id] <= 1 for row in unknown)
    assert all((row.status, arrived[row.id]) == ("sent", 1) for row in once if row not in unknown)
    assert all(row.status == "sent" and arrived[row.id] >= 1 for row in rows if row.kind in MUST_ARRIVE)
    doubled = sum(arrived[row.id] > 1 for row in rows)
    return Counter(row.status for row in rows) + Counter({"warnings doubled": doubled})


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A store on an empty database, once of each kind."""
    opened = Store(database_url)
    yield opened
    opened.close()


def test_kill_9_at_every_step(store: Store, database_url: str, tmp_path: Path, at: datetime) -> None:
    """Killed 30 times before, while and after handing over, and from outside; then run to the end."""
    became = survive(store, database_url, tmp_path / "arrived.log", at, times=30)

    assert became["sent"] > became["unknown"] > 0
