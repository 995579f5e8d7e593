"""One scripted season over every channel: the same records, the same meaning, whatever the channel.

Telegram against the Bot API emulator, SMPP against an SMSC, the gateway against a server of our own that is
asked over HTTP, and the console. The clock is simulated; the wires are real.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import aclosing, asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, select

from bot.app import Warmheap
from bot.channels.console import Console
from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import read_gateway
from bot.channels.smpp import Smpp
from bot.channels.telegram import Telegram
from bot.profile import Profile
from bot.rehearse import SimulatedClock
from storage.inbox import Incoming
from storage.models import OutboxTable, RecordTable
from storage.work import Store
from tests.bot.channels.conftest import Phone
from tests.smsc import ANA, OURS, started

SEASON = (
    ("2026-04-11T09:00", "hi"),
    ("2026-04-11T09:01", "yes"),
    (
        "2026-04-11T09:03",
        "built a pile this morning, 4x4x4 ft, 60 buckets grass, 60 buckets dry leaves, in a bin",
    ),
    ("2026-04-11T09:04", "1"),
    ("2026-04-11T09:05", "1"),
    ("2026-04-13T19:00", "141, looks right"),
    ("2026-04-15T18:00", "temp 150 and a bit dry"),
    ("2026-04-16T18:30", "added like 4 gal n turned it 128 now"),
    ("2026-04-18T09:01", "why?"),
    ("2026-04-22T18:00", None),
    ("2026-04-24T17:30", "no i meant 118"),
    ("2026-04-25T10:00", "can i add orange peels"),
    ("2026-04-29T18:00", None),
    ("2026-05-02T10:00", "STOP"),
    ("2026-05-20T18:00", None),
)
"""What Ana texts and when [UTC]; None: nobody writes, and the planner looks."""
PATIENCE_S = 30.0


@dataclass
class Way:
    """A channel with a phone at its other end: how Ana says something, and what her phone has got."""

    channel: Any
    say: Callable[[str], Awaitable[Incoming | None]]
    got: list[str] = field(default_factory=list)


@asynccontextmanager
async def heard(channel: Any, put: Callable[[str], Awaitable[None]]) -> AsyncIterator[Callable[[str], Any]]:
    """A channel that brings what the phone puts on the wire."""
    async with aclosing(channel.incoming()) as messages:
        asked: list[asyncio.Task[Incoming]] = []

        async def say(words: str) -> Incoming:
            # the next is asked for only once this one is stored: so the channel knows that it is
            asked.append(asyncio.ensure_future(anext(messages)))
            await put(words)
            return await asyncio.wait_for(asyncio.shield(asked[-1]), PATIENCE_S)

        yield say


@asynccontextmanager
async def by_console(clock: SimulatedClock, capsys: pytest.CaptureFixture[str]) -> AsyncIterator[Way]:
    """A window."""
    console = Console("ana")

    async def say(words: str) -> Incoming:
        return console.incoming(words, clock.now())

    capsys.readouterr()
    way = Way(console, say)
    yield way
    way.got.append(capsys.readouterr().out)


@asynccontextmanager
async def by_telegram(clock: SimulatedClock, phone: Phone) -> AsyncIterator[Way]:
    """A bot on the emulated Bot API."""
    telegram = Telegram(phone.token, phone.api, clock)
    await telegram.open()

    async def put(words: str) -> None:
        await asyncio.to_thread(phone.say, words)

    async with heard(telegram, put) as say:
        way = Way(telegram, say)
        yield way
    way.got += [call["text"] for call in phone.calls_of_mine("sendMessage")]
    await telegram.close()


@asynccontextmanager
async def by_smpp(clock: SimulatedClock) -> AsyncIterator[Way]:
    """An SMSC."""
    async with started() as smsc:
        channel = Smpp(smsc.url, f"+{OURS}", clock)
        await channel.open()
        await smsc.next("bind")
        async with heard(channel, smsc.deliver) as say:
            way = Way(channel, say)
            yield way
        await smsc.deliver("bye")  # all that was submitted before has been told by then
        while smsc.has("submit"):
            way.got.append((await smsc.next("submit"))["text"])
        await channel.close()


@asynccontextmanager
async def by_gateway(clock: SimulatedClock, folder: Path) -> AsyncIterator[Way]:
    """A gateway that takes texts over HTTP and brings them by the door."""
    got: list[str] = []

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        length = int(head.partition("content-length: ")[2].split("\r\n")[0])
        got.append(json.loads(await reader.readexactly(length))["text"])
        writer.write(b'HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 11\r\n\r\n{"id": "a"}')
        writer.close()

    async with await asyncio.start_server(take, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        settings = folder / "gateway.toml"
        settings.write_text(
            f'[send]\nurl = "http://127.0.0.1:{port}/send"\nfields = {{ to = "{{to}}", text = "{{text}}" }}\n'
            'message_id = "id"\n[receive]\nsecret = "s3cret"\n'
        )
        gateway, brought = Gateway(read_gateway(settings), f"+{OURS}", clock), []

        async def put(words: str) -> None:
            body = json.dumps({"from": f"+{ANA}", "text": words, "id": f"{len(brought)}"}).encode()
            brought.append(asyncio.ensure_future(gateway.arrive({"x-secret": "s3cret"}, body)))

        async with heard(gateway, put) as say:
            yield Way(gateway, say, got)
        for task in brought:
            task.cancel()
        await gateway.close()


async def live(store: Store, clock: SimulatedClock, way: Way) -> None:
    """The season, through the real program."""
    program = Warmheap(store, Profile(), [way.channel], clock)
    for moment, words in SEASON:
        clock.at = datetime.fromisoformat(moment).replace(tzinfo=UTC)
        if words is None:
            await asyncio.to_thread(program.plan, clock.at)
            await program.send()
            continue
        incoming = await way.say(words)
        assert incoming is not None
        await program.hear(incoming)


def remembered(url: str) -> tuple[list[Any], list[Any], list[str]]:
    """The records, the meaning of everything that was said to Ana, and its texts as sent."""
    engine = create_engine(url)
    with engine.connect() as connection:
        records = connection.execute(
            select(RecordTable.kind, RecordTable.on, RecordTable.hour, RecordTable.data).order_by(
                RecordTable.id
            )
        ).all()
        said = connection.execute(
            select(OutboxTable.kind, OutboxTable.lines, OutboxTable.options, OutboxTable.status).order_by(
                OutboxTable.id
            )
        ).all()
        texts = connection.scalars(
            select(OutboxTable.text).where(OutboxTable.status == "sent").order_by(OutboxTable.sent_at)
        ).all()
    engine.dispose()
    return [tuple(row) for row in records], [tuple(row) for row in said], [text or "" for text in texts]


@pytest.fixture
def clock() -> SimulatedClock:
    """The season's first moment."""
    return SimulatedClock(datetime(2026, 4, 11, tzinfo=UTC))


