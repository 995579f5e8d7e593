"""A sender that is killed at any point: nothing is lost, nothing doubled beyond what its kind allows."""

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from scheduler.sender import AT_ONCE
from storage.claims import MUST_ARRIVE
from storage.models import OutKind
from storage.outbox import Line
from storage.work import Store

HERE = Path(__file__).parent
KINDS: tuple[OutKind, ...] = ("reply", "nudge", "warning", "alert")
PEOPLE = 20


def run(url: str, log: Path, minutes: int, point: str) -> subprocess.Popen[str]:
    """Starts one sending process."""
    command = [sys.executable, str(HERE / "killable.py"), url, str(log), str(minutes), point]
    root = HERE.parents[1]
    return subprocess.Popen(
        command, cwd=root, env=os.environ | {"PYTHONPATH": str(root)}, stdout=subprocess.PIPE, text=True
    )


def fill(store: Store, at: datetime) -> list[int]:
    """A message of each kind for each of many people."""
    ids = []
    with store.work() as work:
        for number in range(PEOPLE):
            person = work.people.add("sms", f"+1303555{number:04}", None, "en", "f", "America/Denver", at)
            work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", at)
            for kind in KINDS:
                row_id = work.outbox.add(
                    person.id, kind, [Line("x", {})], due_at=at, unique_key=f"{kind} {number}", reason={}
                )
                assert row_id is not None
                ids.append(row_id)
        work.commit()
    return ids


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A store on an empty database, once of each kind."""
    opened = Store(database_url)
    yield opened
    opened.close()


def test_kill_9_at_every_step(store: Store, database_url: str, tmp_path: Path, at: datetime) -> None:
    """Killed before, while and after handing over, and once from outside; then it runs to the end.

    Every message is sent or marked as unknown; one that is sent arrived exactly once, one that must arrive
    at least once, one that is unknown at most once; no more are unknown than were on their way.
    """
    ids, log = fill(store, at), tmp_path / "arrived.log"
    points = ("worded warning", "handed warning", "begun reply", "handed reply", "handed nudge", "any")

    for number, point in enumerate(points):
        process = run(database_url, log, 6 * number, point)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        if point == "any":
            process.stdout.readline()
            process.kill()
        assert process.wait(60) == -9 or point == "any"
        process.stdout.close()
    last = run(database_url, log, 6 * len(points), "never")
    last.communicate(timeout=120)
    assert last.returncode == 0

    arrived = Counter(int(line) for line in log.read_text().split())
    with store.work(reading=True) as work:
        rows = [work.outbox.get(row_id) for row_id in ids]
    once = [row for row in rows if row.kind not in MUST_ARRIVE]
    unknown = [row for row in once if row.status == "unknown"]
    assert len(unknown) <= AT_ONCE * len(points)
    assert all(arrived[row.id] <= 1 for row in unknown)
    assert all((row.status, arrived[row.id]) == ("sent", 1) for row in once if row not in unknown)
    assert all(row.status == "sent" and arrived[row.id] >= 1 for row in rows if row.kind in MUST_ARRIVE)
