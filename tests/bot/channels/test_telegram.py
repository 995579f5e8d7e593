"""The Telegram channel against an emulated Bot API that runs as a process of its own."""

import asyncio
from contextlib import aclosing
from datetime import UTC, datetime

import pytest

from bot.channels import telegram
from bot.channels.telegram import Telegram
from scheduler.sender import NotSent, Refused, Rendered, Sent, Unknown
from shared.errors import ChannelTrouble
from storage.inbox import Incoming

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
NOBODY = "http://127.0.0.1:9"


class Noon:
    """A clock that stands still."""

    def now(self) -> datetime:
        return NOW


async def listen(phone, count: int = 1) -> list[Incoming]:
    """The next messages that a freshly started channel brings."""
    channel = Telegram(phone.token, phone.api, Noon())
    await channel.open()
    heard = []
    async with asyncio.timeout(10), aclosing(channel.incoming()) as messages:
        async for message in messages:
            heard.append(message)
            if len(heard) == count:
                break
    await channel.close()
    return heard


async def send(phone, message: Rendered, api: str | None = None):
    """What becomes of one message."""
    channel = Telegram(phone.token, api or phone.api, Noon())
    try:
        return await channel.send(str(phone.chat_id), message, "1")
    finally:
        await channel.close()


async def test_a_text_arrives_with_its_writer_moment_and_id(phone):
    """What was written comes in as it stands, from the chat's id, with the first name and Telegram's time."""
    phone.say("temp 128, looks dry")

    [heard] = await listen(phone)

    assert (heard.channel, heard.address, heard.name, heard.form) == ("telegram", "77", "Ana", "text")
    assert heard.text == "temp 128, looks dry"
    assert heard.at == datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    assert heard.message_id.startswith("77:")


@pytest.mark.parametrize(
    ("typed", "heard"),
    [
        ("/start FIG22", "FIG22"),
        ("/start", "start"),
        ("/help@warmheap_bot", "help"),
        ("/stop now", "stop now"),
    ],
)
async def test_a_command_is_its_word_and_a_deep_link_its_code(phone, typed, heard):
    """A deep link brings the class code alone; any other command is what a person would have written."""
    phone.say(typed)

    assert [message.text for message in await listen(phone)] == [heard]


async def test_the_start_button_speaks_the_apps_language(phone):
    """Pressing start in a Spanish app is joining in Spanish."""
    message = phone.message(message_id=8, text="/start")
    message["from"] = message["from"] | {"language_code": "es-MX"}
    phone.update(message=message)

    assert [message.text for message in await listen(phone)] == ["alta"]


async def test_a_tap_brings_what_its_button_carries(phone):
    """However old the message, a tap brings the row and the digit that the button was made with."""
    phone.tap("412:2")

    [heard] = await listen(phone)

    assert (heard.text, heard.form, heard.at) == ("412:2", "button", NOW)


async def test_tapping_twice_is_telling_once(phone):
    """Two taps on one button have one message id, so that the inbox takes the answer once."""
    phone.tap("412:2")
    phone.tap("412:2")

    first, second = await listen(phone, 2)

    assert first.message_id == second.message_id


async def test_a_tapped_button_is_acknowledged_and_goes_away(phone):
    """The spinner ends and the buttons leave once the answer has been taken."""
    phone.tap("412:1", message_id=9)
    phone.say("and more")

    await listen(phone, 2)

    assert phone.calls("answerCallbackQuery")
    assert phone.calls("editMessageReplyMarkup")[-1] == {"chat_id": "77", "message_id": "9"}


async def test_an_edited_message_says_that_it_is_one(phone):
    """Mending a sent text brings the new words as an edit, under another id, at the moment of the edit."""
    phone.update(edited_message=phone.message(message_id=5, text="temp 128", edit_date=1_772_355_660))

    [heard] = await listen(phone)

    assert (heard.text, heard.form, heard.message_id) == ("temp 128", "edited", "77:5:1772355660")
    assert heard.at == datetime(2026, 3, 1, 9, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("fields", "form", "text"),
    [
        (
            {"photo": [{"file_id": "f", "file_unique_id": "u", "width": 1, "height": 1}], "caption": "dry?"},
            "photo",
            "dry?",
        ),
        ({"voice": {"file_id": "f", "file_unique_id": "u", "duration": 2}}, "voice", ""),
    ],
)
async def test_pictures_and_voice_notes_come_with_their_form(phone, fields, form, text):
    """A photo brings its caption, a voice note no words; each says what it is."""
    phone.update(message=phone.message(message_id=6, **fields))

    [heard] = await listen(phone)

    assert (heard.form, heard.text) == (form, text)


