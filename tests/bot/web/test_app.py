"""The web part, served for real: the gateway's door against forgery, repetition, size and slowness."""

import asyncio
import hashlib
import hmac
import json
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime

import httpx
import pytest

from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import GatewaySettings
from bot.web import app as web
from bot.web.app import serving, web_app
from shared.errors import BadInput, ChannelTrouble
from storage.inbox import Incoming
from storage.work import Store

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
ANA = "+15055550123"
TEXT = {"from": ANA, "text": "temp 128, looks dry", "id": "m-1"}
SEND = {"url": "http://127.0.0.1:9/", "fields": {}}
SECRET = {"X-Secret": "s3cret"}


class Noon:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


class Door:
    """A served gateway door, and what was stored of what came through it."""

    def __init__(self, store: Store, http: httpx.AsyncClient, url: str) -> None:
        self._store = store
        self.http = http
        self.url = url

    async def post(self, content: object, headers: dict[str, str] = SECRET) -> httpx.Response:
        """Bring something as the gateway would."""
        body = content if isinstance(content, str) else json.dumps(content)
        return await self.http.post(self.url, content=body, headers=headers)

    def stored(self) -> list[Incoming]:
        """What is in the inbox."""
        with self._store.work() as work:
            return [incoming for _, incoming in work.inbox.waiting()]


@asynccontextmanager
async def opened(store: Store, listening: bool = True, **receive: object) -> AsyncIterator[Door]:
    """The door of a gateway with these settings; whatever comes is stored unless nobody listens."""
    settings = GatewaySettings.model_validate({"send": SEND, "receive": {"secret": "s3cret"} | receive})
    gateway = Gateway(settings, "+15055550100", Noon())

    async def keep() -> None:
        async for incoming in gateway.incoming():
            with store.work() as work:
                work.inbox.take(incoming)
                work.commit()

    async with (
        serving(web_app(_well, [gateway]), "127.0.0.1:0") as port,
        httpx.AsyncClient(verify=False) as http,
    ):
        keeping = asyncio.create_task(keep()) if listening else None
        yield Door(store, http, f"http://127.0.0.1:{port}/sms")
        if keeping is not None:
            keeping.cancel()
    await gateway.close()


async def _well() -> dict[str, str]:
    return {"database": "ok"}


@pytest.fixture
def inbox(sqlite_url) -> Store:
    """A store on an empty SQLite file."""
    store = Store(sqlite_url, secret="a key for tests")
    yield store
    store.close()


async def test_a_text_is_stored_before_it_is_answered(inbox):
    """The gateway hears 200 once the text is in the inbox, from the number in its written form."""
    async with opened(inbox) as door:
        answer = await door.post(TEXT | {"from": "(505) 555-0123"})

        [stored] = door.stored()

    assert answer.status_code == 200
    assert (stored.channel, stored.address, stored.text, stored.at) == ("sms", ANA, TEXT["text"], NOW)


async def test_a_text_that_comes_again_is_taken_once(inbox):
    """A repeated or replayed request has no effect, and the gateway is told that all is well."""
    async with opened(inbox) as door:
        answers = [await door.post(TEXT) for _ in range(3)]

        assert [answer.status_code for answer in answers] == [200, 200, 200]
        assert len(door.stored()) == 1


async def test_what_cannot_be_stored_is_to_be_brought_again(inbox, monkeypatch):
    """Where storing takes too long the gateway hears 503, never 200."""
    monkeypatch.setattr(web, "STORED_S", 0.05)

    async with opened(inbox, listening=False) as door:
        assert (await door.post(TEXT)).status_code == 503


async def test_fields_are_found_where_the_settings_say(inbox):
    """Dots lead into tables and lists; a form does as well as JSON."""
    places = {"from": "messages.0.sender", "text": "messages.0.body.text", "id": "messages.0.id"}
    async with opened(inbox, **places) as door:
        await door.post({"messages": [{"sender": ANA, "body": {"text": "hola"}, "id": 5}]})
    async with opened(inbox) as door:
        form = SECRET | {"Content-Type": "application/x-www-form-urlencoded"}
        await door.post("from=%2B15055550123&text=ya+la+volte%C3%A9&id=6", form)

        assert [stored.text for stored in door.stored()] == ["hola", "ya la volteé"]


