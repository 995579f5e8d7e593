"""Where the parts are wired together; the only file that does."""

import asyncio
import logging
import os
import signal
import socket
from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from contextlib import AsyncExitStack, contextmanager
from datetime import datetime, timedelta
from functools import partial
from tempfile import TemporaryDirectory
from typing import Any, Protocol, runtime_checkable
from urllib.parse import urlencode
from uuid import uuid4

from starlette.applications import Starlette

from bot.channels.console import Console
from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import read_gateway
from bot.channels.telegram import Telegram
from bot.conversation.respond import Desk, respond
from bot.demo import fill, said
from bot.outlook import Outlooks
from bot.picture import rendering
from bot.profile import Profile, read_profile
from bot.rehearse import Message, Recorder, Season, SimulatedClock, channels_of, read_script
from bot.settings import Settings, data_folder, read_settings
from bot.weather_service import WeatherService, weather_service
from bot.web.app import Brought, serving, web_app
from bot.web.office import Office
from bot.web.staff import staff_pages
from scheduler.broadcasts import send_out
from scheduler.planner import plan
from scheduler.sender import Channel, Sender
from scheduler.times import Clock, SystemClock
from scheduler.worker import FixedJob, Worker
from shared.errors import BadInput, StorageTrouble
from storage.inbox import Incoming
from storage.outbox import Receipt
from storage.work import Store

log = logging.getLogger(__name__)

MOST_CALLS = 10
"""People who are put on the list of the staff a day because they are silent or cannot be reached."""
AGAIN_S = 5.0
"""Pause before a message is stored again after trouble with the database. [s]"""
TO_OPEN = {
    "telegram": "set WARMHEAP_TELEGRAM_TOKEN",
    "sms": "set WARMHEAP_GATEWAY or WARMHEAP_SMPP_URL",
}
RECEIPT_TRIES = 3
"""How often a receipt is looked up before it is let go."""


class Warmheap:
    """The running program: what it remembers, how it answers, plans and sends."""

    def __init__(
        self,
        store: Store,
        profile: Profile,
        channels: Iterable[Channel],
        clock: Clock,
        weather: WeatherService | None = None,
    ) -> None:
        holder = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"
        self.store = store
        self.clock = clock
        self._outlooks = Outlooks(profile, weather)
        self._desk = Desk(profile, self._outlooks)
        self._broken: set[int] = set()
        write = rendering(store, self._outlooks)
        self._sender = Sender(store, {channel.name: channel for channel in channels}, write, clock, holder)
        daily = FixedJob("keep house", timedelta(days=1), self.keep_house)
        self.worker = Worker(store, self.plan, self._sender, clock, holder, [daily])

    def take(self, incoming: Incoming) -> None:
        """Store a message; only then may its channel acknowledge it."""
        with self.store.work() as work:
            work.inbox.take(incoming)
            work.commit()

    def note(self, receipt: Receipt) -> bool:
        """Write down what became of a text; False where none like that is known (yet)."""
        with self.store.work() as work:
            known = work.outbox.arrived(receipt)
            work.commit()
        return known

    def look(self) -> None:
        """See that the database serves; raises StorageTrouble where it does not."""
        with self.store.work(reading=True) as work:
            work.outbox.next_due(self.clock.now())

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
        send_out(self.store, at, self._desk.profile.zone)

    def keep_house(self, at: datetime) -> None:
        """Once a day: find the people whom a call may help, and let texts go that are kept no longer."""
        with self.store.work() as work:
            work.helpdesk.look_for_trouble(at, MOST_CALLS)
            work.privacy.let_go(at - timedelta(days=self._desk.profile.keep_texts_days))
            work.commit()

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
        profile = read_profile(settings.profile)
        yield Warmheap(store, profile, channels, clock, weather_service(profile, clock))
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


