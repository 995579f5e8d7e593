"""The Telegram channel against an emulated Bot API that runs as a process of its own."""

import asyncio
import json
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
        ("/help", "help"),
        ("/stop now", "stop now"),
    ],
)
async def test_a_command_is_its_word_and_a_deep_link_its_code(phone, typed, heard):
    """A deep link brings the class code alone; any other command is what a person would have written."""
    phone.say(typed)

    assert [message.text for message in await listen(phone)] == [heard]


@pytest.mark.parametrize(
    ("typed", "heard"), [("/start", "alta"), ("/help", "ayuda"), ("/start FIG22", "FIG22")]
)
async def test_the_menu_speaks_the_apps_language(phone, typed, heard):
    """Pressing start in a Spanish app is joining in Spanish."""
    message = phone.message(message_id=8, text=typed)
    message["from"] = message["from"] | {"language_code": "es-MX"}
    phone.update(message=message)

    assert [message.text for message in await listen(phone)] == [heard]


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


US = {"id": 666, "is_bot": True, "first_name": "Warmheap", "username": "TestNameBot"}
"""The emulator's bot."""
GROUP = {"id": -5, "type": "supergroup", "title": "Garden"}


def in_group(phone, text: str, *entities: tuple[str, str], **fields) -> None:
    """Say something in a group; each entity is its kind and the words that it marks."""
    marks = [{"type": kind, "offset": text.index(words), "length": len(words)} for kind, words in entities]
    said = phone.message(**{"message_id": 7, "text": text, "entities": marks, "chat": GROUP} | fields)
    phone.update(message=said)


async def test_in_a_group_only_what_is_said_to_us_is_heard(phone):
    """Of a group's talk a mention, a reply to us and a command of ours come in; all else is passed over."""
    by_others = {"id": 5, "is_bot": False, "first_name": "Beto"}
    ours = {"message_id": 3, "date": 1, "chat": GROUP, "from": US, "text": "Turned yet?"}
    in_group(phone, "hello all")
    in_group(phone, "@another_bot temp 90", ("mention", "@another_bot"))
    in_group(phone, "/help", ("bot_command", "/help"))
    in_group(phone, "what a day", reply_to_message=ours | {"from": by_others})
    in_group(phone, "from the channel @TestNameBot", ("mention", "@TestNameBot"), sender_chat=GROUP)
    in_group(phone, "hey @testnamebot temp 128", ("mention", "@testnamebot"), message_id=21)
    in_group(phone, "turned it", message_id=22, reply_to_message=ours)
    in_group(phone, "/help@TestNameBot", ("bot_command", "/help@TestNameBot"), message_id=23)

    heard = await listen(phone, 3)

    assert [message.text for message in heard] == ["hey  temp 128", "turned it", "help"]
    assert {(message.address, message.place) for message in heard} == {("77", "-5")}
    assert heard[0].message_id == "-5:21"


async def test_an_answer_goes_to_the_group_that_asked(phone):
    """A group's address is a chat as well; a group that grew is followed to its new id."""
    moved = {"ok": False, "error_code": 400, "description": "Bad Request: group chat was upgraded"}
    phone.fault("sendMessage", http=400, answer=moved | {"parameters": {"migrate_to_chat_id": -1005}})

    channel = Telegram(phone.token, phone.api, Noon())
    outcome = await channel.send("-5", Rendered("128 F.", ()), "1")
    await channel.close()

    assert isinstance(outcome, Sent)
    assert phone.calls("sendMessage")[-1]["chat_id"] == "-1005"


@pytest.mark.parametrize(
    ("answered", "number"),
    [("-5:21", 21), ("-5:21:1772355660", 21), ("-5:album:9", None), (None, None)],
)
async def test_an_answer_in_a_group_hangs_on_what_it_answers(phone, answered, number):
    """It is sent as a reply, to a mended message too; and all the same where that message is gone."""
    channel = Telegram(phone.token, phone.api, Noon())
    await channel.send("-5", Rendered("128 F.", answers=answered), "1")
    await channel.close()

    wanted = number and {"message_id": number, "allow_sending_without_reply": True}
    assert json.loads(phone.calls("sendMessage")[-1].get("reply_parameters", "null")) == wanted


async def test_in_a_group_each_may_tap(phone):
    """A tap in a group is that of who tapped; the buttons stay for the others."""
    shown = {"message_id": 9, "date": 1, "chat": GROUP, "from": US, "text": "Turned yet?"}
    for number, who in enumerate((5, 6)):
        tapper = {"id": who, "is_bot": False, "first_name": "B"}
        tap = {"id": str(number), "from": tapper, "chat_instance": "1", "message": shown, "data": "412:1"}
        phone.update(callback_query=tap)

    heard = await listen(phone, 2)

    assert [(message.address, message.place) for message in heard] == [("5", "-5"), ("6", "-5")]
    assert heard[0].message_id != heard[1].message_id
    assert "-5" not in [call["chat_id"] for call in phone.calls("editMessageReplyMarkup")]


def membership(phone, chat: dict, before: str, after: str) -> None:
    """Change what we are in a chat."""
    until = {"until_date": 0} if after == "kicked" else {}
    phone.update(
        my_chat_member={
            "chat": chat,
            "from": {"id": 77, "is_bot": False, "first_name": "Ana"},
            "date": 1_772_355_600,
            "old_chat_member": {"user": US, "status": before}
            | ({"until_date": 0} if before == "kicked" else {}),
            "new_chat_member": {"user": US, "status": after} | until,
        }
    )


