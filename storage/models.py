"""Every table, constraint and index, in reading order.

Moments are stored in UTC and come back aware of it; calendar days are the pile's or the person's own.
Word lists stand here once, so that the type, the check constraint and the reader agree.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Any, ClassVar, Literal, get_args

from sqlalchemy import (
    JSON,
    CheckConstraint,
    ColumnElement,
    DateTime,
    Double,
    ForeignKey,
    Index,
    MetaData,
    String,
    TableClause,
    Text,
    TypeDecorator,
    UniqueConstraint,
    inspect,
    text,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column
from sqlalchemy.sql.dml import ReturningInsert

Standing = Literal["asked", "joined", "stopped", "erased"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Form = Literal["text", "edited", "photo", "voice", "button", "blocked", "grouped"]
"""How something arrived; the last two have no words: we were blocked, or put into a group."""
OutKind = Literal["reply", "confirmation", "nudge", "warning", "alert", "broadcast"]
Status = Literal["waiting", "claimed", "sent", "failed", "unknown", "held"]


def one_of(column: str, words: Any, name: str) -> CheckConstraint:
    """A check that `column` holds one of the words of a Literal (or nothing, where it may be null)."""
    listed = ", ".join(f"'{word}'" for word in get_args(words))
    return CheckConstraint(f"{column} IN ({listed})", name=name)


def partial(name: str, *columns: str, where: str, unique: bool = False) -> Index:
    """An index over the rows of one condition only, on both databases."""
    return Index(name, *columns, unique=unique, sqlite_where=text(where), postgresql_where=text(where))


class UtcDateTime(TypeDecorator[datetime]):
    """A moment: only aware ones go in, UTC comes out. SQLite keeps no offset, so it is put back here."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC; a naive moment is a fault of the caller."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a stored moment must know its offset, got {value.isoformat()}")
        in_utc = value.astimezone(UTC)
        return in_utc.replace(tzinfo=None) if dialect.name == "sqlite" else in_utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """From the database, in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if dialect.name == "sqlite" else value.astimezone(UTC)


class Table(DeclarativeBase):
    """What the tables have in common: names of constraints, and how types map."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        datetime: UtcDateTime(),
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
        Standing: String(10),
        Weekday: String(3),
        Form: String(10),
        OutKind: String(12),
        Status: String(10),
    }


class ClassTable(Table):
    """A taught group; its code is what graduates text to join."""

    __tablename__ = "class"

    code: Mapped[str] = mapped_column(String(16), primary_key=True)
    title: Mapped[str | None] = mapped_column(Text)
    place: Mapped[str | None] = mapped_column(Text)
    language: Mapped[str] = mapped_column(String(2))
    zone: Mapped[str] = mapped_column(String(64))
    seats: Mapped[int | None]
    taught_on: Mapped[date | None]

    __table_args__ = (CheckConstraint("seats > 0", name="seats"),)


class PersonTable(Table):
    """Someone who wrote to us; what is personal is blanked when they are erased."""

    __tablename__ = "person"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str | None] = mapped_column(Text)
    language: Mapped[str] = mapped_column(String(2))
    units: Mapped[str] = mapped_column(String(1))
    zone: Mapped[str] = mapped_column(String(64))
    standing: Mapped[Standing]
    weekday: Mapped[Weekday | None]
    nudge_at: Mapped[time | None]
    quiet_from: Mapped[time]
    quiet_to: Mapped[time]
    paused_until: Mapped[date | None]
    only_about: Mapped[str | None] = mapped_column(String(16))
    cannot_turn: Mapped[bool]
    thermometer: Mapped[bool | None]
    waiting_for: Mapped[dict[str, Any]]
    unanswered: Mapped[int]
    last_heard_at: Mapped[datetime | None]
    created_at: Mapped[datetime]
    joined_at: Mapped[datetime | None]
    next_look_at: Mapped[datetime | None]
    class_code: Mapped[str | None] = mapped_column(ForeignKey("class.code"), index=True)
    through_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    composted_before: Mapped[bool | None]
    household: Mapped[int | None]
    postcode_area: Mapped[str | None] = mapped_column(String(8))
    calendar_key: Mapped[str | None] = mapped_column(String(43), unique=True)

    __table_args__ = (
        CheckConstraint("household > 0", name="household"),
        one_of("standing", Standing, "standing"),
        one_of("weekday", Weekday, "weekday"),
        CheckConstraint("language IN ('en', 'es')", name="language"),
        CheckConstraint("units IN ('f', 'c')", name="units"),
        CheckConstraint("unanswered >= 0", name="unanswered"),
        partial("ix_person_next_look_at", "next_look_at", where="next_look_at IS NOT NULL"),
    )


