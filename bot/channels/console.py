"""The console: one person types in this window and reads here what is sent to them.

On a real terminal a line editor keeps what is being typed whole while a nudge arrives; piped input is
read one message a line.
"""

import asyncio
import sys
from collections.abc import AsyncIterator
from contextlib import AbstractContextManager, nullcontext, suppress
from datetime import datetime
from threading import Thread
from uuid import uuid4

from prompt_toolkit import PromptSession
from prompt_toolkit.patch_stdout import patch_stdout

from scheduler.sender import Outcome, Rendered, Sent, Shows
from storage.inbox import Incoming

WELCOME = """\
Warmheap, for your compost pile. Type as you would text: temp 128, looks dry
A digit answers a numbered question. Ctrl-D ends; what was said is kept."""


class Console:
    """The channel of the person at this keyboard, known by the name they gave."""

    name = "console"
    shows = Shows(letters=True)

    def __init__(self, name: str | None) -> None:
        self._person = name
        self._address = (name or "me").strip().lower()
        self.addresses = frozenset({self._address})
        self._interactive = sys.stdin.isatty() and sys.stdout.isatty()

    def window(self) -> AbstractContextManager[None]:
        """While it is open, whatever is printed appears above the line being typed."""
        if not self._interactive:
            return nullcontext()
        print(WELCOME, end="\n\n")
        return patch_stdout()

    async def lines(self) -> AsyncIterator[str]:
        """What is typed, line by line, until the input ends; empty lines say nothing."""
        async for line in self._edited() if self._interactive else _piped():
            if line.strip():
                yield line.strip()

    async def _edited(self) -> AsyncIterator[str]:
        session: PromptSession[str] = PromptSession(f"{self._address}> ", reserve_space_for_menu=0)
        with suppress(EOFError, KeyboardInterrupt):
            while True:
                yield await session.prompt_async()

    def incoming(self, text: str, at: datetime) -> Incoming:
        """What was typed, as a message of this person's."""
        return Incoming("console", self._address, uuid4().hex, text, at, self._person)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Print the message."""
        print(message.text, end="\n\n", flush=True)
        return Sent(reference)


async def _piped() -> AsyncIterator[str]:
    """Lines of standard input, read by a thread that does not keep an interrupted program alive."""
    loop, lines = asyncio.get_running_loop(), asyncio.Queue[str]()

    def read() -> None:
        for line in iter(sys.stdin.readline, ""):
            loop.call_soon_threadsafe(lines.put_nowait, line)
        loop.call_soon_threadsafe(lines.put_nowait, "")

    Thread(target=read, daemon=True).start()
    while line := await lines.get():
        yield line
