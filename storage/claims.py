"""Which messages a sender may take now: what is due, in whose order, and what must not go out after all."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement, and_, case, or_, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from storage.models import AddressTable, OutboxTable, OutKind, PersonTable, PileTable

MUST_ARRIVE: tuple[OutKind, ...] = ("warning", "alert")
"""Sent again rather than lost."""
ANSWERS_ONLY: tuple[OutKind, ...] = ("reply", "confirmation", *MUST_ARRIVE)
"""What may go to someone who has written but not yet said yes."""
EXPIRED = "expired"
Reach = Mapping[str, Collection[str] | None]
"""Channels, each with the addresses that can be served through it, None for all."""


class Candidate(NamedTuple):
    """A due message, whom it is for, and where that person is reached now."""

    row: OutboxTable
    person: PersonTable
    address: AddressTable | None


def lapse(session: Session, at: datetime) -> None:
    """End the leases that ran out: back to waiting where that is safe or must be, else unknown."""
    lapsed = update(OutboxTable).where(OutboxTable.status == "claimed", OutboxTable.lease_until <= at)
    again = or_(OutboxTable.started_at.is_(None), OutboxTable.kind.in_(MUST_ARRIVE))
    session.execute(
        lapsed.where(again).values(
            status="waiting",
            next_try_at=at,
            holder=None,
            lease_until=None,
            started_at=None,
            why_not="sender lost",
        )
    )
    session.execute(lapsed.values(status="unknown", why_not="sender lost while sending"))


def take(
    session: Session,
    rank: int,
    at: datetime,
    holder: str,
    lease_until: datetime,
    limit: int,
    reach: Reach | None,
) -> list[OutboxTable]:
    """Claim up to `limit` due messages of one rank; hold back, with the reason, those that must not go."""
    taken: list[OutboxTable] = []
    while len(taken) < limit:
        candidates = _candidates(session, rank, at, limit - len(taken), reach)
        if not candidates:
            break
        try:
            with session.begin_nested():
                taken += _sort_out(session, candidates, at, holder, lease_until)
        except IntegrityError:  # another process has just put a message of the same person on its way
            break
    return taken


def _candidates(
    session: Session, rank: int, at: datetime, limit: int, reach: Reach | None
) -> list[Candidate]:
    """Due messages, each the first that its person should get; locked where the database has row locks."""
    other = aliased(OutboxTable)
    goes_first = or_(
        other.status == "claimed",
        and_(
            other.status == "waiting",
            other.rank <= rank,
            other.id < OutboxTable.id,
            or_(other.next_try_at <= at, other.attempts > 0),
        ),
    )
    statement = (
        select(OutboxTable, PersonTable, AddressTable)
        .join(PersonTable, PersonTable.id == OutboxTable.person_id)
        .outerjoin(AddressTable, (AddressTable.person_id == PersonTable.id) & AddressTable.current)
        .where(
            OutboxTable.status == "waiting",
            OutboxTable.rank == rank,
            OutboxTable.next_try_at <= at,
            ~select(other.id).where(other.person_id == OutboxTable.person_id, goes_first).exists(),
        )
        .order_by(OutboxTable.next_try_at, OutboxTable.id)
        .limit(limit)
        .with_for_update(skip_locked=True, of=[OutboxTable, PersonTable])
    )
    if reach is not None:
        statement = statement.where(_within(reach))
    return [Candidate(*row) for row in session.execute(statement)]


def _within(reach: Reach) -> ColumnElement[bool]:
    """That a message goes to one of these channels and addresses, or to none at all any more."""
    own = OutboxTable.kind == "confirmation"
    channel = case((own, OutboxTable.channel), else_=AddressTable.channel)
    address = case((own, OutboxTable.address), else_=AddressTable.address)
    served = [
        channel == name if addresses is None else and_(channel == name, address.in_(addresses))
        for name, addresses in reach.items()
    ]
    return or_(channel.is_(None), *served)


def _sort_out(
    session: Session, candidates: Sequence[Candidate], at: datetime, holder: str, lease_until: datetime
) -> list[OutboxTable]:
    taken = []
    for row, person, address in candidates:
        if refusal := _refusal(row, person, address, at):
            row.status, row.why_not = "held", refusal
            if refusal == EXPIRED and row.pile_id is not None:
                session.get_one(PileTable, row.pile_id).next_look_at = at
            continue
        if row.kind != "confirmation" and address is not None:
            row.channel, row.address = address.channel, address.address
        row.status, row.holder, row.lease_until, row.started_at = "claimed", holder, lease_until, None
        taken.append(row)
    session.flush()
    return taken


def _refusal(row: OutboxTable, person: PersonTable, address: AddressTable | None, at: datetime) -> str | None:
    """Why this message must not go out, None where it may."""
    if row.kind == "confirmation":
        return None
    if person.standing in ("stopped", "erased"):
        return "opted out"
    if person.standing == "asked" and row.kind not in ANSWERS_ONLY:
        return "no consent"
    if row.expires_at is not None and row.expires_at <= at:
        return EXPIRED
    return "no address" if address is None else None