class AddressTable(Table):
    """Where a person can be reached; `current` marks the one address to write to now."""

    __tablename__ = "address"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    channel: Mapped[str] = mapped_column(String(16))
    address: Mapped[str] = mapped_column(String(128))
    current: Mapped[bool]
    since: Mapped[datetime]

    __table_args__ = (
        UniqueConstraint("channel", "address"),
        partial("uq_address_current", "person_id", where="current", unique=True),
    )


class MoveTable(Table):
    """A code by which a person may move to another phone; only its keyed hash is kept, one a person."""

    __tablename__ = "move"

    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True, autoincrement=False)
    mark: Mapped[str] = mapped_column(String(64), index=True)
    expires_at: Mapped[datetime]


class ConsentTable(Table):
    """The ledger of yes and no: rows are only ever added, in the wording that was shown."""

    __tablename__ = "consent"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    given: Mapped[bool]
    wording: Mapped[str] = mapped_column(Text)
    language: Mapped[str] = mapped_column(String(2))
    channel: Mapped[str] = mapped_column(String(16))
    class_code: Mapped[str | None] = mapped_column(ForeignKey("class.code"))
    version: Mapped[str] = mapped_column(String(32))
    at: Mapped[datetime]


class StopListTable(Table):
    """Addresses of erased people as keyed hashes: enough to know one again, not to write to it."""

    __tablename__ = "stop_list"

    mark: Mapped[str] = mapped_column(String(64), primary_key=True)
    since: Mapped[datetime]


class PileTable(Table):
    """A pile; all that is known of it stands in its records. `last_forecast` is only a cache."""

    __tablename__ = "pile"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str | None] = mapped_column(Text)
    zone: Mapped[str] = mapped_column(String(64))
    founder_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    created_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    next_look_at: Mapped[datetime | None]
    last_forecast: Mapped[dict[str, Any] | None]

    __table_args__ = (partial("ix_pile_next_look_at", "next_look_at", where="closed_at IS NULL"),)


class KeeperTable(Table):
    """Who tends which pile, and the number under which that keeper knows it."""

    __tablename__ = "keeper"

    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True)
    number: Mapped[int]
    joined_at: Mapped[datetime]
    left_at: Mapped[datetime | None]

    __table_args__ = (
        UniqueConstraint("person_id", "number"),
        CheckConstraint("number > 0", name="number"),
    )


class PromiseTable(Table):
    """A range of dates that keepers were told for their pile, so that it can be held against the finish."""

    __tablename__ = "promise"

    id: Mapped[int] = mapped_column(primary_key=True)
    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"), index=True)
    at: Mapped[datetime]
    first: Mapped[date]
    last: Mapped[date]


class InviteTable(Table):
    """A code that lets somebody join a pile, forwarded by one of its keepers."""

    __tablename__ = "invite"

    code: Mapped[str] = mapped_column(String(12), primary_key=True)
    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"))
    made_by: Mapped[int] = mapped_column(ForeignKey("person.id"))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]


class IncomingTable(Table):
    """What arrived, stored before it is acknowledged; the channel's own id lets it in only once."""

    __tablename__ = "incoming"

    id: Mapped[int] = mapped_column(primary_key=True)
    channel: Mapped[str] = mapped_column(String(16))
    address: Mapped[str] = mapped_column(String(128))
    message_id: Mapped[str] = mapped_column(String(128))
    text: Mapped[str] = mapped_column(Text)
    name: Mapped[str | None] = mapped_column(Text)
    place: Mapped[str | None] = mapped_column(String(128))
    form: Mapped[Form]
    at: Mapped[datetime]
    handled_at: Mapped[datetime | None]

    __table_args__ = (
        UniqueConstraint("channel", "message_id"),
        one_of("form", Form, "form"),
        Index("ix_incoming_channel_address", "channel", "address"),
        partial("ix_incoming_waiting", "id", where="handled_at IS NULL"),
        partial("ix_incoming_kept", "at", where="text <> ''"),
        partial("ix_incoming_forgotten", "id", where="channel = 'erased'"),
    )


class RecordTable(Table):
    """What a keeper told us: rows are only ever added. An `undo` or a correction names what it replaces."""

    __tablename__ = "record"

    id: Mapped[int] = mapped_column(primary_key=True)
    pile_id: Mapped[int] = mapped_column(ForeignKey("pile.id"))
    kind: Mapped[str] = mapped_column(String(16))
    on: Mapped[date] = mapped_column("on_day")
    hour: Mapped[float | None] = mapped_column(Double)
    data: Mapped[dict[str, Any]]
    said_by: Mapped[int] = mapped_column(ForeignKey("person.id"))
    said_at: Mapped[datetime]
    incoming_id: Mapped[int | None] = mapped_column(ForeignKey("incoming.id"))
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("record.id"))

    __table_args__ = (
        CheckConstraint("kind <> 'undo' OR replaces_id IS NOT NULL", name="undo_names_its_record"),
        Index("ix_record_pile_id", "pile_id", "id"),
        partial("ix_record_setup", "pile_id", where="kind IN ('setup', 'undo')"),
    )