@pytest.mark.parametrize("headers", [{}, {"X-Secret": "wrong"}, {"X-Secret": b"s3\xe9cret"}])
async def test_a_wrong_secret_has_no_effect(inbox, headers):
    """Whoever does not know the secret is refused."""
    async with opened(inbox) as door:
        answer = await door.post(TEXT, headers)

        assert answer.status_code == 401
        assert door.stored() == []


SIGNED = {
    "secret": None,
    "signature_key": "key",
    "signature_prefix": "sha256=",
    "signed": "{timestamp}.{body}",
}


def signature(body: str, stamp: str, key: str = "key") -> dict[str, str]:
    """Headers as a gateway makes them."""
    digest = hmac.new(key.encode(), f"{stamp}.{body}".encode(), hashlib.sha256).hexdigest()
    return {"X-Signature": f"sha256={digest}", "X-Timestamp": stamp}


STAMP = str(int(NOW.timestamp()))


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (json.dumps(TEXT), signature(json.dumps(TEXT), STAMP), 200),
        (json.dumps(TEXT), signature(json.dumps(TEXT), "2026-03-01T08:58:00+00:00"), 200),
        (json.dumps(TEXT), signature(json.dumps(TEXT), STAMP, key="guess"), 401),
        (json.dumps(TEXT | {"text": "stop"}), signature(json.dumps(TEXT), STAMP), 401),
        (json.dumps(TEXT), signature(json.dumps(TEXT), str(int(NOW.timestamp()) - 301)), 401),
        (json.dumps(TEXT), signature(json.dumps(TEXT), "yesterday"), 401),
        (json.dumps(TEXT), signature(json.dumps(TEXT), STAMP) | {"X-Timestamp": "1772355601"}, 401),
        (json.dumps(TEXT), {}, 401),
    ],
)
async def test_a_signature_must_fit_body_and_time(inbox, body, headers, status):
    """A forged, altered, old or missing signature is refused and has no effect."""
    async with opened(inbox, **SIGNED) as door:
        answer = await door.post(body, headers)

        assert answer.status_code == status
        assert len(door.stored()) == (1 if status == 200 else 0)


async def test_a_signature_is_that_of_the_standard(inbox):
    """The digest that opens the door is the one of RFC 4231, test case 2."""
    digest = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    async with opened(inbox, secret=None, signature_key="Jefe") as door:
        answer = await door.post("what do ya want for nothing?", {"X-Signature": digest})

    assert answer.status_code == 400  # let in, and then no JSON
    assert answer.text.startswith("no text where")


@pytest.mark.parametrize(
    "body", ["", "no json", "[]", '{"from": 5, "text": "hi", "id": 1}', '{"text": "hi"}']
)
async def test_what_cannot_be_read_is_refused(inbox, body):
    """A body without the parts that the settings name is answered with 400."""
    async with opened(inbox) as door:
        assert (await door.post(body)).status_code == 400
        assert door.stored() == []


async def test_a_text_is_stored_without_what_no_database_takes(inbox):
    """NUL and half a surrogate pair, which JSON can hold, do not keep the rest from being read."""
    async with opened(inbox) as door:
        answer = await door.post('{"from": "+15055550123", "text": "te\\u0000mp \\ud83d 128", "id": 1}')

        assert answer.status_code == 200
        assert [stored.text for stored in door.stored()] == ["temp ? 128"]


async def test_a_sender_that_is_no_person_is_passed_over(inbox):
    """A short code or a company's name gets no answer and does not come again."""
    async with opened(inbox) as door:
        assert (await door.post(TEXT | {"from": "BANK"})).status_code == 200
        assert door.stored() == []


async def test_an_oversize_body_is_refused_before_it_is_read(inbox):
    """What is far longer than any text is cut off."""
    async with opened(inbox) as door:
        assert (await door.post(TEXT | {"text": "x" * web.LARGEST_BODY})).status_code == 413
        assert door.stored() == []


