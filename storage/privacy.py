"""What is kept of people: handing it out, forgetting it, and letting old texts go unless they are held."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    String,
    and_,
    cast,
    delete,
    exists,
    func,
    literal_column,
    or_,
    select,
    update,
)
from sqlalchemy.orm import Session

from storage.helpdesk import ERASED, MOVED, THROUGH_STAFF, from_person
from storage.models import (
    AddressTable,
    IncomingTable,
    KeeperTable,
    OutboxTable,
    PersonTable,
    RecordTable,
)
from storage.staff_models import HoldTable, StaffTable


@dataclass(frozen=True, slots=True)
class Hold:
    """A records request that stops the clock, of one person or (None) of all."""

    id: int
    person_id: int | None
    reason: str
    made_by: str
    made_at: datetime


@dataclass(frozen=True, slots=True)
class Message:
    """One message as a records request gets it; `person_id` is a number that says nothing."""

    at: datetime
    person_id: int
    by: str
    channel: str
    text: str


class Privacy:
    """Holds, the retention of texts, and records requests, in one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def hold(self, person_id: int | None, reason: str, staff_id: int, at: datetime) -> int:
        """Stop the clock for a person, or for all; its id."""
        row = HoldTable(person_id=person_id, reason=reason, made_by=staff_id, made_at=at)
        self._session.add(row)
        self._session.flush()
        return row.id

    def release(self, hold_id: int, at: datetime) -> None:
        """Let the clock go on; what is overdue goes with the next round."""
        mine = update(HoldTable).where(HoldTable.id == hold_id, HoldTable.ended_at.is_(None))
        self._session.execute(mine.values(ended_at=at))

    def holds(self) -> list[Hold]:
        """The holds that stand, oldest first."""
        rows = self._session.execute(
            select(HoldTable, StaffTable.name)
            .join(StaffTable, StaffTable.id == HoldTable.made_by)
            .where(HoldTable.ended_at.is_(None))
            .order_by(HoldTable.id)
        )
        return [Hold(row.id, row.person_id, row.reason, name, row.made_at) for row, name in rows]

    def is_held(self, person_id: int) -> bool:
        """Whether a records request holds the texts of this person."""
        return self._session.scalar(select(_held(person_id))) or False

    def overdue(self, before: datetime) -> int:
        """How many texts are older than `before`, or of forgotten people, and not held."""
        counts = [
            select(func.count()).select_from(table).where(*rows)
            for table, due in ((IncomingTable, _received_due(before)), (OutboxTable, _sent_due(before)))
            for rows in due
        ]
        return sum(self._session.scalar(count) or 0 for count in counts)

    def let_go(self, before: datetime) -> None:
        """Blank the texts older than `before`, and those of forgotten people, unless they are held.

        A question left open so long goes with the words that wait for its answer.
        """
        for rows in _received_due(before):
            self._session.execute(update(IncomingTable).where(*rows).values(text="", name=None))
        for rows in _sent_due(before):
            blanked: dict[str, Any] = {"text": None, "lines": [], "opens": None, "address": None}
            self._session.execute(update(OutboxTable).where(*rows).values(**blanked))
        waiting = func.length(cast(PersonTable.waiting_for, String)) > len("{}")
        silent = PersonTable.last_heard_at < before
        for person in self._session.scalars(
            select(PersonTable).where(silent, waiting, ~_held(PersonTable.id))
        ):
            person.waiting_for = {}

    def messages(
        self, since: datetime, until: datetime, person_id: int | None = None, class_code: str | None = None
    ) -> Iterator[Message]:
        """The messages of a time, both ways, of a person, a class or everybody; by person, then by time."""
        people = select(PersonTable.id, PersonTable.name).order_by(PersonTable.id)
        if person_id is not None:
            people = people.where(PersonTable.id == person_id)
        if class_code is not None:
            people = people.where(PersonTable.class_code == class_code.upper())
        for who in self._session.scalars(people).all():
            received = self._session.execute(
                select(IncomingTable.at, IncomingTable.channel, IncomingTable.text).where(
                    from_person(self._session, who), IncomingTable.at >= since, IncomingTable.at < until
                )
            )
            sent = self._session.execute(
                select(OutboxTable.sent_at, OutboxTable.channel, OutboxTable.text).where(
                    OutboxTable.person_id == who,
                    OutboxTable.status == "sent",
                    OutboxTable.sent_at >= since,
                    OutboxTable.sent_at < until,
                )
            )
            both = [Message(at, who, "graduate", channel, text) for at, channel, text in received]
            both += [
                Message(at, who, "programme", channel or "", text or "") for at, channel, text in sent if at
            ]
            yield from sorted(both, key=lambda message: message.at)

    def names(self) -> list[str]:
        """Every name that is kept, of graduates and of staff: what a records request must not show."""
        people = self._session.scalars(
            select(PersonTable.name).where(PersonTable.name.is_not(None)).distinct()
        )
        staff = self._session.scalars(select(StaffTable.name).distinct())
        return sorted({name for name in (*people, *staff) if name})


def _held(person_id: Any) -> ColumnElement[bool]:
    """Whether a hold stands on this person, or on all."""
    stands = HoldTable.ended_at.is_(None) & or_(
        HoldTable.person_id.is_(None), HoldTable.person_id == person_id
    )
    return exists().where(stands)


Due = tuple[tuple[ColumnElement[bool], ...], tuple[ColumnElement[bool], ...]]
"""Texts that are too old, and those of forgotten people: apart, so that each is found by an index."""


