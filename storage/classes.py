"""Taught groups: the code that graduates text, who has joined by it, and the bins that went to them."""

from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import case, func, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.codes import fresh_code
from storage.models import ClassTable, ConsentTable, KeeperTable, PersonTable, RecordTable
from storage.people import Language, known_zone
from storage.staff_models import BinSaleTable

SILENT, SILENT_AFTER_HARVEST = timedelta(days=60), timedelta(days=180)
"""Whoever has told nothing of a pile for so long does not count as still going."""
IN_USE_AFTER = timedelta(days=90)
HARVEST_RESTS = timedelta(days=14)
"""The longer silence holds where the last word came within a fortnight of a harvest."""


@dataclass(frozen=True, slots=True)
class ClassRow:
    """A class; its language and zone are those of a graduate who has not chosen others."""

    code: str
    language: Language
    zone: str
    seats: int | None = None
    taught_on: date | None = None
    title: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Counts:
    """The people of a class: said yes by its code, of these keep a pile, of these are still heard of."""

    joined: int
    started: int
    going: int


@dataclass(frozen=True, slots=True)
class Graduate:
    """One person of a class as its list shows them."""

    id: int
    name: str | None
    language: Language
    standing: str
    joined_at: datetime | None
    has_pile: bool
    composted_before: bool | None
    household: int | None
    postcode_area: str | None


@dataclass(frozen=True, slots=True)
class BinSale:
    """A bin that was sold or given away, and to whom where that is known."""

    id: int
    kind: str
    serial: str | None
    price_cents: int | None
    sold_on: date
    person_id: int | None
    name: str | None


