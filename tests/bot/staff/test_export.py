"""The export: every table or the reason why not, every column explained, nothing personal by itself."""

import csv
import io
import zipfile
from datetime import datetime

import pytest

from bot.staff.export import archive, dictionary, nowhere
from storage.export import tables
from storage.inbox import Incoming
from storage.outbox import Line
from storage.work import Store


def files(store: Store, personal: bool) -> dict[str, list[dict[str, str]]]:
    """The CSV files of an archive, row by row."""
    with store.work(reading=True) as work, zipfile.ZipFile(io.BytesIO(archive(work, personal))) as packed:
        return {
            name: list(csv.DictReader(io.StringIO(packed.read(name).decode())))
            for name in packed.namelist()
            if name.endswith(".csv")
        }


@pytest.fixture
def ines(store: Store, at: datetime) -> str:
    """Somebody with a name that a spreadsheet would run, who wrote and was written to."""
    name = "=HYPERLINK(1)"
    with store.work() as work:
        person = work.people.add("sms", "+13035550101", name, "es", "f", "America/Denver", at)
        work.people.consent(person.id, True, "Yes?", "es", "sms", None, "1", at)
        work.inbox.take(Incoming("sms", "+13035550101", "m1", "soy Ines, 130", at))
        work.outbox.add(person.id, "reply", [Line("x", {"name": name})], due_at=at, unique_key="1", reason={})
        pile = work.piles.found(person.id, "America/Denver", at, "behind Ines's fence")
        work.piles.set_up(pile.id, person.id, {"built": "2026-03-01"}, at)
        work.commit()
    return name


def test_every_column_is_explained_or_left_out_on_purpose() -> None:
    """A new table or column that nobody describes does not pass."""
    known = {file.table: set(file.columns) | file.left_out for file in dictionary()}

    assert {table: set(columns) for table, columns in tables().items() if table not in nowhere()} == known


def test_no_secret_leaves() -> None:
    """One-time codes, sessions and marks are in no file."""
    assert {"sign_in", "staff_invite", "visit", "stop_list", "invite"} <= set(nowhere())


@pytest.mark.usefixtures("ines")
def test_nothing_personal_unless_it_is_asked_for(store: Store) -> None:
    """Neither name, number, pile's name nor message stands anywhere in the plain archive."""
    with store.work(reading=True) as work, zipfile.ZipFile(io.BytesIO(archive(work, False))) as packed:
        everything = b"".join(packed.read(name) for name in packed.namelist() if name != "dictionary.csv")

    for word in (b"HYPERLINK", b"3035550101", b"soy Ines", b"fence"):
        assert word not in everything


def test_with_personal_parts_a_formula_is_made_harmless(store: Store, ines: str) -> None:
    """A name that begins like a formula gets an apostrophe."""
    found = files(store, True)

    assert found["person.csv"][0]["name"] == f"'{ines}"
    assert found["address.csv"][0]["address"] == "'+13035550101"
    assert found["incoming.csv"][0]["text"] == "soy Ines, 130"


@pytest.mark.usefixtures("ines")
def test_the_dictionary_explains_every_column_of_every_file(store: Store) -> None:
    """Column by column in the order of the files."""
    found = files(store, False)
    explained: dict[str, list[str]] = {}
    for row in found.pop("dictionary.csv"):
        explained.setdefault(row["file"], []).extend([row["column"]] if row["column"] else [])
    factors = found.pop("factors.csv")

    assert set(explained) == set(found)
    assert all(list(rows[0]) == explained[name] for name, rows in found.items() if rows)
    assert {"material", "low_kg_m3", "high_kg_m3"} <= set(factors[0])


@pytest.mark.usefixtures("ines")
def test_values_are_written_so_that_a_stranger_can_read_them(store: Store, at: datetime) -> None:
    """Moments in ISO with their offset, truth in words, parts as JSON."""
    found = files(store, False)

    assert datetime.fromisoformat(found["consent.csv"][0]["at"]) == at
    assert found["consent.csv"][0]["given"] == "true"
    assert found["record.csv"][0]["data"] == '{"built": "2026-03-01"}'
