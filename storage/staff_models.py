"""The tables of the programme's staff: roles and sign-in, classes and rosters, help, broadcasts, reports.

Codes and sessions are kept as keyed hashes only: who reads the database cannot sign in with it.
"""

from datetime import date, datetime
from typing import Any, Literal

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from storage.models import Table, one_of, partial

Role = Literal["coordinator", "educator", "volunteer"]
BroadcastStatus = Literal["draft", "approved", "going", "stopped", "done"]


class StaffTable(Table):
    """A member of staff: a person who writes to us like any other, with a role."""

    __tablename__ = "staff"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), unique=True)
    name: Mapped[str] = mapped_column(Text)
    role: Mapped[str] = mapped_column(String(12))
    since: Mapped[datetime]
    ended_at: Mapped[datetime | None]

    __table_args__ = (one_of("role", Role, "role"),)


class StaffInviteTable(Table):
    """A one-time code that makes whoever texts it a member of staff."""

    __tablename__ = "staff_invite"

    mark: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    role: Mapped[str] = mapped_column(String(12))
    made_by: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]

    __table_args__ = (one_of("role", Role, "role"),)


class SignInTable(Table):
    """A one-time code sent to a member's own chat; it dies with use, with time, or with wrong tries."""

    __tablename__ = "sign_in"

    id: Mapped[int] = mapped_column(primary_key=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"), index=True)
    mark: Mapped[str] = mapped_column(String(64))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    wrong_tries: Mapped[int]
    used_at: Mapped[datetime | None]


class VisitTable(Table):
    """A signed-in browser."""

    __tablename__ = "visit"

    mark: Mapped[str] = mapped_column(String(64), primary_key=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"), index=True)
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class LookTable(Table):
    """Who of the staff looked at whose thread or ledger: rows are only ever added."""

    __tablename__ = "look"

    id: Mapped[int] = mapped_column(primary_key=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    what: Mapped[str] = mapped_column(String(24))
    at: Mapped[datetime]


class AssignmentTable(Table):
    """The piles that a volunteer may see."""

    __tablename__ = "assignment"

    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"), primary_key=True)
    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"), primary_key=True)
    since: Mapped[datetime]


class BinSaleTable(Table):
    """A bin sold or given at a class, tied to the household where it is known."""

    __tablename__ = "bin_sale"

    id: Mapped[int] = mapped_column(primary_key=True)
    class_code: Mapped[str | None] = mapped_column(ForeignKey("class.code"), index=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    serial: Mapped[str | None] = mapped_column(String(40))
    price_cents: Mapped[int | None]
    sold_on: Mapped[date]
    undone_at: Mapped[datetime | None]

    __table_args__ = (CheckConstraint("price_cents >= 0", name="price_cents"),)


class RosterTable(Table):
    """One import of people from a file; undone as a whole.

    columns   which column of the file holds what, by its place from 0
    rows      the cells of the file until it is taken
    """

    __tablename__ = "roster"

    id: Mapped[int] = mapped_column(primary_key=True)
    class_code: Mapped[str | None] = mapped_column(ForeignKey("class.code"))
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    file_name: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    columns: Mapped[dict[str, Any]]
    rows: Mapped[list[Any] | None]
    taken_at: Mapped[datetime | None]
    undone_at: Mapped[datetime | None]


class RosterPersonTable(Table):
    """Whom an import brought in; people who were here before are not among them.

    reference   of the signed paper, as the file has it; no consent before staff confirm it
    """

    __tablename__ = "roster_person"

    roster_id: Mapped[int] = mapped_column(ForeignKey("roster.id"), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True, index=True)
    reference: Mapped[str | None] = mapped_column(String(80))


class LoggerFileTable(Table):
    """One file of a logger's readings for a pile; undone as a whole. `rows` empties once they are taken."""

    __tablename__ = "logger_file"

    id: Mapped[int] = mapped_column(primary_key=True)
    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"), index=True)
    staff_id: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    file_name: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    rows: Mapped[list[Any] | None]
    taken_at: Mapped[datetime | None]
    undone_at: Mapped[datetime | None]


class ApprovedAnswerTable(Table):
    """A text that staff may send, in both languages; a change is a new version."""

    __tablename__ = "approved_answer"

    id: Mapped[int] = mapped_column(primary_key=True)
    topic: Mapped[str] = mapped_column(String(40))
    version: Mapped[int]
    en: Mapped[str] = mapped_column(Text)
    es: Mapped[str] = mapped_column(Text)
    written_by: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    approved_by: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    approved_at: Mapped[datetime | None]

    __table_args__ = (UniqueConstraint("topic", "version"),)


class BroadcastTable(Table):
    """One text to many graduates, and the brakes on it. `cursor`: whom the planner looked at last."""

    __tablename__ = "broadcast"

    id: Mapped[int] = mapped_column(primary_key=True)
    title: Mapped[str] = mapped_column(Text)
    audience: Mapped[dict[str, Any]]
    en: Mapped[str] = mapped_column(Text)
    es: Mapped[str] = mapped_column(Text)
    made_by: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime]
    approved_by: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    approved_at: Mapped[datetime | None]
    not_before: Mapped[datetime | None]
    per_hour: Mapped[int]
    status: Mapped[str] = mapped_column(String(10))
    cursor: Mapped[int]
    started_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]
    why_ended: Mapped[str | None] = mapped_column(String(24))

    __table_args__ = (
        one_of("status", BroadcastStatus, "status"),
        CheckConstraint("per_hour > 0", name="per_hour"),
    )


class HelpTable(Table):
    """Somebody who needs a human, why, and what a human did about it."""

    __tablename__ = "help"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    pile_id: Mapped[int | None] = mapped_column(ForeignKey("pile.id"))
    incoming_id: Mapped[int | None] = mapped_column(ForeignKey("incoming.id"))
    cause: Mapped[str] = mapped_column(String(24))
    opened_at: Mapped[datetime]
    handled_at: Mapped[datetime | None]
    handled_by: Mapped[int | None] = mapped_column(ForeignKey("staff.id"))
    how: Mapped[str | None] = mapped_column(String(12))

    __table_args__ = (
        partial("ix_help_open", "opened_at", where="handled_at IS NULL"),
        # One open row for each cause: the same trouble again makes no second one.
        partial("uq_help_open", "person_id", "cause", where="handled_at IS NULL", unique=True),
    )


class QuestionTable(Table):
    """What was asked, by topic, so that the classes can be made better."""

    __tablename__ = "question"

    id: Mapped[int] = mapped_column(primary_key=True)
    incoming_id: Mapped[int] = mapped_column(ForeignKey("incoming.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    topic: Mapped[str] = mapped_column(String(40))
    at: Mapped[datetime]
    by_staff: Mapped[bool]

    __table_args__ = (UniqueConstraint("incoming_id", "topic"), Index("ix_question_at", "at"))


class SurveyTable(Table):
    """A survey of at most five questions, asked one a week in the thread; `cursor` as of a broadcast."""

    __tablename__ = "survey"

    id: Mapped[int] = mapped_column(primary_key=True)
    title: Mapped[str] = mapped_column(Text)
    items: Mapped[list[Any]]
    starts_on: Mapped[date]
    ends_on: Mapped[date]
    made_by: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    cursor: Mapped[int]
    stopped_at: Mapped[datetime | None]


class SurveyAnswerTable(Table):
    """One question of a survey to one person, and what they said; a skip is an answer."""

    __tablename__ = "survey_answer"

    survey_id: Mapped[int] = mapped_column(ForeignKey("survey.id"), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    item: Mapped[int] = mapped_column(primary_key=True)
    asked_at: Mapped[datetime]
    answered_at: Mapped[datetime | None]
    value: Mapped[str | None] = mapped_column(String(24))


class FrozenReportTable(Table):
    """A yearly report as it was on its data date; it never changes again."""

    __tablename__ = "frozen_report"

    id: Mapped[int] = mapped_column(primary_key=True)
    year: Mapped[int]
    data_date: Mapped[date]
    made_by: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime]
    version: Mapped[str] = mapped_column(String(32))
    figures: Mapped[dict[str, Any]]


class DayFiguresTable(Table):
    """The figures of a year as of a day gone by: only a cache, worked out once a day."""

    __tablename__ = "day_figures"

    year: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    data_date: Mapped[date]
    figures: Mapped[dict[str, Any]]


class HoldTable(Table):
    """A records request: while it stands, the retention clock of this person (or of all) is stopped."""

    __tablename__ = "records_hold"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    reason: Mapped[str] = mapped_column(Text)
    made_by: Mapped[int] = mapped_column(ForeignKey("staff.id"))
    made_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