async def test_a_slow_body_is_given_up(inbox, monkeypatch):
    """Who promises a body and does not send it does not hold us."""
    monkeypatch.setattr(web, "BODY_S", 0.05)

    async with opened(inbox) as door:
        answer = await raw(door, b"POST /sms HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\n{")

    assert answer.startswith(b"HTTP/1.1 408")


async def test_slow_headers_are_hung_up_on(inbox, monkeypatch):
    """Who does not get to the end of the headers is cut off without an answer."""
    monkeypatch.setattr(web, "HEADERS_S", 0.05)

    async with opened(inbox) as door:
        assert await raw(door, b"POST /sms HTTP/1.1\r\nHost: a\r\n") == b""


async def test_who_keeps_asking_is_never_hung_up_on(inbox, monkeypatch):
    """A gateway that uses one connection again and again keeps it, for longer than headers may take."""
    monkeypatch.setattr(web, "HEADERS_S", 0.5)
    now = asyncio.get_running_loop().time

    async with opened(inbox) as door:
        reader, writer = await asyncio.open_connection("127.0.0.1", httpx.URL(door.url).port)
        enough = now() + 3 * web.HEADERS_S
        while now() < enough:
            writer.write(b"GET /health HTTP/1.1\r\nHost: a\r\n\r\n")
            head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
            await reader.readexactly(int(head.partition("content-length: ")[2].split("\r\n")[0]))
        writer.close()

    assert head.startswith("http/1.1 200")


async def raw(door: Door, octets: bytes) -> bytes:
    """What comes back for these octets until the other side hangs up."""
    reader, writer = await asyncio.open_connection("127.0.0.1", httpx.URL(door.url).port)
    writer.write(octets)
    async with asyncio.timeout(8):
        answer = await reader.read()
    writer.close()
    return answer


async def test_refusals_are_logged_without_personal_data(inbox, caplog):
    """A log line has the status and a word, neither number nor text."""
    caplog.set_level(logging.INFO)

    async with opened(inbox) as door:
        await door.post(TEXT, {})
        await door.post(TEXT | {"id": None})
        await door.post(TEXT | {"from": "+1 505 555 01239"})

    assert [record.getMessage() for record in caplog.records if record.name.startswith("bot.")] == [
        "action=webhook_refused status=401 why=wrong secret",
        "action=webhook_refused status=400 why=no text where the settings say: from, text, id",
        "action=gateway_not_a_person from=…39",
    ]


async def test_only_posting_opens_the_door(inbox):
    """Other methods and other paths lead nowhere."""
    async with opened(inbox) as door:
        assert (await door.http.get(door.url)).status_code == 405
        assert (await door.http.post(f"{door.url}/more")).status_code == 404


@pytest.mark.parametrize(("state", "status"), [("ok", 200), ("no link to the SMSC", 503)])
async def test_health_tells_the_state_of_each_part(state, status):
    """A monitor sees by the status whether all is well, an operator by the words what is not."""

    async def health() -> dict[str, str]:
        return {"database": "ok", "sms": state}

    async with serving(web_app(health), "127.0.0.1:0") as port, httpx.AsyncClient() as http:
        answer = await http.get(f"http://127.0.0.1:{port}/health")

    assert answer.status_code == status
    assert answer.json() == {"ok": status == 200, "database": "ok", "sms": state}


async def test_a_taken_port_is_told_with_its_setting():
    """Two programs on one port: the second says which setting to change."""
    async with serving(web_app(_well), "127.0.0.1:0") as port:
        with pytest.raises(ChannelTrouble, match="WARMHEAP_HTTP"):
            async with serving(web_app(_well), f"127.0.0.1:{port}"):
                pass


@pytest.mark.parametrize("address", ["8080", "here:there", ":80"])
async def test_an_address_that_is_none_is_told(address):
    """The setting is named with the form it wants."""
    with pytest.raises(BadInput, match="WARMHEAP_HTTP: write it as host:port"):
        async with serving(web_app(_well), address):
            pass
