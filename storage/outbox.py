"""What is to be said, and what came of it: each message once, in order, with its reason.

waiting -> claimed (with a lease) -> sent, failed or unknown; held is what was kept back, with the reason.
A claimed message whose sender died before it began to send goes back to waiting. One that was on its way
has an outcome that nobody knows: a warning or an alert is sent again, anything else is not.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Row, and_, bindparam, func, literal, or_, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.claims import SENT, Reach, lapse, take
from storage.models import (
    AddressTable,
    OutboxTable,
    OutKind,
    PersonTable,
    Status,
    columns_of,
    insert_once,
    of_table,
)

RANK: Mapping[OutKind, int] = {
    "warning": 0,
    "alert": 0,
    "confirmation": 1,
    "reply": 2,
    "nudge": 3,
    "broadcast": 4,
}
"""What goes first."""
UNPROMPTED: tuple[OutKind, ...] = ("nudge", "broadcast")
RECEIPTS_COME_FOR = timedelta(days=7)
ON_ITS_WAY: tuple[Status, ...] = ("waiting", "claimed", "sent", "unknown")
"""Was said, may have been, or is about to be."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a message: the key of its wording and the values that fill it.

    Values are JSON; a number carries its unit in its name (core_c, water_l), a day is an ISO string
    under a name that ends in _on.
    """

    key: str
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class OutRow:
    """A message of the outbox.

    options   keys of the quick answers, in the order of their digits
    opens     what the person is asked by it: becomes `waiting_for` when it is sent
    reason    the inputs and the rule that led to it, for "why?" and for staff
    receipts  of each part by its id, whether it arrived
    text      as sent; None before
    why_not   why it failed, is unknown, waits or was held back
    """

    id: int
    person_id: int
    pile_id: int | None
    kind: OutKind
    lines: tuple[Line, ...]
    options: tuple[str, ...]
    opens: dict[str, Any] | None
    reason: dict[str, Any]
    unique_key: str
    due_at: datetime
    expires_at: datetime | None
    status: Status
    attempts: int
    next_try_at: datetime
    holder: str | None
    lease_until: datetime | None
    channel: str | None
    address: str | None
    channel_message_id: str | None
    text: str | None
    sent_at: datetime | None
    why_not: str | None
    receipts: dict[str, Any] | None = None

    @property
    def arrived(self) -> bool | None:
        """Whether the phone got it: not where one part is lost, not known before all are told of."""
        told = self.receipts or {}
        if not all(told.values()):
            return False
        return True if told and set(told) == set((self.channel_message_id or "").split()) else None


OUTBOX = of_table(OutboxTable)
COLUMNS = columns_of(OutboxTable, (each.name for each in fields(OutRow)))
ABOUT = (
    select(*COLUMNS)
    .where(
        OUTBOX.c.pile_id.in_(bindparam("pile_ids", expanding=True)),
        OUTBOX.c.kind.in_(literal(kind, literal_execute=True) for kind in ("nudge", "warning")),
        OUTBOX.c.status.in_(ON_ITS_WAY),
    )
    .order_by(OUTBOX.c.id)
)
LAST_NUDGE = (
    select(*COLUMNS)
    .where(OUTBOX.c.person_id == bindparam("person_id"), OUTBOX.c.kind == "nudge", OUTBOX.c.status == SENT)
    .order_by(OUTBOX.c.sent_at.desc(), OUTBOX.c.id.desc())
    .limit(1)
)
LAST_HELD = (
    select(*COLUMNS)
    .where(
        OUTBOX.c.person_id == bindparam("person_id"),
        OUTBOX.c.due_at >= bindparam("since"),
        OUTBOX.c.kind == "nudge",
        OUTBOX.c.status == "held",
    )
    .order_by(OUTBOX.c.due_at.desc(), OUTBOX.c.id.desc())
    .limit(1)
)
UNPROMPTED_SINCE = (
    select(*COLUMNS)
    .where(
        OUTBOX.c.person_id == bindparam("person_id"),
        OUTBOX.c.due_at >= bindparam("since"),
        OUTBOX.c.kind.in_(UNPROMPTED),
        OUTBOX.c.status.in_(ON_ITS_WAY),
    )
    .order_by(OUTBOX.c.due_at, OUTBOX.c.id)
)


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of one part of a text to an address; its id is one of `message_ids`."""

    channel: str
    address: str
    message_ids: tuple[str, ...]
    arrived: bool
    at: datetime


