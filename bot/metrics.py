"""Figures for whoever runs the program, in the open text format that monitors read; nothing of anybody.

They are counts of this process, and what waits in the database when they are asked for.
"""

import asyncio
import hmac
import logging
from collections.abc import Awaitable, Callable, Mapping
from datetime import datetime

from prometheus_client import CONTENT_TYPE_LATEST, Counter, Gauge, Histogram, generate_latest
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from scheduler.sender import Channel, Outcome, Rendered, pace_of, shows_of
from scheduler.times import Clock
from storage.work import Store

log = logging.getLogger(__name__)

RECEIVED = Counter("warmheap_received", "Messages stored", ["channel", "form"])
SENT = Counter(
    "warmheap_sent", "Messages handed to a channel, by what became of them", ["channel", "outcome"]
)
SENDING_S = Histogram("warmheap_sending_seconds", "How long a channel took over a message", ["channel"])
REFUSED = Counter("warmheap_refused", "Requests that were refused, by HTTP status", ["status"])
WAITING = Gauge("warmheap_waiting", "Messages stored and not answered (in), due and not sent (out)", ["way"])
OLDEST_S = Gauge("warmheap_oldest_waiting_seconds", "How long the oldest of these has waited", ["way"])
UP = Gauge("warmheap_up", "Whether a part is well", ["part"])


class Counted:
    """A channel, with what it sends counted."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self.name = channel.name
        self.addresses = channel.addresses
        self.pace = pace_of(channel)
        self.shows = shows_of(channel)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        """Send one message."""
        with SENDING_S.labels(self.name).time():
            outcome = await self._channel.send(address, message, reference)
        SENT.labels(self.name, type(outcome).__name__.lower()).inc()
        return outcome


def metrics_page(
    token: str, health: Callable[[], Awaitable[Mapping[str, str]]], store: Store, clock: Clock
) -> Route:
    """The page at /metrics, for whoever brings the token as a bearer (RFC 6750)."""
    wanted = f"Bearer {token}".encode()

    async def page(request: Request) -> Response:
        if not hmac.compare_digest(request.headers.get("authorization", "").encode(), wanted):
            log.warning("action=metrics_refused")
            REFUSED.labels("401").inc()
            return PlainTextResponse("bring the token\n", 401, {"WWW-Authenticate": "Bearer"})
        parts = await health()
        for part, state in parts.items():
            UP.labels(part).set(state == "ok")
        if parts.get("database") == "ok":
            await asyncio.to_thread(_look, store, clock.now())
        return Response(generate_latest(), media_type=CONTENT_TYPE_LATEST)

    return Route("/metrics", page)


def _look(store: Store, at: datetime) -> None:
    with store.work(reading=True) as work:
        waiting = {"in": work.inbox.backlog(), "out": work.outbox.backlog(at)}
    for way, (number, since) in waiting.items():
        WAITING.labels(way).set(number)
        OLDEST_S.labels(way).set((at - since).total_seconds() if since else 0)