def coordinator(name: str) -> str:
    """A one-time code; whoever texts it to the program within a week becomes a coordinator."""
    clock = SystemClock()
    with running(read_settings(), [], clock) as warmheap, warmheap.store.work() as work:
        code = work.staff.invite(name, "coordinator", None, clock.now())
        work.commit()
    return code


def demo(address: str, seed: int) -> None:
    """Fill an empty database with an invented county, then serve the staff's pages at `host:port`."""
    logging.basicConfig(level=logging.ERROR)
    settings = read_settings()
    if "database_url" not in settings.model_fields_set:
        settings = settings.model_copy(update={"database_url": f"sqlite:///{data_folder() / 'demo.sqlite'}"})
        data_folder().mkdir(parents=True, exist_ok=True)
        (data_folder() / "demo.sqlite").unlink(missing_ok=True)
    asyncio.run(_demo(settings, address, seed))


async def _demo(settings: Settings, address: str, seed: int) -> None:
    profile = read_profile(settings.profile)
    now = SystemClock().now()
    clock, gateway = SimulatedClock(now), Recorder("gateway")
    with running(settings, [gateway], clock) as warmheap:
        print("Filling an invented county: classes, graduates, piles ...", flush=True)
        coordinator = fill(warmheap.store, profile, now, seed)
        for number, (at, phone, words) in enumerate(said(profile, now)):
            clock.at = at
            await warmheap.hear(Incoming("gateway", phone, f"demo-{number}", words, at))
        clock.at = now
        with warmheap.store.work() as work:
            person = work.people.get(coordinator.person_id)
            found = work.staff.sign_in_code(person.address, now)
            work.commit()
        office = Office(warmheap.store, profile, SystemClock(), f"http://{address}", Outlooks(profile))
        async with serving(Starlette(routes=staff_pages(office)), address) as port:
            host = address.rpartition(":")[0]
            code = found[1] if found else ""
            query = urlencode({"address": person.address, "code": code})
            print(f"Open http://{host}:{port}/sign-in/code?{query}", flush=True)
            print("The link signs you in, once, within ten minutes. Stop with Ctrl-C.", flush=True)
            await _until_told_to_stop(asyncio.create_task(asyncio.Event().wait()))


