"""The pace of a channel, held where messages leave: so many a second, as the other side counts them."""

import asyncio
import time
from collections.abc import Awaitable, Callable

UNEVEN_S = 0.1
"""So much longer one may be on its way than the next, without a second too full at the other end. [s]"""


class Turnstile:
    """Lets one after the other through, in the order of their coming.

    The gap counts from when somebody really passed. So what was late, or waited for a link, does not
    crowd upon what follows.

    per_second   what goes through in the long run: a little less than may arrive in any second
    """

    def __init__(
        self,
        at_most_per_second: float,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.per_second = at_most_per_second / (1 + UNEVEN_S)
        self._now = now
        self._sleep = sleep
        self._free_at_s = now()
        self._queue = asyncio.Lock()

    async def passed(self) -> None:
        """Back when it is one's turn."""
        async with self._queue:
            while (wait_s := self._free_at_s - self._now()) > 0:
                await self._sleep(wait_s)
            self._free_at_s = self._now() + 1 / self.per_second

    def close(self, for_s: float) -> None:
        """Let nobody through for a while. [s]"""
        self._free_at_s = max(self._free_at_s, self._now() + for_s)
