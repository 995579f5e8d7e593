"""Lists of people from files: kept as a draft until staff take it, then undone as a whole if need be.

An import never makes a yes: whoever comes in is waited for, or signs on paper.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.models import AddressTable, IncomingTable, OutboxTable, PersonTable, Standing
from storage.staff_models import BinSaleTable, LookTable, RosterPersonTable, RosterTable, StaffTable

DRAFT_LASTS = timedelta(days=1)
"""A file that nobody has taken in is forgotten then: it holds names and numbers."""
AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Roster:
    """A file of people. `rows` are its cells until it is taken; `columns`: what stands in which, from 0."""

    id: int
    class_code: str | None
    staff_id: int
    file_name: str
    at: datetime
    columns: dict[str, int]
    rows: tuple[tuple[str, ...], ...] | None
    taken_at: datetime | None
    undone_at: datetime | None


class Rosters:
    """The files of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def draft(
        self,
        class_code: str,
        staff_id: int,
        file_name: str,
        columns: Mapping[str, int],
        rows: Sequence[Sequence[str]],
        at: datetime,
    ) -> Roster:
        """Keep a file to look at."""
        row = RosterTable(
            class_code=class_code.upper(),
            staff_id=staff_id,
            file_name=file_name,
            at=at,
            columns=dict(columns),
            rows=[list(each) for each in rows],
        )
        self._session.add(row)
        self._session.flush()
        return _roster(row)

    def forget_drafts(self, at: datetime) -> None:
        """Let the cells of files go that nobody has taken in for a day."""
        old = RosterTable.taken_at.is_(None) & (RosterTable.at < at - DRAFT_LASTS)
        self._session.execute(update(RosterTable).where(old).values(rows=None))

    def get(self, roster_id: int) -> Roster:
        """The file of this id. Raises BadInput where there is none (any more)."""
        row = self._session.get(RosterTable, roster_id, with_for_update=True)
        if row is None or (row.rows is None and row.taken_at is None):
            raise BadInput("this list is not here any more: bring in the file again")
        return _roster(row)

    def arrange(self, roster_id: int, columns: Mapping[str, int]) -> None:
        """Say anew what stands in which column of a draft."""
        mine = update(RosterTable).where(RosterTable.id == roster_id, RosterTable.taken_at.is_(None))
        self._session.execute(mine.values(columns=dict(columns)))

    def take(self, roster_id: int, people: Mapping[int, str | None], at: datetime) -> bool:
        """These people came in, each with the file's reference; False where it was taken before."""
        mine = update(RosterTable).where(RosterTable.id == roster_id, RosterTable.taken_at.is_(None))
        if self._session.scalar(mine.values(taken_at=at, rows=None).returning(RosterTable.id)) is None:
            return False
        self._session.add_all(
            RosterPersonTable(roster_id=roster_id, person_id=person_id, reference=reference)
            for person_id, reference in people.items()
        )
        self._session.flush()
        return True

    def undo(self, roster_id: int, at: datetime) -> tuple[int, int]:
        """Take an import back: how many people are gone, and how many stay because something came of them."""
        mine = update(RosterTable).where(
            RosterTable.id == roster_id, RosterTable.taken_at.is_not(None), RosterTable.undone_at.is_(None)
        )
        if self._session.scalar(mine.values(undone_at=at).returning(RosterTable.id)) is None:
            return 0, 0
        people = self.brought(roster_id)
        gone = self._untouched(people)
        for table in (RosterPersonTable, AddressTable):
            for part in _parts(sorted(gone)):
                self._session.execute(delete(table).where(table.person_id.in_(part)))
        for part in _parts(sorted(gone)):
            self._session.execute(delete(PersonTable).where(PersonTable.id.in_(part)))
        return len(gone), len(people) - len(gone)

    def brought(self, roster_id: int) -> list[int]:
        """Whom a taken file brought in and nobody has taken back."""
        people = select(RosterPersonTable.person_id).where(RosterPersonTable.roster_id == roster_id)
        return list(self._session.scalars(people.order_by(RosterPersonTable.person_id)))

    def latest(self, limit: int) -> list[tuple[Roster, str, int]]:
        """The files that were taken in, the latest first: who did it, and how many people came by it."""
        rows = self._session.execute(
            select(RosterTable, StaffTable.name)
            .join(StaffTable, StaffTable.id == RosterTable.staff_id)
            .where(RosterTable.taken_at.is_not(None))
            .order_by(RosterTable.id.desc())
            .limit(limit)
        ).all()
        return [(_roster(row), name, len(self.brought(row.id))) for row, name in rows]

    def references(self, class_code: str) -> dict[int, str]:
        """Of the people of a class, the references of their papers as files had them."""
        rows = self._session.execute(
            select(RosterPersonTable.person_id, RosterPersonTable.reference)
            .join(PersonTable, PersonTable.id == RosterPersonTable.person_id)
            .where(PersonTable.class_code == class_code.upper(), RosterPersonTable.reference.is_not(None))
        )
        return {person_id: reference for person_id, reference in rows if reference is not None}

    def known(self, channel: str, addresses: Collection[str]) -> dict[str, Standing]:
        """Of these addresses, those of people who are here, with their standing."""
        found: dict[str, Standing] = {}
        for part in _parts(sorted(addresses)):
            rows = self._session.execute(
                select(AddressTable.address, PersonTable.standing)
                .join(PersonTable, PersonTable.id == AddressTable.person_id)
                .where(AddressTable.channel == channel, AddressTable.address.in_(part))
            )
            found.update(iter(rows))
        return found

    def _untouched(self, people: Sequence[int]) -> set[int]:
        """Those who never said a word or a yes, to whom nothing was said, and on whom nothing rests."""
        left: set[int] = set()
        for part in _parts(people):
            spoke = select(IncomingTable.id).where(
                IncomingTable.channel == AddressTable.channel, IncomingTable.address == AddressTable.address
            )
            rests = [
                select(table.person_id).where(table.person_id == PersonTable.id).exists()
                for table in (OutboxTable, BinSaleTable, LookTable)
            ]
            left |= set(
                self._session.scalars(
                    select(PersonTable.id)
                    .join(AddressTable, AddressTable.person_id == PersonTable.id)
                    .where(
                        PersonTable.id.in_(part),
                        PersonTable.standing == "asked",
                        ~spoke.exists(),
                        *(~each for each in rests),
                    )
                )
            )
        return left


def _parts(ids: Sequence[Any]) -> list[Sequence[Any]]:
    return [ids[start : start + AT_ONCE] for start in range(0, len(ids), AT_ONCE)]


def _roster(row: RosterTable) -> Roster:
    rows = None if row.rows is None else tuple(tuple(each) for each in row.rows)
    return Roster(
        row.id,
        row.class_code,
        row.staff_id,
        row.file_name,
        row.at,
        dict(row.columns),
        rows,
        row.taken_at,
        row.undone_at,
    )
