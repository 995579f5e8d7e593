"""A week's planning for many piles: forecast, agenda, outbox rows and wording, measured on a sample.

    python tests/benchmarks/bench_planning.py [--piles 200 400]

Each pile is looked at until the week is over, and what was planned is worded and sent to a channel that takes
everything. Prints the time, what its processor time comes to for 100,000 piles on two cores if each does a
half, and peak memory, which must not grow with the number of piles.
"""

import argparse
import asyncio
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from bot.language.wording import render
from bot.outlook import Outlooks
from bot.profile import read_profile
from bot.rehearse import SimulatedClock
from scheduler.planner import plan
from scheduler.sender import Outcome, Rendered, Sender, Sent
from shared.pile import Record
from storage.work import Store
from tests.benchmarks.measure import emptied, peak_mb

AT = datetime(2026, 4, 1, 15, tzinfo=UTC)
CORES, COUNTY = 2, 100_000
SETUP = {"length_m": 1.2, "width_m": 1.2, "height_m": 1.2, "bin": True, "turning": "fortnightly"} | {
    "ingredients": [["dry_leaves", 1200.0], ["grass_clippings", 600.0]]
}


class Taking:
    """A channel that takes everything."""

    name = "sms"
    addresses = None

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Take it."""
        return Sent(reference)


def fill(store: Store, piles: int) -> None:
    """Piles of the last ten weeks, each with a keeper and a reading now and then."""
    for number in range(piles):
        built = date(2026, 3, 31) - timedelta(days=number % 70)
        joined = datetime(built.year, built.month, built.day, 16, tzinfo=UTC)
        with store.work() as work:
            person = work.people.add("sms", f"+1303{number:07}", None, "en", "f", "America/Denver", joined)
            work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", joined)
            pile = work.piles.found(person.id, "America/Denver", joined)
            work.piles.set_up(pile.id, person.id, SETUP | {"built": built.isoformat()}, joined)
            for days in range(4, (AT.date() - built).days, 9):
                core_c = 30.0 + (number * 7 + days * 5) % 35
                told = Record("temperature", built + timedelta(days), core_c=core_c)
                work.piles.record(pile.id, person.id, told, joined + timedelta(days))
            work.piles.look_again(pile.id, AT)
            work.people.change(person.id, next_look_at=None)
            work.commit()


def a_week(store: Store, clock: SimulatedClock) -> int:
    """Plan and send from each moment at which a pile is due to the next; how many messages went out."""
    outlooks = Outlooks(read_profile(None))
    sender = Sender(store, {"sms": Taking()}, render, clock, "bench")
    sent = 0
    with asyncio.Runner() as runner:
        while clock.at < AT + timedelta(days=7):
            plan(store, clock.at, outlooks)
            sent += runner.run(sender.send_due(clock.at))
            with store.work(reading=True) as work:
                coming = [work.outbox.next_due(clock.at), work.piles.next_look(clock.at)]
            clock.at = min((each for each in coming if each is not None), default=AT + timedelta(days=7))
    return sent


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--piles", type=int, nargs="+", default=[200, 400])
    given = parser.parse_args()
    for piles in (5, *given.piles):  # the first few only warm up
        with emptied("sqlite://") as url:
            store, clock = Store(url), SimulatedClock(AT)
            fill(store, piles)
            begun, busy = time.perf_counter(), time.process_time()
            sent = a_week(store, clock)
            took_s, busy_s = time.perf_counter() - begun, time.process_time() - busy
            store.close()
        if piles in given.piles:
            minutes = busy_s / piles * COUNTY / CORES / 60
            print(
                f"{piles:,} piles, {sent:,} messages: {took_s:.1f} s, of it {busy_s:.1f} s of processor; "
                f"{COUNTY:,} piles on {CORES} cores: {minutes:.0f} minutes; peak {peak_mb():,.0f} MB",
                flush=True,
            )


if __name__ == "__main__":
    main()
