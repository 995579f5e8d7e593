"""A county of keepers lives through a year on a simulated clock, through the whole program.

    python tests/benchmarks/county.py [--households 24] [--days 365] [--seed 1]

prints messages by kind and phase, what was answered and what was held back, opt-outs beside those expected,
how fairly shared work went round, the load over the day and the year, and the breaches of the message budget,
which are counted here by the words of the budget and not by the program's own rules. There must be none: the
exit status is 1 where there is one. The staff write to all once a month, and ask a survey in autumn. The
database lies in memory where the machine has a place for that, since nothing of it is to last.
"""

import argparse
import asyncio
import heapq
import random
import sys
import time as stopwatch
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import count, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import create_engine, select

sys.path.insert(0, str(Path(__file__).parents[2]))

from bot.app import Warmheap
from bot.profile import read_profile
from bot.rehearse import Recorder, SimulatedClock
from storage.broadcasts import Audience
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.models import OutboxTable
from storage.outbox import OutRow
from storage.surveys import Item
from storage.work import Store
from tests.benchmarks.measure import peak_mb

OPENING = datetime(2026, 3, 1, 15, tzinfo=UTC)
CLASSES = {"FIG22": "America/Denver", "FIG23": "America/Phoenix", "FIG24": "America/New_York"}
AREAS = range(201, 990)
QUIET = (time(9), time(20))
BUDGET = {
    "before the pile": (2, 7),
    "first week": (3, 7),
    "weeks 1 to 3": (2, 7),
    "weeks 4 on": (1, 7),
    "curing": (2, 30),
    "after the harvest": (2, 30),
    "among keepers": (3, 7),
    "broadcast": (1, 7),
}
"""Unprompted messages and the days in which there may be no more of them, by phase."""
STOPS = {"nudge": 0.004, "broadcast": 0.018}
"""How many leave at a message: few at one about their pile; at one to many as in a recruitment trial."""
IN_MEMORY = Path("/dev/shm")
SURVEY = (date(2026, 9, 15), date(2026, 10, 15))
ITEMS = (
    Item("Is your pile still going?", "¿Sigue tu pila?", (("Yes", "Sí"), ("No", "No"))),
    Item("Did you use any compost?", "¿Usaste composta?", (("Yes", "Sí"), ("Not yet", "Todavía no"))),
)
WORDS = {
    "en": (
        "yes",
        "built today 4x4x4 ft, 2 parts leaves and 1 part grass, in a bin",
        "share",
        "turned it",
        "when is it ready?",
    ),
    "es": (
        "si",
        "hecha hoy 4x4x4 pies, 2 partes de hojas y 1 de pasto, en compostera",
        "compartir",
        "la volteé",
        "cuando estara lista?",
    ),
}


@dataclass
class Household:
    """A pile and the people who share it."""

    number: int
    built: date
    turned: date
    keepers: list["Keeper"] = field(default_factory=list)

    def warmth_f(self, day: date, chance: random.Random) -> int:
        """What a thermometer shows on a day: heat after each turn, less as the pile ages."""
        age, since = (day - self.built).days, (day - self.turned).days
        heat = 85 * 2 ** (-age / 40) * min(1.0, 0.4 + since / 3) * 2 ** (-max(0, since - 4) / 12)
        return round(62 + heat + chance.gauss(0, 4))


@dataclass
class Keeper:
    """Somebody with habits: how likely they answer, at which hour, and how often they write by themselves."""

    household: Household
    channel: str
    address: str
    language: str
    zone: str
    answers: float
    hour: int
    writes_per_week: float
    stopped: bool = False


@dataclass(order=True)
class Event:
    """Somebody is about to write."""

    at: datetime
    number: int
    keeper: Keeper = field(compare=False)
    text: str = field(compare=False)


