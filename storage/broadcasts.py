"""One text to many graduates: whom it is for, who said yes to it, how far it has come, what came of it."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import ColumnElement, func, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.models import ConsentTable, OutboxTable, PersonTable
from storage.people import Language
from storage.staff_models import BroadcastStatus, BroadcastTable, StaffTable

Topic = Literal["broadcast", "water", "turn"]
"""What it is about: whoever hears of one matter only gets no other."""
GOING = timedelta(days=60)
OPT_OUT_WITHIN = timedelta(hours=24)
"""An opt-out so soon after a broadcast counts as caused by it."""
AT_ONCE = 500
"""People in one statement."""


@dataclass(frozen=True, slots=True)
class Audience:
    """Which of those who have said yes; what is None does not matter.

    going   only those who have written within 60 days
    """

    class_code: str | None = None
    language: Language | None = None
    going: bool = False
    topic: Topic = "broadcast"


@dataclass(frozen=True, slots=True)
class Broadcast:
    """A text to many and how far it has come."""

    id: int
    title: str
    audience: Audience
    en: str
    es: str
    made_by: int
    maker: str
    made_at: datetime
    approved_by: int | None
    approved_at: datetime | None
    not_before: datetime | None
    per_hour: int
    status: BroadcastStatus
    cursor: int
    started_at: datetime | None
    ended_at: datetime | None
    why_ended: str | None

    def text(self, language: Language) -> str:
        """The text as somebody of this language gets it."""
        return self.es if language == "es" else self.en


@dataclass(frozen=True, slots=True)
class Result:
    """How many were sent, wait, failed, may have gone out, were held back and why, and left within a day."""

    sent: int
    waiting: int
    failed: int
    unknown: int
    held: dict[str, int]
    opted_out: int


class Broadcasts:
    """The broadcasts of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def draft(
        self, title: str, audience: Audience, en: str, es: str, per_hour: int, made_by: int, at: datetime
    ) -> Broadcast:
        """Write one down; nothing goes out before somebody approves it."""
        row = BroadcastTable(
            title=title,
            audience=asdict(audience),
            en=en,
            es=es,
            per_hour=per_hour,
            made_by=made_by,
            made_at=at,
            status="draft",
            cursor=0,
        )
        self._session.add(row)
        self._session.flush()
        return self.get(row.id)

    def get(self, broadcast_id: int) -> Broadcast:
        """The broadcast of this id. Raises BadInput where there is none."""
        found = self._all(BroadcastTable.id == broadcast_id)
        if not found:
            raise BadInput(f"there is no broadcast {broadcast_id}")
        return found[0]

    def latest(self, limit: int) -> list[Broadcast]:
        """The broadcasts, the latest first."""
        return self._all(BroadcastTable.id > 0, limit)

    def active(self, at: datetime) -> list[Broadcast]:
        """Those that are going, and those that may begin by now."""
        ready = (BroadcastTable.status == "approved") & (BroadcastTable.not_before <= at)
        return self._all(ready | (BroadcastTable.status == "going"))

    def approve(self, broadcast_id: int, staff_id: int, at: datetime, not_before: datetime) -> bool:
        """It may go out from `not_before` on; False where it was no draft any more."""
        return self._move(
            broadcast_id,
            ("draft",),
            status="approved",
            approved_by=staff_id,
            approved_at=at,
            not_before=not_before,
        )

    def begin(self, broadcast_id: int, at: datetime) -> bool:
        """The first of it goes out now."""
        return self._move(broadcast_id, ("approved",), status="going", started_at=at)

    def end(self, broadcast_id: int, at: datetime) -> bool:
        """Everybody was looked at."""
        return self._move(broadcast_id, ("going",), status="done", ended_at=at)

    def stop(self, broadcast_id: int, at: datetime, why: str) -> bool:
        """Nothing more of it goes out: what waits is held back. False where it had ended before."""
        if not self._move(
            broadcast_id, ("draft", "approved", "going"), status="stopped", ended_at=at, why_ended=why
        ):
            return False
        waits = update(OutboxTable).where(
            OutboxTable.broadcast_id == broadcast_id,
            OutboxTable.status.in_(("waiting", "claimed")),
            OutboxTable.started_at.is_(None),
        )
        self._session.execute(waits.values(status="held", why_not="stopped", holder=None, lease_until=None))
        return True

    def sizes(self, audience: Audience, at: datetime) -> dict[Language, int]:
        """How many people are meant, by the language in which they get it."""
        rows = self._session.execute(
            select(PersonTable.language, func.count())
            .where(*_meant(audience, at))
            .group_by(PersonTable.language)
        )
        return {row.language: row[1] for row in rows}

    def next_people(self, broadcast: Broadcast, at: datetime, limit: int) -> list[int]:
        """Who is meant and has no row of it yet: first those beyond the cursor, then the others again."""
        row = select(OutboxTable.id).where(
            OutboxTable.broadcast_id == broadcast.id, OutboxTable.person_id == PersonTable.id
        )
        # Whoever was heard of when it began counts as going for as long as it goes on.
        meant = _meant(broadcast.audience, broadcast.started_at or at)
        statement = (
            select(PersonTable.id)
            .where(*meant, ~row.exists())
            .order_by(PersonTable.id <= broadcast.cursor, PersonTable.id)
            .limit(limit)
        )
        return list(self._session.scalars(statement))

    def looked_at(self, broadcast_id: int, person_id: int) -> None:
        """The next beat goes on behind this person."""
        mine = update(BroadcastTable).where(BroadcastTable.id == broadcast_id)
        self._session.execute(mine.values(cursor=person_id))

    def made_since(self, broadcast_id: int, at: datetime) -> int:
        """How many messages of it were put into the outbox after `at`."""
        count = select(func.count()).where(
            OutboxTable.broadcast_id == broadcast_id,
            OutboxTable.due_at > at,
            OutboxTable.status != "held",
        )
        return self._session.scalar(count) or 0

    def result(self, broadcast_id: int) -> Result:
        """What has come of it so far."""
        return self.results([broadcast_id])[broadcast_id]

    def results(self, broadcast_ids: Sequence[int]) -> dict[int, Result]:
        """What has come of each of these so far."""
        counted: dict[int, list[tuple[str, str, int]]] = {one: [] for one in broadcast_ids}
        for one, status, why, number in self._session.execute(
            select(OutboxTable.broadcast_id, OutboxTable.status, OutboxTable.why_not, func.count())
            .where(OutboxTable.broadcast_id.in_(broadcast_ids))
            .group_by(OutboxTable.broadcast_id, OutboxTable.status, OutboxTable.why_not)
        ):
            counted[one or 0].append((status, why or "", number))
        left = self._left(broadcast_ids)
        return {one: _result(counts, len(left[one])) for one, counts in counted.items()}

    def _left(self, broadcast_ids: Sequence[int]) -> dict[int, set[int]]:
        """Who said stop within a day of getting each; those who ever said it are few, so they come first."""
        said_no: defaultdict[int, list[datetime]] = defaultdict(list)
        for who, at in self._session.execute(
            select(ConsentTable.person_id, ConsentTable.at).where(~ConsentTable.given)
        ):
            said_no[who].append(at)
        left: dict[int, set[int]] = {one: set() for one in broadcast_ids}
        people = list(said_no)
        for start in range(0, len(people), AT_ONCE):
            got = select(OutboxTable.broadcast_id, OutboxTable.person_id, OutboxTable.sent_at).where(
                OutboxTable.person_id.in_(people[start : start + AT_ONCE]),
                OutboxTable.status == "sent",
                OutboxTable.broadcast_id.in_(broadcast_ids),
            )
            for one, who, sent_at in self._session.execute(got):
                since = [at - sent_at for at in said_no[who] if sent_at is not None]
                if any(timedelta(0) <= each <= OPT_OUT_WITHIN for each in since):
                    left[one or 0].add(who)
        return left

    def _move(self, broadcast_id: int, since: Sequence[BroadcastStatus], **values: object) -> bool:
        moved = (
            update(BroadcastTable)
            .where(BroadcastTable.id == broadcast_id, BroadcastTable.status.in_(since))
            .values(**values)
            .returning(BroadcastTable.id)
        )
        return self._session.scalar(moved) is not None

    def _all(self, which: ColumnElement[bool], limit: int | None = None) -> list[Broadcast]:
        rows = self._session.execute(
            select(BroadcastTable, StaffTable.name)
            .join(StaffTable, StaffTable.id == BroadcastTable.made_by)
            .where(which)
            .order_by(BroadcastTable.id.desc())
            .limit(limit)
            .execution_options(populate_existing=True)
        )
        return [_broadcast(row, name) for row, name in rows]


