"""The console: one person types in this window and reads here what is sent to them.

On a real terminal a line editor keeps what is being typed whole while a nudge arrives; piped input is
read one message a line.
"""

import asyncio
import sys
from collections.abc import AsyncIterator
from contextlib import AbstractContextManager, nullcontext

from prompt_toolkit import PromptSession
from prompt_toolkit.patch_stdout import patch_stdout

from scheduler.sender import Outcome, Rendered, Sent

WELCOME = """\
Warmheap, your compost pile's text line: type as you would text it, such as "temp 128, looks dry".
A digit answers a numbered question. End with Ctrl-D; everything is kept, and going on later is fine."""


class Console:
    """The channel of the person at this keyboard; `address` is the name they gave."""

    name = "console"

    def __init__(self, address: str) -> None:
        self.address = address
        self.addresses = frozenset({address})
        self._interactive = sys.stdin.isatty() and sys.stdout.isatty()

    def window(self) -> AbstractContextManager[None]:
        """While it is open, whatever is printed appears above the line being typed."""
        if not self._interactive:
            return nullcontext()
        print(WELCOME, end="\n\n")
        return patch_stdout()

    async def lines(self) -> AsyncIterator[str]:
        """What is typed, line by line, until the input ends."""
        if self._interactive:
            session: PromptSession[str] = PromptSession(f"{self.address}> ")
            while True:
                try:
                    yield await session.prompt_async()
                except (EOFError, KeyboardInterrupt):
                    return
        while line := await asyncio.to_thread(sys.stdin.readline):
            yield line

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Print the message."""
        print(message.text, end="\n\n", flush=True)
        return Sent(reference)
