"""A sender killed 1,000 times at every step, on both databases; each message is checked afterwards.

    python tests/benchmarks/bench_killed.py [--times 1000]

prints what became of the messages; an AssertionError says what was lost or doubled.
"""

import argparse
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[2]))

from storage.work import Store
from tests.benchmarks.measure import databases, emptied
from tests.scheduler.test_killed import survive

AT = datetime(2026, 3, 1, 16, tzinfo=UTC)


def main() -> None:
    """Kill, check and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--times", type=int, default=1000)
    times = parser.parse_args().times
    for name, url in databases():
        with emptied(url) as own, TemporaryDirectory() as folder:
            store, begun = Store(own), time.perf_counter()
            became = survive(store, own, Path(folder) / "arrived.log", AT, times)
            store.close()
        took_s = time.perf_counter() - begun
        print(f"{name}: killed {times:,} times in {took_s:,.0f} s; messages: {dict(became)}", flush=True)


if __name__ == "__main__":
    main()
