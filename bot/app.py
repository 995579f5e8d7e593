"""Where the parts are wired together; the only file that does."""

import asyncio
import logging
import os
import signal
import socket
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from tempfile import TemporaryDirectory
from uuid import uuid4

from bot.channels.console import Console
from bot.channels.telegram import Telegram
from bot.conversation.respond import Desk, respond
from bot.outlook import Outlooks
from bot.picture import rendering
from bot.profile import Profile, read_profile
from bot.rehearse import Message, Season, SimulatedClock, channels_of, read_script
from bot.settings import Settings, read_settings
from scheduler.planner import plan
from scheduler.sender import Channel, Sender
from scheduler.times import Clock, SystemClock
from scheduler.worker import Worker
from shared.errors import BadInput, StorageTrouble
from storage.inbox import Incoming
from storage.work import Store

log = logging.getLogger(__name__)

AGAIN_S = 5.0
"""Pause before a message is stored again after trouble with the database. [s]"""


class Warmheap:
    """The running program: what it remembers, how it answers, plans and sends."""

    def __init__(self, store: Store, profile: Profile, channels: Iterable[Channel], clock: Clock) -> None:
        holder = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"
        self.store = store
        self.clock = clock
        self._outlooks = Outlooks(profile)
        self._desk = Desk(profile, self._outlooks)
        self._broken: set[int] = set()
        write = rendering(store, self._outlooks)
        self._sender = Sender(store, {channel.name: channel for channel in channels}, write, clock, holder)
        self.worker = Worker(store, self.plan, self._sender, clock, holder)

    def take(self, incoming: Incoming) -> None:
        """Store a message; only then may its channel acknowledge it."""
        with self.store.work() as work:
            work.inbox.take(incoming)
            work.commit()

    def answer(self) -> None:
        """Answer every stored message that waits, in the order of arrival."""
        with self.store.work(reading=True) as work:
            waiting = work.inbox.waiting()
        for incoming_id, incoming in waiting:
            if incoming_id not in self._broken:
                self._answer(incoming_id, incoming)

    def plan(self, at: datetime) -> None:
        """Put what has become due into the outbox."""
        plan(self.store, at, self._outlooks)

    async def send(self) -> None:
        """Send what is due."""
        await self._sender.send_due(self.clock.now())

    async def catch_up(self) -> None:
        """Answer what waits, and send what is due."""
        await asyncio.to_thread(self.answer)
        await self.send()

    async def hear(self, incoming: Incoming) -> None:
        """A message from its arrival to the replies."""
        await asyncio.to_thread(self.take, incoming)
        await self.catch_up()

    def _answer(self, incoming_id: int, incoming: Incoming) -> None:
        try:
            respond(self.store, self._desk, incoming_id, incoming, self.clock.now())
        except StorageTrouble:
            raise
        except Exception:  # one message that breaks us must not keep the others from being answered
            self._broken.add(incoming_id)
            log.exception("action=answer incoming=%s: left in the inbox", incoming_id)


@contextmanager
def running(settings: Settings, channels: Sequence[Channel], clock: Clock) -> Iterator[Warmheap]:
    """The program on the settings' database, which is brought to this version first."""
    settings.make_room()
    store = Store(settings.database_url, settings.secret.get_secret_value())
    try:
        store.upgrade()
        yield Warmheap(store, read_profile(settings.profile), channels, clock)
    finally:
        store.close()


def rehearse(text: str, name: str) -> Iterator[Message]:
    """Play the script `text` (of the file `name`) on a database of its own; each message as it goes by."""
    profile = read_profile(read_settings().profile)
    script = read_script(text, name, profile)
    clock, channels = SimulatedClock(script.said[0].at), channels_of(script, profile)
    with TemporaryDirectory(prefix="warmheap-") as folder:
        store = Store(f"sqlite:///{folder}/season.sqlite")
        try:
            store.upgrade()
            yield from Season(
                script, profile, Warmheap(store, profile, channels, clock), clock, channels
            ).run()
        finally:
            store.close()


def chat(name: str | None) -> None:
    """Talk with whoever is at this keyboard, until the input ends."""
    logging.basicConfig(level=logging.ERROR)
    asyncio.run(_chat(Console(name), SystemClock()))


async def _chat(console: Console, clock: Clock) -> None:
    with running(read_settings(), [console], clock) as warmheap:
        await warmheap.worker.start()
        try:
            with console.window():
                await warmheap.catch_up()  # what was stored, and not answered, when the program last ended
                async for text in console.lines():
                    await warmheap.hear(console.incoming(text, clock.now()))
        finally:
            await warmheap.worker.stop()


def serve() -> None:
    """Run every channel that is configured, until the process is told to stop."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    for chatty in ("httpx", "apscheduler", "alembic"):  # httpx logs addresses; Telegram's hold the token
        logging.getLogger(chatty).setLevel(logging.WARNING)
    asyncio.run(_serve(read_settings(), SystemClock()))


async def _serve(settings: Settings, clock: Clock) -> None:
    if settings.telegram_token is None:
        raise BadInput("serve: no channel is configured; set WARMHEAP_TELEGRAM_TOKEN")
    telegram = Telegram(settings.telegram_token.get_secret_value(), settings.telegram_api, clock)
    with running(settings, [telegram], clock) as warmheap:
        await telegram.open()
        await warmheap.worker.start()
        log.info("action=serving channels=telegram")
        try:
            await _until_told_to_stop(asyncio.create_task(listen(warmheap, telegram)))
        finally:
            await warmheap.worker.stop()
            await telegram.close()
            log.info("action=stopped")


async def listen(warmheap: Warmheap, channel: Telegram) -> None:
    """Bring what arrives to the program: stored at once, answered as fast as it can."""
    arrived = asyncio.Event()
    arrived.set()  # what an earlier run stored and did not answer
    answering = asyncio.create_task(_answer_when(arrived, warmheap))
    try:
        async for incoming in channel.incoming():
            while not await _stored(warmheap, incoming):
                await asyncio.sleep(AGAIN_S)
            arrived.set()
    finally:
        answering.cancel()


async def _stored(warmheap: Warmheap, incoming: Incoming) -> bool:
    try:
        await asyncio.to_thread(warmheap.take, incoming)
    except StorageTrouble as trouble:
        log.warning("action=take trouble=%s", trouble)
        return False
    return True


async def _answer_when(arrived: asyncio.Event, warmheap: Warmheap) -> None:
    while True:
        await arrived.wait()
        arrived.clear()
        try:
            await warmheap.catch_up()
        except Exception as trouble:  # answering must outlive any trouble; the database's passes by itself
            log.warning("action=answer trouble=%s", trouble, exc_info=not isinstance(trouble, StorageTrouble))
            await asyncio.sleep(AGAIN_S)
            arrived.set()


async def _until_told_to_stop(listening: asyncio.Task[None]) -> None:
    """Wait for a stop signal, or for the trouble that ends the listening."""
    told = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, told.set)
    stop = asyncio.create_task(told.wait())
    await asyncio.wait({stop, listening}, return_when=asyncio.FIRST_COMPLETED)
    stop.cancel()
    if listening.done():
        await listening
    listening.cancel()
    await asyncio.wait({listening})
