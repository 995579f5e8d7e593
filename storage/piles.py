"""Piles, who keeps them, and what was told of them. Records are only ever added.

A pile as it stands is worked out from its records: the set-up by merging, what holds by leaving out
whatever a later record took back or corrected. Whatever is told of a pile lets the planner look at it anew.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, bindparam, func, insert, literal, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from shared.pile import Climate, Ingredient, Pile, Record
from storage.models import (
    InviteTable,
    KeeperTable,
    PileTable,
    PromiseTable,
    RecordTable,
    columns_of,
    of_table,
)
from storage.people import known_zone

HOW_BUILT = ("setup", "undo")
DATA_FIELDS = tuple(field.name for field in fields(Record) if field.name not in ("kind", "on", "hour"))


@dataclass(frozen=True, slots=True)
class PileRow:
    """A pile as it is remembered.

    setup           what its keepers said of how it is built, later words over earlier ones:
                    built (ISO day), length_m, width_m, height_m, ingredients [[material, litres], ...],
                    pieces, turning, bin, covered, shade, fed, assumed [names of what was not said]
    next_look_at    when the planner next looks at it
    last_forecast   a cache, never the truth
    number          what the keeper through whom it was asked calls it; None where asked by its own id
    """

    id: int
    name: str | None
    zone: str
    founder_id: int
    setup: dict[str, Any]
    created_at: datetime
    closed_at: datetime | None = None
    next_look_at: datetime | None = None
    last_forecast: dict[str, Any] | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Keeper:
    """One who tends a pile, and the number by which they know it."""

    person_id: int
    number: int
    joined_at: datetime
    left_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """A record that holds, with who told it and when.

    by   who did it, where that is not the one who told it alone
    """

    id: int
    record: Record
    said_by: int
    said_at: datetime
    by: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """Something agreed or told among the keepers of a pile, which says nothing about the pile itself.

    about    "turn": whose the next one is (work: "turned" or "watered"); "pass": not this one (work);
             "owes": swapped it, so the one after is theirs (work); "share": fraction or weight; "limit":
             turnings in four weeks; "away": until, an ISO day or None; "back"; "hear": turns, true or false;
             "tool": tool, and who has it or None where it was put back, or `gone`, nobody knows where
    who      the keeper whom it is about
    values   the rest, as listed
    """

    about: str
    who: int | None
    values: Mapping[str, Any]
    said_by: int
    said_at: datetime


Histories = Mapping[int, tuple[Sequence[Told], Sequence[Note]]]
"""By the id of a pile, what was told of it and what its keepers agreed, each in the order told."""


class Piles:
    """The piles of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def found(self, founder_id: int, zone: str, at: datetime, name: str | None = None) -> PileRow:
        """A new pile with one keeper; the planner looks at it from now on."""
        row = PileTable(
            name=name, zone=known_zone(zone), founder_id=founder_id, created_at=at, next_look_at=at
        )
        self._session.add(row)
        self._session.flush()
        self.join(row.id, founder_id, at)
        return self.get(row.id)

    def get(self, pile_id: int) -> PileRow:
        """The pile of this id. Raises BadInput where there is none."""
        found = self.of_ids([pile_id])
        if not found:
            raise BadInput(f"there is no pile {pile_id}")
        return found[0]

    def of(self, person_id: int) -> list[PileRow]:
        """The open piles that a person keeps, in the order of that person's numbers."""
        return self._rows(KEPT_BY, person_id=person_id)

    def known_to(self, person_id: int) -> tuple[list[PileRow], Histories]:
        """The same piles, and what holds of all that was told of each: read in one go."""
        rows = self._session.execute(KEPT_BY, {"person_id": person_id}).all()
        pile_ids = [row.id for row in rows]
        holding = that_hold(self._session.execute(RECORDS, {"pile_ids": pile_ids}).all()) if rows else []
        setups = _merged(holding)
        return [PileRow(**row._asdict(), setup=setups[row.id]) for row in rows], _told_and_noted(
            pile_ids, holding
        )

    def shared(self, limit: int) -> list[tuple[PileRow, tuple[int, ...]]]:
        """The open piles that several people keep, the newest first, with the ids of the keepers."""
        several = (
            select(KeeperTable.pile_id)
            .where(KeeperTable.left_at.is_(None))
            .group_by(KeeperTable.pile_id)
            .having(func.count() > 1)
        )
        rows = self._rows(
            KEPT.where(PileTable.id.in_(several), PileTable.closed_at.is_(None))
            .order_by(PileTable.id.desc())
            .limit(limit)
        )
        return [(row, tuple(keeper.person_id for keeper in self.keepers(row.id))) for row in rows]

    def keepers(self, pile_id: int) -> list[Keeper]:
        """Who tends the pile now, in the order in which they joined."""
        return self.keepers_of([pile_id])[pile_id]

    def keepers_of(self, pile_ids: Collection[int]) -> dict[int, list[Keeper]]:
        """Who tends each of these piles now, in the order in which they joined."""
        rows = self._session.execute(KEEPERS, {"pile_ids": list(pile_ids)})
        found: dict[int, list[Keeper]] = {pile_id: [] for pile_id in pile_ids}
        for row in rows:
            found[row.pile_id].append(Keeper(row.person_id, row.number, row.joined_at))
        return found

    def join(self, pile_id: int, person_id: int, at: datetime) -> Keeper:
        """One more keeper, for whom the pile is looked at anew; who comes back keeps the former number."""
        row = self._session.get(KeeperTable, (pile_id, person_id))
        if row is None:
            highest = select(func.max(KeeperTable.number)).where(KeeperTable.person_id == person_id)
            row = KeeperTable(
                pile_id=pile_id, person_id=person_id, number=(self._session.scalar(highest) or 0) + 1
            )
        row.joined_at, row.left_at = at, None
        self._session.add(row)
        self._session.flush()
        self.look_again(pile_id, at)
        return Keeper(person_id, row.number, row.joined_at)

    def leave(self, pile_id: int, person_id: int, at: datetime) -> None:
        """This keeper no longer tends the pile, which is looked at anew; what they told stays."""
        self._session.execute(
            update(KeeperTable)
            .where(KeeperTable.pile_id == pile_id, KeeperTable.person_id == person_id)
            .values(left_at=at)
        )
        self.look_again(pile_id, at)

    def rename(self, pile_id: int, name: str | None) -> None:
        """Give the pile another name."""
        self._set(pile_id, name=name)

    def close(self, pile_id: int, at: datetime) -> None:
        """The pile is done with: it is not looked at any more, and its keepers' lists no longer show it."""
        self._set(pile_id, closed_at=at)

    def look_again(self, pile_id: int, at: datetime | None) -> None:
        """Let the planner look at the pile at this moment next; None: not before something is told."""
        self._set(pile_id, next_look_at=at)

    def cache(self, pile_id: int, forecast: dict[str, Any] | None) -> None:
        """Keep the last forecast as JSON values."""
        self._set(pile_id, last_forecast=forecast)

    def promise(self, pile_id: int, first: date, last: date, at: datetime) -> None:
        """Keep the range that the keepers are told now."""
        self._session.execute(PROMISE, {"pile_id": pile_id, "at": at, "first": first, "last": last})
        self.cache(pile_id, {"told": [first.isoformat(), last.isoformat()]})

    def set_up(
        self,
        pile_id: int,
        person_id: int,
        values: Mapping[str, Any],
        at: datetime,
        incoming_id: int | None = None,
    ) -> int:
        """One more record of how the pile is built; its values stand over the earlier ones."""
        return self._append(pile_id, "setup", at.date(), None, dict(values), person_id, at, incoming_id, None)

    def record(
        self,
        pile_id: int,
        person_id: int,
        record: Record,
        said_at: datetime,
        incoming_id: int | None = None,
        replaces_id: int | None = None,
        by: Sequence[int] = (),
        source: str | None = None,
    ) -> int:
        """Add what a keeper told; with `replaces_id` it corrects an earlier record.

        by       who did it, where that is not the one who told it alone
        source   where it comes from, if nobody told it
        """
        said = {name: getattr(record, name) for name in DATA_FIELDS}
        data = {name: value for name, value in said.items() if value not in (None, False)}
        if by and tuple(by) != (person_id,):
            data["by"] = list(by)
        if source is not None:
            data["source"] = source
        return self._append(
            pile_id, record.kind, record.on, record.hour, data, person_id, said_at, incoming_id, replaces_id
        )

    def undo(self, record_ids: Iterable[int], person_id: int, at: datetime) -> None:
        """Take records back by adding what says so. Taking a correction back brings the first word back."""
        for record_id in record_ids:
            taken = self._session.get_one(RecordTable, record_id)
            self._append(taken.pile_id, "undo", at.date(), None, {}, person_id, at, None, record_id)

    def records(self, pile_id: int, until: date | None = None) -> list[Told]:
        """What holds of all that was told of the pile, up to the day `until`, in the order told.

        A correction takes the place of what it corrects, since among records of one day the order counts.
        """
        told, _ = self.histories([pile_id])[pile_id]
        return [each for each in told if until is None or each.record.on <= until]

    def histories(self, pile_ids: Collection[int]) -> Histories:
        """What holds of all that was told of each of these piles."""
        rows = self._session.execute(TOLD, {"pile_ids": list(pile_ids)}).all()
        return _told_and_noted(pile_ids, that_hold(rows))

    def note(
        self,
        pile_id: int,
        person_id: int,
        about: str,
        who: int | None,
        values: Mapping[str, Any],
        at: datetime,
        incoming_id: int | None = None,
    ) -> int:
        """Add what was agreed or told among the keepers; see `Note`."""
        data = {"about": about, "who": who, **values}
        return self._append(pile_id, "shared", at.date(), None, data, person_id, at, incoming_id, None)

    def notes(self, pile_id: int) -> list[Note]:
        """What was agreed or told among the keepers, in the order told."""
        _, notes = self.histories([pile_id])[pile_id]
        return list(notes)

    def invite(self, pile_id: int, person_id: int, code: str, at: datetime, expires_at: datetime) -> None:
        """Keep a code by which others can join the pile until it expires."""
        self._session.add(
            InviteTable(
                code=code.upper(), pile_id=pile_id, made_by=person_id, made_at=at, expires_at=expires_at
            )
        )
        self._session.flush()

    def invited(self, code: str, at: datetime) -> int | None:
        """The pile that this code lets somebody join now, None where it lets nobody in."""
        row = self._session.get(InviteTable, code.upper())
        return row.pile_id if row is not None and row.expires_at > at else None

    @staticmethod
    def pile(row: PileRow, climate: Climate | None, latitude: float | None) -> Pile:
        """The pile as the calculation core takes it. Raises BadInput where size or build day is not known."""
        setup = row.setup
        missing = [
            name for name in ("built", "length_m", "width_m", "height_m", "ingredients") if name not in setup
        ]
        if missing:
            raise BadInput(f"pile {row.id} is not set up yet: {', '.join(missing)} not known")
        return Pile(
            id=str(row.id),
            built=date.fromisoformat(setup["built"]),
            length_m=setup["length_m"],
            width_m=setup["width_m"],
            height_m=setup["height_m"],
            ingredients=tuple(
                Ingredient(material, litres / 1000) for material, litres in setup["ingredients"]
            ),
            pieces=setup.get("pieces"),
            climate=climate,
            turning=setup.get("turning"),
            bin=setup.get("bin"),
            covered=setup.get("covered"),
            shade=setup.get("shade"),
            latitude=latitude,
            fed=setup.get("fed", False),
        )

    def take_due(self, at: datetime, lease_until: datetime, limit: int) -> list[int]:
        """Open piles that should be looked at by now, longest due first, let to whoever asks.

        Nobody else gets them before `lease_until`, unless something is told of them; then the lease is off.
        """
        due = (
            select(PileTable.id)
            .where(PileTable.closed_at.is_(None), PileTable.next_look_at <= at)
            .order_by(PileTable.next_look_at, PileTable.id)
            .limit(limit)
            .with_for_update(skip_locked=True, key_share=True)
        )
        ids = list(self._session.scalars(due))
        self._session.execute(update(PileTable).where(PileTable.id.in_(ids)).values(next_look_at=lease_until))
        return ids

    def still_let(self, pile_ids: Collection[int], lease_until: datetime) -> set[int]:
        """Which of these piles are still let until then; nothing can be told of them before the commit."""
        let = select(PileTable.id).where(
            PileTable.id.in_(pile_ids), PileTable.closed_at.is_(None), PileTable.next_look_at == lease_until
        )
        return set(self._session.scalars(let.order_by(PileTable.id).with_for_update(key_share=True)))

    def of_ids(self, pile_ids: Collection[int]) -> list[PileRow]:
        """The piles of these ids."""
        return self._rows(PILES, pile_ids=list(pile_ids))

    def next_look(self, after: datetime) -> datetime | None:
        """When the first pile is to be looked at beyond `after`."""
        return self._session.scalar(
            select(func.min(PileTable.next_look_at)).where(
                PileTable.closed_at.is_(None), PileTable.next_look_at > after
            )
        )

    def _set(self, pile_id: int, **values: Any) -> None:
        self._session.execute(SET, {"of": pile_id, **values})

    def _append(
        self,
        pile_id: int,
        kind: str,
        on: date,
        hour: float | None,
        data: dict[str, Any],
        said_by: int,
        said_at: datetime,
        incoming_id: int | None,
        replaces_id: int | None,
    ) -> int:
        row = {
            "pile_id": pile_id,
            "kind": kind,
            "on_day": on,
            "hour": hour,
            "data": data,
            "said_by": said_by,
            "said_at": said_at,
            "incoming_id": incoming_id,
            "replaces_id": replaces_id,
        }
        record_id: int = self._session.execute(APPEND, row).scalar_one()
        self.look_again(pile_id, said_at)
        return record_id

    def _rows(self, statement: Select[Any], **values: Any) -> list[PileRow]:
        rows = self._session.execute(statement, values).all()
        setups = self._setups([row.id for row in rows])
        return [PileRow(**row._asdict(), setup=setups[row.id]) for row in rows]

    def _setups(self, pile_ids: Sequence[int]) -> dict[int, dict[str, Any]]:
        """The merged set-up of each pile, by one query for all of them."""
        return _merged(that_hold(self._session.execute(SET_UP, {"pile_ids": list(pile_ids)}).all()))


