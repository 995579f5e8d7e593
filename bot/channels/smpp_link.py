"""A link to an SMSC by SMPP 3.4: bound as a transceiver, kept alive, and bound again when it breaks.

PDUs are read and written by smpp34. The session is our own, since what a person wrote is answered here only
once it is stored; the clients at hand answer it as it arrives.

Source: SMPP Protocol Specification v3.4, issue 1.2: sections 2.7 (keeping alive), 4.1 to 4.11 (PDUs) and
5.1.3 (statuses).
"""

import asyncio
import logging
import ssl
from asyncio import Future, StreamReader, StreamWriter, TaskGroup
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from math import inf
from struct import Struct
from typing import Final

import smpp34

from bot.channels.turnstile import Turnstile
from shared.errors import ChannelTrouble

log = logging.getLogger(__name__)

CONNECT_S = 15.0
ANSWER_S = 15.0
"""How long the SMSC may take to answer a request. [s]"""
ALIVE_S = 30.0
"""Between two questions whether the other side is there. [s]"""
LINK_WAIT_S = 5.0
"""How long after a loss texts wait for the link; later they are at once said not to have gone. [s]"""
LEAVE_S = 2.0
"""How long a farewell may take. [s]"""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
"""Pause before binding again, doubled each time. [s]"""
FIRST_BUSY_S, LONGEST_BUSY_S = 1.0, 10.0
"""Pause of the whole link when the SMSC is busy, doubled each time. [s]"""

BIND, UNBIND, SUBMIT, DELIVER, ENQUIRE = 0x09, 0x06, 0x04, 0x05, 0x15
ANSWER: Final = 0x8000_0000
"""Set in the command id of an answer; alone it is the generic_nack."""
HEADER = Struct(">IIII")
VERSION_3_4 = 0x34
LONGEST_PDU = 70_000
"""A message_payload holds up to 64 kB; what claims to be longer is no SMPP. [octets]"""

OK, UNKNOWN_COMMAND, TRY_AGAIN, UNREADABLE = 0x00, 0x03, 0x64, 0x65
BUSY = frozenset({0x14, 0x58})
"""Queue full, throttled: slow down and send again."""
WRONG_LOGIN = frozenset({0x0E, 0x0F})
"""Invalid password, invalid system id."""


class LinkDown(ChannelTrouble):
    """There is no link: nothing has been sent."""


class LinkLost(ChannelTrouble):
    """A request went out and no answer came: nobody knows what became of it."""


class BindRefused(ChannelTrouble):
    """The SMSC does not let us in, for the reason that its status gives."""

    def __init__(self, status: int) -> None:
        super().__init__(
            f"the SMSC does not let us in (status 0x{status:02X}); check login and host in WARMHEAP_SMPP_URL"
        )
        self.status = status


