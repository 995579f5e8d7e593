"""The Telegram channel: updates by long polling, or brought to a webhook where we have a public address.

An update that was asked for comes again until a later one is, and one that is brought comes again until it
is answered; each is stored before either, so that nothing is lost, and the inbox knows what comes twice.
"""

import asyncio
import hashlib
import hmac
import json
import logging
import os
from collections.abc import AsyncGenerator, Awaitable, Callable, Mapping
from contextlib import aclosing, suppress
from datetime import timedelta
from functools import partial
from typing import Any, Final, TypeVar
from urllib.parse import urlencode

import httpx
from telegram import (
    Bot,
    CallbackQuery,
    InlineKeyboardButton,
    InlineKeyboardMarkup,
    Message,
    ReplyParameters,
    Update,
)
from telegram.error import (
    BadRequest,
    ChatMigrated,
    Forbidden,
    InvalidToken,
    NetworkError,
    RetryAfter,
    TelegramError,
)
from telegram.request import HTTPXRequest

from bot.channels.arrivals import Arrivals
from bot.channels.telegram_updates import KINDS, incoming
from bot.channels.turnstile import Turnstile
from bot.language.meaning import Language
from scheduler.sender import NotSent, Outcome, Pace, Refused, Rendered, Sent, Shows, Unknown
from scheduler.times import Clock
from shared.errors import BadInput, ChannelTrouble, Forged
from storage.inbox import Incoming

os.environ.setdefault("PTB_TIMEDELTA", "true")  # the library's own switch to timedelta, its coming default

log = logging.getLogger(__name__)

POLL_S: Final = 50
"""How long the server may hold a request for updates open. [s]"""
PATIENCE_S: Final = 5
"""How much later than that its answer may come. [s]"""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
"""Pause after a failed request, doubled each time. [s]"""
NEVER_LEFT = (httpx.ConnectError, httpx.ConnectTimeout, httpx.PoolTimeout)
"""Causes by which a request surely did not reach the server."""
MOST_A_SECOND: Final = 30
"""Of all chats, and one in one chat: Telegram's FAQ for bots, as a soft limit."""
LEAVE_S: Final = 2
"""How long the last buttons may take to be acknowledged. [s]"""
REFUSED: Final = "Telegram refuses the token; check WARMHEAP_TELEGRAM_TOKEN"
SECRET_HEADER: Final = "x-telegram-bot-api-secret-token"
DOOR: Final = "/telegram"
NOT_STARTED: Final = "initiate conversation"
"""By this Telegram says that a person has never written to us, which is no opt-out."""
Menu = Mapping[Language, Mapping[str, str]]
"""Commands with what they do, by language; the first is shown to whoever speaks none of them."""
Given = TypeVar("Given")


