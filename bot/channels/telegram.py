"""Telegram by long polling.

An update comes again until a later one is asked for, so each is stored before the next request: what
arrives while the program dies arrives once more, and the inbox knows it by its id.
"""

import asyncio
import logging
import os
from collections.abc import AsyncIterator
from contextlib import suppress
from datetime import timedelta
from typing import Final

import httpx
from telegram import Bot, CallbackQuery, InlineKeyboardButton, InlineKeyboardMarkup, Message, Update
from telegram.constants import ChatType
from telegram.error import BadRequest, Forbidden, InvalidToken, NetworkError, RetryAfter, TelegramError
from telegram.request import HTTPXRequest

from scheduler.sender import NotSent, Outcome, Pace, Refused, Rendered, Sent, Unknown
from scheduler.times import Clock
from shared.errors import ChannelTrouble
from storage.inbox import Incoming
from storage.models import Form

os.environ.setdefault("PTB_TIMEDELTA", "true")  # the library's own switch to timedelta, its coming default

log = logging.getLogger(__name__)

POLL: Final = timedelta(seconds=50)
"""How long the server may hold a request for updates open."""
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
"""Pause after a failed request, doubled each time. [s]"""
NEVER_LEFT = (httpx.ConnectError, httpx.ConnectTimeout, httpx.PoolTimeout)
"""Causes by which a request surely did not reach the server."""
REFUSED: Final = "Telegram refuses the token; check WARMHEAP_TELEGRAM_TOKEN"
KINDS: Final = ("message", "edited_message", "callback_query")
PICTURES: Final = ("photo", "video", "animation", "document", "sticker")
SOUNDS: Final = ("voice", "audio", "video_note")
_BUTTON: Form = "button"
_EDITED: Form = "edited"


class Telegram:
    """The Telegram channel of one bot."""

    name = "telegram"
    addresses = None
    pace = Pace(per_second=25, per_person_s=1)
    """Under the 30 a second, and at the 1 a second in one chat, of Telegram's FAQ for bots."""

    def __init__(self, token: str, api: str, clock: Clock) -> None:
        base = api.rstrip("/")
        # polling has a connection of its own, so that it never waits behind what is being sent
        self._requests = HTTPXRequest(connection_pool_size=16), HTTPXRequest(connection_pool_size=1)
        sending, polling = self._requests
        self._bot = Bot(
            token, f"{base}/bot", f"{base}/file/bot", request=sending, get_updates_request=polling
        )
        self._clock = clock

    async def open(self) -> None:
        """Make sure that the token holds; raises ChannelTrouble where it does not.

        Without a network it goes on: polling tries again by itself, and what is to be sent waits.
        """
        try:
            await self._bot.initialize()
        except InvalidToken:
            await self.close()
            raise ChannelTrouble(REFUSED) from None
        except TelegramError as trouble:
            log.warning(
                "Telegram cannot be reached (%s); check the network and WARMHEAP_TELEGRAM_API. Trying again.",
                trouble,
            )

    async def close(self) -> None:
        """Let go of the connections."""
        for request in self._requests:
            await request.shutdown()

    async def incoming(self) -> AsyncIterator[Incoming]:
        """Every message, without end. Whoever takes one has stored it when asking for the next."""
        async for update in self._updates():
            if (message := _incoming(update, self._clock)) is not None:
                yield message
            if update.callback_query is not None:
                await self._acknowledge(update.callback_query)

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        """Send to a private chat, quick answers as buttons below."""
        buttons = [[InlineKeyboardButton(label, callback_data=answer)] for label, answer in message.options]
        markup = InlineKeyboardMarkup(buttons) if buttons else None
        try:
            if message.picture is None:
                sent = await self._bot.send_message(address, message.text, reply_markup=markup)
            else:
                sent = await self._bot.send_photo(
                    address, message.picture, caption=message.text, reply_markup=markup
                )
        except TelegramError as trouble:
            return _what_became(trouble)
        return Sent(str(sent.message_id))

    async def _updates(self) -> AsyncIterator[Update]:
        offset: int | None = None
        pause_s = FIRST_PAUSE_S
        while True:
            try:
                updates = await self._bot.get_updates(offset, timeout=POLL, allowed_updates=KINDS)
            except InvalidToken:
                raise ChannelTrouble(REFUSED) from None
            except TelegramError as trouble:
                log.warning("action=telegram_poll_failed pause_s=%.0f why=%s", pause_s, trouble)
                await asyncio.sleep(pause_s)
                pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
                continue
            pause_s = FIRST_PAUSE_S
            for update in updates:
                yield update
                offset = update.update_id + 1

    async def _acknowledge(self, tap: CallbackQuery) -> None:
        """End the button's spinner and take the buttons away: each question is answered once."""
        with suppress(TelegramError):  # an old tap can no longer be acknowledged, which hurts nobody
            await tap.answer()
            await tap.edit_message_reply_markup(None)


def _incoming(update: Update, clock: Clock) -> Incoming | None:
    """The update as a message of ours, None where it is not from a private chat."""
    chat, user = update.effective_chat, update.effective_user
    if chat is None or user is None or chat.type != ChatType.PRIVATE:
        return None
    if (tap := update.callback_query) is not None:
        # one answer to one question: tapping twice is telling once
        message_id, at, form, said = f"button:{tap.data}", clock.now(), _BUTTON, tap.data or ""
    elif (message := update.effective_message) is not None:
        message_id, at, form = str(message.message_id), message.date, _form(message)
        said = _text(message, user.language_code or "")
        if message.edit_date is not None:
            at, form = message.edit_date, _EDITED
            message_id = f"{message_id}:{at.timestamp():.0f}"
    else:
        return None
    return Incoming("telegram", str(chat.id), f"{chat.id}:{message_id}", said, at, user.first_name, form)


def _form(message: Message) -> Form:
    if any(getattr(message, kind) for kind in PICTURES):
        return "photo"
    return "voice" if any(getattr(message, kind) for kind in SOUNDS) else "text"


def _text(message: Message, language: str) -> str:
    """What was written. A command is its word; the code of a deep link stands for itself.

    The start button says nothing by itself: it is taken for the word that joins in the app's language.
    """
    text = message.text or message.caption or ""
    if not text.startswith("/"):
        return text
    word, _, rest = text[1:].partition(" ")
    word = word.partition("@")[0]
    if word == "start":
        return rest.strip() or ("alta" if language.startswith("es") else "start")
    return f"{word} {rest}".strip()


def _what_became(trouble: TelegramError) -> Outcome:
    """Whether a message that could not be sent was surely not sent, never will be, or may have been."""
    why = str(trouble)
    if isinstance(trouble, RetryAfter):
        wait = trouble.retry_after
        return NotSent(why, wait.total_seconds() if isinstance(wait, timedelta) else wait)
    if isinstance(trouble, Forbidden):
        return Refused(why, gone=True)
    if isinstance(trouble, BadRequest):
        return Refused(why, gone="chat not found" in why.lower())
    if isinstance(trouble, NetworkError) and not isinstance(trouble.__cause__, NEVER_LEFT):
        return Unknown(why)
    return NotSent(why, None)