@dataclass(frozen=True, slots=True)
class Account:
    """Where to bind and as whom.

    window        requests that may wait for their answer at the same time
    per_second    most texts a second, 0 for no limit
    """

    host: str
    port: int
    system_id: str
    password: str
    system_type: str = ""
    tls: bool = False
    window: int = 10
    per_second: float = 0.0


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to a request."""

    status: int
    body: bytes

    @property
    def text(self) -> str:
        """The C string that the body begins with: the id of a text that was taken."""
        return self.body.partition(b"\0")[0].decode("latin-1")


Deliver = Callable[["Session", smpp34.DeliverSm], Awaitable[None]]
"""Takes what a session brought; returns once it may be answered, raises where it is to come again."""


class Link:
    """Keeps one session open and sends through it, at the pace that the SMSC bears."""

    def __init__(self, account: Account, deliver: Deliver) -> None:
        self._account = account
        self._deliver = deliver
        self._window = asyncio.Semaphore(account.window)
        self._turnstile = Turnstile(account.per_second or inf)
        self._busy_until = self._wait_until = 0.0
        self._busy_s = FIRST_BUSY_S
        self._session: Session | None = None
        self._bound = asyncio.Event()
        self._tried: Future[BindRefused | None] | None = None
        self._running: asyncio.Task[None] | None = None
        self._leaving = False

    @property
    def is_up(self) -> bool:
        """Whether we are bound."""
        return self._bound.is_set()

    @property
    def per_second(self) -> float:
        """How many parts go out a second at the most."""
        return self._turnstile.per_second

    async def open(self) -> None:
        """Bind. Raises ChannelTrouble where the login is wrong; without a network it goes on trying."""
        self._tried = asyncio.get_running_loop().create_future()
        self._running = asyncio.create_task(self._run())
        if (refused := await self._tried) is not None:
            await self.close()
            raise refused

    async def close(self) -> None:
        """Take leave of the SMSC and stop."""
        self._leaving = True  # a cancellation alone can get lost where a session ends at the same time
        if self._session is not None and self.is_up:
            with suppress(TimeoutError, ChannelTrouble):
                async with asyncio.timeout(LEAVE_S):
                    await self._session.ask(UNBIND)
        if self._running is not None:
            self._running.cancel()
            await asyncio.wait({self._running})
        self._bound.clear()

    async def submit(self, text: smpp34.SubmitSm) -> Reply:
        """Send one part. Raises LinkDown where it surely did not go, LinkLost where nobody knows."""
        async with self._window:
            session = await self._turn()
            reply = await session.ask(SUBMIT, text.encode()[HEADER.size :])
        self._mind(reply.status)
        return reply

    def _mind(self, status: int) -> None:
        """Pause everything while the SMSC is busy; answers to what was on its way count once."""
        now = asyncio.get_running_loop().time()
        if status not in BUSY:
            self._busy_s = FIRST_BUSY_S
        elif now >= self._busy_until:
            log.warning("action=smpp_busy status=0x%02X pause_s=%.0f", status, self._busy_s)
            self._busy_until = now + self._busy_s
            self._turnstile.close(self._busy_s)
            self._busy_s = min(2 * self._busy_s, LONGEST_BUSY_S)

    async def _turn(self) -> "Session":
        """The session, once there is one and a part may go: at our pace, and none while the SMSC is busy."""
        while True:
            try:
                async with asyncio.timeout_at(self._wait_until):
                    await self._bound.wait()
            except TimeoutError:
                raise LinkDown("no link to the SMSC") from None
            await self._turnstile.passed()
            if self._session is not None and self.is_up:
                return self._session

    async def _run(self) -> None:
        pause_s = FIRST_PAUSE_S
        now = asyncio.get_running_loop().time
        self._wait_until = now() + LINK_WAIT_S
        while not self._leaving:
            why: BaseException = EOFError("the link ended")
            try:
                await self._session_long()
            except* Exception as troubles:  # whatever ends a session, the next is tried
                why = _first(troubles)
            if self._leaving:
                return
            if self._session is not None:
                pause_s, self._session, self._wait_until = FIRST_PAUSE_S, None, now() + LINK_WAIT_S
            self._bound.clear()
            self._first_try(why if isinstance(why, BindRefused) and why.status in WRONG_LOGIN else None)
            log.warning("action=smpp_link_down pause_s=%.0f why=%s", pause_s, str(why) or type(why).__name__)
            await asyncio.sleep(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    async def _session_long(self) -> None:
        """Bind and serve until the link ends, which is always told by an exception."""
        account = self._account
        async with asyncio.timeout(CONNECT_S):
            streams = await asyncio.open_connection(
                account.host, account.port, ssl=ssl.create_default_context() if account.tls else None
            )
        session = Session(*streams, self._deliver, self._bound.clear)
        async with TaskGroup() as tasks:
            tasks.create_task(session.serve())
            await session.bind(account)
            self._session = session
            self._bound.set()
            self._first_try(None)
            log.info("action=smpp_bound host=%s tls=%s", account.host, account.tls)

    def _first_try(self, refused: BindRefused | None) -> None:
        if self._tried is not None and not self._tried.done():
            self._tried.set_result(refused)


class Session:
    """One connection, from bind to its end.

    proven_at   loop time up to which the SMSC is known to have read all that we wrote [s]
    """

    def __init__(
        self,
        reader: StreamReader,
        writer: StreamWriter,
        deliver: Deliver,
        on_end: Callable[[], None],
    ) -> None:
        self._reader = reader
        self._writer = writer
        self._deliver = deliver
        self._on_end = on_end
        self._sequence = count(1)
        self._asked: dict[int, Future[Reply]] = {}
        self._ended = False
        self.proven_at = 0.0

    async def bind(self, account: Account) -> None:
        """Bind as a transceiver. Raises BindRefused."""
        strings = (account.system_id, account.password, account.system_type)
        body = b"".join(text.encode("latin-1", "replace") + b"\0" for text in strings)
        reply = await self.ask(BIND, body + bytes((VERSION_3_4, 0, 0, 0)))
        if reply.status != OK:
            raise BindRefused(reply.status)

    async def ask(self, command: int, body: bytes = b"") -> Reply:
        """One request and its answer. Raises LinkDown before anything is sent, LinkLost after."""
        if self._ended:
            raise LinkDown("the link has just ended")
        number, asked_at = next(self._sequence), asyncio.get_running_loop().time()
        reply: Future[Reply] = asyncio.get_running_loop().create_future()
        self._asked[number] = reply
        try:
            self._write(command, OK, number, body)
            async with asyncio.timeout(ANSWER_S):
                await self._writer.drain()
                answer = await reply
        except (TimeoutError, OSError):
            raise LinkLost(f"no answer from the SMSC within {ANSWER_S:.0f} s") from None
        finally:
            del self._asked[number]
        self.proven_at = max(self.proven_at, asked_at)
        return answer

    async def serve(self) -> None:
        """Read, answer and keep alive until the link ends; then raises why."""
        try:
            async with TaskGroup() as tasks:
                tasks.create_task(self._keep_alive())
                while True:
                    self._handle(await self._read(), tasks)
        finally:
            self._ended = True
            self._on_end()
            for reply in self._asked.values():
                if not reply.done():
                    reply.set_exception(LinkLost("the link broke before the SMSC answered"))
            self._writer.close()

    async def _read(self) -> bytes:
        try:
            length = await self._reader.readexactly(4)
            size = int.from_bytes(length)
            if not HEADER.size <= size <= LONGEST_PDU:
                raise EOFError("what comes is not SMPP")
            return length + await self._reader.readexactly(size - 4)
        except asyncio.IncompleteReadError:
            raise EOFError("the SMSC hung up") from None

    def _handle(self, pdu: bytes, tasks: TaskGroup) -> None:
        _, command, status, number = HEADER.unpack_from(pdu)
        if command & ANSWER:
            reply = self._asked.get(number)
            if reply is not None and not reply.done():
                reply.set_result(Reply(status, pdu[HEADER.size :]))
        elif command == DELIVER:
            tasks.create_task(self._bring(pdu, number))
        elif command == ENQUIRE:
            self._write(ENQUIRE | ANSWER, OK, number)
        elif command == UNBIND:
            self._write(UNBIND | ANSWER, OK, number)
            raise EOFError("the SMSC took its leave")
        else:
            self._write(ANSWER, UNKNOWN_COMMAND, number)

    async def _bring(self, pdu: bytes, number: int) -> None:
        """Hand on what came and answer it after that, so that what is lost on the way comes again."""
        try:
            deliver = smpp34.decode(pdu)
            assert isinstance(deliver, smpp34.DeliverSm)
            await self._deliver(self, deliver)
            status = OK
        except smpp34.SmppError:
            status = UNREADABLE
            log.warning("action=smpp_unreadable octets=%s", len(pdu))
        except Exception:  # whatever went wrong with one text must not end the link
            status = TRY_AGAIN
            log.exception("action=smpp_deliver")
        self._write(DELIVER | ANSWER, status, number, b"\0")

    async def _keep_alive(self) -> None:
        while True:
            await asyncio.sleep(ALIVE_S)
            await self.ask(ENQUIRE)

    def _write(self, command: int, status: int, number: int, body: bytes = b"") -> None:
        self._writer.write(HEADER.pack(HEADER.size + len(body), command, status, number) + body)


def _first(troubles: BaseExceptionGroup[BaseException]) -> BaseException:
    """The exception that a group of groups is about."""
    trouble = troubles.exceptions[0]
    return _first(trouble) if isinstance(trouble, BaseExceptionGroup) else trouble
