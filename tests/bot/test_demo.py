"""The invented county: there within a minute, the same each time, and its report rebuilt from its export."""

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from bot.demo import CLASSES, fill
from bot.demo_seasons import said
from bot.profile import Profile
from bot.staff.export import archive
from bot.web.pages.reports import year_of
from shared.errors import BadInput
from storage.codes import DIGITS, LETTERS
from storage.work import Store
from tests.bot.staff.rebuild import rebuild

AT = datetime(2026, 10, 20, 18, tzinfo=UTC)
LAST_DAY, MIDNIGHT = date(2026, 10, 19), datetime(2026, 10, 20, 6, tzinfo=UTC)
"""The day before, and when it ended in Larkmoor County."""


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The county of seed 1."""
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('county') / 'demo.sqlite'}")
    store.upgrade()
    fill(store, Profile(), AT, seed=1)
    yield store
    store.close()


def test_the_report_is_rebuilt_from_the_export_to_the_digit(county: Store) -> None:
    """A script that imports nothing of ours gets every figure of the year from the archive."""
    with county.work(reading=True) as work:
        ours = year_of(work, 2026, LAST_DAY, MIDNIGHT)
        theirs = rebuild(archive(work, personal=False), 2026, LAST_DAY, "America/Denver")

    assert json.loads(json.dumps(ours)) == json.loads(json.dumps(theirs))
    assert ours["households"]["joined"] > 40
    assert ours["forecasts"]["kept"] > 5


def test_the_script_that_rebuilds_needs_nothing_of_ours() -> None:
    """It imports the standard library only."""
    lines = (Path(__file__).parent / "staff" / "rebuild.py").read_text(encoding="utf-8").splitlines()
    imported = {line.split()[1].split(".")[0] for line in lines if line.startswith(("import ", "from "))}

    assert imported.isdisjoint({"bot", "scheduler", "storage", "shared", "tests"})


def test_the_same_seed_gives_the_same_county(county: Store, tmp_path: Path) -> None:
    """Two people who look at the demo see the same names and numbers."""
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    other.upgrade()
    fill(other, Profile(), AT, seed=1)

    with county.work(reading=True) as work, other.work(reading=True) as again:
        assert year_of(work, 2026, LAST_DAY, MIDNIGHT) == year_of(again, 2026, LAST_DAY, MIDNIGHT)
    other.close()


def test_a_database_with_people_in_it_is_refused(county: Store) -> None:
    """Nobody's records are mixed with invented ones."""
    with pytest.raises(BadInput, match="name an empty one"):
        fill(county, Profile(), AT)


def test_every_number_is_one_kept_for_fiction(county: Store) -> None:
    """No invented person has a number that could be somebody's."""
    with county.work(reading=True) as work:
        people = [work.people.get(n) for n in range(1, 100)]

    assert all(person.address[5:10] == "55501" for person in people)
    assert all(told.phone[5:10] == "55501" for told in said(Profile(), AT))


def test_every_part_of_the_work_has_something_in_it(county: Store) -> None:
    """A newcomer finds no page empty: lists, readings, answers, texts to many, holds, looks, frozen years."""
    with county.work(reading=True) as work:
        volunteer = next(member for member in work.staff.all() if member.role == "volunteer")
        parts = [
            work.rosters.latest(5),
            work.logger_files.latest(5),
            work.approved.current(),
            work.broadcasts.latest(5),
            work.surveys.latest(5),
            work.privacy.holds(),
            work.staff.looks(None, 5),
            work.staff.piles_of(volunteer.id),
            work.reports.frozen(),
            work.classes.bins("FAR34"),
        ]

    assert all(parts)


def test_each_class_has_a_code_without_look_alikes() -> None:
    """Codes that are read aloud or from a wall."""
    assert all(set(one.code) <= set(LETTERS + DIGITS) for one in CLASSES)