PILE, KEEPER = of_table(PileTable), of_table(KeeperTable)
RECORD = of_table(RecordTable)
SET = update(PILE).where(PILE.c.id == bindparam("of"))
APPEND = insert(RECORD).returning(RECORD.c.id)
PROMISE = insert(of_table(PromiseTable))
KEPT = select(*columns_of(PileTable, (f.name for f in fields(PileRow) if f.name not in ("setup", "number"))))
PILES = KEPT.where(PILE.c.id.in_(bindparam("pile_ids", expanding=True))).order_by(PILE.c.id)
KEPT_BY = (
    KEPT.add_columns(KEEPER.c.number)
    .join(KEEPER, KEEPER.c.pile_id == PILE.c.id)
    .where(
        KEEPER.c.person_id == bindparam("person_id"), KEEPER.c.left_at.is_(None), PILE.c.closed_at.is_(None)
    )
    .order_by(KEEPER.c.number)
)
KEEPERS = (
    select(KEEPER.c.pile_id, KEEPER.c.person_id, KEEPER.c.number, KEEPER.c.joined_at)
    .where(KEEPER.c.pile_id.in_(bindparam("pile_ids", expanding=True)), KEEPER.c.left_at.is_(None))
    .order_by(KEEPER.c.joined_at, KEEPER.c.person_id)
)
OF_RECORDS = ("id", "pile_id", "kind", "on", "hour", "data", "said_by", "said_at", "replaces_id")
RECORDS = (
    select(*columns_of(RecordTable, OF_RECORDS))
    .where(RECORD.c.pile_id.in_(bindparam("pile_ids", expanding=True)))
    .order_by(RECORD.c.id)
)
TOLD = RECORDS.where(RECORD.c.kind != "setup")
SET_UP = RECORDS.where(
    RECORD.c.kind.in_(literal(kind, literal_execute=True) for kind in HOW_BUILT)
)  # in the words of its index