class Telegram:
    """The Telegram channel of one bot. `public_url`: where Telegram reaches our web part; None: we ask it."""

    name = "telegram"
    addresses = None
    shows = Shows(letters=True, buttons=True, pictures=True)
    pace = Pace(per_second=25, per_person_s=1)

    def __init__(
        self, token: str, api: str, clock: Clock, menu: Menu | None = None, public_url: str | None = None
    ) -> None:
        base = api.rstrip("/")
        # polling has a connection of its own, so that it never waits behind what is being sent
        self._sending, self._polling = (
            HTTPXRequest(connection_pool_size=16),
            HTTPXRequest(connection_pool_size=1),
        )
        self._bot = Bot(
            token, f"{base}/bot", f"{base}/file/bot", request=self._sending, get_updates_request=self._polling
        )
        self._clock = clock
        self._menu = menu or {}
        self._public_url = public_url
        # nobody without the token can make it, and every process of ours makes the same
        self._secret = hmac.new(token.encode(), b"webhook", hashlib.sha256).hexdigest()
        self._turnstile = Turnstile(MOST_A_SECOND)
        self._settled = asyncio.Event()
        self._arrivals = Arrivals()
        self._acknowledging: set[asyncio.Task[None]] = set()
        self.is_up = False

    @property
    def path(self) -> str | None:
        """Where Telegram brings updates; None where we ask for them."""
        return None if self._public_url is None else DOOR

    @property
    def username(self) -> str | None:
        """The bot's name, as links to it have it; None before Telegram has told us."""
        return self._bot.username if self._settled.is_set() else None

    async def open(self) -> None:
        """Make sure that the token holds; raises ChannelTrouble where it does not.

        Without a network it goes on: what is asked for is asked again, and what is to be sent waits.
        """
        try:
            await self._settle()
        except InvalidToken:
            await self.close()
            raise ChannelTrouble(REFUSED) from None
        except ChannelTrouble:
            await self.close()
            raise
        except TelegramError as trouble:
            log.warning(
                "Telegram cannot be reached (%s); check the network and WARMHEAP_TELEGRAM_API. Trying again.",
                trouble,
            )

    async def close(self) -> None:
        """Let go of the connections. The webhook stays: what arrives meanwhile is kept for us for a day."""
        if self._acknowledging:
            await asyncio.wait(self._acknowledging, timeout=LEAVE_S)
        for request in (self._sending, self._polling):
            await request.shutdown()

    async def incoming(self) -> AsyncGenerator[Incoming, None]:
        """Every message, without end. Whoever takes one has stored it when asking for the next."""
        await self._through(self._settle)
        async with aclosing(self._polled() if self.path is None else self._arrivals.incoming()) as messages:
            async for message in messages:
                yield message

    async def arrive(self, headers: Mapping[str, str], body: bytes) -> None:
        """Take one request of Telegram's; back once its update is stored.

        Raises Forged without the secret, BadInput where it is no update, ChannelTrouble where we end.
        """
        if not hmac.compare_digest(headers.get(SECRET_HEADER, "").encode(), self._secret.encode()):
            raise Forged("wrong secret")
        try:
            raw = json.loads(body)
        except (ValueError, RecursionError):
            raw = None
        if not isinstance(raw, dict) or not isinstance(raw.get("update_id"), int):
            raise BadInput("no update")
        await self._settled.wait()
        if (update := self._read(raw)) is None:
            return
        if (message := incoming(update, self._bot.bot, self._clock.now())) is not None:
            await self._arrivals.stored(message)
        self._acknowledge(update.callback_query)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Send to a chat, quick answers as buttons below."""
        try:
            try:
                sent = await self._send(address, message)
            except ChatMigrated as moved:  # a group that grew has another id
                sent = await self._send(str(moved.new_chat_id), message)
        except TelegramError as trouble:
            return _what_became(trouble, in_group=address.startswith("-"))
        return Sent(str(sent.message_id))

    async def _send(self, address: str, message: Rendered) -> Message:
        buttons = [[InlineKeyboardButton(label, callback_data=answer)] for label, answer in message.options]
        markup = InlineKeyboardMarkup(buttons) if buttons else None
        below: dict[str, Any] = {"reply_markup": markup, "reply_parameters": _below(message.answers)}
        await self._turnstile.passed()
        if message.picture is None:
            return await self._bot.send_message(address, message.text, **below)
        return await self._bot.send_photo(address, message.picture, caption=message.text, **below)

    async def _settle(self) -> None:
        """Learn who we are, say how updates reach us, and show the menu; once."""
        if self._settled.is_set():
            return
        await self._bot.initialize()
        if self._public_url is None:
            await self._bot.delete_webhook()  # one that was left would keep updates from us
        else:
            try:
                await self._bot.set_webhook(
                    self._public_url.rstrip("/") + DOOR, secret_token=self._secret, allowed_updates=KINDS
                )
            except BadRequest as trouble:
                raise ChannelTrouble(f"Telegram cannot use WARMHEAP_PUBLIC_URL: {trouble}") from None
        for number, (language, commands) in enumerate(self._menu.items()):
            if number == 0:
                await self._bot.set_my_commands(list(commands.items()))
            await self._bot.set_my_commands(list(commands.items()), language_code=language)
        self._settled.set()
        self.is_up = True

    async def _polled(self) -> AsyncGenerator[Incoming, None]:
        offset: int | None = None
        while True:
            for raw in await self._through(partial(self._updates, offset)):
                if (update := self._read(raw)) is not None:
                    if (message := incoming(update, self._bot.bot, self._clock.now())) is not None:
                        yield message
                    self._acknowledge(update.callback_query)
                offset = raw["update_id"] + 1

    async def _updates(self, offset: int | None) -> list[dict[str, Any]]:
        """What has arrived from `offset` on, unread: the library would refuse all for one bad update."""
        asked = {"timeout": POLL_S, "allowed_updates": json.dumps(KINDS)}
        if offset is not None:
            asked["offset"] = offset
        url = f"{self._bot.base_url}/getUpdates?{urlencode(asked)}"
        updates: Any = await self._polling.post(url, read_timeout=POLL_S + PATIENCE_S)
        return list(updates)

    async def _through(self, call: Callable[[], Awaitable[Given]]) -> Given:
        """What a call gives in the end: after trouble it is made again, never sooner than Telegram asks."""
        pause_s = FIRST_PAUSE_S
        while True:
            try:
                given = await call()
            except InvalidToken:
                raise ChannelTrouble(REFUSED) from None
            except TelegramError as trouble:
                self.is_up = False
                wait_s = max(pause_s, _asked_wait_s(trouble) or 0)
                log.warning("action=telegram_retry pause_s=%.0f why=%s", wait_s, trouble)
                await asyncio.sleep(wait_s)
                pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
            else:
                self.is_up = True
                return given

    def _read(self, raw: Mapping[str, Any]) -> Update | None:
        """The update; None, and a line in the log without its content, where we do not know its form."""
        try:
            return Update.de_json(dict(raw), self._bot)
        except Exception as trouble:  # one update that cannot be read must not keep the others from us
            log.warning(
                "action=telegram_unreadable update=%s holds=%s why=%s",
                raw["update_id"],
                ",".join(sorted(raw)),
                type(trouble).__name__,
            )
            return None

    def _acknowledge(self, tap: CallbackQuery | None) -> None:
        """End a button's spinner; meanwhile other updates are read."""
        if tap is not None:
            task = asyncio.create_task(_acknowledge(tap))
            self._acknowledging.add(task)
            task.add_done_callback(self._acknowledging.discard)