class County:
    """The people, what they are about to say, and the program that they talk to."""

    def __init__(self, store: Store, households: int, days: int, seed: int) -> None:
        self.chance = random.Random(seed)
        self.end = OPENING + timedelta(days)
        self.clock = SimulatedClock(OPENING)
        self.channels = [Recorder("sms"), Recorder("telegram")]
        self.store = store
        self.warmheap = Warmheap(store, read_profile(None), self.channels, self.clock)
        self.events: list[Event] = []
        self.numbers = count()
        self.by_address: dict[tuple[str, str], Keeper] = {}
        self.codes_for: dict[tuple[str, str], list[Keeper]] = {}
        self.heard = 0
        self.stops_expected = 0.0
        self.next_text = OPENING + timedelta(days=31, hours=2)
        with store.work() as work:
            for code, zone in CLASSES.items():
                work.classes.add(ClassRow(code, "en", zone, seats=None))
            person = work.people.add("sms", "+12005550100", "Maren", "en", "f", "America/Denver", OPENING)
            educator = work.staff.invite("Maren", "educator", None, OPENING)
            self.staff = work.staff.join(educator, person.id, OPENING)
            assert self.staff is not None
            work.surveys.add("Autumn", list(ITEMS), *SURVEY, self.staff.id)
            work.commit()
        for number in range(households):
            self.settle(number)

    def settle(self, number: int) -> None:
        """A household joins in one of the first 30 days, most with one keeper, some with up to four."""
        joins = OPENING + timedelta(days=self.chance.randrange(30), minutes=self.chance.randrange(300))
        household = Household(number, joins.date(), joins.date())
        language = "es" if self.chance.random() < 0.3 else "en"
        code = self.chance.choice(list(CLASSES))
        for _ in range(self.chance.choice((1, 1, 1, 2, 2, 4))):
            household.keepers.append(self.keeper(household, language, CLASSES[code]))
        founder, *others = household.keepers
        yes, built, share, *own = WORDS[language]
        said = [code, yes, built, "1", *([share] if others else [])]
        for minute, text in enumerate(said):
            self.say(founder, joins + timedelta(minutes=2 * minute), text)
        self.codes_for[founder.channel, founder.address] = others
        for one in household.keepers:
            at = joins + timedelta(days=2)
            while (at := at + timedelta(days=7 * self.chance.expovariate(one.writes_per_week))) < self.end:
                self.say(one, at.replace(hour=(one.hour + 6) % 24), self.chance.choice(own))

    def keeper(self, household: Household, language: str, zone: str) -> Keeper:
        """Somebody, with an address of their own."""
        number = len(self.by_address)
        telegram = self.chance.random() < 0.3
        address = str(1000 + number) if telegram else f"+1{AREAS[number // 100]}55501{number % 100:02}"
        one = Keeper(
            household,
            "telegram" if telegram else "sms",
            address,
            language,
            zone,
            self.chance.betavariate(2, 2),
            self.chance.choice((9, 12, 17, 18, 19, 21)),
            self.chance.expovariate(2),
        )
        self.by_address[one.channel, one.address] = one
        return one

    def say(self, keeper: Keeper, at: datetime, text: str) -> None:
        """Let somebody write at a moment."""
        heapq.heappush(self.events, Event(at, next(self.numbers), keeper, text))

    def live(self) -> None:
        """Until the end, from one moment at which something happens to the next."""
        moment: datetime | None = OPENING
        with asyncio.Runner() as runner:
            while moment is not None and moment < self.end:
                self.clock.at = moment
                while self.events and self.events[0].at <= moment:
                    event = heapq.heappop(self.events)
                    if not event.keeper.stopped:
                        self.heard += 1
                        runner.run(self.warmheap.hear(self.incoming(event)))
                        self.react()
                self.write_to_all(moment)
                self.warmheap.broadcast(moment)
                self.warmheap.plan(moment)
                runner.run(self.warmheap.send())
                self.react()
                moment = self.next_moment()

    def write_to_all(self, at: datetime) -> None:
        """Once a month the staff have something to say."""
        if at < self.next_text:
            return
        self.next_text += timedelta(days=30)
        assert self.staff is not None
        with self.store.work() as work:
            draft = work.broadcasts.draft(
                "Month", Audience(), "Leaves to give away!", "¡Regalamos hojas!", 3600, self.staff.id, at
            )
            work.broadcasts.approve(draft.id, self.staff.id, at, at)
            work.commit()

    def incoming(self, event: Event) -> Incoming:
        """What somebody wrote, as a channel brings it."""
        keeper = event.keeper
        keeper.stopped = event.text in ("STOP", "ALTO")
        if event.text in (WORDS["en"][3], WORDS["es"][3]):
            keeper.household.turned = event.at.date()
        return Incoming(keeper.channel, keeper.address, f"m{event.number}", event.text, event.at)

    def next_moment(self) -> datetime | None:
        """When something happens next."""
        with self.store.work(reading=True) as work:
            after = self.clock.at
            coming = [work.outbox.next_due(after), work.piles.next_look(after), work.people.next_look(after)]
            many = work.broadcasts.active(after) or work.surveys.running(after.date())
        coming += [self.events[0].at] if self.events else []
        coming += [after + timedelta(hours=1) if many else self.next_text]
        return min((each for each in coming if each is not None), default=None)

    def react(self) -> None:
        """What people make of the messages that they have just got."""
        for channel in self.channels:
            for taken in channel.taken:
                keeper = self.by_address[taken.channel, taken.address]
                with self.store.work(reading=True) as work:
                    row = work.outbox.get(taken.row_id)
                self.follow(keeper, row)
                if row.kind in STOPS:
                    self.answer(keeper, row)
            channel.taken.clear()

    def follow(self, keeper: Keeper, row: OutRow) -> None:
        """Whoever gets a code to share hands it on, and the others join with it."""
        code = next((line.values["code"] for line in row.lines if "code" in line.values), None)
        others = self.codes_for.pop((keeper.channel, keeper.address), []) if code else []
        for number, other in enumerate(others, start=1):
            at = self.clock.at + timedelta(hours=number)
            self.say(other, at, str(code))
            self.say(other, at + timedelta(minutes=2), WORDS[other.language][0])

    def answer(self, keeper: Keeper, row: OutRow) -> None:
        """Some answer at once, some at their hour, some not at all; few have had enough."""
        self.stops_expected += STOPS[row.kind]
        if self.chance.random() < STOPS[row.kind]:
            self.say(
                keeper, self.clock.at + timedelta(minutes=5), "STOP" if keeper.language == "en" else "ALTO"
            )
        if row.kind == "broadcast" or self.chance.random() > keeper.answers:
            return
        at = self.clock.at + timedelta(minutes=self.chance.randint(1, 20))
        if self.chance.random() < 0.7:
            local = self.clock.at.astimezone(ZoneInfo(keeper.zone))
            theirs = local.replace(hour=keeper.hour, minute=self.chance.randrange(60), second=0)
            at = (theirs if theirs > local else theirs + timedelta(days=1)).astimezone(UTC)
        self.say(keeper, at, self.words(keeper, row, at))

    def words(self, keeper: Keeper, row: OutRow, at: datetime) -> str:
        """The work done, two times in three; or a reading. What is ready is taken, and another pile built."""
        done = self.chance.random() < 0.67
        ask = (row.opens or {}).get("ask")
        if ask == "turn" and done:
            return WORDS[keeper.language][3]
        if ask == "ready" and done:
            return "3"
        if ask == "next_pile" and done:
            keeper.household.built = keeper.household.turned = at.date()
            return WORDS[keeper.language][1]
        if row.options:
            return "1" if done else str(min(2, len(row.options)))
        return str(keeper.household.warmth_f(at.date(), self.chance))