async def test_being_blocked_and_being_put_into_a_group_come_in(phone):
    """That somebody blocked us, or added us, is told; unblocking, leaving and a new rank say nothing."""
    private = {"id": 77, "type": "private"}
    membership(phone, private, "member", "kicked")
    membership(phone, private, "kicked", "member")
    membership(phone, GROUP, "left", "member")
    membership(phone, GROUP, "member", "left")
    phone.say("hello")

    heard = await listen(phone, 3)

    assert [(message.form, message.place, message.text) for message in heard] == [
        ("blocked", None, ""),
        ("grouped", "-5", ""),
        ("text", None, "hello"),
    ]
    assert {message.address for message in heard} == {"77"}


async def test_a_very_old_button_is_taken_like_any(phone):
    """Telegram tells nothing more of the message under an old button; its answer comes in all the same."""
    gone = {"message_id": 9, "date": 0, "chat": {"id": 77, "type": "private"}}
    for number, message in enumerate(({"message": gone}, {})):
        sender = {"id": 77, "is_bot": False, "first_name": "Ana"}
        tap = {"id": "1", "from": sender, "chat_instance": "1", "data": f"412:{number + 1}"}
        phone.update(callback_query=tap | message)

    assert [message.text for message in await listen(phone, 2)] == ["412:1", "412:2"]


async def test_an_album_is_one_message(phone):
    """Pictures that were sent together are taken as one, by the id that they share."""
    photo = [{"file_id": "f", "file_unique_id": "u", "width": 1, "height": 1}]
    for number in (31, 32):
        phone.update(message=phone.message(message_id=number, photo=photo, media_group_id="900"))

    first, second = await listen(phone, 2)

    assert first.message_id == second.message_id == "77:album:900"


async def test_notices_and_moving_places_say_nothing(phone):
    """A pinned message and a live place that moves are no words of anybody's."""
    place = {"latitude": 39.5, "longitude": -105.0, "live_period": 60}
    pinned = phone.message(message_id=40, pinned_message=phone.message(message_id=4, text="old"))
    phone.update(message=pinned)
    phone.update(edited_message=phone.message(message_id=41, location=place, edit_date=1_772_355_660))
    phone.say("hello")

    assert [message.text for message in await listen(phone)] == ["hello"]


async def test_an_update_that_cannot_be_read_stops_nothing(phone, caplog):
    """One of a form that we do not know is passed over for good, with a line in the log without its words."""
    phone.update(message={"text": "secret words", "date": "never"})
    phone.update(shopping_list=["secret words"])
    phone.say("hello")

    assert [message.text for message in await listen(phone)] == ["hello"]
    assert "action=telegram_unreadable" in caplog.text
    assert "secret" not in caplog.text


async def test_the_menu_is_shown_in_each_language(phone):
    """The first language stands for whoever speaks none of them."""
    menu = {"en": {"help": "How to stop"}, "es": {"help": "Cómo parar"}}
    channel = Telegram(phone.token, phone.api, Noon(), menu)
    await channel.open()
    await channel.close()

    shown = [
        (call.get("language_code"), json.loads(call["commands"])) for call in phone.calls("setMyCommands")
    ]
    assert shown[-3:] == [
        (None, [{"command": "help", "description": "How to stop"}]),
        ("en", [{"command": "help", "description": "How to stop"}]),
        ("es", [{"command": "help", "description": "Cómo parar"}]),
    ]


async def test_a_webhook_that_was_left_is_taken_down(phone):
    """Updates come by one way only: whoever asks for them makes sure that they are not brought."""
    phone.hook("http://127.0.0.1:9/telegram")
    phone.say("hello")

    assert [message.text for message in await listen(phone)] == ["hello"]


async def test_the_wait_that_telegram_asks_for_is_kept(phone, monkeypatch):
    """After too many requests it is asked again no sooner than it says."""
    waited: list[float] = []

    async def sleep(pause_s: float) -> None:
        waited.append(pause_s)

    monkeypatch.setattr(telegram.asyncio, "sleep", sleep)
    flood = {
        "ok": False,
        "error_code": 429,
        "description": "Too Many Requests",
        "parameters": {"retry_after": 7},
    }
    phone.fault("getUpdates", http=429, answer=flood)
    phone.say("hello")

    assert [message.text for message in await listen(phone)] == ["hello"]
    assert waited == [7]


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


async def test_each_message_waits_for_its_turn(phone, turns):
    """Words and pictures alike count for the pace of all chats together."""
    await send(phone, Rendered("hello"))
    await send(phone, Rendered("Your pile since March", (), b"\x89PNG\r\n\x1a\n"))

    assert len(turns) == 2


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
        ({"http": 403, "description": "Forbidden: user is deactivated"}, Refused("", gone=True)),
        (
            {"http": 403, "description": "Forbidden: bot can't initiate conversation with a user"},
            Refused("", gone=False),
        ),
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


async def test_being_put_out_of_a_group_is_nobodys_opt_out(phone):
    """Whoever asked there is still a keeper, and reached in private."""
    gone = {"ok": False, "error_code": 403, "description": "Forbidden: bot was kicked from the group chat"}
    phone.fault("sendMessage", http=403, answer=gone)

    channel = Telegram(phone.token, phone.api, Noon())
    outcome = await channel.send("-5", Rendered("128 F.", ()), "1")
    await channel.close()

    assert outcome == Refused("Forbidden: bot was kicked from the group chat")


async def test_a_message_that_never_left_was_not_sent(phone):
    """Where nobody listens, the message may safely be tried again."""
    became = await send(phone, Rendered("hello", ()), api=NOBODY)

    assert isinstance(became, NotSent)


async def test_a_refused_token_names_its_setting(phone):
    """A wrong token ends in one line that names the variable to mend."""
    with pytest.raises(ChannelTrouble, match="WARMHEAP_TELEGRAM_TOKEN"):
        await Telegram("1:refused", phone.api, Noon()).open()
