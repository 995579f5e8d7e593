"""Telegram's webhook, served for real: stored before it is answered, refused where it is not Telegram's."""

import asyncio
import json
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest

from bot.channels.telegram import SECRET_HEADER, Telegram
from bot.web import app as web
from bot.web.app import serving, web_app
from shared.errors import ChannelTrouble
from storage.inbox import Incoming
from storage.work import Store

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
PUBLIC = "https://compost.example"


class Noon:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


class Door:
    """The served webhook, and what was stored of what came through it."""

    def __init__(self, store: Store, http: httpx.AsyncClient, secret: str) -> None:
        self._store = store
        self._http = http
        self._secret = secret

    async def post(self, update: object, secret: str | bytes | None = None) -> httpx.Response:
        """Bring an update, as Telegram does unless another secret is given."""
        body = update if isinstance(update, bytes) else json.dumps(update).encode()
        headers = {SECRET_HEADER: self._secret if secret is None else secret}
        return await self._http.post("/telegram", content=body, headers=headers)

    def stored(self) -> list[Incoming]:
        """What is in the inbox."""
        with self._store.work() as work:
            return [incoming for _, incoming in work.inbox.waiting()]


@asynccontextmanager
async def opened(phone, store: Store, listening: bool = True) -> AsyncIterator[Door]:
    """The webhook of the phone's bot; whatever comes is stored unless nobody listens."""
    channel = Telegram(phone.token, phone.api, Noon(), public_url=PUBLIC)

    async def keep() -> None:
        async for incoming in channel.incoming():
            with store.work() as work:
                work.inbox.take(incoming)
                work.commit()

    await channel.open()
    async with serving(web_app(_well, [channel]), "127.0.0.1:0") as port, httpx.AsyncClient() as http:
        http.base_url = f"http://127.0.0.1:{port}"
        keeping = asyncio.create_task(keep() if listening else asyncio.sleep(0))
        try:
            yield Door(store, http, phone.calls("setWebhook")[-1]["secret_token"])
        finally:
            keeping.cancel()
            await asyncio.wait({keeping})
            await channel.close()


async def _well() -> dict[str, str]:
    return {"database": "ok"}


@pytest.fixture
def inbox(sqlite_url) -> Store:
    """A store on an empty SQLite file."""
    store = Store(sqlite_url, secret="a key for tests")
    yield store
    store.close()


def update(phone, text: str = "temp 128", number: int = 1) -> dict[str, Any]:
    """An update as Telegram brings it."""
    return {"update_id": number, "message": phone.message(message_id=number, text=text)}


async def test_the_webhook_is_set_with_a_secret_and_our_kinds(phone, inbox):
    """Telegram is told where to bring what, and a secret of the form that it allows (Bot API, setWebhook)."""
    async with opened(phone, inbox):
        asked = phone.calls("setWebhook")[-1]

    assert asked["url"] == "https://compost.example/telegram"
    assert json.loads(asked["allowed_updates"]) == [
        "message",
        "edited_message",
        "callback_query",
        "my_chat_member",
    ]
    assert len(asked["secret_token"]) == 64
    assert asked["secret_token"].isalnum()
    assert phone.token not in asked["secret_token"]


async def test_an_update_is_stored_before_it_is_answered(phone, inbox):
    """Telegram hears 200 once the message is in the inbox."""
    async with opened(phone, inbox) as door:
        answer = await door.post(update(phone))

        [stored] = door.stored()

    assert answer.status_code == 200
    assert (stored.channel, stored.address, stored.text) == ("telegram", "77", "temp 128")


async def test_an_update_that_is_replayed_has_no_effect(phone, inbox):
    """However often it comes, it is one message."""
    async with opened(phone, inbox) as door:
        answers = [await door.post(update(phone)) for _ in range(3)]

        assert [answer.status_code for answer in answers] == [200, 200, 200]
        assert len(door.stored()) == 1


@pytest.mark.parametrize("secret", ["", "wrong", b"\xd1", "0" * 64])
async def test_a_forged_update_has_no_effect(phone, inbox, secret):
    """Whoever does not know the secret is refused, stop or not."""
    async with opened(phone, inbox) as door:
        answer = await door.post(update(phone, "stop"), secret)

        assert answer.status_code == 401
        assert door.stored() == []


@pytest.mark.parametrize("body", [b"", b"no json", b"[]", b'{"message": {}}', b'{"update_id": "1"}', b"\xff"])
async def test_what_is_no_update_is_refused(phone, inbox, body):
    """A body without an update's number is answered with 400."""
    async with opened(phone, inbox) as door:
        assert (await door.post(body)).status_code == 400
        assert door.stored() == []


async def test_an_update_that_cannot_be_read_is_not_brought_again(phone, inbox):
    """Telegram would bring it for a day; it is taken, and nothing comes of it."""
    async with opened(phone, inbox) as door:
        assert (await door.post({"update_id": 5, "message": {"date": "never"}})).status_code == 200
        assert door.stored() == []


async def test_what_cannot_be_stored_is_to_be_brought_again(phone, inbox, monkeypatch):
    """Where storing takes too long Telegram hears 503, never 200."""
    monkeypatch.setattr(web, "STORED_S", 0.05)

    async with opened(phone, inbox, listening=False) as door:
        assert (await door.post(update(phone))).status_code == 503


async def test_what_comes_while_we_end_is_to_be_brought_again(phone):
    """A request that waits when the listening ends hears 503 at once, and the message is not lost."""
    channel = Telegram(phone.token, phone.api, Noon(), public_url=PUBLIC)
    await channel.open()
    secret = phone.calls("setWebhook")[-1]["secret_token"]
    arriving = asyncio.create_task(
        channel.arrive({SECRET_HEADER: secret}, json.dumps(update(phone)).encode())
    )
    messages = channel.incoming()
    await anext(messages)

    await messages.aclose()

    with pytest.raises(ChannelTrouble):
        await arriving
    await channel.close()


async def test_an_oversize_update_is_refused(phone, inbox):
    """What is far longer than any update is cut off."""
    async with opened(phone, inbox) as door:
        assert (await door.post(update(phone, "x" * web.LARGEST_BODY))).status_code == 413
        assert door.stored() == []


async def test_the_longest_update_fits(phone, inbox):
    """4,096 characters that answer 4,096 others, each escaped as two halves, are taken (Bot API, Message)."""
    words = "🌱" * 4096
    long = update(phone, words)
    long["message"]["reply_to_message"] = phone.message(message_id=3, text=words)

    async with opened(phone, inbox) as door:
        assert (await door.post(long)).status_code == 200
        assert len(door.stored()) == 1


async def test_refusals_are_logged_without_words_or_secrets(phone, inbox, caplog):
    """A log line has the status and a word."""
    caplog.set_level(logging.INFO)

    async with opened(phone, inbox) as door:
        await door.post(update(phone, "my words"), "guess")
        await door.post(b"my words")

    told = [record.getMessage() for record in caplog.records if record.name.startswith("bot.")]
    assert told == [
        "action=webhook_refused status=401 why=wrong secret",
        "action=webhook_refused status=400 why=no update",
    ]


async def test_an_address_that_telegram_cannot_use_names_its_setting(phone):
    """Telegram's own words stand in the one line that ends the program."""
    why = "Bad Request: bad webhook: An HTTPS URL must be provided for webhook"
    phone.fault("setWebhook", http=400, answer={"ok": False, "error_code": 400, "description": why})

    with pytest.raises(ChannelTrouble, match=r"WARMHEAP_PUBLIC_URL: Bad webhook: an https url"):
        await Telegram(phone.token, phone.api, Noon(), public_url="http://compost.example").open()
