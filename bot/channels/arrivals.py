"""Messages on their way from a request to the inbox: a request is answered once its message is stored."""

import asyncio
from collections.abc import AsyncGenerator

from shared.errors import ChannelTrouble
from storage.inbox import Incoming


class Arrivals:
    """What the requests of one channel bring."""

    def __init__(self) -> None:
        self._came: asyncio.Queue[tuple[Incoming, asyncio.Future[None]]] = asyncio.Queue()
        self._waiting: set[asyncio.Future[None]] = set()

    async def stored(self, incoming: Incoming) -> None:
        """Back once the message is stored; raises ChannelTrouble where we end before."""
        stored = asyncio.get_running_loop().create_future()
        self._waiting.add(stored)
        self._came.put_nowait((incoming, stored))
        try:
            await stored
        finally:
            self._waiting.discard(stored)

    async def incoming(self) -> AsyncGenerator[Incoming, None]:
        """Every message, without end. Whoever takes one has stored it when asking for the next."""
        try:
            while True:
                incoming, stored = await self._came.get()
                yield incoming
                if not stored.done():  # the request may have been given up meanwhile; it will be repeated
                    stored.set_result(None)
        finally:
            for stored in self._waiting:
                if not stored.done():
                    stored.set_exception(ChannelTrouble("going down; bring it again"))
