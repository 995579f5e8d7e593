"""Every channel with phones at its other end, so that one test can run over all of them.

Telegram against the Bot API emulator, SMPP against an SMSC, the gateway against a server of our own that is
asked over HTTP, and the console. The clock is simulated; the wires are real. A new channel joins by its line
in `WAYS`.
"""

import asyncio
import json
from collections import defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import AbstractAsyncContextManager, aclosing, asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import gsm0338  # type: ignore[import-untyped]  # noqa: F401  registers the codec "gsm03.38"
import pytest
import smsutil

from bot.channels.console import Console
from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import read_gateway
from bot.channels.smpp import Smpp
from bot.channels.telegram import Telegram
from bot.rehearse import SimulatedClock
from storage.inbox import Incoming
from tests.bot.channels.conftest import Phone
from tests.smsc import ANA, BETO, OURS, started

NUMBERS = {"ana": ANA, "beto": BETO}
PATIENCE_S = 30.0
Say = Callable[[str, str], Awaitable[Incoming]]
"""Somebody (a name of NUMBERS) says something; back with the message as its channel brings it."""


@dataclass
class Way:
    """A channel, or one for each person, and what the phones at its other end can do.

    say    write words
    pick   give a quick answer by its number: tap it where there are buttons
    show   send a picture with its caption; None where none can be sent
    names  the channel tells who writes
    got    what each phone has got, once the way is closed
    """

    channels: Mapping[str, Any]
    say: Say
    pick: Callable[[str, int], Awaitable[Incoming]]
    show: Say | None = None
    names: bool = False
    got: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))


@dataclass(frozen=True)
class Bench:
    """What the ways are built with."""

    clock: SimulatedClock
    folder: Path
    phone: Phone
    capsys: pytest.CaptureFixture[str]


def by_digit(say: Say) -> Callable[[str, int], Awaitable[Incoming]]:
    """Quick answers on phones without buttons."""
    return lambda who, number: say(who, str(number))


@asynccontextmanager
async def heard(channel: Any) -> AsyncIterator[Callable[[Awaitable[None]], Awaitable[Incoming]]]:
    """A channel that brings what a phone puts on the wire."""
    async with aclosing(channel.incoming()) as messages:
        asked: list[asyncio.Task[Incoming]] = []

        async def bring(put: Awaitable[None]) -> Incoming:
            # the next is asked for only once this one is stored: so the channel knows that it is
            asked.append(asyncio.ensure_future(anext(messages)))
            await put
            return await asyncio.wait_for(asyncio.shield(asked[-1]), PATIENCE_S)

        yield bring


@asynccontextmanager
async def by_console(bench: Bench) -> AsyncIterator[Way]:
    """A window for each."""
    windows = {who: Console(who.capitalize()) for who in NUMBERS}

    async def say(who: str, words: str) -> Incoming:
        return windows[who].incoming(words, bench.clock.now())

    bench.capsys.readouterr()
    way = Way(windows, say, by_digit(say), names=True)
    yield way
    printed = bench.capsys.readouterr().out
    for who in NUMBERS:
        way.got[who].append(printed)


@asynccontextmanager
async def by_telegram(bench: Bench) -> AsyncIterator[Way]:
    """A bot on the emulated Bot API."""
    telegram = Telegram(bench.phone.token, bench.phone.api, bench.clock)
    phones = {"ana": bench.phone, "beto": bench.phone.others(78, "Beto")}
    await telegram.open()
    async with heard(telegram) as bring:

        async def say(who: str, words: str) -> Incoming:
            return await bring(asyncio.to_thread(phones[who].say, words))

        async def pick(who: str, number: int) -> Incoming:
            rows = phones[who].calls_of_mine("sendMessage")[-1]["reply_markup"]["inline_keyboard"]
            buttons = [button for row in rows for button in row]
            return await bring(asyncio.to_thread(phones[who].tap, buttons[number - 1]["callback_data"]))

        async def show(who: str, caption: str) -> Incoming:
            photo = [{"file_id": "f", "file_unique_id": "u", "width": 1, "height": 1}]
            message = phones[who].message(message_id=6, photo=photo, caption=caption)
            return await bring(asyncio.to_thread(lambda: phones[who].update(message=message)))

        way = Way(dict.fromkeys(NUMBERS, telegram), say, pick, show, names=True)
        try:
            yield way
        finally:
            await telegram.close()
    for who, phone in phones.items():
        way.got[who] += [call["text"] for call in phone.calls_of_mine("sendMessage")]


