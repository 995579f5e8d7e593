"""Which messages a sender may take now: what is due, in whose order, and what must not go out after all."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Update, and_, case, literal, or_, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from storage.models import AddressTable, OutboxTable, OutKind, PersonTable, PileTable, Standing

MUST_ARRIVE: tuple[OutKind, ...] = ("warning", "alert")
"""Sent again rather than lost."""
ANSWERS_ONLY: tuple[OutKind, ...] = ("reply", "confirmation", *MUST_ARRIVE)
"""What may go to someone who has written but not yet said yes."""
EXPIRED = "expired"
WAITING, CLAIMED, SENT = (literal(status, literal_execute=True) for status in ("waiting", "claimed", "sent"))
"""Written into the statements themselves: a prepared one finds a partial index only by what stands there."""
OWN_PLACE = or_(OutboxTable.kind == "confirmation", OutboxTable.place.is_not(None))
"""That a message keeps the address that it was written for, wherever its person is reached now."""
COLLISIONS = 3
"""So often a claim is tried again after another process was quicker."""
Reach = Mapping[str, Collection[str] | None]
"""Channels, each with the addresses that can be served through it, None for all."""


class Candidate(NamedTuple):
    """A due message, the standing of the person whom it is for, and whether they can be reached."""

    id: int
    kind: OutKind
    pile_id: int | None
    expires_at: datetime | None
    standing: Standing
    reached: bool


def lapse(session: Session, at: datetime) -> None:
    """End the leases that ran out: back to waiting where that is safe or must be, else unknown."""
    lapsed = update(OutboxTable).where(OutboxTable.status == CLAIMED, OutboxTable.lease_until <= at)
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
) -> list[int]:
    """Claim up to `limit` due messages of one rank; hold back, with the reason, those that must not go.

    The ids of the claimed, the longest due first.
    """
    taken: list[int] = []
    collisions = 0
    while len(taken) < limit and collisions < COLLISIONS:
        candidates = _candidates(session, rank, at, limit - len(taken), reach)
        if not candidates:
            break
        try:
            with session.begin_nested():
                taken += _sort_out(session, candidates, at, holder, lease_until)
        except IntegrityError:  # another process has just put a message of the same person on its way
            collisions += 1
    return taken


def _candidates(
    session: Session, rank: int, at: datetime, limit: int, reach: Reach | None
) -> list[Candidate]:
    """Due messages, each the first that its person should get; locked where the database has row locks."""
    other = aliased(OutboxTable)
    goes_first = or_(
        other.status == CLAIMED,
        and_(
            other.rank <= rank,
            other.id < OutboxTable.id,
            or_(other.next_try_at <= at, other.attempts > 0),
        ),
    )
    overtaken = select(other.id).where(
        other.person_id == OutboxTable.person_id, other.status.in_((WAITING, CLAIMED)), goes_first
    )
    statement = (
        select(
            OutboxTable.id,
            OutboxTable.kind,
            OutboxTable.pile_id,
            OutboxTable.expires_at,
            PersonTable.standing,
            AddressTable.id.is_not(None),
        )
        .join(PersonTable, PersonTable.id == OutboxTable.person_id)
        .outerjoin(AddressTable, (AddressTable.person_id == PersonTable.id) & AddressTable.current)
        .where(
            OutboxTable.status == WAITING,
            OutboxTable.rank == rank,
            OutboxTable.next_try_at <= at,
            ~overtaken.exists(),
        )
        .order_by(OutboxTable.next_try_at, OutboxTable.id)
        .limit(limit)
        .with_for_update(skip_locked=True, key_share=True, of=[OutboxTable, PersonTable])
    )
    if reach is not None:
        statement = statement.where(_within(reach))
    return [Candidate(*row) for row in session.execute(statement)]


def _within(reach: Reach) -> ColumnElement[bool]:
    """That a message goes to one of these channels and addresses, or to none at all any more."""
    channel = case((OWN_PLACE, OutboxTable.channel), else_=AddressTable.channel)
    address = case((OWN_PLACE, OutboxTable.address), else_=AddressTable.address)
    served = [
        channel == name if addresses is None else and_(channel == name, address.in_(addresses))
        for name, addresses in reach.items()
    ]
    return or_(channel.is_(None), *served)


def _sort_out(
    session: Session, candidates: Sequence[Candidate], at: datetime, holder: str, lease_until: datetime
) -> list[int]:
    """Hold back what must not go, claim the rest: the ids of the claimed, in the order of the candidates."""
    refused: dict[str, list[Candidate]] = defaultdict(list)
    wanted: list[int] = []
    for candidate in candidates:
        if refusal := _refusal(candidate, at):
            refused[refusal].append(candidate)
        else:
            wanted.append(candidate.id)
    for why, held in refused.items():
        _hold(session, held, why, at)
    if wanted:
        session.execute(
            _waiting(wanted).values(
                status="claimed",
                holder=holder,
                lease_until=lease_until,
                started_at=None,
                channel=_where_now(OutboxTable.channel, AddressTable.channel),
                address=_where_now(OutboxTable.address, AddressTable.address),
            )
        )
    return wanted


def _hold(session: Session, held: Sequence[Candidate], why: str, at: datetime) -> None:
    """Keep messages back for one reason; the piles of what expired are looked at anew."""
    session.execute(_waiting([each.id for each in held]).values(status="held", why_not=why))
    piles = {each.pile_id for each in held if each.pile_id is not None}
    if why == EXPIRED and piles:
        session.execute(update(PileTable).where(PileTable.id.in_(piles)).values(next_look_at=at))


def _waiting(ids: Sequence[int]) -> Update:
    return update(OutboxTable).where(OutboxTable.id.in_(ids))


def _where_now(own: Any, current: Any) -> ColumnElement[Any]:
    """Where the person is reached now; what has a place of its own keeps it."""
    found = select(current).where(AddressTable.person_id == OutboxTable.person_id, AddressTable.current)
    return case((OWN_PLACE, own), else_=found.scalar_subquery())


def _refusal(candidate: Candidate, at: datetime) -> str | None:
    """Why this message must not go out, None where it may."""
    if candidate.kind == "confirmation":
        return None
    if candidate.standing in ("stopped", "erased"):
        return "opted out"
    if candidate.standing == "asked" and candidate.kind not in ANSWERS_ONLY:
        return "no consent"
    if candidate.expires_at is not None and candidate.expires_at <= at:
        return EXPIRED
    return None if candidate.reached else "no address"