async def test_a_season_means_the_same_over_every_channel(
    tmp_path: Path,
    migrated_file: Path,
    clock: SimulatedClock,
    phone: Phone,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Console, Telegram, SMPP and gateway: the same records and sentences, only written otherwise."""
    found = {}
    for name, way_of in {
        "console": lambda: by_console(clock, capsys),
        "telegram": lambda: by_telegram(clock, phone),
        "smpp": lambda: by_smpp(clock),
        "gateway": lambda: by_gateway(clock, tmp_path),
    }.items():
        url = f"sqlite:///{tmp_path / name}.sqlite"
        (tmp_path / f"{name}.sqlite").write_bytes(migrated_file.read_bytes())
        store = Store(url)
        async with way_of() as way:
            await live(store, clock, way)
        store.close()
        found[name] = remembered(url)
        got = "".join(way.got)
        assert all(text.replace("\n", "").strip() in got.replace("\n", "") for text in found[name][2]), name

    console_records, console_said, _ = found["console"]
    assert len(console_records) >= 8
    assert any(kind == "nudge" for kind, *_ in console_said)
    for name in ("telegram", "smpp", "gateway"):
        assert found[name][0] == console_records, name
        assert found[name][1] == console_said, name
    assert found["smpp"][2] == found["gateway"][2]