def breaches(rows: list[Any], said: dict[int, list[datetime]], zones: dict[int, str]) -> Iterator[str]:
    """Where the unprompted messages of one person go beyond the budget."""
    for row in rows:
        assert row.sent_at is not None
        local = row.sent_at.astimezone(ZoneInfo(zones[row.person_id]))
        if not QUIET[0] <= local.time() < QUIET[1]:
            yield f"{row.unique_key}: sent at {local:%H:%M}"
        within_a_day = any(
            timedelta(0) < row.sent_at - at < timedelta(hours=24) for at in said[row.person_id]
        )
        if within_a_day and row.reason.get("phase") != "among keepers":
            yield f"{row.unique_key}: within a day of their own words"
    days = [row.sent_at.astimezone(ZoneInfo(zones[row.person_id])).date() for row in rows if row.sent_at]
    yield from (f"{rows[0].person_id}: two on {one}" for one, other in pairwise(days) if one == other)
    for phase, (limit, window) in BUDGET.items():
        own = [day for row, day in zip(rows, days, strict=True) if row.reason.get("phase") == phase]
        for first, over in zip(own, own[limit:], strict=False):
            if (over - first).days < window:
                yield f"person {rows[0].person_id}: more than {limit} in {window} days, {phase}, {first}"


def report(county: County, url: str) -> int:
    """Print what happened; how many breaches there were."""
    engine = create_engine(url)
    with engine.connect() as connection:
        rows = list(connection.execute(select(OutboxTable.__table__)))
    engine.dispose()
    zones, said = {}, defaultdict(list)
    with county.store.work(reading=True) as work:
        for (channel, address), keeper in county.by_address.items():
            person = work.people.by_address(channel, address)
            if person is not None:
                zones[person.id] = person.zone
                said[person.id] = work.inbox.heard(channel, address, 10_000)
                keeper.stopped = person.standing == "stopped"
    sent = [row for row in rows if row.status == "sent"]
    nudges = [row for row in sent if row.kind in ("nudge", "broadcast")]
    answered = sum(
        any(timedelta(0) < at - row.sent_at <= timedelta(hours=48) for at in said[row.person_id])
        for row in nudges
    )
    hours = Counter(row.sent_at.astimezone(ZoneInfo(zones[row.person_id])).hour for row in nudges)
    months = Counter(f"{row.sent_at:%b}" for row in sorted(sent, key=lambda row: row.sent_at))
    busiest = Counter(row.sent_at.replace(second=0, microsecond=0) for row in sent).most_common(1)
    by_person = defaultdict(list)
    for row in sorted(nudges, key=lambda row: row.sent_at):
        by_person[row.person_id].append(row)
    broken = [each for own in by_person.values() for each in breaches(own, said, zones)]
    stopped = sum(each.stopped for each in county.by_address.values())
    print(f"people {len(zones):,}, opted out {stopped:,}, expected {county.stops_expected:.1f}")
    print(f"heard {county.heard:,}; sent by kind {dict(Counter(row.kind for row in sent))}")
    print(f"nudges by phase {dict(Counter(row.reason.get('phase') for row in nudges).most_common())}")
    print(f"answered within two days {answered:,} of {len(nudges):,} ({answered / max(1, len(nudges)):.0%})")
    print(f"held back {dict(Counter(row.why_not for row in rows if row.status == 'held').most_common())}")
    print(f"not sent {dict(Counter(row.status for row in rows if row.status not in ('sent', 'held')))}")
    print("nudges by local hour " + ", ".join(f"{hour}h {hours[hour]}" for hour in sorted(hours)))
    print("messages by month " + ", ".join(f"{month} {number}" for month, number in months.items()))
    print(f"busiest minute {busiest[0][1]:,} messages; shared work beyond an equal share {unfair(rows):.0%}")
    print(f"breaches of the budget {len(broken):,}", *broken[:10], sep="\n  ")
    return len(broken)


