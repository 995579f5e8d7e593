"""Many people answer within a minute, over each channel: is anything lost or doubled, are the limits kept?

    python tests/benchmarks/bench_channels.py [--people 500] [--within 60] [--channel telegram]

The program serves as a process of its own on SQLite, against a server of the channel's kind that nobody of us
wrote. Everybody says hello first; then each says yes at a random moment of that time. Latency is from the
saying to the answer's arrival at the channel's server.
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
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import httpx

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bot.channels.conftest import emulated_bot_api

ROOT = Path(__file__).parents[2]
PATIENCE_S = 180.0


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message at the channel's server: to whom, and when [s since 1970]."""

    to: str
    at_s: float


class Server(Protocol):
    """The other side of a channel. `per_second`: what it bears of all; `apart_s`: of one person."""

    settings: dict[str, str]
    per_second: float
    apart_s: float

    async def say(self, number: int, text: str) -> None:
        """A person writes to the program."""

    async def arrived(self) -> list[Arrived]:
        """Every message that the program has sent."""


class BotApi:
    """Telegram's side."""

    per_second = 30
    apart_s = 1.0
    """Telegram's FAQ for bots: 30 messages a second in all, one a second in a chat."""

    def __init__(self, http: httpx.AsyncClient) -> None:
        self._http = http
        self._token = "1:bench"
        self.settings = {"TELEGRAM_TOKEN": self._token, "TELEGRAM_API": str(http.base_url).rstrip("/")}

    async def say(self, number: int, text: str) -> None:
        """A person writes in their private chat."""
        person = {"id": 1000 + number, "first_name": "Ana", "is_bot": False}
        chat = {"id": 1000 + number, "type": "private"}
        message = {
            "botToken": self._token,
            "date": int(time.time()),
            "from": person,
            "chat": chat,
            "text": text,
        }
        (await self._http.post("/sendMessage", json=message)).raise_for_status()

    async def arrived(self) -> list[Arrived]:
        """Every message that was sent."""
        calls = (await self._http.get("/_calls")).json()
        return [
            Arrived(call["body"]["chat_id"], call["at"] / 1000)
            for call in calls
            if call["method"] == "sendMessage" and call["token"] == self._token
        ]


@asynccontextmanager
async def telegram() -> AsyncIterator[Server]:
    """An emulated Bot API."""
    with emulated_bot_api() as url:
        async with httpx.AsyncClient(base_url=url, timeout=30) as http:
            yield BotApi(http)


CHANNELS: dict[str, Callable[[], AbstractAsyncContextManager[Server]]] = {"telegram": telegram}


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
    while len(found := await server.arrived()) < number and time.time() - begun < PATIENCE_S:
        await asyncio.sleep(0.5)
    return found


async def measure(name: str, people: int, within_s: float) -> None:
    """One channel: everybody answers; print what came of it."""
    with tempfile.TemporaryDirectory() as folder:
        async with CHANNELS[name]() as server, served(server, Path(folder)):
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
            arrived = await until(server, 2 * people)
            await asyncio.sleep(3)  # what is doubled would come now
            arrived = await server.arrived()
        report(name, people, said, arrived[len(before) :], arrived, server, Path(folder))


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
    times: dict[str, list[float]] = defaultdict(list)
    for each in arrived:
        times[each.to].append(each.at_s)
    ordered = sorted(each.at_s for each in arrived)
    fullest = max(sum(at <= other < at + 1 for other in ordered[place:]) for place, at in enumerate(ordered))
    closest = min(b - a for found in times.values() for a, b in pairwise(found))
    waits = sorted(each.at_s - said[int(each.to) - 1000] for each in answers)
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
        f"  fullest second {fullest} messages (limit {server.per_second:.0f}); closest two to one person "
        f"{closest:.2f} s (limit {server.apart_s:.1f})",
        flush=True,
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--people", type=int, default=500)
    parser.add_argument("--within", type=float, default=60, help="seconds")
    parser.add_argument("--channel", choices=CHANNELS, nargs="+", default=list(CHANNELS))
    given = parser.parse_args()
    for name in given.channel:
        asyncio.run(measure(name, given.people, given.within))


if __name__ == "__main__":
    main()
