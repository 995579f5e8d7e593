"""Claim what is due, word it, hand it to its channel, and write down what came of it.

Each message once: the claim, the note that sending begins and the outcome are three short transactions,
so that after a crash it is known whether a message may have gone out.
"""

import asyncio
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol, get_args

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
AT_ONCE = 8
"""Messages on their way at the same time; each goes to another person."""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
TRIES = 8
"""With doubling waits, the last try comes about an hour after the first."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """A message in words. Quick answers are pairs: the label, and what the channel hands back for it."""

    text: str
    options: tuple[tuple[str, str], ...] = ()
    picture: bytes | None = None


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


class Channel(Protocol):
    """A way out; `name` is the channel of the addresses that it serves."""

    name: str

    @property
    def addresses(self) -> frozenset[str] | None:
        """The only addresses that it serves, as of one of two consoles on one database; None for all."""

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        """Send one message; `reference` is the same for every try of the same message."""


Render = Callable[[OutRow, Person, datetime], Rendered]
"""Words for a message, as this person should read it at that moment."""


class Sender:
    """Takes messages from the outbox to their channels."""

    def __init__(
        self, store: Store, channels: Mapping[str, Channel], render: Render, clock: Clock, holder: str
    ) -> None:
        self._store = store
        self._channels = channels
        self._render = render
        self._clock = clock
        self._holder = holder
        self._at_once = asyncio.Semaphore(AT_ONCE)

    async def send_due(self, at: datetime) -> int:
        """Send what is due by `at`, person by person in order; how many messages went out."""
        sent = 0
        while rows := await asyncio.to_thread(self._claim, at):
            sent += sum(await asyncio.gather(*(self._send(row) for row in rows)))
        return sent

    def _claim(self, at: datetime) -> list[OutRow]:
        reach = {name: channel.addresses for name, channel in self._channels.items()}
        with self._store.work() as work:
            rows = work.outbox.claim(at, self._holder, LEASE, BATCH, reach=reach)
            work.commit()
        return rows

    async def _send(self, row: OutRow) -> bool:
        """One message; trouble with the database leaves it to its lease, and the others go on."""
        try:
            async with self._at_once:
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
        """Note that sending begins; None where it must not: outside their hours, paused, or not wordable."""
        at = self._clock.now()
        with self._store.work() as work:
            person = work.people.get(row.person_id)
            message = None
            if row.kind in UNPROMPTED and (allowed := next_allowed(at, person)) > at:
                work.outbox.retry(row.id, allowed, "outside their hours")
            elif row.kind in UNPROMPTED and _paused(person, at):
                work.outbox.hold_back(row.id, "paused")
            else:
                message = self._worded(work, row, person, at)
            if message is not None and not work.outbox.starting(row.id, self._holder, at):
                message = None
            work.commit()
        return message

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
                    self._try_again(work, row, at, why, timedelta(seconds=retry_after_s or 0))
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


def _paused(person: Person, at: datetime) -> bool:
    return person.paused_until is not None and local(at, person.zone).date() < person.paused_until


def _open_question(work: Work, row: OutRow) -> None:
    """What a message asks is open once it is sent; a nudge that asks counts until it is answered."""
    if row.opens is None:
        return
    person = work.people.change(row.person_id, waiting_for=row.opens)
    if row.kind == "nudge":
        work.people.change(row.person_id, unanswered=person.unanswered + 1)


def _opt_out(work: Work, row: OutRow, at: datetime, why: str) -> None:
    """Being blocked is a no: it goes into the ledger, and nothing that waits goes out."""
    person = work.people.get(row.person_id)
    work.outbox.withdraw(person.id, get_args(OutKind), "opted out")
    if person.standing in ("asked", "joined"):
        work.people.consent(
            person.id, False, f"({why})", person.language, row.channel or "", person.class_code, "-", at
        )
