"""Claim what is due, word it, hand it to its channel, and write down what came of it.

Each message once: the claim, the note that sending begins and the outcome are three short transactions,
so that after a crash it is known whether a message may have gone out.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import floor, inf
from typing import Protocol, get_args

from scheduler.nudges import AMONG_KEEPERS
from scheduler.restraint import OWN_WORDS
from scheduler.times import Clock, local, next_allowed
from shared.errors import StorageTrouble
from storage.claims import MUST_ARRIVE
from storage.models import OutKind
from storage.outbox import UNPROMPTED, OutRow
from storage.people import Person
from storage.work import Store, Work

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
PATIENCE_S = 30.0
"""How long a channel may take over one message; well within the lease. [s]"""
KEEP_PAUSES_S = (0.5, 1, 2, 4, 8, 16, 32)
"""Pauses between tries to write an outcome down; all of them, too, within the lease. [s]"""
BATCH = 50
"""Messages of one channel that a process has in hand at most; each goes to another person."""
AT_ONCE = 8
"""Of these, on their way at the same time."""
AHEAD_S = 2.0
"""So far ahead of a channel's pace messages are claimed; a warning waits no longer behind them. [s]"""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
TRIES = 8
"""With doubling waits, the last try comes about an hour after the first."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """A message in words. Quick answers are pairs: the label, and what the channel hands back for it.

    answers   in a group, the message that it answers, by the channel's own id
    """

    text: str
    options: tuple[tuple[str, str], ...] = ()
    picture: bytes | None = None
    answers: str | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """The channel took it; `message_id` is the channel's own, where it gives one."""

    message_id: str | None = None


@dataclass(frozen=True, slots=True)
class NotSent:
    """It surely did not go out and may be tried again, after the channel's own wait where it names one."""

    why: str
    retry_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """It will never go out. `gone`: this person blocked us or no longer exists, which is an opt-out."""

    why: str
    gone: bool = False


@dataclass(frozen=True, slots=True)
class Unknown:
    """It may or may not have gone out."""

    why: str


Outcome = Sent | NotSent | Refused | Unknown


def _one(_text: str) -> int:
    return 1


@dataclass(frozen=True, slots=True)
class Pace:
    """What a channel bears: messages a second from all workers, and seconds between two to one person.

    counts   for how many of them a text counts
    """

    per_second: float = inf
    per_person_s: float = 0.0
    counts: Callable[[str], int] = _one


@dataclass(frozen=True, slots=True)
class Shows:
    """What the phones at a channel's other end show beside plain words; the plainest by default.

    letters    every letter and line at no cost; else words are folded to the basic alphabet of SMS
    buttons    quick answers to tap; else they are spelt out as digits
    pictures   a picture above the words
    """

    letters: bool = False
    buttons: bool = False
    pictures: bool = False


class Channel(Protocol):
    """A way out; `name` is the channel of the addresses that it serves.

    One that bears no more than some pace says so by an attribute `pace`; one whose phones show more than
    plain words, by `shows`.
    """

    name: str

    @property
    def addresses(self) -> frozenset[str] | None:
        """The only addresses that it serves, as of one of two consoles on one database; None for all."""

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        """Send one message; `reference` is the same for every try of the same message."""


Render = Callable[[OutRow, Person, datetime], Rendered]
"""Words for a message, as this person should read it at that moment."""


