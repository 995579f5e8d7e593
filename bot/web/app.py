"""The web part: where channels are brought their messages, whether all is well, and the staff's pages.

What is wrong with a request is answered in one word and logged without anything of its content.
"""

import asyncio
import logging
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from typing import Protocol, runtime_checkable

import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from uvicorn.protocols.http.h11_impl import H11Protocol

from bot import metrics
from shared.errors import BadInput, ChannelTrouble, Forged

log = logging.getLogger(__name__)

LARGEST_BODY = 256 * 1024
"""A text is far smaller; so is an update that quotes another, each letter escaped. [octets]"""
HEADERS_S = BODY_S = 10.0
"""How long the headers, then the body of a request may take to come. [s]"""
STORED_S = 20.0
"""How long storing may take; after it the message is to be brought again. [s]"""
CONNECTIONS = 200
LEAVE_S = 5

Health = Callable[[], Awaitable[Mapping[str, str]]]
"""The state of each part, "ok" where it is well."""


@runtime_checkable
class Brought(Protocol):
    """A channel whose messages are brought to us by requests."""

    @property
    def path(self) -> str | None:
        """Where they are brought; None where they come another way."""

    async def arrive(self, headers: Mapping[str, str], body: bytes) -> None:
        """Take one request; back once its message is stored.

        Raises Forged where it is not from whom it says, BadInput where it cannot be read, ChannelTrouble
        where it is to be brought again.
        """


def web_app(health: Health, brought: Iterable[Brought] = (), pages: Iterable[BaseRoute] = ()) -> Starlette:
    """`health` tells the state of each part; each channel gets its door; `pages` are served as they are."""
    doors = [
        Route(channel.path, _door(channel), methods=["POST"])
        for channel in brought
        if channel.path is not None
    ]
    return Starlette(routes=[Route("/health", _health_page(health)), *doors, *pages])


@asynccontextmanager
async def serving(app: Starlette, address: str) -> AsyncIterator[int]:
    """Serve the pages at `host:port` meanwhile; gives the port, a free one where 0 is asked for.

    Raises BadInput where the address cannot be read, ChannelTrouble where the port is taken.
    """
    with _listening(address) as listener:
        server = _Server(
            uvicorn.Config(
                app,
                http=_Impatient,
                log_config=None,
                access_log=False,
                server_header=False,
                limit_concurrency=CONNECTIONS,
                timeout_graceful_shutdown=LEAVE_S,
            )
        )
        running = asyncio.create_task(server.serve([listener]))
        try:
            yield listener.getsockname()[1]
        finally:
            server.should_exit = True
            await running


def _listening(address: str) -> socket.socket:
    host, _, port = address.rpartition(":")
    if not host or not port.isdecimal():
        raise BadInput(f"WARMHEAP_HTTP: write it as host:port, such as 127.0.0.1:8080, not {address}")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host.strip("[]"), int(port)), family=family)
    except (OSError, OverflowError) as trouble:
        raise ChannelTrouble(
            f"WARMHEAP_HTTP: cannot listen at {address} ({trouble}); free the port or name another"
        ) from None


class _Impatient(H11Protocol):
    """Hangs up on a client that does not get to the end of its headers."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A client has come."""
        super().connection_made(transport)
        self._patience: asyncio.TimerHandle | None = None
        self._expect_headers()

    def on_response_complete(self) -> None:
        """It may ask again."""
        super().on_response_complete()
        self._expect_headers()

    def _expect_headers(self) -> None:
        if self._patience is not None:  # that of an earlier request would cut a busy connection
            self._patience.cancel()
        self._patience = self.loop.call_later(HEADERS_S, self._hang_up_unless_asked)

    def _hang_up_unless_asked(self) -> None:
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()


class _Server(uvicorn.Server):
    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Signals are the program's own matter."""
        yield


def _health_page(health: Health) -> Callable[[Request], Awaitable[Response]]:
    async def page(_request: Request) -> Response:
        parts = dict(await health())
        well = all(state == "ok" for state in parts.values())
        return JSONResponse({"ok": well, **parts}, 200 if well else 503)

    return page


def _door(channel: Brought) -> Callable[[Request], Awaitable[Response]]:
    async def door(request: Request) -> Response:
        """Answered only once the message is stored, so that what is lost on the way is brought again."""
        try:
            async with asyncio.timeout(BODY_S):
                body = await _body(request)
        except (TimeoutError, ClientDisconnect):
            return _refused(408, "too slow")
        if body is None:
            return _refused(413, "too large")
        try:
            async with asyncio.timeout(STORED_S):
                await channel.arrive(request.headers, body)
        except Forged as forged:
            return _refused(401, str(forged))
        except BadInput as trouble:
            return _refused(400, str(trouble))
        except (TimeoutError, ChannelTrouble):
            return _refused(503, "not stored; bring it again")
        return JSONResponse({"ok": True})

    return door


async def _body(request: Request) -> bytes | None:
    """The body, None where it is larger than any message."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_BODY:
            return None
    return body


def _refused(status: int, why: str) -> Response:
    metrics.REFUSED.labels(str(status)).inc()
    log.warning("action=webhook_refused status=%s why=%s", status, why)
    return PlainTextResponse(f"{why}\n", status, {"Connection": "close"})
