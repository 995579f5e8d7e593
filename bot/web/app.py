"""The web part: where a gateway brings texts, and whether all is well.

What is wrong with a request is answered in one word and logged without anything of its content.
"""

import asyncio
import logging
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager

import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from uvicorn.protocols.http.h11_impl import H11Protocol

from bot.channels.gateway import Forged, Gateway
from shared.errors import BadInput, ChannelTrouble

log = logging.getLogger(__name__)

LARGEST_BODY = 64 * 1024
"""A text is far smaller. [octets]"""
HEADERS_S = BODY_S = 10.0
"""How long the headers, then the body of a request may take to come. [s]"""
STORED_S = 20.0
"""How long storing may take; after it the gateway is to bring the text again. [s]"""
CONNECTIONS = 200
LEAVE_S = 5

Health = Callable[[], Awaitable[Mapping[str, str]]]
"""The state of each part, "ok" where it is well."""


def web_app(health: Health, gateway: Gateway | None = None) -> Starlette:
    """The pages. `health` tells the state of each part; a gateway that brings texts gets its door."""
    routes = [Route("/health", _health_page(health))]
    if gateway is not None and gateway.receiving is not None:
        routes.append(Route(gateway.receiving.path, _door(gateway), methods=["POST"]))
    return Starlette(routes=routes)


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
        self._expect_headers()

    def on_response_complete(self) -> None:
        """It may ask again."""
        super().on_response_complete()
        self._expect_headers()

    def _expect_headers(self) -> None:
        self.loop.call_later(HEADERS_S, self._hang_up_unless_asked)

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


def _door(gateway: Gateway) -> Callable[[Request], Awaitable[Response]]:
    async def door(request: Request) -> Response:
        """Answered only once the text is stored, so that what is lost on the way is brought again."""
        try:
            async with asyncio.timeout(BODY_S):
                body = await _body(request)
        except (TimeoutError, ClientDisconnect):
            return _refused(408, "too slow")
        if body is None:
            return _refused(413, "too large")
        try:
            async with asyncio.timeout(STORED_S):
                await gateway.arrive(request.headers, body)
        except Forged as forged:
            return _refused(401, str(forged))
        except BadInput as trouble:
            return _refused(400, str(trouble))
        except TimeoutError:
            return _refused(503, "not stored; bring it again")
        return JSONResponse({"ok": True})

    return door


async def _body(request: Request) -> bytes | None:
    """The body, None where it is larger than any text."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_BODY:
            return None
    return body


def _refused(status: int, why: str) -> Response:
    log.warning("action=webhook_refused status=%s why=%s", status, why)
    return PlainTextResponse(f"{why}\n", status, {"Connection": "close"})