@asynccontextmanager
async def by_smpp(bench: Bench) -> AsyncIterator[Way]:
    """An SMSC; a long text leaves a phone in parts, cut by another library than ours."""
    async with started() as smsc:
        channel = Smpp(smsc.url, f"+{OURS}", bench.clock)
        await channel.open()
        await smsc.next("bind")

        async def put(who: str, words: str) -> None:
            cut = [part.content for part in smsutil.split(words).parts]
            codec, coding = ("gsm03.38", 0) if smsutil.is_valid_gsm(words) else ("utf-16-be", 8)
            for number, part in enumerate(cut, 1):
                join = bytes((5, 0, 3, 7, len(cut), number)) if len(cut) > 1 else b""
                await smsc.deliver(
                    by=NUMBERS[who],
                    hex=(join + part.encode(codec)).hex(),
                    data_coding=coding,
                    esm_class=0x40 if join else 0,
                )

        async with heard(channel) as bring:

            async def say(who: str, words: str) -> Incoming:
                return await bring(put(who, words))

            way = Way(dict.fromkeys(NUMBERS, channel), say, by_digit(say))
            try:
                yield way
            finally:
                await channel.close()
        await smsc.order("look")
        who_has = {number: who for who, number in NUMBERS.items()}
        while smsc.has("submit"):
            part = await smsc.next("submit")
            way.got[who_has[part["to"]]].append(part["text"])


@asynccontextmanager
async def by_gateway(bench: Bench) -> AsyncIterator[Way]:
    """A gateway that takes texts over HTTP and brings them by the door."""
    got: list[dict[str, str]] = []

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        length = int(head.partition("content-length: ")[2].split("\r\n")[0])
        got.append(json.loads(await reader.readexactly(length)))
        writer.write(b'HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 11\r\n\r\n{"id": "a"}')
        writer.close()

    async with await asyncio.start_server(take, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        settings = bench.folder / "gateway.toml"
        settings.write_text(
            f'[send]\nurl = "http://127.0.0.1:{port}/send"\nfields = {{ to = "{{to}}", text = "{{text}}" }}\n'
            'message_id = "id"\n[receive]\nsecret = "s3cret"\nmedia = "media.0"\n'
        )
        gateway = Gateway(read_gateway(settings), f"+{OURS}", bench.clock)
        brought: list[asyncio.Future[None]] = []

        async def put(who: str, text: str, **more: Any) -> None:
            said = {"from": f"+{NUMBERS[who]}", "text": text, "id": f"{len(brought)}"} | more
            arriving = gateway.arrive({"x-secret": "s3cret"}, json.dumps(said).encode())
            brought.append(asyncio.ensure_future(arriving))

        async with heard(gateway) as bring:

            async def say(who: str, words: str) -> Incoming:
                return await bring(put(who, words))

            async def show(who: str, caption: str) -> Incoming:
                return await bring(put(who, caption, media=["https://gateway.example/1.jpg"]))

            way = Way(dict.fromkeys(NUMBERS, gateway), say, by_digit(say), show)
            try:
                yield way
            finally:
                for task in brought:
                    task.cancel()
                await gateway.close()
        for who, number in NUMBERS.items():
            way.got[who] += [text["text"] for text in got if text["to"] == f"+{number}"]


WAYS: Mapping[str, Callable[[Bench], AbstractAsyncContextManager[Way]]] = {
    "console": by_console,
    "telegram": by_telegram,
    "smpp": by_smpp,
    "gateway": by_gateway,
}
