"""Which messages a sender may take now: what is due, in whose order, and what must not go out after all."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Row, Update, and_, case, literal, or_, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, aliased

from storage.models import AddressTable, OutboxTable, OutKind, PersonTable, PileTable, Standing, of_table

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
    """A due message, the standing of the person whom it is for, and whether they can be reached.

    own_place   it goes where it was written for
    """

    id: int
    kind: OutKind
    pile_id: int | None
    expires_at: datetime | None
    standing: Standing
    reached: bool
    own_place: bool


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
    columns: Sequence[ColumnElement[Any]],
) -> list[Row[Any]]:
    """Claim up to `limit` due messages of one rank; hold back, with the reason, those that must not go.

    These columns of the claimed, the longest due first.
    """
    taken: list[Row[Any]] = []
    collisions = 0
    while len(taken) < limit and collisions < COLLISIONS:
        candidates = _candidates(session, rank, at, limit - len(taken), reach)
        if not candidates:
            break
        try:
            with session.begin_nested():
                taken += _sort_out(session, candidates, at, holder, lease_until, columns)
        except IntegrityError:  # another process has just put a message of the same person on its way
            collisions += 1
    return taken


def _candidates(
    session: Session, rank: int, at: datetime, limit: int, reach: Reach | None
) -> list[Candidate]:
    """Due messages, each the first that its person should get; locked where the database has row locks."""
    other = aliased(OutboxTable)
    theirs = select(other.id).where(other.person_id == OutboxTable.person_id)
    on_its_way = theirs.where(other.status == CLAIMED)
    overtaken = theirs.where(
        other.status.in_((WAITING, CLAIMED)),
        other.rank <= rank,
        other.id < OutboxTable.id,
        or_(other.next_try_at <= at, other.attempts > 0),
    )
    statement = (
        select(
            OutboxTable.id,
            OutboxTable.kind,
            OutboxTable.pile_id,
            OutboxTable.expires_at,
            PersonTable.standing,
            AddressTable.id.is_not(None),
            OWN_PLACE,
        )
        .join(PersonTable, PersonTable.id == OutboxTable.person_id)
        .outerjoin(AddressTable, (AddressTable.person_id == PersonTable.id) & AddressTable.current)
        .where(
            OutboxTable.status == WAITING,
            OutboxTable.rank == rank,
            OutboxTable.next_try_at <= at,
            ~on_its_way.exists(),
            ~overtaken.offset(
                0
            ).exists(),  # so PostgreSQL asks it of each one, and does not read all that waits
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
    session: Session,
    candidates: Sequence[Candidate],
    at: datetime,
    holder: str,
    lease_until: datetime,
    columns: Sequence[ColumnElement[Any]],
) -> list[Row[Any]]:
    """Hold back what must not go, claim the rest: these columns of it, in the order of the candidates."""
    refused: dict[str, list[Candidate]] = defaultdict(list)
    wanted: dict[bool, list[int]] = {True: [], False: []}
    for candidate in candidates:
        if refusal := _refusal(candidate, at):
            refused[refusal].append(candidate)
        else:
            wanted[candidate.own_place].append(candidate.id)
    for why, held in refused.items():
        _hold(session, held, why, at)
    taken = {"status": "claimed", "holder": holder, "lease_until": lease_until, "started_at": None}
    found: dict[int, Row[Any]] = {}
    if wanted[True]:
        own = _waiting(wanted[True]).values(taken).returning(*columns)
        found |= {row.id: row for row in session.execute(own)}
    if wanted[False]:
        here = (AddressTable.person_id == OutboxTable.person_id) & AddressTable.current
        where = taken | {"channel": AddressTable.channel, "address": AddressTable.address}
        theirs = _waiting(wanted[False]).where(here).values(where).returning(*columns)
        found |= {row.id: row for row in session.execute(theirs)}
    return [found[each.id] for each in candidates if each.id in found]


def _hold(session: Session, held: Sequence[Candidate], why: str, at: datetime) -> None:
    """Keep messages back for one reason; the piles of what expired are looked at anew."""
    session.execute(_waiting([each.id for each in held]).values(status="held", why_not=why))
    piles = {each.pile_id for each in held if each.pile_id is not None}
    if why == EXPIRED and piles:
        session.execute(update(PileTable).where(PileTable.id.in_(piles)).values(next_look_at=at))


def _waiting(ids: Sequence[int]) -> Update:
    return update(of_table(OutboxTable)).where(OutboxTable.id.in_(ids))


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