async def _acknowledge(tap: CallbackQuery) -> None:
    """In a private chat the buttons go too: each question is answered once. In a group others may answer."""
    with suppress(TelegramError):  # an old tap can no longer be acknowledged, which hurts nobody
        await tap.answer()
    if isinstance(tap.message, Message) and tap.message.chat.id == tap.from_user.id:
        with suppress(TelegramError):
            await tap.edit_message_reply_markup(None)


def _below(answered: str | None) -> ReplyParameters | None:
    """That a message hangs on the one that it answers, if that is still there."""
    number = (answered or "").split(":")[1:2]
    if not number or not number[0].isdecimal():
        return None
    return ReplyParameters(int(number[0]), allow_sending_without_reply=True)


def _what_became(trouble: TelegramError, in_group: bool) -> Outcome:
    """Whether a message that could not be sent was surely not sent, never will be, or may have been."""
    why = str(trouble)
    if (wait_s := _asked_wait_s(trouble)) is not None:
        return NotSent(why, wait_s)
    if isinstance(trouble, Forbidden):
        return Refused(why, gone=not in_group and NOT_STARTED not in why)
    if isinstance(trouble, BadRequest):
        return Refused(why, gone=not in_group and "chat not found" in why.lower())
    if isinstance(trouble, NetworkError) and not isinstance(trouble.__cause__, NEVER_LEFT):
        return Unknown(why)
    return NotSent(why, None)


def _asked_wait_s(trouble: TelegramError) -> float | None:
    """How long Telegram asks us to wait. [s]"""
    if not isinstance(trouble, RetryAfter):
        return None
    wait = trouble.retry_after
    return wait.total_seconds() if isinstance(wait, timedelta) else wait