@dataclass(frozen=True, slots=True)
class BinsInUse:
    """Of the bins that went out 90 days ago or longer: in use then for sure, and perhaps."""

    bins: int
    at_least: int
    at_most: int


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

    def change(self, row: ClassRow) -> ClassRow:
        """Everything but the code, which stands on posters. Raises BadInput where there is no such class."""
        known_zone(row.zone)
        values = {name: value for name, value in asdict(row).items() if name != "code"}
        found = self._session.scalar(
            update(ClassTable).where(ClassTable.code == row.code.upper()).values(values).returning(ClassTable)
        )
        if found is None:
            raise BadInput(f"there is no class {row.code}")
        return _class(found)

    def get(self, code: str) -> ClassRow | None:
        """The class of this code, in either case of letters."""
        row = self._session.get(ClassTable, code.upper())
        return None if row is None else _class(row)

    def free_code(self) -> str:
        """A code for a new class that nobody has yet, such as KAP47."""
        while True:
            code = fresh_code(letters=3, digits=2)
            if self.get(code) is None:
                return code

    def joined(self, code: str) -> int:
        """How many people have said yes by this code, those who left later included."""
        count = select(func.count()).select_from(PersonTable)
        mine = count.where(PersonTable.class_code == code.upper(), PersonTable.joined_at.is_not(None))
        return self._session.scalar(mine) or 0

    def latest(self, limit: int) -> list[tuple[ClassRow, int]]:
        """The classes taught last or still to come, the latest first, each with how many have joined."""
        joined = func.count(PersonTable.joined_at)
        rows = self._session.execute(
            select(ClassTable, joined)
            .outerjoin(PersonTable, PersonTable.class_code == ClassTable.code)
            .group_by(ClassTable.code)
            .order_by(ClassTable.taught_on.is_(None), ClassTable.taught_on.desc(), ClassTable.code)
            .limit(limit)
        )
        return [(_class(row), number) for row, number in rows]

    def nearest(self, day: date) -> ClassRow | None:
        """The class of this day, else the last one before it, else the next."""
        past = select(ClassTable).where(ClassTable.taught_on <= day)
        row = self._session.scalar(past.order_by(ClassTable.taught_on.desc(), ClassTable.code).limit(1))
        if row is None:
            ahead = select(ClassTable).where(ClassTable.taught_on > day)
            row = self._session.scalar(ahead.order_by(ClassTable.taught_on, ClassTable.code).limit(1))
        return None if row is None else _class(row)

    def counts(self, code: str, at: datetime) -> Counts:
        """How many joined, started and still go on at this moment."""
        harvested = case((RecordTable.kind == "harvested", RecordTable.said_at))
        told = self._session.execute(
            select(
                PersonTable.id,
                PersonTable.standing,
                func.max(RecordTable.said_at),
                func.max(harvested),
            )
            .join(KeeperTable, KeeperTable.person_id == PersonTable.id)
            .join(RecordTable, RecordTable.pile_id == KeeperTable.pile_id)
            .where(PersonTable.class_code == code.upper(), PersonTable.joined_at.is_not(None))
            .group_by(PersonTable.id, PersonTable.standing)
        ).all()
        going = sum(
            standing == "joined" and at - last <= _patience(last, harvest)
            for _, standing, last, harvest in told
        )
        return Counts(self.joined(code), len(told), going)

    def people(self, code: str) -> list[Graduate]:
        """Everybody of a class who is not erased, those who have not said yes included, by name."""
        piles = select(KeeperTable.pile_id).where(KeeperTable.person_id == PersonTable.id).exists()
        rows = self._session.execute(
            select(
                PersonTable.id,
                PersonTable.name,
                PersonTable.language,
                PersonTable.standing,
                PersonTable.joined_at,
                piles,
                PersonTable.composted_before,
                PersonTable.household,
                PersonTable.postcode_area,
            )
            .where(PersonTable.class_code == code.upper(), PersonTable.standing != "erased")
            .order_by(func.lower(func.coalesce(PersonTable.name, "")), PersonTable.id)
        )
        return [Graduate(*row) for row in rows]  # type: ignore[arg-type]

    def sell_bin(
        self,
        code: str | None,
        kind: str,
        sold_on: date,
        *,
        serial: str | None = None,
        price_cents: int | None = None,
        person_id: int | None = None,
    ) -> int:
        """Note a bin that went to somebody; its id."""
        row = BinSaleTable(
            class_code=code and code.upper(),
            kind=kind,
            sold_on=sold_on,
            serial=serial,
            price_cents=price_cents,
            person_id=person_id,
        )
        self._session.add(row)
        self._session.flush()
        return row.id

    def take_back_bin(self, sale_id: int, at: datetime) -> None:
        """A bin that was noted by mistake."""
        mine = update(BinSaleTable).where(BinSaleTable.id == sale_id, BinSaleTable.undone_at.is_(None))
        self._session.execute(mine.values(undone_at=at))

    def bins(self, code: str) -> list[BinSale]:
        """The bins of a class, in the order in which they were noted."""
        rows = self._session.execute(
            select(
                BinSaleTable.id,
                BinSaleTable.kind,
                BinSaleTable.serial,
                BinSaleTable.price_cents,
                BinSaleTable.sold_on,
                BinSaleTable.person_id,
                PersonTable.name,
            )
            .outerjoin(PersonTable, PersonTable.id == BinSaleTable.person_id)
            .where(BinSaleTable.class_code == code.upper(), BinSaleTable.undone_at.is_(None))
            .order_by(BinSaleTable.id)
        )
        return [BinSale(*row) for row in rows]

    def bins_in_use(self, code: str, at: datetime) -> BinsInUse:
        """In use after 90 days: something was told of a pile of that household then or later.

        Silence tells nothing, nor does a bin of no known household; an opt-out before that day is an end.
        """
        last_told = (
            select(func.max(RecordTable.said_at))
            .join(KeeperTable, KeeperTable.pile_id == RecordTable.pile_id)
            .where(KeeperTable.person_id == BinSaleTable.person_id)
            .correlate(BinSaleTable)
            .scalar_subquery()
        )
        left = (
            select(func.max(ConsentTable.at))
            .where(ConsentTable.person_id == BinSaleTable.person_id, PersonTable.standing != "joined")
            .correlate(BinSaleTable, PersonTable)
            .scalar_subquery()
        )
        rows = self._session.execute(
            select(BinSaleTable.sold_on, last_told, left)
            .outerjoin(PersonTable, PersonTable.id == BinSaleTable.person_id)
            .where(
                BinSaleTable.class_code == code.upper(),
                BinSaleTable.undone_at.is_(None),
                BinSaleTable.sold_on <= (at - IN_USE_AFTER).date(),
            )
        ).all()
        seen = sum(told is not None and told.date() >= sold + IN_USE_AFTER for sold, told, _ in rows)
        ended = sum(
            ended is not None
            and ended.date() < sold + IN_USE_AFTER
            and (told is None or told.date() < sold + IN_USE_AFTER)
            for sold, told, ended in rows
        )
        return BinsInUse(len(rows), seen, len(rows) - ended)


def _patience(last: datetime, harvest: datetime | None) -> timedelta:
    rests = harvest is not None and last - harvest <= HARVEST_RESTS
    return SILENT_AFTER_HARVEST if rests else SILENT


def _class(row: ClassTable) -> ClassRow:
    return ClassRow(row.code, row.language, row.zone, row.seats, row.taught_on, row.title, row.place)  # type: ignore[arg-type]
