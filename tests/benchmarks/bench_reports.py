"""How long the staff's pages take with twenty thousand graduates and two million records behind them.

    python tests/benchmarks/bench_reports.py [--people 20000] [--records 2000000] [--url URL] [--filled]

Prints the median of each page that a coordinator can open, the slowest first, the first working out of a
year's figures, the archive of everything, and the memory used. The yardstick is one query that looks at
every record of the same database. `--filled`: the database of `--url` was filled by an earlier run.
"""

import argparse
import random
import re
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from itertools import groupby, islice
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from sqlalchemy import create_engine, insert, text
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.app import play
from bot.outlook import Outlooks
from bot.profile import Profile
from bot.staff.poster import Ways
from bot.web.office import Office
from bot.web.staff import PAGES, staff_pages
from storage.models import (
    AddressTable,
    ClassTable,
    ConsentTable,
    IncomingTable,
    KeeperTable,
    OutboxTable,
    PersonTable,
    PileTable,
    PromiseTable,
    RecordTable,
)
from storage.staff_models import (
    AssignmentTable,
    BinSaleTable,
    BroadcastTable,
    HelpTable,
    LookTable,
    QuestionTable,
    RosterTable,
    StaffTable,
    SurveyAnswerTable,
    SurveyTable,
)
from storage.work import Store
from tests.benchmarks.measure import peak_mb

