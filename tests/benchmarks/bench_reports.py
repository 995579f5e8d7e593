"""How long the staff's pages take with twenty thousand graduates and two million records behind them.

    python tests/benchmarks/bench_reports.py [--people 20000] [--records 2000000] [--url URL]

Prints the median of each page, the first working out of a year's figures, and the memory used.
The yardstick is one query that looks at every record of the same database.
"""

import argparse
import random
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import groupby, islice
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from sqlalchemy import create_engine, insert, text
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.outlook import Outlooks
from bot.profile import Profile
from bot.web.office import Office
from bot.web.staff import staff_pages
from storage.models import (
    AddressTable,
    ClassTable,
    ConsentTable,
    KeeperTable,
    PersonTable,
    PileTable,
    PromiseTable,
    RecordTable,
)
from storage.work import Store
from tests.benchmarks.measure import peak_mb

NOW = datetime(2026, 10, 1, 18, tzinfo=UTC)
FIRST = datetime(2023, 1, 1, 18, tzinfo=UTC)
CLASSES = 400
TIMES = 7


class Clock:
    """A clock that stands still."""

    def now(self) -> datetime:
        """1 October 2026."""
        return NOW


def rows(people: int, records: int, seed: int) -> Iterator[tuple[Any, dict[str, Any]]]:
    """Everybody of the invented county and what they told, table by table."""
    chance = random.Random(seed)
    for n in range(CLASSES):
        day = date(2023, 1, 1) + timedelta(days=n * 3)
        yield (
            ClassTable,
            {"code": f"C{n}", "language": "en", "zone": "America/Denver", "seats": 60, "taught_on": day},
        )
    for n in range(1, people + 1):
        joined = FIRST + timedelta(days=n % CLASSES * 3)
        yield (
            PersonTable,
            {
                "id": n,
                "name": f"Keeper {n}",
                "language": "es" if n % 3 == 0 else "en",
                "units": "f",
                "zone": "America/Denver",
                "standing": "joined",
                "quiet_from": datetime(2026, 1, 1, 20).time(),
                "quiet_to": datetime(2026, 1, 1, 9).time(),
                "cannot_turn": False,
                "waiting_for": {},
                "unanswered": 0,
                "created_at": joined,
                "joined_at": joined,
                "class_code": f"C{n % CLASSES}",
                "composted_before": chance.choice((True, False, None)),
            },
        )
    everybody = [(n, FIRST + timedelta(days=n % CLASSES * 3)) for n in range(1, people + 1)]
    for n, joined in everybody:
        where = {"channel": "gateway", "address": f"bench-{n}", "current": True, "since": joined}
        yield AddressTable, {"person_id": n, **where}
    for n, joined in everybody:
        said = {"given": True, "wording": "OK?", "language": "en", "channel": "gateway", "version": "1"}
        yield ConsentTable, {"person_id": n, "class_code": f"C{n % CLASSES}", "at": joined, **said}
    for n, joined in everybody:
        yield PileTable, {"id": n, "zone": "America/Denver", "founder_id": n, "created_at": joined}
    for n, joined in everybody:
        yield KeeperTable, {"pile_id": n, "person_id": n, "number": 1, "joined_at": joined}
    for n, joined in everybody:
        yield PromiseTable, {"pile_id": n, "at": joined, "first": joined.date(), "last": NOW.date()}
    for n in range(records):
        pile_id = n % people + 1
        joined = FIRST + timedelta(days=pile_id % CLASSES * 3)
        at = joined + timedelta(days=min(1340, n // people * chance.uniform(1, 6)))
        kind, data = record(n // people, at, chance)
        told = {"kind": kind, "on_day": at.date(), "data": data, "said_by": pile_id, "said_at": min(at, NOW)}
        yield RecordTable, {"pile_id": pile_id, **told}


def record(turn: int, at: datetime, chance: random.Random) -> tuple[str, dict[str, Any]]:
    """The build first, then what keepers tell."""
    if turn == 0:
        return "setup", {
            "built": at.date().isoformat(),
            "bin": chance.random() < 0.6,
            "ingredients": [["dry_leaves", 400.0]],
        }
    return chance.choice(
        (
            ("temperature", {"core_c": chance.uniform(20, 65)}),
            ("added", {"material": "kitchen_scraps", "litres": 19.0}),
            ("turned", {}),
            ("moisture", {"word": "dry"}),
            ("smell", {"word": "earthy"}),
        )
    )


def fill(url: str, people: int, records: int) -> None:
    """Write the county, in bulk."""
    engine = create_engine(url)
    with engine.begin() as connection:
        for table, some in groupby(rows(people, records, seed=1), key=lambda row: row[0]):
            while part := [values for _, values in islice(some, 20_000)]:
                connection.execute(insert(table), part)
    with engine.begin() as connection:
        connection.execute(text("ANALYZE"))
    engine.dispose()


def timed(what: Callable[[], Any], times: int) -> tuple[float, float]:
    """Seconds of the first run, and the median of the others."""
    took = []
    for _ in range(times + 1):
        start = time.perf_counter()
        what()
        took.append(time.perf_counter() - start)
    return took[0], median(took[1:]) if times else took[0]


def main() -> None:
    """Fill, open every page, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=20_000)
    parser.add_argument("--records", type=int, default=2_000_000)
    parser.add_argument("--url")
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        url = given.url or f"sqlite:///{Path(folder) / 'bench.sqlite'}"
        store = Store(url)
        store.upgrade()
        fill(url, given.people, given.records)
        show(store, url)
        store.close()


def show(store: Store, url: str) -> None:
    """Each page, beside one look at every record."""
    with store.work() as work:
        member = work.staff.join(work.staff.invite("Ike", "coordinator", None, NOW), 1, NOW)
        assert member is not None
        token = work.staff.open_visit(member.id, NOW)
        work.commit()
    engine = create_engine(url)
    with engine.connect() as connection:
        _, look_s = timed(
            lambda: connection.execute(text("SELECT sum(id), max(said_at) FROM record")).all(), TIMES
        )
    engine.dispose()
    print(f"one look at every record    {look_s:8.3f} s")
    office = Office(store, Profile(), Clock(), "http://testserver", Outlooks(Profile()))
    with TestClient(Starlette(routes=staff_pages(office)), cookies={"visit": token}) as browser:
        for path in PATHS:
            first, again = timed(lambda path=path: browser.get(path).raise_for_status(), TIMES)  # type: ignore[misc]
            print(f"{path:28}{again:8.3f} s   first {first:8.3f} s   {again / look_s:8.1f} looks")
    print(f"most memory in use          {peak_mb():8.0f} MB")


PATHS = (
    "/",
    "/classes",
    "/classes/C7",
    "/reports",
    "/reports/2026",
    "/reports/2026.csv",
    "/reports/2026.pdf",
    "/reports/topics",
    "/dates-kept",
)

if __name__ == "__main__":
    main()
