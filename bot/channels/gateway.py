"""Text messages through any HTTP gateway, as its settings file describes it."""

import base64
import hashlib
import hmac
import json
import logging
import re
from collections.abc import AsyncGenerator, Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import parse_qsl

import httpx

from bot.channels.arrivals import Arrivals
from bot.channels.gateway_settings import GatewaySettings, Receiving
from bot.channels.turnstile import Turnstile
from bot.phone_numbers import e164, masked, region_of
from scheduler.sender import NotSent, Outcome, Pace, Refused, Rendered, Sent, Unknown
from scheduler.times import Clock
from shared.errors import BadInput, Forged
from storage.inbox import Incoming
from storage.models import Form

log = logging.getLogger(__name__)

NEVER_LEFT = (httpx.ConnectError, httpx.ConnectTimeout, httpx.PoolTimeout)
"""Troubles by which a request surely did not reach the gateway."""
LONGEST_ID = 128
SHOWN = 80
"""How much of a gateway's answer is kept to say why. [characters]"""


class Gateway:
    """The SMS channel of one gateway. `sender` is our own number."""

    name = "sms"
    addresses = None

    def __init__(self, settings: GatewaySettings, sender: str, clock: Clock) -> None:
        self._settings = settings
        self._sender = sender
        self._region = region_of(sender)
        self._clock = clock
        send = settings.send
        self._turnstile = Turnstile(send.per_second)
        self.pace = Pace(self._turnstile.per_second)
        self._http = httpx.AsyncClient(
            headers=send.headers,
            auth=(send.user, send.password) if send.user else None,
            timeout=send.timeout_s,
        )
        self._arrivals = Arrivals()

    @property
    def path(self) -> str | None:
        """Where the gateway brings texts; None where it brings none."""
        receive = self._settings.receive
        return None if receive is None else receive.path

    async def open(self) -> None:
        """Nothing to be done: every text makes its own request."""

    async def close(self) -> None:
        """Let go of the connections."""
        await self._http.aclose()

    def incoming(self) -> AsyncGenerator[Incoming, None]:
        """Every text, without end. Whoever takes one has stored it when asking for the next."""
        return self._arrivals.incoming()

    async def arrive(self, headers: Mapping[str, str], body: bytes) -> None:
        """Take one request of the gateway; back once its text is stored.

        Raises Forged where it is not the gateway's, BadInput where it cannot be read.
        """
        if (incoming := self._read(headers, body)) is not None:
            await self._arrivals.stored(incoming)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        """Hand one text to the gateway, which cuts it into parts itself."""
        send = self._settings.send
        values = {"to": address, "from": self._sender, "text": message.text, "reference": reference}
        where: dict[str, Any] = {"json": "json", "form": "data", "query": "params"}
        await self._turnstile.passed()
        try:
            answer = await self._http.request(
                send.method, send.url, **{where[send.body]: _filled(send.fields, values)}
            )
        except NEVER_LEFT as trouble:
            return NotSent(f"the gateway cannot be reached ({type(trouble).__name__})")
        except httpx.HTTPError as trouble:
            why = f"the gateway did not answer ({type(trouble).__name__})"
            return NotSent(why) if send.safe_to_repeat else Unknown(why)
        return self._what_became(answer)

    def _what_became(self, answer: httpx.Response) -> Outcome:
        send, said = self._settings.send, _json(answer.content)
        success = send.success is None or str(_at(said, send.success)).lower() in map(
            str.lower, send.success_is
        )
        if answer.status_code in send.sent and success:
            name = _at(said, send.message_id) if send.message_id else None
            return Sent(None if name is None else str(name)[:LONGEST_ID])
        why = f"HTTP {answer.status_code}: {' '.join(answer.text.split())[:SHOWN]}"
        if any(_says(answer.text, word) for word in send.blocked):
            return Refused(why, gone=True)
        if answer.status_code in send.busy:
            return NotSent(why, self._wait_s(answer))
        if answer.is_server_error:
            return NotSent(why) if send.safe_to_repeat else Unknown(why)
        return Refused(why)

    def _wait_s(self, answer: httpx.Response) -> float | None:
        """How long the gateway asks us to wait: Retry-After in seconds or as a date (RFC 9110, 10.2.3)."""
        asked = answer.headers.get("Retry-After", "")
        if asked.isdecimal():
            return float(asked)
        try:
            return max(0.0, (parsedate_to_datetime(asked) - self._clock.now()).total_seconds())
        except (ValueError, TypeError):
            return None

    def _read(self, headers: Mapping[str, str], body: bytes) -> Incoming | None:
        """The text, None where no person wrote it."""
        receive = self._settings.receive
        if receive is None:
            raise Forged("this gateway brings no texts")
        _check(receive, headers, body, self._clock.now())
        form = headers.get("content-type", "").startswith("application/x-www-form-urlencoded")
        said = dict(parse_qsl(body.decode("utf-8", "replace"))) if form else _json(body)
        writer, text, name = (_at(said, place) for place in (receive.from_, receive.text, receive.id))
        shows = receive.media is not None and _at(said, receive.media) not in (None, "", 0, "0", [])
        if shows and text is None:
            text = ""
        if not isinstance(writer, str) or not isinstance(text, str) or not isinstance(name, (str, int)):
            raise BadInput(f"no text where the settings say: {receive.from_}, {receive.text}, {receive.id}")
        try:
            number = e164(writer, self._region)
        except BadInput:
            log.info("action=gateway_not_a_person from=%s", masked(writer))
            return None
        mark = hashlib.sha256(str(name).encode()).hexdigest()[:32]
        kind: Form = "photo" if shows else "text"
        return Incoming(self.name, number, f"gateway:{mark}", text, self._clock.now(), form=kind)


