"""Who needs a human, why, and what came of it; the thread of one person as staff read it.

A row opens once for each cause and stays until somebody handles it; it comes back only with a new cause,
or when the same one arises anew.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal, get_args

from sqlalchemy import ColumnElement, Select, and_, bindparam, case, func, or_, select, union_all, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.models import (
    AddressTable,
    IncomingTable,
    KeeperTable,
    OutboxTable,
    PersonTable,
    PileTable,
    RecordTable,
    insert_once,
)
from storage.staff_models import HelpTable

Cause = Literal[
    "danger",
    "crisis",
    "wrong_person",
    "person",
    "asked_again",
    "complaint",
    "request",
    "trouble",
    "not_followed",
    "unreachable",
    "silence",
]
"""Why somebody needs a human, the gravest first."""
How = Literal["replied", "called", "visited", "closed"]

STAFF_HAVE_IT = timedelta(hours=24)
"""So long after a human has answered, the program gives no advice of its own on the matter."""
BY_STAFF = "staff:"
"""How the unique keys of what humans wrote begin."""
THROUGH_STAFF = "staff"
"""The channel of what was told to staff by phone or on a visit; its address is the id of the person."""
ERASED = "erased"
"""The channel of texts that a records request holds although their writer is forgotten; addressed alike."""
MOVED = "moved"
"""The channel of texts from a phone that their writer has left for another; addressed alike."""
SILENT_DAYS = (21, 60)
"""Days of silence in which a call may still save a pile (weeks three to eight; common practice)."""
UNANSWERED = 3
FAILED = 2
"""So many messages in a row that did not arrive: the number may be dead."""
FAILED_WITHIN = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A row of the list: somebody who needs a human, and their last words."""

    id: int
    person_id: int
    name: str | None
    language: str
    standing: str
    pile_id: int | None
    cause: Cause
    opened_at: datetime
    words: str
    said_at: datetime | None


@dataclass(frozen=True, slots=True)
class Said:
    """One message of a thread.

    by       "person", "staff" (told by phone or on a visit), "program", "human"
    status   of what we said: sent, held, waiting, failed, unknown
    reason   why we said it; why_not   why it was held back or failed
    who      the member through whom it was told
    """

    at: datetime
    by: Literal["person", "staff", "program", "human"]
    text: str
    kind: str = ""
    status: str = ""
    reason: Mapping[str, Any] | None = None
    why_not: str | None = None
    channel: str = ""
    lines: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    who: str | None = None


STAFF_WROTE = select(func.max(OutboxTable.due_at)).where(
    OutboxTable.person_id.in_(bindparam("person_ids", expanding=True)),
    OutboxTable.due_at > bindparam("since"),
    OutboxTable.kind == "reply",
    OutboxTable.unique_key.startswith(BY_STAFF),
    or_(OutboxTable.pile_id == bindparam("pile_id"), OutboxTable.pile_id.is_(None)),
)
"""Asked with every message: so it is made once."""