class Outbox:
    """The outgoing messages of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def add(
        self,
        person_id: int,
        kind: OutKind,
        lines: Sequence[Line],
        *,
        due_at: datetime,
        unique_key: str,
        reason: Mapping[str, Any],
        pile_id: int | None = None,
        options: Sequence[str] = (),
        opens: Mapping[str, Any] | None = None,
        expires_at: datetime | None = None,
        incoming_id: int | None = None,
        place: tuple[str, str] | None = None,
        broadcast_id: int | None = None,
    ) -> int | None:
        """Put a message into the outbox; None where the unique key is already there.

        A confirmation keeps its own address, so that it still arrives when the person is erased right after.

        place   channel and address of the group that it goes to; None: to the person
        """
        address = self._address(person_id) if kind == "confirmation" else None
        if kind == "confirmation" and address is None:
            raise BadInput(f"person {person_id} has no address: add the confirmation before erasing them")
        own = place or address
        return self._insert(
            person_id,
            kind,
            lines,
            "waiting",
            due_at=due_at,
            unique_key=unique_key,
            reason=dict(reason),
            pile_id=pile_id,
            options=list(options),
            opens=None if opens is None else dict(opens),
            expires_at=expires_at,
            incoming_id=incoming_id,
            broadcast_id=broadcast_id,
            channel=own and own[0],
            address=own and own[1],
            place=place and place[1],
        )

    def hold(
        self,
        person_id: int,
        kind: OutKind,
        lines: Sequence[Line],
        *,
        due_at: datetime,
        unique_key: str,
        reason: Mapping[str, Any],
        why_not: str,
        pile_id: int | None = None,
        broadcast_id: int | None = None,
    ) -> int | None:
        """Write down a message that is not sent, and why; None where it is written down already."""
        return self._insert(
            person_id,
            kind,
            lines,
            "held",
            due_at=due_at,
            unique_key=unique_key,
            reason=dict(reason),
            pile_id=pile_id,
            options=[],
            why_not=why_not,
            broadcast_id=broadcast_id,
        )

    def get(self, row_id: int) -> OutRow:
        """The message of this id. Raises BadInput where there is none."""
        row = self._session.get(OutboxTable, row_id)
        if row is None:
            raise BadInput(f"there is no outgoing message {row_id}")
        return _out(row)

    def claim(
        self,
        at: datetime,
        holder: str,
        lease: timedelta,
        limit: int,
        kinds: Iterable[OutKind] | None = None,
        reach: Reach | None = None,
    ) -> list[OutRow]:
        """Take up to `limit` due messages for `holder` until `at + lease`, one a person at most.

        reach   the channels that the holder can serve, each with its addresses (None: all); None: everything

        What has expired, or would go to someone who opted out, is held back with its reason instead. A
        nudge that expired lets the planner look at its pile anew.
        """
        lapse(self._session, at)
        claimed: list[Row[Any]] = []
        for rank in sorted({RANK[kind] for kind in (kinds or RANK)}):
            claimed += take(self._session, rank, at, holder, at + lease, limit - len(claimed), reach, COLUMNS)
        return [_out(row) for row in claimed]

    def is_claimed(self, row_id: int, holder: str, at: datetime) -> bool:
        """Whether the message is still `holder`'s to send; locked where the database has row locks."""
        mine = select(OutboxTable.id).where(*_claimed_by(row_id, holder, at)).with_for_update()
        return self._session.scalar(mine) is not None

    def starting(self, row_id: int, holder: str, at: datetime) -> bool:
        """Note that sending begins now; False where the lease has gone to someone else meanwhile."""
        begun = self._session.scalar(
            update(OutboxTable)
            .where(*_claimed_by(row_id, holder, at))
            .values(started_at=at, attempts=OutboxTable.attempts + 1)
            .returning(OutboxTable.id)
        )
        return begun is not None

    def sent(self, row_id: int, at: datetime, text: str, channel_message_id: str | None) -> None:
        """It arrived at the channel: keep the text as sent. Of someone erased, nothing is kept."""
        row = self._session.get_one(OutboxTable, row_id)
        erased = self._session.get_one(PersonTable, row.person_id).standing == "erased"
        row.status, row.sent_at, row.channel_message_id = "sent", at, channel_message_id
        row.text = None if erased else text
        if erased:
            row.lines, row.address = [], None
        self._session.flush()

    def arrived(self, receipt: Receipt) -> bool:
        """Note what became of one part of a text; False where the person was sent none of that id lately."""
        sent = self._session.scalars(
            select(OutboxTable)
            .join(AddressTable, AddressTable.person_id == OutboxTable.person_id)
            .where(
                AddressTable.channel == receipt.channel,
                AddressTable.address == receipt.address,
                OutboxTable.due_at >= receipt.at - RECEIPTS_COME_FOR,
                OutboxTable.status == "sent",
            )
            .order_by(OutboxTable.id.desc())
        )
        for row in sent:
            for part in (row.channel_message_id or "").split():
                if part in receipt.message_ids:
                    row.receipts = (row.receipts or {}) | {part: receipt.arrived}
                    self._session.flush()
                    return True
        return False

    def retry(self, row_id: int, at: datetime, why: str) -> None:
        """It was surely not sent: try again from `at` on."""
        self._end(row_id, "waiting", why, next_try_at=at)

    def failed(self, row_id: int, why: str) -> None:
        """It was not sent and never will be."""
        self._end(row_id, "failed", why)

    def unknown(self, row_id: int, why: str) -> None:
        """Nobody knows whether it was sent."""
        self._end(row_id, "unknown", why)

    def hold_back(self, row_id: int, why: str) -> None:
        """It is no longer wanted; one whose sending has begun runs its course."""
        self._session.execute(
            update(OutboxTable)
            .where(OutboxTable.id == row_id, _not_begun())
            .values(status="held", why_not=why, holder=None, lease_until=None)
        )

    def withdraw(self, person_id: int, kinds: Iterable[OutKind], why: str, pile_id: int | None = None) -> int:
        """Hold back what waits for this person (for one pile, where given); how many messages that were."""
        mine = update(OutboxTable).where(
            OutboxTable.person_id == person_id, OutboxTable.kind.in_(tuple(kinds)), _not_begun()
        )
        if pile_id is not None:
            mine = mine.where(OutboxTable.pile_id == pile_id)
        held = mine.values(status="held", why_not=why, holder=None, lease_until=None).returning(
            OutboxTable.id
        )
        return len(self._session.scalars(held).all())

    def about(self, pile_id: int) -> list[OutRow]:
        """Nudges and warnings about a pile that went out, may have or are about to; oldest first."""
        return self.about_each([pile_id])[pile_id]

    def about_each(self, pile_ids: Collection[int]) -> dict[int, list[OutRow]]:
        """The same for several piles."""
        rows = self._session.execute(ABOUT, {"pile_ids": list(pile_ids)}) if pile_ids else ()
        found: dict[int, list[OutRow]] = {pile_id: [] for pile_id in pile_ids}
        for row in rows:
            found[row.pile_id].append(_out(row))
        return found

    def last_nudge(self, person_id: int) -> OutRow | None:
        """The nudge that this person was sent last."""
        row = self._session.execute(LAST_NUDGE, {"person_id": person_id}).one_or_none()
        return None if row is None else _out(row)

    def last_held(self, person_id: int, since: datetime) -> OutRow | None:
        """The nudge that was kept back from this person last, from `since` on."""
        row = self._session.execute(LAST_HELD, {"person_id": person_id, "since": since}).one_or_none()
        return None if row is None else _out(row)

    def unprompted_since(self, person_id: int, at: datetime) -> list[OutRow]:
        """Nudges and broadcasts due from `at` on that went out, may have or are about to; oldest first."""
        rows = self._session.execute(UNPROMPTED_SINCE, {"person_id": person_id, "since": at})
        return [_out(row) for row in rows]

    def last_sent(self, people: Collection[int], since: datetime) -> dict[int, datetime]:
        """Of these people, whom something was sent to after `since`, and when that was last."""
        last = (
            select(OutboxTable.person_id, func.max(OutboxTable.sent_at))
            .where(OutboxTable.status == SENT, OutboxTable.person_id.in_(people), OutboxTable.sent_at > since)
            .group_by(OutboxTable.person_id)
        )
        return {person_id: at for person_id, at in self._session.execute(last) if at is not None}

    def thread(self, person_id: int, limit: int) -> list[OutRow]:
        """The last messages that were sent to a person, oldest first."""
        rows = self._session.execute(
            select(*COLUMNS)
            .where(OutboxTable.person_id == person_id, OutboxTable.status == SENT)
            .order_by(OutboxTable.sent_at.desc(), OutboxTable.id.desc())
            .limit(limit)
        ).all()
        return [_out(row) for row in reversed(rows)]

    def backlog(self, at: datetime) -> tuple[int, datetime | None]:
        """How many messages are due and wait, and since when the oldest does."""
        waiting = select(func.count(), func.min(OutboxTable.next_try_at)).where(
            OutboxTable.status == "waiting", OutboxTable.next_try_at <= at
        )
        number, since = self._session.execute(waiting).one()
        return number, since

    def next_due(self, after: datetime) -> datetime | None:
        """When the first message that waits beyond `after` is due."""
        firsts = [
            self._session.scalar(
                select(func.min(OutboxTable.next_try_at)).where(
                    OutboxTable.status == "waiting", OutboxTable.rank == rank, OutboxTable.next_try_at > after
                )
            )
            for rank in sorted(set(RANK.values()))
        ]
        return min((first for first in firsts if first is not None), default=None)

    def _insert(
        self, person_id: int, kind: OutKind, lines: Sequence[Line], status: Status, **values: Any
    ) -> int | None:
        row = values | {
            "person_id": person_id,
            "kind": kind,
            "rank": RANK[kind],
            "lines": [[line.key, line.values] for line in lines],
            "status": status,
            "attempts": 0,
            "next_try_at": values["due_at"],
        }
        row_id: int | None = insert_once(self._session, OutboxTable, row)
        return row_id

    def _address(self, person_id: int) -> tuple[str, str] | None:
        found = self._session.execute(
            select(AddressTable.channel, AddressTable.address).where(
                AddressTable.person_id == person_id, AddressTable.current
            )
        ).one_or_none()
        return None if found is None else (found.channel, found.address)

    def _end(self, row_id: int, status: Status, why: str, **values: Any) -> None:
        self._session.execute(
            update(OutboxTable)
            .where(OutboxTable.id == row_id)
            .values(status=status, why_not=why, holder=None, lease_until=None, started_at=None, **values)
        )