async def test_only_private_chats_are_heard(phone):
    """In a group the bot keeps out of the talk."""
    group = {"id": -5, "type": "group", "title": "Garden"}
    phone.update(message=phone.message(message_id=7, text="hello all", chat=group))
    phone.say("hello bot")

    assert [message.text for message in await listen(phone)] == ["hello bot"]


async def test_what_was_not_taken_comes_again(phone):
    """A message is acknowledged only when the next is asked for: after a crash it comes again."""
    phone.say("temp 128")

    [before] = await listen(phone)
    [after] = await listen(phone)

    assert before == after


async def test_polling_goes_on_after_a_failure(phone, monkeypatch):
    """A gateway error and a cut connection pause the polling and lose nothing."""
    monkeypatch.setattr(telegram, "FIRST_PAUSE_S", 0.01)
    phone.fault("getUpdates", http=502, answer={"ok": False, "error_code": 502, "description": "Bad Gateway"})
    phone.fault("getUpdates", cut=True)
    phone.say("still here?")

    assert [message.text for message in await listen(phone)] == ["still here?"]


async def test_quick_answers_are_buttons_that_carry_row_and_digit(phone):
    """Each answer is a button under the message, and its data fit the 64 bytes that Telegram allows."""
    outcome = await send(phone, Rendered("Turned yet?", (("Turned", "412:1"), ("Not yet", "412:2"))))

    assert isinstance(outcome, Sent)
    [message] = phone.read()
    buttons = [button for row in message["reply_markup"]["inline_keyboard"] for button in row]
    assert message["text"] == "Turned yet?"
    assert [(button["text"], button["callback_data"]) for button in buttons] == [
        ("Turned", "412:1"),
        ("Not yet", "412:2"),
    ]


async def test_a_picture_is_sent_with_its_text(phone):
    """A chart goes out as a photo."""
    outcome = await send(phone, Rendered("Your pile since March", (), b"\x89PNG\r\n\x1a\n"))

    assert isinstance(outcome, Sent)
    assert phone.calls("sendPhoto")


@pytest.mark.parametrize(
    ("fault", "outcome"),
    [
        ({"http": 429, "parameters": {"retry_after": 2}}, NotSent("", 2)),
        ({"http": 403, "description": "Forbidden: bot was blocked by the user"}, Refused("", gone=True)),
        ({"http": 400, "description": "Bad Request: chat not found"}, Refused("", gone=True)),
        ({"http": 400, "description": "Bad Request: message is too long"}, Refused("", gone=False)),
        ({"http": 502, "description": "Bad Gateway"}, Unknown("")),
        ({"cut": True}, Unknown("")),
    ],
)
async def test_what_became_of_a_message_is_told_apart(phone, fault, outcome):
    """Surely not sent, never to be sent, or unknown, by the answer (status codes of the Bot API)."""
    answer = {"ok": False, "error_code": fault.get("http"), "description": "?"} | fault
    phone.fault("sendMessage", answer=answer, **fault)

    became = await send(phone, Rendered("hello", ()))

    assert type(became) is type(outcome)
    for name in ("retry_after_s", "gone"):
        assert getattr(became, name, None) == getattr(outcome, name, None)
    assert became.why


async def test_a_message_that_never_left_was_not_sent(phone):
    """Where nobody listens, the message may safely be tried again."""
    became = await send(phone, Rendered("hello", ()), api=NOBODY)

    assert isinstance(became, NotSent)


async def test_a_refused_token_names_its_setting(phone):
    """A wrong token ends in one line that names the variable to mend."""
    with pytest.raises(ChannelTrouble, match="WARMHEAP_TELEGRAM_TOKEN"):
        await Telegram("1:refused", phone.api, Noon()).open()