def unfair(rows: list[Any]) -> float:
    """By how much, beyond one task, a keeper was asked for more than an equal share of a pile's work."""
    asked: dict[int, Counter[int]] = defaultdict(Counter)
    for row in rows:
        if row.status == "sent" and row.reason.get("whose") is not None and row.pile_id is not None:
            asked[row.pile_id][row.reason["whose"]] += 1
    beyond = [
        max(0.0, max(shares.values()) - sum(shares.values()) / len(shares) - 1) / sum(shares.values())
        for shares in asked.values()
        if len(shares) > 1
    ]
    return max(beyond, default=0.0)


def main() -> int:
    """Let the county live, and say how it went."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--households", type=int, default=24)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    begun = stopwatch.perf_counter()
    memory = IN_MEMORY if IN_MEMORY.is_dir() else None
    with TemporaryDirectory(prefix="warmheap-county-", dir=memory) as folder:
        url = f"sqlite:///{folder}/county.sqlite"
        store = Store(url)
        store.upgrade()
        county = County(store, given.households, given.days, given.seed)
        county.live()
        broken = report(county, url)
        store.close()
    print(f"{given.days} days took {stopwatch.perf_counter() - begun:,.0f} s; peak {peak_mb():,.0f} MB")
    return min(1, broken)


if __name__ == "__main__":
    sys.exit(main())