def _merged(holding: Sequence[Any]) -> dict[int, dict[str, Any]]:
    """The set-up of each pile: later words over earlier ones."""
    merged: defaultdict[int, dict[str, Any]] = defaultdict(dict)
    for row in holding:
        if row.kind == "setup":
            merged[row.pile_id] |= row.data
    return merged


def _told_and_noted(pile_ids: Iterable[int], holding: Sequence[Any]) -> Histories:
    found: dict[int, tuple[list[Told], list[Note]]] = {pile_id: ([], []) for pile_id in pile_ids}
    for row in holding:
        told, notes = found[row.pile_id]
        if row.kind == "shared":
            notes.append(Note(**_about(row.data), said_by=row.said_by, said_at=row.said_at))
        elif row.kind not in HOW_BUILT:
            told.append(_told(row))
    return found


def _told(row: Any) -> Told:
    data = dict(row.data)
    by = tuple(data.pop("by", ()))
    data.pop("source", None)
    record = Record(row.kind, row.on, row.hour, **data)
    return Told(row.id, record, row.said_by, row.said_at, by)


def _about(data: Mapping[str, Any]) -> dict[str, Any]:
    values = {name: value for name, value in data.items() if name not in ("about", "who")}
    return {"about": data["about"], "who": data["who"], "values": values}


def that_hold(rows: Sequence[Any]) -> list[Any]:
    """Of records in the order told, those that no later one which itself holds has replaced."""
    place = {row.id: row.id for row in rows}
    for row in rows:
        if row.replaces_id in place:
            place[row.id] = place[row.replaces_id]
    replaced: set[int] = set()
    holding = []
    for row in reversed(rows):
        if row.id not in replaced:
            holding.append(row)
            if row.replaces_id is not None:
                replaced.add(row.replaces_id)
    return sorted(holding, key=lambda row: place[row.id])
