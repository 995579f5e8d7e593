"""The HTTP gateway channel against a local server that can fail in every way."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import aclosing, asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import parse_qs

import pytest

from bot.channels.gateway import Gateway
from bot.channels.gateway_settings import GatewaySettings, read_gateway
from scheduler.sender import NotSent, Refused, Rendered, Sent, Unknown
from shared.errors import BadInput

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
US, ANA = "+15055550100", "+15055550123"
EXAMPLE = Path(__file__).parents[3] / "deploy" / "gateway.toml"
FIELDS = {"to": "{to}", "text": "{text}", "ref": "{reference}"}
TAKEN = (200, {}, b'{"state": "Pending", "id": 7}')


class Noon:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


class Server:
    """An HTTP server that keeps what was asked; `answer` is status, headers and body, or a fault."""

    def __init__(self) -> None:
        self.answer: tuple[int, dict[str, str], bytes] | str = TAKEN
        self.requests: list[tuple[str, dict[str, str], bytes]] = []
        self.url = ""

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        first, *lines = (await reader.readuntil(b"\r\n\r\n")).decode().strip().split("\r\n")
        headers = {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}
        body = await reader.readexactly(int(headers.get("content-length", "0")))
        self.requests.append((first, headers, body))
        if self.answer == "silence":
            await reader.read()
        elif self.answer != "cut":
            status, extra, said = self.answer
            fields = {"Content-Length": str(len(said)), "Connection": "close"} | extra
            head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
            writer.write(f"HTTP/1.1 {status} -\r\n{head}\r\n".encode() + said)
        writer.close()


@pytest.fixture
async def server() -> AsyncIterator[Server]:
    """A gateway's server on a free port."""
    fake = Server()
    async with await asyncio.start_server(fake.serve, "127.0.0.1", 0) as listening:
        fake.url = f"http://127.0.0.1:{listening.sockets[0].getsockname()[1]}/messages"
        yield fake


@asynccontextmanager
async def gateway(url: str, **send: object) -> AsyncIterator[Gateway]:
    """The channel of a gateway at `url`."""
    settings = GatewaySettings.model_validate({"send": {"url": url, "fields": FIELDS} | send})
    channel = Gateway(settings, US, Noon())
    yield channel
    await channel.close()


async def outcome(url: str, text: str = "Turn it today", **send: object):
    """What becomes of one text."""
    async with gateway(url, **send) as channel:
        return await channel.send(ANA, Rendered(text), "412")


async def test_a_text_goes_out_as_the_settings_describe(server):
    """Fields are filled in within tables and lists, and the gateway's own name of the text is kept."""
    fields = {"message": {"text": "{text}"}, "to": ["{to}"], "from": "{from}", "id": "w-{reference}", "n": 1}

    became = await outcome(server.url, "¿Volteó la pila? {to}", fields=fields, message_id="id")

    [(first, headers, body)] = server.requests
    assert became == Sent("7")
    assert first == "POST /messages HTTP/1.1"
    assert headers["content-type"] == "application/json"
    assert json.loads(body) == {
        "message": {"text": "¿Volteó la pila? {to}"},
        "to": [ANA],
        "from": US,
        "id": "w-412",
        "n": 1,
    }


async def test_fields_can_go_as_a_form_or_in_the_address(server):
    """Some gateways want a form, some everything in the address."""
    await outcome(server.url, body="form")
    await outcome(server.url, body="query", method="GET")

    form, query = server.requests
    want = {"to": [ANA], "text": ["Turn it today"], "ref": ["412"]}
    assert parse_qs(form[2].decode()) == want
    assert query[0].startswith("GET /messages?")
    assert parse_qs(query[0].split()[1].partition("?")[2]) == want


async def test_secrets_come_from_the_environment(server, monkeypatch):
    """A token in a header and a password are named by their variables, never written in the file."""
    monkeypatch.setenv("OUR_TOKEN", "s3cret")

    await outcome(server.url, headers={"Authorization": "Bearer $OUR_TOKEN"})
    await outcome(server.url, user="heap", password="$OUR_TOKEN")

    bearer, basic = (headers["authorization"] for _, headers, _ in server.requests)
    assert bearer == "Bearer s3cret"
    assert basic == "Basic aGVhcDpzM2NyZXQ="


@pytest.mark.parametrize(
    ("answer", "became"),
    [
        ((202, {}, b"queued"), Sent(None)),
        ((429, {"Retry-After": "7"}, b""), NotSent("HTTP 429: ", 7.0)),
        ((503, {"Retry-After": "Sun, 01 Mar 2026 09:02:00 GMT"}, b""), NotSent("HTTP 503: ", 120.0)),
        ((429, {"Retry-After": "soon"}, b""), NotSent("HTTP 429: ", None)),
        ((401, {}, b"who?"), NotSent("HTTP 401: who?", None)),
        ((400, {}, b"bad number"), Refused("HTTP 400: bad number")),
        ((400, {}, b'{"code": 21610}'), Refused('HTTP 400: {"code": 21610}', gone=True)),
        ((403, {}, b"Recipient OPTED OUT"), Refused("HTTP 403: Recipient OPTED OUT", gone=True)),
        ((400, {}, b"trace 9216101"), Refused("HTTP 400: trace 9216101")),
        ((500, {}, b"oops"), Unknown("HTTP 500: oops")),
        ("cut", Unknown("the gateway did not answer (RemoteProtocolError)")),
    ],
)
async def test_what_became_of_a_text_is_told_apart(server, answer, became):
    """Taken, surely not taken (Retry-After: RFC 9110, 10.2.3), never to be, blocked upstream, or unknown."""
    server.answer = answer

    assert await outcome(server.url, blocked=["21610", "opted out"]) == became