def _check(receive: Receiving, headers: Mapping[str, str], body: bytes, at: datetime) -> None:
    """Raise Forged unless the request carries the secret and the signature that are set."""
    if receive.secret and not _same(headers.get(receive.secret_header.lower(), ""), receive.secret):
        raise Forged("wrong secret")
    if receive.signature_key is None:
        return
    stamp = headers.get(receive.timestamp_header.lower(), "")
    before, placeholder, after = receive.signed.partition("{body}")
    signed = before.replace("{timestamp}", stamp).encode() + (body if placeholder else b"")
    signed += after.replace("{timestamp}", stamp).encode()
    digest = hmac.new(receive.signature_key.encode(), signed, receive.digest).digest()
    made = digest.hex() if receive.encoding == "hex" else base64.b64encode(digest).decode()
    if not _same(headers.get(receive.signature_header.lower(), ""), receive.signature_prefix + made):
        raise Forged("wrong signature")
    if "{timestamp}" in receive.signed and _age_s(stamp, at) > receive.timestamp_tolerance_s:
        raise Forged("too old")


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode(), wanted.encode())


def _age_s(stamp: str, at: datetime) -> float:
    """How far a time in seconds since 1970, or in ISO 8601, is from now; endless where it is neither. [s]"""
    try:
        then = (
            datetime.fromtimestamp(float(stamp), UTC) if _is_number(stamp) else datetime.fromisoformat(stamp)
        )
        return abs((at - then).total_seconds())
    except (ValueError, TypeError, OverflowError, OSError):
        return float("inf")


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdecimal()


def _filled(template: Any, values: Mapping[str, str]) -> Any:
    """The template with {to}, {text} ... filled in; other braces stand for themselves."""
    if isinstance(template, dict):
        return {name: _filled(value, values) for name, value in template.items()}
    if isinstance(template, list):
        return [_filled(value, values) for value in template]
    if not isinstance(template, str):
        return template
    pieces = template.replace("{", "\0{").replace("}", "}\0").split("\0")
    return "".join(values.get(piece[1:-1], piece) if piece.startswith("{") else piece for piece in pieces)


def _says(answer: str, word: str) -> bool:
    """Whether the word stands in the answer, not as a piece of another (a code within a number)."""
    return re.search(rf"(?<!\w){re.escape(word)}(?!\w)", answer, re.IGNORECASE) is not None


def _json(body: bytes) -> Any:
    """What a body says; nothing where it is no JSON."""
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        return None


def _at(said: Any, place: str) -> Any:
    """What stands at a place such as `messages.0.text`; None where there is no such place."""
    for step in place.split("."):
        if isinstance(said, dict):
            said = said.get(step)
        elif isinstance(said, list) and step.isdecimal() and int(step) < len(said):
            said = said[int(step)]
        else:
            return None
    return said
