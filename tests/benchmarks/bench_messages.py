"""Messages a second, from the inbox to the reply in the outbox, in one process; and on PostgreSQL by several.

    python tests/benchmarks/bench_messages.py [--messages 300] [--workers 1 2]

Each message is stored, understood, recorded, its pile looked at anew and answered, in its transactions.
"Cached": questions whose forecast is known; "fresh": readings, each of which makes a new one. Then processor
time, which other work on the machine does not spoil, and the peak memory of a worker.
"""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from bot.conversation.respond import Desk, respond
from bot.outlook import Outlooks
from bot.profile import read_profile
from storage.inbox import Incoming
from storage.work import Store
from tests.benchmarks.measure import databases, emptied, peak_mb

AT = datetime(2026, 3, 1, 16, tzinfo=UTC)
KEEPERS = 20
TOLD = ("yes", "built 12 days ago 4x4x4 ft, 2 parts leaves and 1 part grass, in a bin", "1")
SAID = {"cached": ("when is it ready?", "what now?"), "fresh": ("temp {}",)}


class Desks:
    """The people of one worker, each with a pile, and the desk that answers them."""

    def __init__(self, url: str, worker: int) -> None:
        self._store = Store(url)
        profile = read_profile(None)
        self._desk = Desk(profile, Outlooks(profile))
        self._worker = worker
        self._number = 0
        for keeper in range(KEEPERS):
            for text in ("hello", *TOLD):
                self.hear(keeper, text)

    def hear(self, keeper: int, text: str) -> None:
        """One message, stored and answered."""
        self._number += 1
        at = AT + timedelta(seconds=self._number)
        address = f"+1303555{self._worker * KEEPERS + keeper:04}"
        incoming = Incoming("sms", address, f"{self._worker}:{self._number}", text, at)
        with self._store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        assert incoming_id is not None
        respond(self._store, self._desk, incoming_id, incoming, at)

    def hear_many(self, kind: str, messages: int) -> None:
        """So many messages, keeper by keeper."""
        for number in range(messages):
            texts = SAID[kind]
            self.hear(number % KEEPERS, texts[number // KEEPERS % len(texts)].format(90 + number % 50))


def work_through(url: str, worker: int, messages: int) -> dict[str, float]:
    """One worker: its messages a second, cached and fresh, and its peak memory."""
    desks = Desks(url, worker)
    found = {}
    for kind in SAID:
        desks.hear_many(kind, KEEPERS * len(SAID[kind]))
        begun, busy = time.perf_counter(), time.process_time()
        desks.hear_many(kind, messages)
        found[kind] = messages / (time.perf_counter() - begun)
        found[f"{kind} busy"] = (time.process_time() - busy) / messages
    return found | {"peak": peak_mb()}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--messages", type=int, default=300)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    given = parser.parse_args()
    alone = 0.0
    for name, url in databases():
        for workers in given.workers if name == "PostgreSQL" else [1]:
            with emptied(url) as own, ProcessPoolExecutor(workers, get_context("spawn")) as pool:
                running = [pool.submit(work_through, own, each, given.messages) for each in range(workers)]
                found = [each.result() for each in running]
            cached, fresh = (sum(each[kind] for each in found) for kind in SAID)
            alone = alone or cached
            busy = " and ".join(f"{1e3 * found[0][f'{kind} busy']:.1f}" for kind in SAID)
            print(
                f"{name}, {workers} worker(s): {cached:,.0f} messages a second cached, {fresh:,.0f} fresh; "
                f"{cached / alone:.2f} of SQLite alone; {busy} ms of processor a message; "
                f"peak {max(each['peak'] for each in found):,.0f} MB",
                flush=True,
            )


if __name__ == "__main__":
    main()
