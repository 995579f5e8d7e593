"""What is kept of one person: handing it out, and forgetting it."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from storage.models import (
    AddressTable,
    IncomingTable,
    KeeperTable,
    OutboxTable,
    PersonTable,
    RecordTable,
)


def erase(session: Session, person_id: int, at: datetime) -> list[tuple[str, str]]:
    """Blank name, addresses and message texts, and end their keeping of piles; gives what the addresses were.

    A confirmation that waits or is on its way is left to go out; whoever sends it blanks it then.
    """
    addresses = session.scalars(select(AddressTable).where(AddressTable.person_id == person_id)).all()
    were = [(held.channel, held.address) for held in addresses]
    for channel, address in were:
        session.execute(
            update(IncomingTable)
            .where(IncomingTable.channel == channel, IncomingTable.address == address)
            .values(text="", name=None, address="")
        )
    for held in addresses:
        session.delete(held)
    _blank_messages(session, person_id)
    row = session.get_one(PersonTable, person_id)
    row.name, row.standing, row.waiting_for, row.next_look_at = None, "erased", {}, None
    _end_keeping(session, [person_id], at)
    _forget_who_spoke_through(session, person_id, at)
    return were


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


def _blank_messages(session: Session, person_id: int) -> None:
    on_its_way = (OutboxTable.kind == "confirmation") & OutboxTable.status.in_(("waiting", "claimed"))
    others = update(OutboxTable).where(OutboxTable.person_id == person_id, ~on_its_way)
    session.execute(others.values(text=None, lines=[], opens=None, address=None))
    session.execute(others.where(OutboxTable.status == "waiting").values(status="held", why_not="erased"))


def export(
    session: Session, person_id: int, person: Mapping[str, Any], consents: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Everything kept about a person, as plain JSON values."""
    records = session.scalars(
        select(RecordTable).where(RecordTable.said_by == person_id).order_by(RecordTable.id)
    )
    here = (AddressTable.channel == IncomingTable.channel) & (AddressTable.address == IncomingTable.address)
    received = session.scalars(
        select(IncomingTable)
        .join(AddressTable, here)
        .where(AddressTable.person_id == person_id)
        .order_by(IncomingTable.id)
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