class Helpdesk:
    """The helpdesk of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def open(
        self,
        person_id: int,
        cause: Cause,
        at: datetime,
        pile_id: int | None = None,
        incoming_id: int | None = None,
    ) -> int | None:
        """Put somebody on the list; None where they stand there for this cause: it shows the new words."""
        values = {"person_id": person_id, "cause": cause, "opened_at": at}
        opened: int | None = insert_once(
            self._session, HelpTable, values | {"pile_id": pile_id, "incoming_id": incoming_id}
        )
        if opened is None and incoming_id is not None:
            again = update(HelpTable).where(
                HelpTable.person_id == person_id, HelpTable.cause == cause, HelpTable.handled_at.is_(None)
            )
            self._session.execute(again.values(incoming_id=incoming_id))
        return opened

    def waiting(self, limit: int, piles: Collection[int] | None = None) -> list[Waiting]:
        """Who needs a human, the gravest cause first, then who has waited longest.

        piles   only rows of these piles, as a volunteer sees them; None: all
        """
        rank = case({cause: place for place, cause in enumerate(get_args(Cause))}, value=HelpTable.cause)
        rows = self._session.execute(
            select(HelpTable, PersonTable)
            .join(PersonTable, PersonTable.id == HelpTable.person_id)
            .where(HelpTable.handled_at.is_(None), *_of(piles))
            .order_by(rank, HelpTable.opened_at, HelpTable.id)
            .limit(limit)
        ).all()
        return [self._waiting(row, person, piles) for row, person in rows]

    def how_many(self, piles: Collection[int] | None = None) -> int:
        """How many rows wait."""
        count = select(func.count()).select_from(HelpTable).where(HelpTable.handled_at.is_(None), *_of(piles))
        return self._session.scalar(count) or 0

    def of(self, person_id: int, piles: Collection[int] | None = None) -> list[Waiting]:
        """The open rows of one person (only of these piles, unless None), oldest first."""
        rows = self._session.execute(
            select(HelpTable, PersonTable)
            .join(PersonTable, PersonTable.id == HelpTable.person_id)
            .where(HelpTable.person_id == person_id, HelpTable.handled_at.is_(None), *_of(piles))
            .order_by(HelpTable.id)
        ).all()
        return [self._waiting(row, person, piles) for row, person in rows]

    def get(self, row_id: int) -> Waiting:
        """The row of this id, handled or not. Raises BadInput where there is none."""
        found = self._session.execute(
            select(HelpTable, PersonTable)
            .join(PersonTable, PersonTable.id == HelpTable.person_id)
            .where(HelpTable.id == row_id)
        ).one_or_none()
        if found is None:
            raise BadInput(f"there is no row {row_id} on the list")
        return self._waiting(*found)

    def handle(self, row_ids: Collection[int], staff_id: int, how: How, at: datetime) -> None:
        """These rows are seen to."""
        mine = update(HelpTable).where(HelpTable.id.in_(row_ids), HelpTable.handled_at.is_(None))
        self._session.execute(mine.values(handled_at=at, handled_by=staff_id, how=how))

    def quiet_until(self, pile_id: int, person_ids: Collection[int], at: datetime) -> datetime | None:
        """Until when a human has this pile in hand; None where none has."""
        about = {"person_ids": list(person_ids), "pile_id": pile_id, "since": at - STAFF_HAVE_IT}
        last = self._session.scalar(STAFF_WROTE, about)
        return None if last is None else last + STAFF_HAVE_IT

    def thread(self, person_id: int, limit: int, piles: Collection[int] | None = None) -> list[Said]:
        """The last messages both ways, what was held back included, newest first.

        piles   only what is about these piles, as a volunteer sees it; None: all
        """
        told = self._session.execute(
            select(IncomingTable.at, IncomingTable.channel, IncomingTable.text, IncomingTable.name)
            .where(from_person(self._session, person_id), *_told_of(piles, person_id))
            .order_by(IncomingTable.at.desc(), IncomingTable.id.desc())
            .limit(limit)
        )
        said = self._session.scalars(
            select(OutboxTable)
            .where(OutboxTable.person_id == person_id, *_said_of(piles, person_id))
            .order_by(OutboxTable.due_at.desc(), OutboxTable.id.desc())
            .limit(limit)
        )
        both = [*(_told(*row) for row in told), *(_said(row) for row in said)]
        return sorted(both, key=lambda each: each.at, reverse=True)[:limit]

    def find(self, name: str, address: str, limit: int) -> list[tuple[int, str | None, str, str | None]]:
        """People by the beginning of their name or by their whole address: id, name, language, class."""
        pattern = name.lower().replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        here = select(AddressTable.person_id).where(AddressTable.address == address)
        rows = self._session.execute(
            select(PersonTable.id, PersonTable.name, PersonTable.language, PersonTable.class_code)
            .where(
                PersonTable.standing != "erased",
                or_(func.lower(PersonTable.name).like(pattern, escape="\\"), PersonTable.id.in_(here)),
            )
            .order_by(func.lower(PersonTable.name), PersonTable.id)
            .limit(limit)
        )
        return [(row.id, row.name, row.language, row.class_code) for row in rows]

    def look_for_trouble(self, at: datetime, most: int) -> int:
        """Open rows for numbers that fail and silence that a call may mend, `most` at the most; how many."""
        found = [("unreachable", *row) for row in self._unreachable(at)]
        found += [("silence", *row) for row in self._silent(at)]
        opened = [self.open(person_id, cause, at, pile_id) for cause, person_id, pile_id in found[:most]]  # type: ignore[arg-type]
        return sum(row is not None for row in opened)

    def _waiting(self, row: HelpTable, person: PersonTable, piles: Collection[int] | None = None) -> Waiting:
        which = (
            IncomingTable.id == row.incoming_id
            if row.incoming_id
            else from_person(self._session, row.person_id)
        )
        last = self._session.execute(
            select(IncomingTable.text, IncomingTable.at)
            .where(which, *_told_of(piles, row.person_id))
            .order_by(IncomingTable.at.desc(), IncomingTable.id.desc())
            .limit(1)
        ).one_or_none()
        return Waiting(
            id=row.id,
            person_id=row.person_id,
            name=person.name,
            language=person.language,
            standing=person.standing,
            pile_id=row.pile_id,
            cause=row.cause,  # type: ignore[arg-type]
            opened_at=row.opened_at,
            words=last.text if last else "",
            said_at=last.at if last else None,
        )

    def _unreachable(self, at: datetime) -> list[tuple[int, int | None]]:
        """People whose last messages all failed since they wrote, and whom nobody has seen to since."""
        since = at - FAILED_WITHIN
        last_failed = func.max(OutboxTable.due_at)
        rows = self._session.execute(
            select(OutboxTable.person_id)
            .join(PersonTable, PersonTable.id == OutboxTable.person_id)
            .where(
                PersonTable.standing == "joined",
                OutboxTable.due_at > since,
                OutboxTable.status.in_(("failed", "sent")),
                or_(PersonTable.last_heard_at.is_(None), OutboxTable.due_at > PersonTable.last_heard_at),
            )
            .group_by(OutboxTable.person_id)
            .having(
                and_(
                    func.count() >= FAILED,
                    func.count() == func.sum(case((OutboxTable.status == "failed", 1), else_=0)),
                )
            )
            .order_by(last_failed.desc(), OutboxTable.person_id)
        )
        return [
            (row.person_id, None) for row in rows if not self._seen_to(row.person_id, "unreachable", since)
        ]

    def _silent(self, at: datetime) -> list[tuple[int, int | None]]:
        """People with an open pile who no longer answer, the youngest silence, best to mend, first."""
        first, last = (at - timedelta(days) for days in SILENT_DAYS)
        rows = self._session.execute(
            select(PersonTable.id, func.max(PileTable.id), PersonTable.last_heard_at)
            .join(KeeperTable, and_(KeeperTable.person_id == PersonTable.id, KeeperTable.left_at.is_(None)))
            .join(PileTable, and_(PileTable.id == KeeperTable.pile_id, PileTable.closed_at.is_(None)))
            .where(
                PersonTable.standing == "joined",
                PersonTable.paused_until.is_(None),
                PersonTable.unanswered >= UNANSWERED,
                PersonTable.last_heard_at.between(last, first),
            )
            .group_by(PersonTable.id, PersonTable.last_heard_at)
            .order_by(PersonTable.last_heard_at.desc(), PersonTable.id)
        )
        return [(person, pile) for person, pile, heard in rows if not self._seen_to(person, "silence", heard)]

    def _seen_to(self, person_id: int, cause: Cause, since: datetime | None) -> bool:
        seen = select(HelpTable.id).where(
            HelpTable.person_id == person_id, HelpTable.cause == cause, HelpTable.opened_at > since
        )
        return self._session.scalar(seen.limit(1)) is not None


def from_person(session: Session, person_id: int) -> ColumnElement[bool]:
    """What came from a person's addresses, or was told to staff by them; each found by index."""
    held = select(AddressTable.channel, AddressTable.address).where(AddressTable.person_id == person_id)
    here = [*session.execute(held), *((by, str(person_id)) for by in (THROUGH_STAFF, ERASED, MOVED))]
    return or_(
        *(
            and_(IncomingTable.channel == channel, IncomingTable.address == address)
            for channel, address in here
        )
    )


