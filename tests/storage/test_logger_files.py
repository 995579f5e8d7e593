"""Readings from loggers: normal readings, marked by their source, taken once and taken back whole."""

import json
from datetime import datetime, timedelta

import pytest
from sqlalchemy import create_engine, select

from shared.errors import BadInput
from shared.pile import Record
from storage.models import RecordTable
from storage.people import Person
from storage.staff import Member
from storage.work import Store

READINGS = [(datetime(2026, 2, 1, 6, 30), 50.0), (datetime(2026, 2, 1, 14), 52.0)]


@pytest.fixture
def maren(store: Store, at: datetime, ines: Person) -> Member:
    """An educator."""
    with store.work() as work:
        member = work.staff.join(work.staff.invite("Maren", "educator", None, at), ines.id, at)
        work.commit()
    assert member is not None
    return member


def test_readings_land_as_readings_with_their_source(
    store: Store, database_url: str, maren: Member, ines: Person, at: datetime
) -> None:
    """The pile has them like any other, once; the rows say that a logger wrote them."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        file = work.logger_files.draft(pile.id, maren.id, "log.csv", READINGS, at)
        taken = work.logger_files.take(file.id, at), work.logger_files.take(file.id, at)
        told = [each.record for each in work.piles.records(pile.id)]
        work.commit()

    assert taken == (True, False)
    assert [(record.on.day, record.hour, record.core_c) for record in told] == [
        (1, 6.5, 50.0),
        (1, 14.0, 52.0),
    ]
    engine = create_engine(database_url)
    with engine.connect() as connection:
        sources = {json.dumps(data["source"]) for data in connection.scalars(select(RecordTable.data))}
    engine.dispose()
    assert sources == {'"logger 1"'}


def test_a_file_is_taken_back_whole_and_nothing_else_with_it(
    store: Store, maren: Member, ines: Person, at: datetime
) -> None:
    """What the keeper read stays."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.record(pile.id, ines.id, Record("temperature", at.date(), core_c=60.0), at)
        file = work.logger_files.draft(pile.id, maren.id, "log.csv", READINGS, at)
        work.logger_files.take(file.id, at)

        assert work.logger_files.undo(file.id, at) == 2
        assert [each.record.core_c for each in work.piles.records(pile.id)] == [60.0]
        assert work.logger_files.undo(file.id, at) == 0


def test_a_draft_is_forgotten_after_a_day(store: Store, maren: Member, ines: Person, at: datetime) -> None:
    """Readings that nobody took do not stay, and cannot be taken later."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        old = work.logger_files.draft(pile.id, maren.id, "log.csv", READINGS, at)
        work.logger_files.forget_drafts(at + timedelta(days=1, minutes=1))

        with pytest.raises(BadInput, match="bring in the file again"):
            work.logger_files.take(old.id, at)


def test_readings_need_a_pile(store: Store, maren: Member, at: datetime) -> None:
    """A pile that is not there is named."""
    with store.work() as work, pytest.raises(BadInput, match="no pile 7"):
        work.logger_files.draft(7, maren.id, "log.csv", READINGS, at)