def _received_due(before: datetime) -> Due:
    writer = and_(
        AddressTable.channel == IncomingTable.channel, AddressTable.address == IncomingTable.address
    )
    held = or_(
        exists().where(HoldTable.ended_at.is_(None), HoldTable.person_id.is_(None)),
        exists().where(writer, HoldTable.ended_at.is_(None), HoldTable.person_id == AddressTable.person_id),
        and_(
            IncomingTable.channel.in_((THROUGH_STAFF, ERASED)),
            exists().where(
                HoldTable.ended_at.is_(None), IncomingTable.address == cast(HoldTable.person_id, String)
            ),
        ),
    )
    kept = (IncomingTable.text != literal_column("''"), ~held)
    forgotten = IncomingTable.channel == literal_column(f"'{ERASED}'")  # as its index has it
    return (*kept, IncomingTable.at < before, ~forgotten), (*kept, forgotten)


def _sent_due(before: datetime) -> Due:
    erased = select(PersonTable.id).where(PersonTable.standing == "erased")
    kept = (OutboxTable.text.is_not(None), OutboxTable.status != "waiting", ~_held(OutboxTable.person_id))
    forgotten = OutboxTable.person_id.in_(erased)
    return (*kept, OutboxTable.due_at < before), (*kept, OutboxTable.due_at >= before, forgotten)


def erase(session: Session, person_id: int, at: datetime) -> list[tuple[str, str]]:
    """Blank name, addresses and message texts, and end their keeping of piles; gives what the addresses were.

    A confirmation that waits or is on its way is left to go out; whoever sends it blanks it then. Texts that
    a records request holds stay, known only by the person's number, until it is released.
    """
    held = Privacy(session).is_held(person_id)
    mine = update(IncomingTable).where(from_person(session, person_id))
    # a channel's own id of a message may hold the person's
    nameless = {"name": None, "place": None, "message_id": cast(IncomingTable.id, String)}
    if held:
        by_number = {
            "channel": ERASED,
            "address": str(person_id),
        }
        session.execute(mine.values(**by_number, **nameless))
    else:
        session.execute(mine.values(text="", address="", **nameless))
    addresses = session.scalars(select(AddressTable).where(AddressTable.person_id == person_id)).all()
    were = [(one.channel, one.address) for one in addresses]
    for one in addresses:
        session.delete(one)
    _blank_messages(session, person_id, held)
    row = session.get_one(PersonTable, person_id)
    row.name, row.standing, row.waiting_for, row.next_look_at = None, "erased", {}, None
    row.calendar_key = None
    _end_keeping(session, [person_id], at)
    _forget_who_spoke_through(session, person_id, at)
    return were


def leave_addresses(session: Session, person_id: int) -> None:
    """Part a person from their addresses; what came from there stays known as theirs."""
    session.execute(
        update(IncomingTable)
        .where(from_person(session, person_id), IncomingTable.channel.not_in((THROUGH_STAFF, ERASED, MOVED)))
        .values(
            channel=MOVED,
            address=str(person_id),
            message_id=cast(IncomingTable.id, String),
        )
    )
    session.execute(delete(AddressTable).where(AddressTable.person_id == person_id))


def _forget_who_spoke_through(session: Session, person_id: int, at: datetime) -> None:
    """Names of others that only this phone has told us."""
    ids = session.scalars(select(PersonTable.id).where(PersonTable.through_id == person_id)).all()
    session.execute(update(PersonTable).where(PersonTable.id.in_(ids)).values(name=None, standing="erased"))
    _end_keeping(session, ids, at)


def _end_keeping(session: Session, person_ids: Sequence[int], at: datetime) -> None:
    session.execute(
        update(KeeperTable)
        .where(KeeperTable.person_id.in_(person_ids), KeeperTable.left_at.is_(None))
        .values(left_at=at)
    )


def _blank_messages(session: Session, person_id: int, held: bool) -> None:
    on_its_way = (OutboxTable.kind == "confirmation") & OutboxTable.status.in_(("waiting", "claimed"))
    others = update(OutboxTable).where(OutboxTable.person_id == person_id, ~on_its_way)
    session.execute(others.where(OutboxTable.status == "waiting").values(status="held", why_not="erased"))
    if held:
        session.execute(others.where(OutboxTable.text.is_not(None)).values(address=None))
        others = others.where(OutboxTable.text.is_(None))
    session.execute(others.values(text=None, lines=[], opens=None, address=None))


def export(
    session: Session, person_id: int, person: Mapping[str, Any], consents: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Everything kept about a person, as plain JSON values."""
    records = session.scalars(
        select(RecordTable).where(RecordTable.said_by == person_id).order_by(RecordTable.id)
    )
    received = session.scalars(
        select(IncomingTable).where(from_person(session, person_id)).order_by(IncomingTable.id)
    )
    sent = session.scalars(
        select(OutboxTable)
        .where(OutboxTable.person_id == person_id, OutboxTable.status == "sent")
        .order_by(OutboxTable.sent_at, OutboxTable.id)
    )
    return {
        "person": _plain(person),
        "consents": [_plain(line) for line in consents],
        "records": [
            _plain({"pile": row.pile_id, "kind": row.kind, "on": row.on, "hour": row.hour})
            | _plain({"said_at": row.said_at, **row.data})
            for row in records
        ],
        "received": [_plain({"at": row.at, "channel": row.channel, "text": row.text}) for row in received],
        "sent": [_plain({"at": row.sent_at, "channel": row.channel, "text": row.text}) for row in sent],
    }


def _plain(values: Mapping[str, Any]) -> dict[str, Any]:
    """Moments, days and times of day as ISO strings."""
    return {key: value.isoformat() if hasattr(value, "isoformat") else value for key, value in values.items()}
