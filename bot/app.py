"""Where the parts are wired together; the only file that does."""

import asyncio
import logging
import os
import socket
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AsyncExitStack, contextmanager
from datetime import datetime, timedelta
from functools import partial
from tempfile import TemporaryDirectory
from urllib.parse import urlencode
from uuid import uuid4

from starlette.applications import Starlette
from starlette.routing import BaseRoute

from bot.channels.console import Console
from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import read_gateway
from bot.channels.telegram import Telegram
from bot.conversation.respond import Desk, respond
from bot.demo import fill
from bot.language.wording import commands
from bot.listening import Line, health, leave, listen, until_told_to_stop
from bot.metrics import Counted, metrics_page
from bot.outlook import Outlooks
from bot.picture import rendering
from bot.profile import Profile, read_profile
from bot.rehearse import Message, Recorder, Script, Season, SimulatedClock, channels_of, read_script
from bot.settings import Settings, data_folder, read_settings
from bot.staff.poster import Ways
from bot.weather_service import WeatherService, weather_service
from bot.web.app import Brought, serving, web_app
from bot.web.office import Office
from bot.web.staff import staff_pages
from scheduler.broadcasts import send_out
from scheduler.planner import plan
from scheduler.sender import Channel, Sender, shows_of
from scheduler.times import Clock, SystemClock
from scheduler.worker import PLAN_EVERY_S, FixedJob, Worker
from shared.errors import BadInput, StorageTrouble
from storage.inbox import Incoming
from storage.outbox import Receipt
from storage.work import Store

log = logging.getLogger(__name__)

MOST_CALLS = 10
"""People who are put on the list of the staff a day because they are silent or cannot be reached."""
TO_OPEN = {
    "telegram": "set WARMHEAP_TELEGRAM_TOKEN",
    "sms": "set WARMHEAP_GATEWAY or WARMHEAP_SMPP_URL",
}
TO_SERVE = {
    "web": "set WARMHEAP_HTTP to host:port",
    "staff pages": "set WARMHEAP_HTTP, and WARMHEAP_PUBLIC_URL to the address that browsers reach",
    "metrics": "set WARMHEAP_HTTP, and WARMHEAP_METRICS_TOKEN to a long random word",
    "profile": "copy deploy/larkmoor.toml, change it to your programme, and set WARMHEAP_PROFILE to the copy",
    "weather": "name a url under [weather] of the profile; forecasts run on normals",
}


class Warmheap:
    """The running program: what it remembers, how it answers, plans and sends."""

    def __init__(
        self,
        store: Store,
        profile: Profile,
        channels: Iterable[Channel],
        clock: Clock,
        weather: WeatherService | None = None,
        public_url: str | None = None,
    ) -> None:
        holder = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"
        self.store = store
        self.profile = profile
        self.clock = clock
        self._ending = False
        self.outlooks = Outlooks(profile, weather)
        self._desk = Desk(profile, self.outlooks, public_url)
        self._broken: set[int] = set()
        by_name = {channel.name: channel for channel in channels}
        shown = {name: shows_of(channel) for name, channel in by_name.items()}
        write = rendering(store, self.outlooks, shown)
        self._sender = Sender(store, by_name, write, clock, holder)
        jobs = (
            FixedJob("broadcasts", timedelta(seconds=PLAN_EVERY_S), self.broadcast),
            FixedJob("keep house", timedelta(days=1), self.keep_house),
        )
        self.worker = Worker(store, self.plan, self._sender, clock, holder, jobs)

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

    def answer(self, answered: Callable[[], None] = lambda: None) -> None:
        """Answer every stored message that waits, in the order of arrival; `answered` is told of each."""
        with self.store.work(reading=True) as work:
            waiting = work.inbox.waiting()
        for incoming_id, incoming in waiting:
            if self._ending:
                return
            if incoming_id not in self._broken:
                self._answer(incoming_id, incoming)
                answered()

    def end(self) -> None:
        """Answer nothing more; what waits is answered by whoever starts next."""
        self._ending = True

    def plan(self, at: datetime) -> None:
        """Put what has become due into the outbox."""
        plan(self.store, at, self.outlooks)

    def broadcast(self, at: datetime) -> None:
        """Go on with what staff send to many."""
        send_out(self.store, at, self.profile.zone)

    def keep_house(self, at: datetime) -> None:
        """Once a day: find the people whom a call may help, and let texts go that are kept no longer."""
        with self.store.work() as work:
            work.helpdesk.look_for_trouble(at, MOST_CALLS)
            work.privacy.let_go(at - timedelta(days=self.profile.keep_texts_days))
            work.rosters.forget_drafts(at)
            work.logger_files.forget_drafts(at)
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
        public_url = settings.public_url if settings.http is not None else None
        yield Warmheap(store, profile, channels, clock, weather_service(profile, clock), public_url)
    finally:
        store.close()


def rehearse(text: str, name: str) -> Iterator[Message]:
    """Play the script `text` (of the file `name`) on a database of its own; each message as it goes by."""
    profile = read_profile(read_settings().profile)
    yield from play(profile, read_script(text, name, profile))


def play(profile: Profile, script: Script) -> Iterator[Message]:
    """Play a script on a database of its own, which is gone afterwards; each message as it goes by."""
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
    settings.make_room()
    if "database_url" not in settings.model_fields_set:
        settings = settings.model_copy(update={"database_url": f"sqlite:///{data_folder() / 'demo.sqlite'}"})
        (data_folder() / "demo.sqlite").unlink(missing_ok=True)
    asyncio.run(_demo(settings, address, seed))