def _meant(audience: Audience, at: datetime) -> list[ColumnElement[bool]]:
    meant = [PersonTable.standing == "joined", PersonTable.through_id.is_(None)]
    if audience.class_code is not None:
        meant.append(PersonTable.class_code == audience.class_code)
    if audience.language is not None:
        meant.append(PersonTable.language == audience.language)
    if audience.going:
        meant.append(PersonTable.last_heard_at > at - GOING)
    return meant


def _result(counts: Iterable[tuple[str, str, int]], opted_out: int) -> Result:
    """The result from numbers of messages by status and by why they were held back."""
    by_status: Counter[str] = Counter()
    held: Counter[str] = Counter()
    for status, why, number in counts:
        by_status[status] += number
        if status == "held":
            held[why] += number
    return Result(
        sent=by_status["sent"],
        waiting=by_status["waiting"] + by_status["claimed"],
        failed=by_status["failed"],
        unknown=by_status["unknown"],
        held=dict(held.most_common()),
        opted_out=opted_out,
    )


def _broadcast(row: BroadcastTable, maker: str) -> Broadcast:
    return Broadcast(
        id=row.id,
        title=row.title,
        audience=Audience(**row.audience),
        en=row.en,
        es=row.es,
        made_by=row.made_by,
        maker=maker,
        made_at=row.made_at,
        approved_by=row.approved_by,
        approved_at=row.approved_at,
        not_before=row.not_before,
        per_hour=row.per_hour,
        status=row.status,  # type: ignore[arg-type]
        cursor=row.cursor,
        started_at=row.started_at,
        ended_at=row.ended_at,
        why_ended=row.why_ended,
    )
