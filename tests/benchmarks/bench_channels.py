"""Many people answer within a minute, over each channel: is anything lost or doubled, are the limits kept?

    python tests/benchmarks/bench_channels.py [--people 500] [--within 60] [--channel telegram]

The program serves as a process of its own on SQLite, against a server of the channel's kind: for Telegram and
SMPP one that nobody of us wrote, for the gateway one that takes every text. Everybody says hello first; then
each says yes at a random moment of that time. Latency is from the saying to the answer's arrival at the
channel's server.
"""

import argparse
import asyncio
import os
import random
import signal
import sqlite3
import statistics
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.channel_servers import CHANNELS, PATIENCE_S, Arrived, Server

ROOT = Path(__file__).parents[2]


@asynccontextmanager
async def served(server: Server, folder: Path) -> AsyncIterator[None]:
    """The program on this channel; told to stop at the end."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("WARMHEAP_")}
    environment |= {f"WARMHEAP_{name}": value for name, value in server.settings.items()}
    environment |= {"PYTHONPATH": str(ROOT), "WARMHEAP_DATABASE_URL": f"sqlite:///{folder}/bench.sqlite"}
    with (folder / "log").open("w") as log:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "bot", "serve", cwd=folder, env=environment, stderr=log
        )
        try:
            yield
        finally:
            process.send_signal(signal.SIGTERM)
            begun = time.time()
            await process.wait()
            print(f"  stopped after {time.time() - begun:.1f} s with status {process.returncode}")


async def until(server: Server, number: int) -> list[Arrived]:
    """Wait until so many messages have arrived, or for as long as we have patience."""
    begun = time.time()
    while len(found := _whole(await server.arrived())) < number and time.time() - begun < PATIENCE_S:
        await asyncio.sleep(0.5)
    return found


def _whole(arrived: list[Arrived]) -> list[Arrived]:
    """The messages, each at the time of its last part."""
    return [each for each in arrived if each.is_last_part]


async def measure(name: str, people: int, within_s: float) -> None:
    """One channel: everybody answers; print what came of it."""
    with tempfile.TemporaryDirectory() as folder:
        async with CHANNELS[name]() as server, served(server, Path(folder)):
            await server.ready()
            for number in range(people):
                await server.say(number, "hello")
            before = await until(server, people)
            said: dict[int, float] = {}

            async def answer(number: int, after_s: float) -> None:
                await asyncio.sleep(after_s)
                said[number] = time.time()
                await server.say(number, "yes")

            moments = random.Random(1)
            await asyncio.gather(*(answer(number, moments.uniform(0, within_s)) for number in range(people)))
            await until(server, 2 * people)
            await asyncio.sleep(3)  # what is doubled would come now
            arrived = await server.arrived()
        report(name, people, said, _whole(arrived)[len(before) :], arrived, server, Path(folder))


def report(
    name: str,
    people: int,
    said: dict[int, float],
    answers: list[Arrived],
    arrived: list[Arrived],
    server: Server,
    folder: Path,
) -> None:
    """Latency, and whether each got each message once at the channel's pace."""
    times: dict[int, list[float]] = defaultdict(list)
    for each in _whole(arrived):
        times[each.to].append(each.at_s)
    ordered = sorted(each.at_s for each in arrived)
    fullest = max(sum(at <= other < at + 1 for other in ordered[place:]) for place, at in enumerate(ordered))
    closest = min(b - a for found in times.values() for a, b in pairwise(found))
    waits = sorted(each.at_s - said[each.to] for each in answers)
    with sqlite3.connect(folder / "bench.sqlite") as database:
        [[unanswered]] = database.execute("SELECT count(*) FROM incoming WHERE handled_at IS NULL")
        statuses = Counter(status for (status,) in database.execute("SELECT status FROM outbox"))
    lost = sum(max(0, 2 - len(found)) for found in times.values()) + 2 * (people - len(times))
    doubled = sum(max(0, len(found) - 2) for found in times.values())
    print(
        f"{name}: {people} people; lost {lost}, doubled {doubled}, unanswered {unanswered}, "
        f"outbox {dict(statuses)}\n"
        f"  latency: median {statistics.median(waits):.2f} s, p99 {waits[int(0.99 * len(waits))]:.2f} s, "
        f"longest {waits[-1]:.2f} s\n"
        f"  fullest second {fullest} messages or parts (limit {server.per_second:.0f}); "
        f"closest two to one person {closest:.2f} s (limit {server.apart_s:.1f})",
        flush=True,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--people", type=int, default=500, help="1000 at most")
    parser.add_argument("--within", type=float, default=60, help="seconds")
    parser.add_argument("--channel", choices=CHANNELS, nargs="+", default=list(CHANNELS))
    given = parser.parse_args()
    for name in given.channel:
        asyncio.run(measure(name, given.people, given.within))


if __name__ == "__main__":
    main()
