"""One database, and one unit of work in it: a transaction that hands out the repositories.

SQLite or PostgreSQL by URL, the same code. Leaving without `commit()` rolls everything back.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import partial
from math import inf
from pathlib import Path
from time import monotonic
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, or_, select, text, update
from sqlalchemy.exc import ArgumentError, DBAPIError, DisconnectionError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.orm import Session
from sqlalchemy.pool import ConnectionPoolEntry

from shared.errors import BadInput, StorageTrouble
from storage.approved import ApprovedAnswers
from storage.broadcasts import Broadcasts
from storage.classes import Classes
from storage.export import Export
from storage.helpdesk import Helpdesk
from storage.inbox import Inbox
from storage.logger_files import LoggerFiles
from storage.models import LeaseTable, PaceTable, insert, insert_once
from storage.outbox import Outbox
from storage.people import People
from storage.piles import Piles
from storage.privacy import Privacy
from storage.reports import Reports
from storage.rosters import Rosters
from storage.staff import Staff
from storage.surveys import Surveys

BUSY_S = 15
"""How long a writer waits for another one on SQLite; `?timeout=` in the URL says otherwise. [s]"""
EVER_SINCE = datetime(1970, 1, 1, tzinfo=UTC)
RESTS_S = 5.0
"""A connection that nobody has used for so long is asked whether it still stands. [s]"""
GIVEN_AHEAD = timedelta(minutes=5)
"""No channel's time is given so far ahead, except by a clock that has been set back since."""
UPGRADE_LOCK = 7_204_513
"""Any number that nobody else locks: on PostgreSQL only one process upgrades at a time."""


class Leases:
    """Which process does a shared task."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def take(self, task: str, holder: str, at: datetime, lease: timedelta) -> bool:
        """Hold the task until `at + lease`; False while another process holds it."""
        dialect = self._session.get_bind().dialect.name
        wish = insert(dialect, LeaseTable).values(task=task, holder=holder, until=at + lease)
        free = or_(LeaseTable.holder == holder, LeaseTable.until <= at)
        taken = wish.on_conflict_do_update(
            index_elements=[LeaseTable.task], set_={"holder": holder, "until": at + lease}, where=free
        )
        return self._session.scalar(taken.returning(LeaseTable.task)) is not None

    def rest(self, task: str, holder: str, until: datetime) -> None:
        """The task is done; nobody, the holder neither, does it again before then."""
        mine = update(LeaseTable).where(LeaseTable.task == task, LeaseTable.holder == holder)
        self._session.execute(mine.values(holder="", until=until))


class Paces:
    """How fast each channel is served by all processes together."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def free_at(self, channel: str, at: datetime) -> datetime:
        """From when on the channel may be given more, `at` or later; other processes wait for the commit."""
        insert_once(
            self._session, PaceTable, {"channel": channel, "free_at": EVER_SINCE, "paused_until": EVER_SINCE}
        )
        row = self._session.get_one(PaceTable, channel, with_for_update=True, populate_existing=True)
        given = row.free_at if row.free_at <= at + GIVEN_AHEAD else at
        return max(given, row.paused_until, at)

    def take(self, channel: str, until: datetime) -> None:
        """The channel's time up to `until` is given to messages in hand."""
        self._session.execute(update(PaceTable).where(PaceTable.channel == channel).values(free_at=until))

    def pause(self, channel: str, until: datetime) -> None:
        """The channel wants nothing more before `until`."""
        longer = update(PaceTable).where(PaceTable.channel == channel, PaceTable.paused_until < until)
        self._session.execute(longer.values(paused_until=until))

    def paused_until(self, channel: str, at: datetime) -> datetime | None:
        """Until when the channel wants nothing more, None where it takes messages at `at`."""
        paused = select(PaceTable.paused_until).where(
            PaceTable.channel == channel, PaceTable.paused_until > at
        )
        return self._session.scalar(paused)


class Work:
    """A transaction and the repositories that act in it."""

    def __init__(self, session: Session, secret: str) -> None:
        self._session = session
        self.people = People(session, secret)
        self.piles = Piles(session)
        self.classes = Classes(session)
        self.inbox = Inbox(session)
        self.outbox = Outbox(session)
        self.leases = Leases(session)
        self.paces = Paces(session)
        self.staff = Staff(session, secret)
        self.helpdesk = Helpdesk(session)
        self.privacy = Privacy(session)
        self.reports = Reports(session)
        self.rosters = Rosters(session)
        self.approved = ApprovedAnswers(session)
        self.broadcasts = Broadcasts(session)
        self.surveys = Surveys(session)
        self.export = Export(session)
        self.logger_files = LoggerFiles(session)

    def commit(self) -> None:
        """Make everything of this unit of work last."""
        self._session.commit()