NOW = datetime(2026, 10, 1, 18, tzinfo=UTC)
FIRST = datetime(2023, 1, 1, 18, tzinfo=UTC)
CLASSES = 400
TIMES = 7
STAFF, BROADCASTS, SURVEYS, ROSTERS = 12, 40, 6, 60
GONE_PERCENT = 5
WAITING_EACH = 200
"""One helpdesk row in so many still waits."""


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
    for n, joined in everybody[:: 100 // GONE_PERCENT]:
        gone = {"given": False, "wording": "", "language": "en", "channel": "gateway", "version": "1"}
        at = min(joined + timedelta(days=n % 500), NOW)
        yield ConsentTable, {"person_id": n, "class_code": None, "at": at, **gone}
    for n, joined in everybody:
        yield PileTable, {"id": n, "zone": "America/Denver", "founder_id": n, "created_at": joined}
    for n, joined in everybody:
        yield KeeperTable, {"pile_id": n, "person_id": n, "number": 1, "joined_at": joined}
    for n, joined in everybody:
        yield PromiseTable, {"pile_id": n, "at": joined, "first": joined.date(), "last": NOW.date()}
    yield from told(people, records, chance)
    yield from office(people, records, chance)


def told(people: int, records: int, chance: random.Random) -> Iterator[tuple[Any, dict[str, Any]]]:
    """The records; every second one came by a text of its own, which was answered."""
    moments = []
    for n in range(records):
        pile_id = n % people + 1
        joined = FIRST + timedelta(days=pile_id % CLASSES * 3)
        at = joined + timedelta(days=min(1340, n // people * chance.uniform(1, 6)))
        kind, data = record(n // people, at, chance)
        by = {"said_by": pile_id, "said_at": min(at, NOW)}
        yield RecordTable, {"pile_id": pile_id, "kind": kind, "on_day": at.date(), "data": data, **by}
        if n % 2:
            moments.append((pile_id, min(at, NOW)))
    for n, (person_id, at) in enumerate(moments):
        text = {"text": "temp 128, looks dry", "form": "text", "at": at, "handled_at": at}
        yield (
            IncomingTable,
            {"channel": "gateway", "address": f"bench-{person_id}", "message_id": f"m{n}", **text},
        )
    for n, (person_id, at) in enumerate(moments):
        yield OutboxTable, said(person_id, f"reply:{n}", at, "reply")


def said(person_id: int, key: str, at: datetime, kind: str, broadcast: int | None = None) -> dict[str, Any]:
    """Something that was sent."""
    return {
        "person_id": person_id,
        "broadcast_id": broadcast,
        "kind": kind,
        "rank": 1,
        "lines": [["noted.temperature", {"core_c": 53.3}]],
        "options": [],
        "reason": {},
        "unique_key": key,
        "due_at": at,
        "status": "sent",
        "attempts": 1,
        "next_try_at": at,
        "channel": "gateway",
        "address": f"bench-{person_id}",
        "text": "128 F, dry. Give it about 10 gallons of water.",
        "sent_at": at,
    }


def office(people: int, records: int, chance: random.Random) -> Iterator[tuple[Any, dict[str, Any]]]:
    """What the staff did in those years."""
    for n in range(1, STAFF + 1):
        role = "coordinator" if n == 1 else "volunteer" if n > 6 else "educator"
        yield StaffTable, {"id": n, "person_id": n, "name": f"Staff {n}", "role": role, "since": FIRST}
    for n in range(7 * 100, STAFF * 100):
        yield AssignmentTable, {"staff_id": n // 100, "pile_id": n % people + 1, "since": FIRST}
    for n in range(people // 2):
        sold = {"kind": "County bin", "price_cents": 2500, "sold_on": date(2024, 5, 1)}
        yield BinSaleTable, {"class_code": f"C{n % CLASSES}", "person_id": n + 1, **sold}
    for n in range(ROSTERS):
        cells = [["Name", "Phone"], *([f"Name {row}", f"505 555 01{row % 100:02d}"] for row in range(2000))]
        file = {"file_name": f"list {n}.csv", "columns": {"name": 0, "phone": 1}, "at": NOW}
        yield RosterTable, {"class_code": f"C{n}", "staff_id": 2, "rows": cells, **file}
    for n in range(1, BROADCASTS + 1):
        words = {"title": f"Text {n}", "audience": {}, "en": "Keep your leaves.", "es": "Guarde sus hojas."}
        course = {"made_by": 2, "made_at": FIRST, "per_hour": 600, "status": "done", "cursor": people}
        yield BroadcastTable, {"id": n, "approved_by": 1, "started_at": FIRST, **words, **course}
    for n in range(BROADCASTS * people // 4):
        broadcast, person_id = n % BROADCASTS + 1, n // BROADCASTS * 4 + 1
        at = NOW - timedelta(days=20 * broadcast)
        yield OutboxTable, said(person_id, f"many:{n}", at, "broadcast", broadcast)
    item = {"en": "Do you keep a pile?", "es": "¿Sigue?", "answers": [["yes", "sí"], ["no", "no"]]}
    for n in range(1, SURVEYS + 1):
        span = {"starts_on": date(2023, 1, 1), "ends_on": date(2026, 12, 1), "made_by": 1, "cursor": people}
        yield SurveyTable, {"id": n, "title": f"Survey {n}", "items": [item] * 5, **span}
    for n in range(SURVEYS * 5 * people):
        key = {"survey_id": n % SURVEYS + 1, "item": n // SURVEYS % 5, "person_id": n // (5 * SURVEYS) + 1}
        at = NOW - timedelta(days=n % 900)
        yield SurveyAnswerTable, {**key, "asked_at": at, "value": chance.choice(("yes", "no", "skip", None))}
    for n in range(records // 100):
        at = NOW - timedelta(days=chance.randrange(1000))
        person_id, handled = chance.randrange(people) + 1, at if n % WAITING_EACH else None
        row = {"pile_id": person_id, "opened_at": at, "handled_at": handled, "incoming_id": person_id}
        yield HelpTable, {"person_id": person_id, "cause": "trouble" if handled else "danger", **row}
    for n in range(records // 20):
        at = NOW - timedelta(days=chance.randrange(1000))
        asked = {"topic": chance.choice(("done", "smell", "ants", "add")), "by_staff": n % 30 == 0}
        yield QuestionTable, {"incoming_id": n + 1, "person_id": n % people + 1, "at": at, **asked}
    for n in range(records // 40):
        yield LookTable, {"staff_id": n % STAFF + 1, "person_id": n % people + 1, "what": "thread", "at": NOW}


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
    parser.add_argument("--filled", action="store_true")
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        url = given.url or f"sqlite:///{Path(folder) / 'bench.sqlite'}"
        store = Store(url)
        store.upgrade()
        if not given.filled:
            fill(url, given.people, given.records)
        show(store, url)
        store.close()


def show(store: Store, url: str) -> None:
    """Each page, beside one look at every record."""
    with store.work() as work:
        token = work.staff.open_visit(1, NOW)
        work.commit()
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text("DELETE FROM day_figures"))
        _, look_s = timed(
            lambda: connection.execute(text("SELECT sum(id), max(said_at) FROM record")).all(), TIMES
        )
    engine.dispose()
    print(f"one look at every record    {look_s:8.3f} s")
    with store.work() as work:  # as every day
        start = time.perf_counter()
        work.privacy.let_go(NOW - timedelta(days=Profile().keep_texts_days))
        work.commit()
    print(f"old texts let go            {time.perf_counter() - start:8.3f} s")
    profile = Profile()
    office = Office(
        store,
        profile,
        Clock(),
        "http://testserver",
        Outlooks(profile),
        Ways("+15055550100"),
        partial(play, profile),
    )
    with TestClient(Starlette(routes=staff_pages(office)), cookies={"visit": token}) as browser:
        took = {
            path: timed(lambda path=path: browser.get(path).raise_for_status(), TIMES) for path in paths()
        }  # type: ignore[misc]
        for path, (first, again) in sorted(took.items(), key=lambda one: -one[1][1]):
            print(f"{path:28}{again:8.3f} s   first {first:8.3f} s   {again / look_s:8.1f} looks")
        print(f"most memory in use          {peak_mb():8.0f} MB")
        mark = re.search(r'name="form_mark" value="([0-9a-f]+)"', browser.get("/export").text)
        assert mark is not None
        first, _ = timed(lambda: browser.post("/export", data={"form_mark": mark[1]}).raise_for_status(), 0)
        print(f"the archive of everything   {first:8.3f} s")
    print(f"most memory in use          {peak_mb():8.0f} MB")


def paths() -> list[str]:
    """Every page, with sample values for the parts of its path that have names."""
    samples = {"code": "C7", "form": "pdf", "year": "2026", "person": "7", "key": "none", "language": "es"}
    nothing_there = ("/calendar", "/picture", "/language", "/reports/frozen", "/readings/")
    return [
        re.sub(r"\{(\w+)(:int)?\}", lambda part: samples.get(part[1], "1"), page.path)
        for page in PAGES
        if page.method == "GET" and not page.path.startswith(nothing_there)
    ]


if __name__ == "__main__":
    main()
