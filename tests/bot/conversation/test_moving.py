"""Moving to another phone: everything comes along, nothing is sent twice, nobody gets in by guessing."""

import re
from datetime import timedelta

import pytest

from bot.conversation.moving import TRIES
from storage.work import Store
from tests.bot.conversation.test_respond import PHONE, Phone, keys

NEW = "+15055550102"


@pytest.fixture
def old(store: Store) -> Phone:
    """A keeper with a pile on the old phone."""
    phone = Phone(store)
    for words in ("hi", "yes", "built a pile today 3x3x3, leaves and grass", "1", "1"):
        phone.text(words)
    return phone


def code_of(phone: Phone) -> str:
    """Ask for a code and read it."""
    (line,) = [line for row in phone.text("i have a new phone") for line in row.lines]
    assert line.key == "move.code"
    assert re.fullmatch("[A-Z]{4}[0-9]{4}", line.values["code"])
    return str(line.values["code"])


def new_phone(old: Phone, address: str = NEW) -> Phone:
    """Another phone, at the same moment."""
    phone = Phone(old.store, address)
    phone.at = old.at
    return phone


def test_the_piles_come_along(store: Store, old: Phone) -> None:
    """The code from the new phone makes it theirs: same person, same pile, and a line of consent for it."""
    before = old.person()
    new = new_phone(old)

    answer = new.text(code_of(old))

    assert keys(answer) == ["move.done", "move.consent"]
    assert (new.person().id, new.person().address) == (before.id, NEW)
    with store.work(reading=True) as work:
        assert len(work.piles.of(before.id)) == 1
        assert [line.version for line in work.people.consents(before.id)][-1] == "move-1"


def test_the_old_phone_is_told_once_and_left_alone(store: Store, old: Phone) -> None:
    """One line to the old phone; what is texted from it afterwards comes from a stranger."""
    new = new_phone(old)
    mover = old.person()
    new.text(code_of(old))
    with store.work(reading=True) as work:
        told = [row for row in work.outbox.thread(mover.id, 50) if row.address == PHONE]

    assert [line.key for line in told[-1].lines][:1] == ["move.left"]
    old.at = new.at
    assert keys(old.text("132")) == ["consent"]
    assert old.person().id != mover.id


def test_what_was_said_before_stays_theirs_and_not_the_numbers(store: Store, old: Phone) -> None:
    """Whoever gets the old number next sees nothing of it; the one who moved still has it in their file."""
    new = new_phone(old)
    mover = old.person()
    new.text(code_of(old))
    old.at = new.at
    old.text("hello")

    with store.work(reading=True) as work:
        theirs = [line["text"] for line in work.people.export(mover.id)["received"]]
        strangers = [line["text"] for line in work.people.export(old.person().id)["received"]]
    assert "built a pile today 3x3x3, leaves and grass" in theirs
    assert strangers == ["hello"]


def test_a_code_works_once(old: Phone) -> None:
    """A second phone with the same code is a stranger."""
    code = code_of(old)
    new_phone(old).text(code)
    third = new_phone(old, "+15055550103")

    third.text(code)

    assert third.person().id != new_phone(old).person().id


def test_a_code_dies_after_half_an_hour(old: Phone) -> None:
    """Thirty-one minutes later the new phone is a stranger's."""
    mover = old.person()
    new = new_phone(old)
    code = code_of(old)
    new.at += timedelta(minutes=31)

    new.text(code)

    assert new.person().id != mover.id


def test_nobody_gets_in_by_trying_codes(old: Phone) -> None:
    """After five texts within an hour even the right code is not looked up from that phone."""
    mover = old.person()
    code = code_of(old)
    thief = new_phone(old)
    for n in range(TRIES + 1):
        thief.text(f"CDEF{3333 + n}".replace("5", "6"))

    thief.text(code)

    assert thief.person().id != mover.id


def test_a_phone_with_piles_of_its_own_keeps_them(old: Phone) -> None:
    """Two people's piles are never poured together by a code."""
    other = new_phone(old)
    for words in ("hi", "yes", "built a pile today 3x3x3, leaves and grass"):
        other.text(words)
    other.at += timedelta(hours=2)
    old.at = other.at

    assert keys(other.text(code_of(old))) == ["move.not_empty"]
    assert other.person().id != old.person().id


def test_a_stranger_is_told_how(store: Store) -> None:
    """From a phone that nobody knows: where to get the code."""
    phone = Phone(store)

    assert keys(phone.text("i have a new phone"))[0] == "move.how"


def test_a_calendar_is_said_to_be_nowhere_where_the_web_is_off(old: Phone) -> None:
    """That there is none, and the next job instead."""
    told = keys(old.text("can i get a calendar link"))

    assert told[0] == "calendar.off"
    assert told[1].startswith("do.")