def _claimed_by(row_id: int, holder: str, at: datetime) -> tuple[ColumnElement[bool], ...]:
    return (
        OutboxTable.id == row_id,
        OutboxTable.status == "claimed",
        OutboxTable.holder == holder,
        OutboxTable.lease_until > at,
    )


def _not_begun() -> ColumnElement[bool]:
    """Waiting, or claimed by a sender that has not begun to send."""
    return or_(
        OutboxTable.status == "waiting",
        and_(OutboxTable.status == "claimed", OutboxTable.started_at.is_(None)),
    )


def _out(row: Any) -> OutRow:
    """Of a mapped row, or of one of `COLUMNS`."""
    return OutRow(
        id=row.id,
        person_id=row.person_id,
        pile_id=row.pile_id,
        kind=row.kind,
        lines=tuple(Line(key, values) for key, values in row.lines),
        options=tuple(row.options),
        opens=row.opens,
        reason=row.reason,
        unique_key=row.unique_key,
        due_at=row.due_at,
        expires_at=row.expires_at,
        status=row.status,
        attempts=row.attempts,
        next_try_at=row.next_try_at,
        holder=row.holder,
        lease_until=row.lease_until,
        channel=row.channel,
        address=row.address,
        channel_message_id=row.channel_message_id,
        receipts=row.receipts,
        text=row.text,
        sent_at=row.sent_at,
        why_not=row.why_not,
    )