def serve() -> None:
    """Run every channel that is configured, until the process is told to stop."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    for chatty in ("httpx", "apscheduler", "alembic"):  # httpx logs addresses; Telegram's hold the token
        logging.getLogger(chatty).setLevel(logging.WARNING)
    asyncio.run(_serve(read_settings(), SystemClock()))


class Line(Channel, Protocol):
    """A channel that brings messages as well; each is stored when the next is asked for."""

    async def open(self) -> None:
        """Make ready. Raises ChannelTrouble where that can never be."""

    async def close(self) -> None:
        """Let go of everything."""

    def incoming(self) -> AsyncIterator[Incoming]:
        """Every message, without end."""


@runtime_checkable
class KeepsLink(Protocol):
    """A line that hangs on a link of its own."""

    @property
    def is_up(self) -> bool:
        """Whether the link is there."""


@runtime_checkable
class TellsReceipts(Protocol):
    """A line that hears what became of what was sent."""

    def receipts(self) -> AsyncIterator[Receipt]:
        """Every receipt, without end."""


async def _serve(settings: Settings, clock: Clock) -> None:
    lines = list(_lines(settings, clock))
    off = {name: mend for name, mend in TO_OPEN.items() if name not in {line.name for line in lines}}
    if not lines:
        raise BadInput(f"serve: no channel is configured; {', or '.join(off.values())}")
    brought = [line for line in lines if isinstance(line, Brought)]
    if settings.http is None and any(line.path is not None for line in brought):
        raise BadInput("serve: the gateway brings texts to the web part; set WARMHEAP_HTTP to host:port")
    with running(settings, lines, clock) as warmheap:
        async with AsyncExitStack() as stack:
            for line in lines:
                await line.open()
                stack.push_async_callback(line.close)
            if settings.http is not None:
                await stack.enter_async_context(
                    serving(web_app(partial(_health, warmheap, lines), brought), settings.http)
                )
            await warmheap.worker.start()
            stack.push_async_callback(warmheap.worker.stop)
            for name, mend in off.items():
                log.info("action=off channel=%s mend=%s", name, mend)
            log.info("action=web address=%s", settings.http or "off; set WARMHEAP_HTTP")
            log.info("action=serving channels=%s", ",".join(line.name for line in lines))
            await _until_told_to_stop(asyncio.create_task(listen(warmheap, lines)))
    log.info("action=stopped")


def _lines(settings: Settings, clock: Clock) -> Iterator[Line]:
    """Every channel that the settings configure."""
    if settings.telegram_token is not None:
        yield Telegram(settings.telegram_token.get_secret_value(), settings.telegram_api, clock)
    if settings.gateway is None and settings.smpp_url is None:
        return
    if settings.gateway is not None and settings.smpp_url is not None:
        raise BadInput("serve: texts go one way; set WARMHEAP_GATEWAY or WARMHEAP_SMPP_URL, not both")
    if settings.sms_from is None:
        raise BadInput("serve: set WARMHEAP_SMS_FROM to the number that texts come from, as +15055550100")
    if settings.gateway is not None:
        yield Gateway(read_gateway(settings.gateway), settings.sms_from, clock)
    elif settings.smpp_url is not None:
        try:
            from bot.channels.smpp import Smpp
        except ModuleNotFoundError:
            raise BadInput(
                "serve: WARMHEAP_SMPP_URL needs one more package: install warmheap[smpp]"
            ) from None
        yield Smpp(settings.smpp_url.get_secret_value(), settings.sms_from, clock)


async def listen(warmheap: Warmheap, lines: Iterable[Line]) -> None:
    """Bring what arrives to the program: stored at once, answered as fast as it can."""
    arrived = asyncio.Event()
    arrived.set()  # what an earlier run stored and did not answer
    tasks = [asyncio.create_task(_answer_when(arrived, warmheap))]
    for line in lines:
        tasks.append(asyncio.create_task(_hear(warmheap, line, arrived)))
        if isinstance(line, TellsReceipts):
            tasks.append(asyncio.create_task(_note_receipts(warmheap, line)))
    try:
        await asyncio.gather(*tasks)
    finally:
        for task in tasks:
            task.cancel()


async def _hear(warmheap: Warmheap, line: Line, arrived: asyncio.Event) -> None:
    async for incoming in line.incoming():
        while not await _stored(warmheap, incoming):
            await asyncio.sleep(AGAIN_S)
        arrived.set()


async def _note_receipts(warmheap: Warmheap, line: TellsReceipts) -> None:
    async with asyncio.TaskGroup() as tasks:
        async for receipt in line.receipts():
            tasks.create_task(_note(warmheap, receipt))


async def _note(warmheap: Warmheap, receipt: Receipt) -> None:
    """Write down what became of a text. A receipt may overtake the note that its text was sent."""
    for _ in range(RECEIPT_TRIES):
        try:
            if await asyncio.to_thread(warmheap.note, receipt):
                return
        except StorageTrouble as trouble:
            log.warning("action=receipt trouble=%s", trouble)
        await asyncio.sleep(AGAIN_S)


async def _health(warmheap: Warmheap, lines: Iterable[Line]) -> dict[str, str]:
    """The state of each part, "ok" where it is well; says nothing of anybody."""
    try:
        await asyncio.to_thread(warmheap.look)
    except StorageTrouble:
        return {"database": "cannot serve"}
    return {"database": "ok"} | {
        line.name: "no link" if isinstance(line, KeepsLink) and not line.is_up else "ok" for line in lines
    }


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


async def _until_told_to_stop(listening: asyncio.Task[Any]) -> None:
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
