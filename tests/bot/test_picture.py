"""A picture goes with the words where the channel shows pictures."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from bot.outlook import Outlooks
from bot.picture import LONGEST_CAPTION, rendering
from bot.profile import Profile
from scheduler.sender import Rendered, Shows
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store

AT = datetime(2026, 5, 20, 18, tzinfo=UTC)
LINK = "https://compost.example/picture/k.png"
SHOWN = {"telegram": Shows(letters=True, buttons=True, pictures=True), "console": Shows(letters=True)}
SETUP = {
    "built": "2026-05-01",
    "length_m": 1.0,
    "width_m": 1.0,
    "height_m": 1.0,
    "ingredients": [["dry_leaves", 600.0], ["grass_clippings", 600.0]],
}


@pytest.fixture
def ana(store: Store) -> Person:
    """A keeper on Telegram with one pile."""
    with store.work() as work:
        person = work.people.add("telegram", "77", "Ana", "en", "f", "America/Denver", AT)
        person = work.people.consent(person.id, True, "words", "en", "telegram", None, "1", AT)
        pile = work.piles.found(person.id, "America/Denver", AT)
        work.piles.set_up(pile.id, person.id, SETUP, AT)
        work.commit()
    return person


def asked_for(store: Store, person: Person, channel: str, text: str = "welcome", pile_id: int = 1) -> OutRow:
    """An answer that asks for the picture of a pile, as the outbox holds it."""
    with store.work() as work:
        row_id = work.outbox.add(
            person.id,
            "reply",
            [
                Line(text, {"facts": [{"key": "renamed", "values": {"name": "x" * 1100}}]}),
                Line("picture.link", {"link": LINK}),
            ],
            due_at=AT,
            unique_key="k",
            reason={"why": "asked", "picture": pile_id},
        )
        assert row_id is not None
        row = work.outbox.get(row_id)
    return replace(row, channel=channel)


def worded(store: Store, row: OutRow, person: Person) -> Rendered:
    """The message as it goes out."""
    return rendering(store, Outlooks(Profile()), SHOWN)(row, person, AT)


def test_a_picture_goes_with_the_words_on_telegram(store: Store, ana: Person) -> None:
    """The words stand in any case; the picture is a PNG."""
    message = worded(store, asked_for(store, ana, "telegram"), ana)

    assert message.text == "Welcome!"
    assert message.picture is not None
    assert message.picture.startswith(b"\x89PNG")


@pytest.mark.parametrize("channel", ["sms", "console"])
def test_a_text_only_phone_gets_the_words(store: Store, ana: Person, channel: str) -> None:
    """No picture where none can be shown, but where to find it."""
    message = worded(store, asked_for(store, ana, channel), ana)

    assert message.text.startswith("Welcome!")
    assert LINK in message.text
    assert message.picture is None


def test_words_too_long_for_a_caption_go_alone(store: Store, ana: Person) -> None:
    """Nothing is cut for the picture's sake."""
    message = worded(store, asked_for(store, ana, "telegram", "read"), ana)

    assert len(message.text) > LONGEST_CAPTION
    assert LINK in message.text
    assert message.picture is None


def test_a_pile_that_cannot_be_drawn_costs_only_the_picture(store: Store, ana: Person) -> None:
    """The answer still goes out."""
    message = worded(store, asked_for(store, ana, "telegram", pile_id=99), ana)

    assert message.text.startswith("Welcome!")
    assert LINK in message.text
    assert message.picture is None