class Store:
    """A database. `secret` keys the hashes of erased addresses; changing it forgets which those were."""

    def __init__(self, url: str, secret: str = "") -> None:
        self._secret = secret
        self._writing = threading.Lock()
        try:
            self._engine, self._hasty = _engine(url), _engine(url, lasting=False)
        except (ArgumentError, NoSuchModuleError, ImportError):
            raise BadInput(
                "the database URL cannot be used: give sqlite:///path/to/file or postgresql+psycopg://user@host/name"
            ) from None

        one_by_one = {"isolation_level": "AUTOCOMMIT"}  # as its readers see the rows anyway, in fewer trips
        on_sqlite = self._engine.dialect.name == "sqlite"
        self._reader = self._hasty.execution_options(**({"begin": "DEFERRED"} if on_sqlite else one_by_one))

    def upgrade(self) -> None:
        """Bring the tables to this version. Raises StorageTrouble where a newer version has been at work."""
        config = Config()
        config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
        with self._one_line(), self._engine.connect() as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": UPGRADE_LOCK})
            self._refuse_newer(config, connection)
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    @contextmanager
    def work(self, *, reading: bool = False, lasting: bool = True) -> Iterator[Work]:
        """One unit of work. On SQLite it holds the one write lock from the start, unless it only reads.

        lasting   survives a power cut from its commit on; else only with the next one that does. So is what
                  nobody outside has been told of yet: before anything goes out, the note that it does lasts,
                  and with it all that led there

        Raises StorageTrouble where the database is locked, full, gone or was never set up.
        """
        engine = self._reader if reading else self._engine if lasting else self._hasty
        with self._turn(reading), self._one_line(), Session(engine, expire_on_commit=False) as session:
            yield Work(session, self._secret)

    def close(self) -> None:
        """Let go of all connections."""
        self._engine.dispose()
        self._hasty.dispose()

    @contextmanager
    def _turn(self, reading: bool) -> Iterator[None]:
        """Threads of one process wait here for SQLite's one write lock, in order; SQLite would only poll."""
        if reading or self._engine.dialect.name != "sqlite":
            yield
            return
        if not self._writing.acquire(timeout=BUSY_S):
            raise StorageTrouble(f"the database {self._engine.url} is busy: try again")
        try:
            yield
        finally:
            self._writing.release()

    def _refuse_newer(self, config: Config, connection: Connection) -> None:
        current = MigrationContext.configure(connection).get_current_revision()
        known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
        if current is not None and current not in known:
            raise StorageTrouble(
                f"the database {self._engine.url} is from a newer version ({current}): install that version"
            )

    @contextmanager
    def _one_line(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            if trouble := _trouble(str(error.orig)):
                raise StorageTrouble(f"the database {self._engine.url} {trouble}") from error
            raise
        except SQLAlchemyError as error:
            if "QueuePool" in str(error):
                raise StorageTrouble(
                    f"the database {self._engine.url} has no free connection: try again"
                ) from error
            raise


TROUBLES = (
    ("no such table", "has not been set up: upgrade it first"),
    ("does not exist", "is not there or has not been set up: create and upgrade it first"),
    ("locked", "is locked by another program: close that one or try again"),
    ("unable to open", "cannot be opened: check that the folder is there and may be written"),
    ("readonly", "cannot be written: check the permissions of the file and its folder"),
    ("not a database", "is no SQLite database: name another file"),
    ("malformed", "is damaged: restore it from a backup"),
    ("is full", "has no room left: make space on the disk"),
    ("No space left", "has no room left: make space on the disk"),
    ("disk I/O", "cannot be read or written: check the disk"),
    ("authentication", "refuses the user or the password: check the database URL"),
    ("deadlock", "was busy: try again"),
    ("terminat", "has gone away: try again"),
    ("connection", "cannot be reached: check that the server runs and that the database URL is right"),
)
"""What a driver's message contains, the first that fits, and what we say instead."""


def _trouble(message: str) -> str | None:
    return next((sentence for sign, sentence in TROUBLES if sign in message), None)


def _engine(url: str, *, lasting: bool = True) -> Engine:
    address = make_url(url)
    if address.get_backend_name() != "sqlite":
        engine = create_engine(address if lasting else _not_waiting(address))
        event.listen(engine, "checkin", _rests)
        event.listen(engine, "checkout", _still_there)
        return engine
    engine = create_engine(address, connect_args={} if "timeout" in address.query else {"timeout": BUSY_S})
    event.listen(engine, "connect", partial(_open_sqlite, "FULL" if lasting else "NORMAL"))
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _not_waiting(address: URL) -> URL:
    """The same database, whose server does not wait for its disk at each commit."""
    asked = address.query.get("options", "")
    return address.update_query_dict({"options": f"{asked} -c synchronous_commit=off".strip()})


def _rests(_connection: Any, record: ConnectionPoolEntry) -> None:
    record.info["rests_since"] = monotonic()


def _still_there(connection: Any, record: ConnectionPoolEntry, _handed_out: object) -> None:
    """Let the pool take another connection for one that was lost at rest; to ask each time costs a trip."""
    if monotonic() - record.info.get("rests_since", inf) < RESTS_S:
        return
    try:
        connection.execute("SELECT 1")
        connection.rollback()
    except Exception as lost:  # whatever it is, the next connection shows whether it stays
        raise DisconnectionError from lost


def _open_sqlite(synchronous: str, connection: Any, _record: object) -> None:
    # The driver must not begin transactions by itself: it would begin them as readers.
    connection.isolation_level = None
    for pragma in ("journal_mode = WAL", f"synchronous = {synchronous}", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get('begin', 'IMMEDIATE')}")
