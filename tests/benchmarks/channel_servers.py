"""The other side of each channel, for bench_channels.py: people who write, and what reaches their phones."""

import asyncio
import json
import socket
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import httpx

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bot.channels.conftest import emulated_bot_api
from tests.smsc import OURS, Smsc, started

PATIENCE_S = 180.0
AREAS = ("201", "202", "203", "205", "206", "207", "208", "209", "210", "212")
"""Of each only the hundred numbers 555-0100 to 555-0199, which belong to nobody."""
GATEWAY = """
[send]
url = "http://127.0.0.1:{port}/send"
fields = {{ to = "{{to}}", text = "{{text}}" }}
per_second = {per_second}
[receive]
secret = "s3cret"
"""


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message, or a part of one, at the channel's server: to whom, and when [s since 1970]."""

    to: int
    at_s: float
    is_last_part: bool = True


class Server(Protocol):
    """The other side of a channel. `per_second`: what it bears of all; `apart_s`: of one person."""

    settings: dict[str, str]
    per_second: float
    apart_s: float

    async def ready(self) -> None:
        """Back once the program can be written to."""

    async def say(self, number: int, text: str) -> None:
        """A person writes to the program."""

    async def arrived(self) -> list[Arrived]:
        """Every message that the program has sent."""


class BotApi:
    """Telegram's side."""

    per_second: float = 30
    apart_s = 1.0
    """Telegram's FAQ for bots: 30 messages a second in all, one a second in a chat."""

    def __init__(self, http: httpx.AsyncClient) -> None:
        self._http = http
        self._token = "1:bench"
        self.settings = {"TELEGRAM_TOKEN": self._token, "TELEGRAM_API": str(http.base_url).rstrip("/")}

    async def ready(self) -> None:
        """The server keeps what is written before the program asks for it."""

    async def say(self, number: int, text: str) -> None:
        """A person writes in their private chat."""
        person = {"id": 1000 + number, "first_name": "Ana", "is_bot": False}
        chat = {"id": 1000 + number, "type": "private"}
        message = {
            "botToken": self._token,
            "date": int(time.time()),
            "from": person,
            "chat": chat,
            "text": text,
        }
        (await self._http.post("/sendMessage", json=message)).raise_for_status()

    async def arrived(self) -> list[Arrived]:
        """Every message that was sent."""
        calls = (await self._http.get("/_calls")).json()
        return [
            Arrived(int(call["body"]["chat_id"]) - 1000, call["at"] / 1000)
            for call in calls
            if call["method"] == "sendMessage" and call["token"] == self._token
        ]


@asynccontextmanager
async def telegram() -> AsyncIterator[Server]:
    """An emulated Bot API."""
    with emulated_bot_api() as url:
        async with httpx.AsyncClient(base_url=url, timeout=30) as http:
            yield BotApi(http)


def phone(number: int) -> str:
    """The telephone number of a person, without the plus."""
    return f"1{AREAS[number // 100]}55501{number % 100:02d}"


def person(address: str) -> int:
    """Whose telephone number it is."""
    digits = address.removeprefix("+")
    return 100 * AREAS.index(digits[1:4]) + int(digits[-2:])


class SmscSide:
    """The SMSC's side."""

    per_second: float = 30
    apart_s = 0.0

    def __init__(self, smsc: Smsc) -> None:
        self._smsc = smsc
        self._one_at_a_time = asyncio.Lock()
        self._arrived: list[Arrived] = []
        self.settings = {"SMPP_URL": f"{smsc.url}?per_second={self.per_second}", "SMS_FROM": f"+{OURS}"}

    async def ready(self) -> None:
        """The program has bound."""
        async with asyncio.timeout(PATIENCE_S):
            while not self._smsc.has("bind"):
                await self._smsc.order("look")
                await asyncio.sleep(0.1)

    async def say(self, number: int, text: str) -> None:
        """A text comes from a person's phone."""
        async with self._one_at_a_time:
            await self._smsc.deliver(text, phone(number))

    async def arrived(self) -> list[Arrived]:
        """Every part that was submitted, at the SMSC's own time."""
        async with self._one_at_a_time:
            await self._smsc.order("look")
            while self._smsc.has("submit"):
                part = await self._smsc.next("submit")
                at_s, is_last = part["at"] / 1000, _is_last(part.get("udh"))
                self._arrived.append(Arrived(person(part["to"]), at_s, is_last))
        return list(self._arrived)


def _is_last(header: list[str] | None) -> bool:
    """Whether a user data header is of the last part: total and number end it (3GPP TS 23.040, 9.2.3.24)."""
    return not header or header[0][-4:-2] == header[0][-2:]


@asynccontextmanager
async def smpp() -> AsyncIterator[Server]:
    """The npm package smpp as an SMSC."""
    async with started() as smsc:
        yield SmscSide(smsc)


class GatewaySide:
    """The gateway's side: brings texts to the web part, takes every text."""

    per_second: float = 30
    apart_s = 0.0

    def __init__(self, http: httpx.AsyncClient, settings: Path) -> None:
        self._http = http
        self._arrived: list[Arrived] = []
        self._brought = 0
        where = f"{http.base_url.host}:{http.base_url.port}"
        self.settings = {"GATEWAY": str(settings), "SMS_FROM": f"+{OURS}", "HTTP": where}

    async def ready(self) -> None:
        """The web part answers."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                with suppress(httpx.TransportError):
                    if (await self._http.get("/health")).is_success:
                        return
                await asyncio.sleep(0.1)

    async def say(self, number: int, text: str) -> None:
        """A text comes from a person's phone."""
        self._brought += 1
        said = {"from": f"+{phone(number)}", "text": text, "id": self._brought}
        (await self._http.post("/sms", json=said, headers={"X-Secret": "s3cret"})).raise_for_status()

    async def arrived(self) -> list[Arrived]:
        """Every text that was handed over."""
        return list(self._arrived)

    async def take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One request of the program's."""
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        body = await reader.readexactly(int(head.partition("content-length: ")[2].split("\r\n")[0]))
        self._arrived.append(Arrived(person(json.loads(body)["to"]), time.time()))
        writer.write(b"HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 0\r\n\r\n")
        writer.close()


@asynccontextmanager
async def gateway() -> AsyncIterator[Server]:
    """A local HTTP server."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        web = f"http://127.0.0.1:{free.getsockname()[1]}"
    with tempfile.TemporaryDirectory() as folder:
        settings = Path(folder) / "gateway.toml"
        async with httpx.AsyncClient(base_url=web, timeout=30) as http:
            side = GatewaySide(http, settings)
            async with await asyncio.start_server(side.take, "127.0.0.1", 0) as listening:
                port = listening.sockets[0].getsockname()[1]
                settings.write_text(GATEWAY.format(port=port, per_second=side.per_second))
                yield side


CHANNELS: dict[str, Callable[[], AbstractAsyncContextManager[Server]]] = {
    "telegram": telegram,
    "smpp": smpp,
    "gateway": gateway,
}