async def test_a_gateway_that_says_nothing_leaves_it_unknown(server):
    """After the patience that the settings give, nobody knows whether the text was taken."""
    server.answer = "silence"

    assert isinstance(await outcome(server.url, timeout_s=1), Unknown)


async def test_a_gateway_that_nobody_runs_has_taken_nothing():
    """Where no connection comes about, the text may safely be tried again."""
    assert isinstance(await outcome("http://127.0.0.1:9/messages"), NotSent)


async def test_a_gateway_that_drops_repetitions_is_asked_again(server):
    """Where the same reference is never delivered twice, an unknown outcome may be tried again."""
    server.answer = "cut"

    assert isinstance(await outcome(server.url, safe_to_repeat=True), NotSent)


@pytest.mark.parametrize(
    ("said", "kind"), [(b'{"state": "SENT"}', Sent), (b'{"state": "Failed"}', Refused), (b"<html>", Refused)]
)
async def test_success_can_be_told_in_the_answer(server, said, kind):
    """Some gateways answer 200 to everything and say in the answer what it is worth."""
    server.answer = (200, {}, said)

    assert isinstance(await outcome(server.url, success="state", success_is=["sent"]), kind)


@pytest.mark.parametrize(
    ("said", "form", "text"),
    [
        ({"text": "hi", "files": ["https://x/1.jpg"]}, "photo", "hi"),
        ({"files": ["https://x/1.jpg"]}, "photo", ""),
        ({"text": "hi", "files": []}, "text", "hi"),
        ({"text": "hi"}, "text", "hi"),
    ],
)
async def test_a_picture_comes_in_as_one(said, form, text):
    """Where the settings say how a file is told of, a text with one is a picture, with or without words."""
    receive = {"secret": "s", "media": "files.0"}
    settings = {"send": {"url": "http://x/", "fields": {}}, "receive": receive}
    channel = Gateway(GatewaySettings.model_validate(settings), US, Noon())
    async with aclosing(channel.incoming()) as messages:
        arriving = asyncio.ensure_future(
            channel.arrive({"x-secret": "s"}, json.dumps(said | {"from": ANA, "id": 1}).encode())
        )
        heard = await anext(messages)
        arriving.cancel()
    await channel.close()

    assert (heard.form, heard.text) == (form, text)


async def test_each_text_waits_for_its_turn(server, turns):
    """A text counts for the pace that the settings name, which is told to the sender a little lower."""
    async with gateway(server.url, per_second=11) as channel:
        await channel.send(ANA, Rendered("Turn it today"), "412")

        assert len(turns) == 1
        assert channel.pace.per_second == pytest.approx(10)


def test_the_example_is_a_whole_gateway(monkeypatch):
    """The file that operators copy can be read as it stands."""
    monkeypatch.setenv("GATEWAY_PASSWORD", "p")
    monkeypatch.setenv("GATEWAY_SECRET", "s")

    settings = read_gateway(EXAMPLE)

    assert settings.send.per_second == 1
    assert settings.send.password == "p"
    assert settings.receive is not None
    assert settings.receive.secret == "s"


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[send]\nurl = 'http://x/'\nfields = {}\ntimeout = 3", r"send.timeout: no such entry"),
        ("[send]\nurl = 'ftp://x/'\nfields = {}", r"send.url"),
        ("[send]\nurl = 'http://x/'\nfields = {}\nheaders = {A = '$NOWHERE_SET'}", r"NOWHERE_SET; set it"),
        ("[send]\nurl = 'http://x/'\nfields = {}\npassword = 'a$'", r"write a dollar sign"),
        ("[send]\nurl = 'http://x/'\nfields = {}\n[receive]\npath = '/a'", r"receive: .*set secret or"),
        ("[send", r"not valid TOML"),
    ],
)
def test_a_broken_file_is_named_with_its_place(tmp_path, text, place):
    """One line names the file, the entry and the mend."""
    path = tmp_path / "gateway.toml"
    path.write_text(text)

    with pytest.raises(BadInput, match=rf"^gateway {path}.*{place}"):
        read_gateway(path)


def test_a_missing_file_names_its_setting(tmp_path):
    """A path that leads nowhere is told with the variable that holds it."""
    with pytest.raises(BadInput, match="check WARMHEAP_GATEWAY"):
        read_gateway(tmp_path / "none.toml")