class Sender:
    """Takes messages from the outbox to their channels; no channel waits for another."""

    def __init__(
        self,
        store: Store,
        channels: Mapping[str, Channel],
        render: Render,
        clock: Clock,
        holder: str,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self._store = store
        self._channels = channels
        self._render = render
        self._clock = clock
        self._holder = holder
        self._sleep = sleep
        self._at_once = {name: asyncio.Semaphore(AT_ONCE) for name in channels}
        self._ending = False

    async def send_due(self, at: datetime) -> int:
        """Send what is due by `at` or falls due meanwhile, person by person in order; how many went out."""
        served = await asyncio.gather(
            *(self._serve(channel, at) for channel in self._channels.values()), return_exceptions=True
        )
        for each in served:
            if isinstance(each, BaseException):
                raise each
        return sum(each for each in served if isinstance(each, int))

    def end(self) -> None:
        """Begin nothing more; what is in hand is seen to its end."""
        self._ending = True

    async def _serve(self, channel: Channel, at: datetime) -> int:
        """One channel's messages: more are taken in hand as some get through; none waits for a slow one."""
        in_hand: set[asyncio.Task[bool]] = set()
        sent = 0
        try:
            while True:
                if len(in_hand) <= BATCH // 2 and not self._ending:
                    claimed = await asyncio.to_thread(self._claim, channel, at, BATCH - len(in_hand))
                    in_hand |= {asyncio.create_task(self._send(row, slot)) for row, slot in claimed}
                if not in_hand:
                    return sent
                done, in_hand = await asyncio.wait(in_hand, return_when=asyncio.FIRST_COMPLETED)
                sent += sum(task.result() for task in done)
        finally:
            if in_hand:
                await asyncio.wait(in_hand)

    def _claim(self, channel: Channel, at: datetime, room: int) -> list[tuple[OutRow, datetime]]:
        """Messages that the channel has room for, each with the moment at which it may go."""
        at = max(at, self._clock.now())
        pace = pace_of(channel)
        with self._store.work(lasting=False) as work:
            free_at = work.paces.free_at(channel.name, at)
            room = min(room, floor(pace.per_second * AHEAD_S) or 1) if pace.per_second < inf else room
            if (free_at - at).total_seconds() >= AHEAD_S:
                return []
            reach = {channel.name: channel.addresses}
            rows = work.outbox.claim(at, self._holder, LEASE, room, reach=reach)
            slots = [free_at + timedelta(seconds=number / pace.per_second) for number in range(len(rows) + 1)]
            if rows and pace.per_second < inf:
                work.paces.take(channel.name, slots[-1])
            person_free = timedelta(seconds=pace.per_person_s)
            last = work.outbox.last_sent([row.person_id for row in rows], at - person_free)
            work.commit()
        return [
            (row, max(slot, min(last[row.person_id], at) + person_free) if row.person_id in last else slot)
            for row, slot in zip(rows, slots, strict=False)
        ]

    async def _send(self, row: OutRow, slot: datetime) -> bool:
        """One message; trouble with the database leaves it to its lease, and the others go on."""
        try:
            if (wait_s := (slot - self._clock.now()).total_seconds()) > 0:
                await self._sleep(wait_s)
            async with self._at_once[row.channel or ""]:
                message = await asyncio.to_thread(self._begin, row)
                if message is None:
                    return False
                outcome = await self._hand_over(row, message)
            await self._keep(row, message, outcome)
        except StorageTrouble as trouble:
            log.warning("action=send outbox=%s trouble=%s", row.id, trouble)
            return False
        return isinstance(outcome, Sent)

    async def _keep(self, row: OutRow, message: Rendered, outcome: Outcome) -> None:
        """Write the outcome down, through a minute in which the database is gone."""
        for pause_s in KEEP_PAUSES_S:
            try:
                await asyncio.to_thread(self._record, row, message, outcome)
            except StorageTrouble as trouble:
                log.warning("action=record outbox=%s trouble=%s", row.id, trouble)
                await asyncio.sleep(pause_s)
            else:
                return
        await asyncio.to_thread(self._record, row, message, outcome)

    def _begin(self, row: OutRow) -> Rendered | None:
        """Note that sending begins; None where it must not: not ours any more, paused, and so on."""
        at = self._clock.now()
        with self._store.work() as work:
            if not work.outbox.is_claimed(row.id, self._holder, at):
                return None
            person = work.people.get(row.person_id)
            message = None
            if (paused_until := work.paces.paused_until(row.channel or "", at)) is not None:
                work.outbox.retry(row.id, paused_until, "the channel asks for a pause")
            elif row.kind in UNPROMPTED and (allowed := next_allowed(at, person)) > at:
                work.outbox.retry(row.id, allowed, "outside their hours")
            elif _has_written(person, row, at):
                work.outbox.hold_back(row.id, "wrote within a day")
                if row.pile_id is not None:
                    work.piles.look_again(row.pile_id, at)
            elif row.kind in UNPROMPTED and _paused(person, at):
                work.outbox.hold_back(row.id, "paused")
            else:
                message = self._worded(work, row, person, at)
            if message is not None:
                self._count(work, row, message, at)
            if message is not None and not work.outbox.starting(row.id, self._holder, at):
                message = None
            work.commit()
        return message

    def _count(self, work: Work, row: OutRow, message: Rendered, at: datetime) -> None:
        """Take of the channel's time what a text takes beyond the one message that it was claimed as."""
        channel = self._channels[row.channel or ""]
        pace = pace_of(channel)
        if (more := pace.counts(message.text) - 1) > 0 and pace.per_second < inf:
            free_at = work.paces.free_at(channel.name, at)
            work.paces.take(channel.name, free_at + timedelta(seconds=more / pace.per_second))

    def _worded(self, work: Work, row: OutRow, person: Person, at: datetime) -> Rendered | None:
        try:
            return self._render(row, person, at)
        except Exception as error:  # one message that cannot be worded must not stop the others
            log.exception("action=word outbox=%s", row.id)
            work.outbox.failed(row.id, f"could not be worded: {error!r}")
            return None

    async def _hand_over(self, row: OutRow, message: Rendered) -> Outcome:
        channel = self._channels[row.channel or ""]
        try:
            async with asyncio.timeout(PATIENCE_S):
                return await channel.send(row.address or "", message, str(row.id))
        except TimeoutError:
            return Unknown(f"no answer from {channel.name} within {PATIENCE_S:.0f} s")
        except Exception as error:  # a channel's fault says nothing about whether the message left
            log.exception("action=send outbox=%s channel=%s", row.id, channel.name)
            return Unknown(f"{channel.name} broke: {type(error).__name__}")

    def _record(self, row: OutRow, message: Rendered, outcome: Outcome) -> None:
        at = self._clock.now()
        log.info("action=%s outbox=%s kind=%s", type(outcome).__name__.lower(), row.id, row.kind)
        with self._store.work() as work:
            match outcome:
                case Sent(message_id):
                    work.outbox.sent(row.id, at, message.text, message_id)
                    _open_question(work, row)
                case NotSent(why, retry_after_s):
                    wait = timedelta(seconds=retry_after_s or 0)
                    if wait:
                        work.paces.pause(row.channel or "", at + wait)
                    self._try_again(work, row, at, why, wait)
                case Refused(why, gone):
                    work.outbox.failed(row.id, why)
                    if gone:
                        _opt_out(work, row, at, why)
                case Unknown(why) if row.kind in MUST_ARRIVE:
                    self._try_again(work, row, at, why, timedelta(0))
                case Unknown(why):
                    work.outbox.unknown(row.id, why)
            work.commit()

    def _try_again(self, work: Work, row: OutRow, at: datetime, why: str, at_least: timedelta) -> None:
        """Once more after a wait that doubles, never sooner than the channel asks; at last give up."""
        tries = row.attempts + 1
        if tries >= TRIES:
            work.outbox.failed(row.id, f"gave up after {tries} tries: {why}")
            return
        wait = min(FIRST_WAIT * 2 ** (tries - 1), LONGEST_WAIT)
        work.outbox.retry(row.id, at + max(wait, at_least), why)


def shows_of(channel: Channel) -> Shows:
    """What the phones of a channel show."""
    shows: Shows = getattr(channel, "shows", Shows())
    return shows


def pace_of(channel: Channel) -> Pace:
    """What a channel bears."""
    pace: Pace = getattr(channel, "pace", Pace())
    return pace


def _has_written(person: Person, row: OutRow, at: datetime) -> bool:
    """Whether a nudge was overtaken by the person's own words; what other keepers pass on is not."""
    heard = person.last_heard_at
    planned = row.kind == "nudge" and row.reason.get("phase") != AMONG_KEEPERS.name
    return planned and heard is not None and at - heard < OWN_WORDS


def _paused(person: Person, at: datetime) -> bool:
    return person.paused_until is not None and local(at, person.zone).date() < person.paused_until


def _open_question(work: Work, row: OutRow) -> None:
    """What a message asks is open once it is sent; a nudge that asks counts until it is answered.

    News of ours ends what was asked before it: nobody recalls that question.
    """
    if row.opens is None:
        if row.kind == "nudge":
            work.people.change(row.person_id, waiting_for={})
        return
    work.people.change(row.person_id, waiting_for=row.opens)
    if row.kind == "nudge":
        unanswered = work.people.get(row.person_id).unanswered
        work.people.change(row.person_id, unanswered=unanswered + 1)


def _opt_out(work: Work, row: OutRow, at: datetime, why: str) -> None:
    """Being blocked is a no: it goes into the ledger, and nothing that waits goes out."""
    person = work.people.get(row.person_id)
    work.outbox.withdraw(person.id, get_args(OutKind), "opted out")
    if person.standing in ("asked", "joined"):
        work.people.consent(
            person.id, False, f"({why})", person.language, row.channel or "", person.class_code, "-", at
        )