class OutboxTable(Table):
    """What is to be said: keys and values until it is sent, then the text as sent."""

    __tablename__ = "outbox"

    id: Mapped[int] = mapped_column(primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    pile_id: Mapped[int | None] = mapped_column(ForeignKey("pile.id"))
    incoming_id: Mapped[int | None] = mapped_column(ForeignKey("incoming.id"))
    kind: Mapped[OutKind]
    rank: Mapped[int]
    lines: Mapped[list[Any]]
    options: Mapped[list[Any]]
    opens: Mapped[dict[str, Any] | None]
    reason: Mapped[dict[str, Any]]
    unique_key: Mapped[str] = mapped_column(String(160), unique=True)
    due_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    status: Mapped[Status]
    attempts: Mapped[int]
    next_try_at: Mapped[datetime]
    holder: Mapped[str | None] = mapped_column(String(64))
    lease_until: Mapped[datetime | None]
    started_at: Mapped[datetime | None]
    channel: Mapped[str | None] = mapped_column(String(16))
    address: Mapped[str | None] = mapped_column(String(128))
    place: Mapped[str | None] = mapped_column(String(128))
    channel_message_id: Mapped[str | None] = mapped_column(String(128))
    receipts: Mapped[dict[str, Any] | None]
    text: Mapped[str | None] = mapped_column(Text)
    sent_at: Mapped[datetime | None]
    broadcast_id: Mapped[int | None] = mapped_column(ForeignKey("broadcast.id"))
    why_not: Mapped[str | None] = mapped_column(Text)

    __table_args__ = (
        one_of("kind", OutKind, "kind"),
        one_of("status", Status, "status"),
        CheckConstraint("status <> 'claimed' OR lease_until IS NOT NULL", name="claimed_has_lease"),
        CheckConstraint("status <> 'sent' OR sent_at IS NOT NULL", name="sent_has_moment"),
        partial("ix_outbox_due", "rank", "next_try_at", "id", where="status = 'waiting'"),
        partial("ix_outbox_about_pile", "pile_id", "id", where="kind IN ('nudge', 'warning')"),
        partial("ix_outbox_lease_until", "lease_until", where="status = 'claimed'"),
        # Order within a conversation: the database lets only one message of a person be on its way.
        partial("uq_outbox_one_on_its_way", "person_id", where="status = 'claimed'", unique=True),
        partial("ix_outbox_open", "person_id", "id", where="status IN ('waiting', 'claimed')"),
        partial("ix_outbox_sent", "person_id", "sent_at", where="status = 'sent'"),
        Index("ix_outbox_person_id", "person_id", "due_at"),
        partial("ix_outbox_broadcast", "broadcast_id", "status", "why_not", where="broadcast_id IS NOT NULL"),
        partial("ix_outbox_kept", "due_at", where="text IS NOT NULL"),
    )


class LeaseTable(Table):
    """Who may do a shared task now, until when; a lease that ran out can be taken over."""

    __tablename__ = "lease"

    task: Mapped[str] = mapped_column(String(32), primary_key=True)
    holder: Mapped[str] = mapped_column(String(64))
    until: Mapped[datetime]


class PaceTable(Table):
    """How far a channel's time is given to messages in hand, and until when it wants none at all."""

    __tablename__ = "pace"

    channel: Mapped[str] = mapped_column(String(16), primary_key=True)
    free_at: Mapped[datetime]
    paused_until: Mapped[datetime]


def of_table(table: type[Table]) -> TableClause:
    """The table itself, for statements that go past the mapper, which costs more than they do."""
    return table.metadata.tables[table.__tablename__]


def columns_of(table: type[Table], names: Iterable[str]) -> list[ColumnElement[Any]]:
    """Columns by the names of their attributes, for statements that go past the mapper.

    What every message reads is read so: it takes a third of the time. Such a statement does not flush.
    """
    return [inspect(table).columns[name].label(name) for name in names]


def insert_once(session: Session, table: type[Table], values: Mapping[str, Any]) -> Any:
    """Insert a row unless a unique constraint already holds it: its key, or None where it was there."""
    return session.scalar(_insert_once(session.get_bind().dialect.name, table), values)


def insert(dialect: str, table: type[Table]) -> sqlite.Insert | postgresql.Insert:
    """An insert that can say what to do about a row that is there; both databases word it alike."""
    return sqlite.insert(of_table(table)) if dialect == "sqlite" else postgresql.insert(of_table(table))


@cache
def _insert_once(dialect: str, table: type[Table]) -> ReturningInsert[Any]:
    """Made once: SQLAlchemy takes longer to make and to recognise a statement than SQLite to carry it out."""
    return insert(dialect, table).on_conflict_do_nothing().returning(*inspect(table).primary_key)
