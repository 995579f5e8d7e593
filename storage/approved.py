"""Texts that staff may send: in both languages, by version, each with whoever approved it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session, aliased

from shared.errors import BadInput
from storage.people import Language
from storage.staff_models import ApprovedAnswerTable, StaffTable


@dataclass(frozen=True, slots=True)
class Approved:
    """One version of a text; `approver` None: not approved yet, nobody can send it."""

    id: int
    topic: str
    version: int
    en: str
    es: str
    written_by: int
    writer: str
    approver: str | None
    approved_at: datetime | None

    def text(self, language: Language) -> str:
        """The text as somebody of this language gets it."""
        return self.es if language == "es" else self.en


class ApprovedAnswers:
    """The approved texts of one unit of work. A change is a new version; what was sent stays as it was."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def write(self, topic: str, en: str, es: str, staff_id: int) -> Approved:
        """A new version of a topic, the first where the topic is new; it waits to be approved."""
        mine = select(func.max(ApprovedAnswerTable.version)).where(ApprovedAnswerTable.topic == topic)
        version = (self._session.scalar(mine) or 0) + 1
        row = ApprovedAnswerTable(topic=topic, version=version, en=en, es=es, written_by=staff_id)
        self._session.add(row)
        self._session.flush()
        return self.get(row.id)

    def get(self, answer_id: int) -> Approved:
        """The version of this id. Raises BadInput where there is none."""
        row = self._session.execute(_versions().where(ApprovedAnswerTable.id == answer_id)).one_or_none()
        if row is None:
            raise BadInput(f"there is no approved answer {answer_id}")
        return Approved(*row)

    def approve(self, answer_id: int, staff_id: int, at: datetime) -> Approved:
        """From now on this version is the one that is sent; one that is approved stays as it is."""
        mine = update(ApprovedAnswerTable).where(
            ApprovedAnswerTable.id == answer_id, ApprovedAnswerTable.approved_at.is_(None)
        )
        self._session.execute(mine.values(approved_by=staff_id, approved_at=at))
        return self.get(answer_id)

    def current(self) -> list[Approved]:
        """Of each topic the newest approved version, by topic."""
        newest = (
            select(ApprovedAnswerTable.topic, func.max(ApprovedAnswerTable.version).label("version"))
            .where(ApprovedAnswerTable.approved_at.is_not(None))
            .group_by(ApprovedAnswerTable.topic)
            .subquery()
        )
        rows = self._session.execute(
            _versions()
            .join(
                newest,
                (newest.c.topic == ApprovedAnswerTable.topic)
                & (newest.c.version == ApprovedAnswerTable.version),
            )
            .order_by(ApprovedAnswerTable.topic)
        )
        return [Approved(*row) for row in rows]

    def waiting(self) -> list[Approved]:
        """What has been written and nobody has approved, the oldest first."""
        waits = _versions().where(ApprovedAnswerTable.approved_at.is_(None)).order_by(ApprovedAnswerTable.id)
        return [Approved(*row) for row in self._session.execute(waits)]

    def versions(self, topic: str) -> list[Approved]:
        """Every version of a topic, the newest first."""
        mine = _versions().where(ApprovedAnswerTable.topic == topic)
        rows = self._session.execute(mine.order_by(ApprovedAnswerTable.version.desc()))
        return [Approved(*row) for row in rows]


def _versions() -> Any:
    writer, approver = aliased(StaffTable), aliased(StaffTable)
    return (
        select(
            ApprovedAnswerTable.id,
            ApprovedAnswerTable.topic,
            ApprovedAnswerTable.version,
            ApprovedAnswerTable.en,
            ApprovedAnswerTable.es,
            ApprovedAnswerTable.written_by,
            writer.name,
            approver.name,
            ApprovedAnswerTable.approved_at,
        )
        .join(writer, writer.id == ApprovedAnswerTable.written_by)
        .outerjoin(approver, approver.id == ApprovedAnswerTable.approved_by)
    )
