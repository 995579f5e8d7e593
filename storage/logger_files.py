"""Readings from loggers: kept as a draft until staff take them, then undone as a whole if need be."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from shared.pile import Record
from storage.models import PersonTable, PileTable, RecordTable
from storage.piles import Piles
from storage.staff_models import LoggerFileTable, StaffTable

DRAFT_LASTS = timedelta(days=1)

Reading = tuple[datetime, float]
"""A moment on the pile's wall clock (naive) and the core [°C]."""


@dataclass(frozen=True, slots=True)
class LoggerFile:
    """A file of readings for a pile; `readings` until it is taken."""

    id: int
    pile_id: int
    file_name: str
    at: datetime
    readings: tuple[Reading, ...] | None
    taken_at: datetime | None
    undone_at: datetime | None

    @property
    def source(self) -> str:
        """What marks its records."""
        return f"logger {self.id}"


class LoggerFiles:
    """The files of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._piles = Piles(session)

    def draft(
        self, pile_id: int, staff_id: int, file_name: str, readings: Sequence[Reading], at: datetime
    ) -> LoggerFile:
        """Keep readings to look at. Raises BadInput where there is no such pile."""
        self._piles.get(pile_id)
        row = LoggerFileTable(
            pile_id=pile_id,
            staff_id=staff_id,
            file_name=file_name,
            at=at,
            rows=[[moment.isoformat(), core_c] for moment, core_c in readings],
        )
        self._session.add(row)
        self._session.flush()
        return _file(row)

    def forget_drafts(self, at: datetime) -> None:
        """Let the readings of files go that nobody has taken in for a day."""
        old = LoggerFileTable.taken_at.is_(None) & (LoggerFileTable.at < at - DRAFT_LASTS)
        self._session.execute(update(LoggerFileTable).where(old).values(rows=None))

    def get(self, file_id: int) -> LoggerFile:
        """The file of this id. Raises BadInput where there is none (any more)."""
        row = self._session.get(LoggerFileTable, file_id)
        if row is None or (row.rows is None and row.taken_at is None):
            raise BadInput("these readings are not here any more: bring in the file again")
        return _file(row)

    def take(self, file_id: int, at: datetime) -> bool:
        """The readings become records of the pile, marked by their source; False where they were before."""
        file = self.get(file_id)
        mine = update(LoggerFileTable).where(
            LoggerFileTable.id == file_id, LoggerFileTable.taken_at.is_(None)
        )
        taken = mine.values(taken_at=at, rows=None).returning(LoggerFileTable.id)
        if self._session.scalar(taken) is None or file.readings is None:
            return False
        founder = self._piles.get(file.pile_id).founder_id
        for moment, core_c in file.readings:
            hour = moment.hour + moment.minute / 60
            record = Record("temperature", moment.date(), hour, core_c=core_c)
            self._piles.record(file.pile_id, founder, record, at, source=file.source)
        self._piles.look_again(file.pile_id, at)
        return True

    def undo(self, file_id: int, at: datetime) -> int:
        """Take the readings back; how many records that were."""
        file = self.get(file_id)
        mine = update(LoggerFileTable).where(
            LoggerFileTable.id == file_id,
            LoggerFileTable.taken_at.is_not(None),
            LoggerFileTable.undone_at.is_(None),
        )
        if self._session.scalar(mine.values(undone_at=at).returning(LoggerFileTable.id)) is None:
            return 0
        rows = self._session.execute(
            select(RecordTable.id, RecordTable.data)
            .where(RecordTable.pile_id == file.pile_id, RecordTable.kind == "temperature")
            .order_by(RecordTable.id)
        )
        ids = [record_id for record_id, data in rows if data.get("source") == file.source]
        self._piles.undo(ids, self._piles.get(file.pile_id).founder_id, at)
        self._piles.look_again(file.pile_id, at)
        return len(ids)

    def latest(self, limit: int) -> list[tuple[LoggerFile, str]]:
        """The files that were taken in, the latest first, each with who did it."""
        rows = self._session.execute(
            select(LoggerFileTable, StaffTable.name)
            .join(StaffTable, StaffTable.id == LoggerFileTable.staff_id)
            .where(LoggerFileTable.taken_at.is_not(None))
            .order_by(LoggerFileTable.id.desc())
            .limit(limit)
        )
        return [(_file(row), name) for row, name in rows]

    def piles(self, limit: int) -> list[tuple[int, str | None, str | None]]:
        """Open piles, the newest first: id, name, and the first name of whoever founded it."""
        rows = self._session.execute(
            select(PileTable.id, PileTable.name, PersonTable.name)
            .join(PersonTable, PersonTable.id == PileTable.founder_id)
            .where(PileTable.closed_at.is_(None))
            .order_by(PileTable.id.desc())
            .limit(limit)
        )
        return [(pile_id, name, founder) for pile_id, name, founder in rows]


def _file(row: LoggerFileTable) -> LoggerFile:
    readings = None
    if row.rows is not None:
        readings = tuple((datetime.fromisoformat(moment), float(core_c)) for moment, core_c in row.rows)
    return LoggerFile(row.id, row.pile_id, row.file_name, row.at, readings, row.taken_at, row.undone_at)