async def _demo(settings: Settings, address: str, seed: int) -> None:
    profile = read_profile(settings.profile)
    now = SystemClock().now()
    clock, phones = SimulatedClock(now), Recorder("sms")
    with running(settings, [phones], clock) as warmheap:
        print("Filling an invented county: classes, graduates, piles ...", flush=True)
        coordinator, told = fill(warmheap.store, profile, now, seed)
        for number, (at, phone, name, words) in enumerate(told):
            clock.at = at
            await warmheap.hear(Incoming("sms", phone, f"demo-{number}", words, at, name))
        clock.at = now
        with warmheap.store.work() as work:
            person = work.people.get(coordinator.person_id)
            found = work.staff.sign_in_code(person.address, now)
            work.commit()
        ways = Ways("+15055550100")  # nobody's
        office = Office(
            warmheap.store,
            profile,
            SystemClock(),
            f"http://{address}",
            warmheap.outlooks,
            ways,
            partial(play, profile),
        )
        async with serving(Starlette(routes=staff_pages(office)), address) as port:
            host = address.rpartition(":")[0]
            code = found[1] if found else ""
            query = urlencode({"address": person.address, "code": code})
            print(f"Open http://{host}:{port}/sign-in/code?{query}", flush=True)
            print("The link signs you in, once, within ten minutes. Stop with Ctrl-C.", flush=True)
            await until_told_to_stop(asyncio.create_task(asyncio.Event().wait()))


def serve() -> None:
    """Run every channel that is configured, until the process is told to stop."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    for chatty in ("httpx", "apscheduler", "alembic"):  # httpx logs addresses; Telegram's hold the token
        logging.getLogger(chatty).setLevel(logging.WARNING)
    asyncio.run(_serve(read_settings(), SystemClock()))


async def _serve(settings: Settings, clock: Clock) -> None:
    lines = list(_lines(settings, clock))
    if not lines:
        raise BadInput(f"serve: no channel is configured; {', or '.join(TO_OPEN.values())}")
    brought = [line for line in lines if isinstance(line, Brought)]
    if settings.http is None and any(line.path is not None for line in brought):
        raise BadInput("serve: the gateway brings texts to the web part; set WARMHEAP_HTTP to host:port")
    with running(settings, [Counted(line) for line in lines], clock) as warmheap:
        async with AsyncExitStack() as stack:
            for line in lines:
                await line.open()
                stack.push_async_callback(line.close)
            if settings.http is not None:
                pages = _pages(settings, warmheap, lines)
                app = web_app(partial(health, warmheap, lines), brought, pages)
                await stack.enter_async_context(serving(app, settings.http))
            await warmheap.worker.start()
            stack.push_async_callback(warmheap.worker.stop)
            for part in _what_is_on(settings, warmheap.profile, lines):
                log.info(part)
            log.info("action=serving channels=%s", ",".join(line.name for line in lines))
            warming = asyncio.get_running_loop().run_in_executor(None, warmheap.outlooks.warm_up)
            await until_told_to_stop(asyncio.create_task(listen(warmheap, lines)), warmheap.end)
    log.info("action=stopped")
    if not warming.done():  # a compiler cannot be told to stop, and all else is closed
        leave()


def _pages(settings: Settings, warmheap: Warmheap, lines: Sequence[Line]) -> Iterator[BaseRoute]:
    """What the web part serves beside the channels' doors."""
    if settings.metrics_token is not None:
        token = settings.metrics_token.get_secret_value()
        yield metrics_page(token, partial(health, warmheap, lines), warmheap.store, warmheap.clock)
    if settings.public_url is not None:
        chat = next((line.username for line in lines if isinstance(line, Telegram)), None)
        office = Office(
            warmheap.store,
            warmheap.profile,
            warmheap.clock,
            settings.public_url,
            warmheap.outlooks,
            Ways(settings.sms_from, chat),
            partial(play, warmheap.profile),
        )
        yield from staff_pages(office)


def _what_is_on(settings: Settings, profile: Profile, lines: Sequence[Line]) -> Iterator[str]:
    """A line for each part: how it is on, or that it is off and what turns it on."""
    parts: dict[str, str | None] = dict.fromkeys(TO_OPEN)
    for line in lines:
        parts[line.name] = type(line).__name__.lower()
        if isinstance(line, Telegram):
            brought = f"webhook at {settings.public_url}{line.path}"
            parts[line.name] = "long polling" if line.path is None else brought
        elif isinstance(line, Gateway) and line.path is None:
            parts[line.name] = "gateway, one way: nobody can answer or stop; add [receive] to its file"
    parts["web"] = settings.http
    parts["staff pages"] = settings.http and settings.public_url
    parts["metrics"] = "/metrics" if settings.http and settings.metrics_token else None
    parts["profile"] = None if settings.profile is None else str(settings.profile)
    parts["weather"] = profile.weather.url
    for part, how in parts.items():
        if how is None:
            yield f"action=off part={part!r} to_turn_on={(TO_OPEN | TO_SERVE)[part]!r}"
        else:
            yield f"action=on part={part!r} how={how!r}"


def _lines(settings: Settings, clock: Clock) -> Iterator[Line]:
    """Every channel that the settings configure."""
    if settings.telegram_token is not None:
        token = settings.telegram_token.get_secret_value()
        menu = {language: commands(language) for language in read_profile(settings.profile).languages}
        public_url = settings.public_url if settings.http is not None else None
        yield Telegram(token, settings.telegram_api, clock, menu, public_url)
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
