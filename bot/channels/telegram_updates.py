"""What an update of Telegram's says, as a message of ours.

In a group we hear what mentions us, what replies to us, our own buttons, and that we were added; nothing
else is kept. Whoever speaks is the person, by their own id, which is also that of their private chat.
"""

from datetime import datetime
from typing import Final

from telegram import CallbackQuery, ChatMemberUpdated, Message, MessageEntity, Update, User
from telegram.constants import ChatMemberStatus, ChatType

from storage.inbox import Incoming
from storage.models import Form

KINDS: Final = ("message", "edited_message", "callback_query", "my_chat_member")
"""The kinds of updates that we ask for."""
PICTURES: Final = ("photo", "video", "animation", "document", "sticker")
SOUNDS: Final = ("voice", "audio", "video_note")
GROUPS: Final = (ChatType.GROUP, ChatType.SUPERGROUP)
OUT: Final = (ChatMemberStatus.LEFT, ChatMemberStatus.BANNED)
IN_SPANISH: Final = {"start": "alta", "help": "ayuda"}
"""A menu command says nothing of the language; it is taken for the word of the app's."""


def incoming(update: Update, us: User, now: datetime) -> Incoming | None:
    """The message that an update holds, None where it holds none for us."""
    if update.my_chat_member is not None:
        return _membership(update.my_chat_member)
    if update.callback_query is not None:
        return _tap(update.callback_query, now)
    message = update.edited_message or update.message
    if message is None or message.from_user is None or message.from_user.is_bot or message.sender_chat:
        return None
    return _message(message, message.from_user, us)


def _message(message: Message, user: User, us: User) -> Incoming | None:
    words: str | None = message.text or message.caption or ""
    if not words and (message.edit_date or message.effective_attachment is None):
        return None  # a live place that moves on, or a notice such as a pinned message
    place = str(message.chat.id) if message.chat.type in GROUPS else None
    if place is not None:
        words = _said_to_us(message, us)
    elif message.chat.type != ChatType.PRIVATE:
        return None
    if words is None:
        return None
    message_id, at, form = str(message.message_id), message.date, _form(message)
    if message.edit_date is not None:
        at, form = message.edit_date, "edited"
        message_id = f"{message_id}:{at.timestamp():.0f}"
    elif message.media_group_id is not None:  # several pictures sent as one
        message_id = f"album:{message.media_group_id}"
    said = _in_words(words, user.language_code or "")
    name = f"{message.chat.id}:{message_id}"
    return Incoming("telegram", str(user.id), name, said, at, user.first_name, form, place=place)


def _tap(tap: CallbackQuery, now: datetime) -> Incoming:
    """One answer to one question: tapping twice is telling once. In a group each may tap."""
    user = tap.from_user
    place = str(tap.message.chat.id) if tap.message and tap.message.chat.type in GROUPS else None
    message_id = f"{user.id}:button:{tap.data}" if place is None else f"{place}:button:{user.id}:{tap.data}"
    return Incoming(
        "telegram", str(user.id), message_id, tap.data or "", now, user.first_name, "button", place=place
    )


def _membership(changed: ChatMemberUpdated) -> Incoming | None:
    """That a person has blocked us, or put us into a group.

    Whoever unblocks us has not said yes again: their start, which the app sends along, does.
    """
    chat, user, is_in = changed.chat, changed.from_user, changed.new_chat_member.status not in OUT
    form: Form
    if chat.type == ChatType.PRIVATE and not is_in:
        form, place = "blocked", None
    elif chat.type in GROUPS and is_in and changed.old_chat_member.status in OUT:
        form, place = "grouped", str(chat.id)
    else:
        return None
    message_id = f"{chat.id}:{form}:{changed.date.timestamp():.0f}"
    return Incoming(
        "telegram", str(user.id), message_id, "", changed.date, user.first_name, form, place=place
    )


def _said_to_us(message: Message, us: User) -> str | None:
    """The words without our name; None where they are said to others."""
    our_name = f"@{us.username}".lower()
    words = message.text or message.caption or ""
    replied_to = message.reply_to_message.from_user if message.reply_to_message else None
    to_us = replied_to is not None and replied_to.id == us.id
    entities = message.parse_entities() if message.text else message.parse_caption_entities()
    for entity, said in entities.items():
        if said.lower() == our_name or (entity.user is not None and entity.user.id == us.id):
            to_us, words = True, words.replace(said, "", 1)
        elif entity.type == MessageEntity.BOT_COMMAND and said.lower().endswith(our_name):
            to_us = True
    return words.strip() if to_us else None


def _form(message: Message) -> Form:
    if any(getattr(message, kind) for kind in PICTURES):
        return "photo"
    return "voice" if any(getattr(message, kind) for kind in SOUNDS) else "text"


def _in_words(text: str, language: str) -> str:
    """What was written. A command is its word; the code of a deep link stands for itself."""
    if not text.startswith("/"):
        return text
    command, _, rest = text[1:].partition(" ")
    word = command.partition("@")[0]
    if word == "start" and rest.strip():
        return rest.strip()
    if language.startswith("es"):
        word = IN_SPANISH.get(word, word)
    return f"{word} {rest}".strip()
