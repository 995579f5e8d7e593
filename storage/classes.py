"""Taught groups: the code that graduates text, and how many have joined by it."""

from dataclasses import asdict, dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.models import ClassTable, PersonTable
from storage.people import Language, known_zone


@dataclass(frozen=True, slots=True)
class ClassRow:
    """A class; its language and zone are those of a graduate who has not chosen others."""

    code: str
    language: Language
    zone: str
    seats: int | None = None
    taught_on: date | None = None
    title: str | None = None


class Classes:
    """The classes of one unit of work. Codes are kept in upper case."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def add(self, row: ClassRow) -> ClassRow:
        """Keep a new class. Raises BadInput where the code is taken or the zone unknown."""
        known_zone(row.zone)
        code = row.code.upper()
        if self.get(code) is not None:
            raise BadInput(f"the class code {code} is taken: choose another")
        self._session.add(ClassTable(**asdict(row) | {"code": code}))
        self._session.flush()
        return self.get(code) or row

    def get(self, code: str) -> ClassRow | None:
        """The class of this code, in either case of letters."""
        row = self._session.get(ClassTable, code.upper())
        if row is None:
            return None
        return ClassRow(row.code, row.language, row.zone, row.seats, row.taught_on, row.title)  # type: ignore[arg-type]

    def joined(self, code: str) -> int:
        """How many people have said yes by this code, those who left later included."""
        count = select(func.count()).select_from(PersonTable)
        mine = count.where(PersonTable.class_code == code.upper(), PersonTable.joined_at.is_not(None))
        return self._session.scalar(mine) or 0