def _of(piles: Collection[int] | None) -> tuple[ColumnElement[bool], ...]:
    return () if piles is None else (HelpTable.pile_id.in_(piles),)


def _told_of(piles: Collection[int] | None, person_id: int) -> tuple[ColumnElement[bool], ...]:
    return () if piles is None else (IncomingTable.id.in_(_about(piles, person_id)),)


def _said_of(piles: Collection[int] | None, person_id: int) -> tuple[ColumnElement[bool], ...]:
    if piles is None:
        return ()
    answers = OutboxTable.pile_id.is_(None) & OutboxTable.incoming_id.in_(_about(piles, person_id))
    return (OutboxTable.pile_id.in_(piles) | answers,)


def _about(piles: Collection[int], person_id: int) -> Select[Any]:
    """Messages of a person that tell of these piles, need help with one, or were answered about one."""
    told, helped, said = RecordTable, HelpTable, OutboxTable
    named = union_all(
        select(told.incoming_id).where(told.pile_id.in_(piles)),
        select(helped.incoming_id).where(helped.person_id == person_id, helped.pile_id.in_(piles)),
        select(said.incoming_id).where(said.person_id == person_id, said.pile_id.in_(piles)),
    ).subquery()
    return select(named.c.incoming_id).where(named.c.incoming_id.is_not(None))


def _told(at: datetime, channel: str, text: str, name: str | None) -> Said:
    if channel == THROUGH_STAFF:
        return Said(at, "staff", text, channel=channel, who=name)
    return Said(at, "person", text, channel=channel)


def _said(row: OutboxTable) -> Said:
    return Said(
        at=row.sent_at or row.due_at,
        by="human" if row.unique_key.startswith(BY_STAFF) else "program",
        text=row.text or "",
        kind=row.kind,
        status=row.status,
        reason=row.reason,
        why_not=row.why_not,
        channel=row.channel or "",
        lines=tuple((key, values) for key, values in row.lines),
    )
