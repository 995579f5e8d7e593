"""Talk in a group: who may tap, what the others hear, and what an old button means."""

from datetime import UTC, datetime, timedelta

import pytest

from bot.conversation.respond import Desk, respond
from bot.outlook import Outlooks
from bot.profile import Profile
from storage.inbox import Incoming
from storage.models import Form
from storage.outbox import OutRow
from storage.work import Store

NOW = datetime(2026, 5, 20, 18, tzinfo=UTC)
PROFILE = Profile(programme="Larkmoor Compost")
DESK = Desk(PROFILE, Outlooks(PROFILE))
GROUP = "-5"
BUILT = "built it today, 3x3x3 ft, 10 buckets of leaves, 8 of grass, all at once"


class Family:
    """People on one channel, alone with us or in their group; every message to anybody counts as sent."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.at = NOW
        self.count = 0

    def say(self, who: str, words: str, place: str | None = None, form: Form = "text") -> list[OutRow]:
        """Say something; all that is sent then."""
        self.count += 1
        self.at += timedelta(minutes=1)
        incoming = Incoming("telegram", who, f"m{self.count}", words, self.at, who, form, place=place)
        with self.store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        assert incoming_id is not None
        respond(self.store, DESK, incoming_id, incoming, self.at)
        return self._deliver()

    def tap(self, who: str, row: OutRow, digit: int, place: str | None = None) -> list[OutRow]:
        """Tap a button of a message."""
        return self.say(who, f"{row.id}:{digit}", place, "button")

    def joins(self, who: str) -> None:
        """Say yes in private."""
        self.say(who, "hello")
        self.say(who, "yes")

    def told(self, pile_id: int = 1) -> list[tuple[str, int]]:
        """What was recorded of a pile, each with the id of who told it."""
        with self.store.work(reading=True) as work:
            return [(told.record.kind, told.said_by) for told in work.piles.records(pile_id)]

    def _deliver(self) -> list[OutRow]:
        sent: list[OutRow] = []
        with self.store.work() as work:
            while rows := work.outbox.claim(self.at, "test", timedelta(minutes=5), 10):
                for row in rows:
                    work.outbox.starting(row.id, "test", self.at)
                    work.outbox.sent(row.id, self.at, "words as shown", None)
                    if row.opens is not None:
                        work.people.change(row.person_id, waiting_for=row.opens)
                sent += rows
            work.commit()
        return sent


@pytest.fixture
def family(store: Store) -> Family:
    """Ana, who has joined and keeps a pile."""
    family = Family(store)
    family.joins("ana")
    family.say("ana", BUILT)
    return family


def test_the_answer_goes_where_it_was_asked(family):
    """What a keeper tells in the group is answered there, once."""
    [answer] = family.say("ana", "temp 128", GROUP)

    assert (answer.address, answer.channel) == (GROUP, "telegram")
    assert answer.reason["answers"] == f"m{family.count}"
    assert family.told() == [("temperature", 1)]


def test_what_is_asked_in_private_is_answered_there(family):
    """The group hears nothing of it."""
    [answer] = family.say("ana", "temp 128")

    assert answer.address == "ana"
    assert "answers" not in answer.reason


@pytest.mark.parametrize(
    "words", ["stop", "forget me", "send me my data", "call me Anita", "I want to kill myself"]
)
def test_what_is_somebodys_own_is_told_to_them_alone(family, words):
    """Opting out, being forgotten, what is kept of them, and trouble of life are no matter of the others."""
    assert {row.address for row in family.say("ana", words, GROUP)} == {"ana"}


def test_fire_is_everybodys_matter(family):
    """The warning stands where the others see it."""
    assert [row.address for row in family.say("ana", "its smoking!", GROUP)] == [GROUP]


def test_whoever_has_not_joined_is_asked_into_a_private_chat(family):
    """We cannot write there first; nothing is recorded of what they said."""
    [answer] = family.say("beto", "temp 128", GROUP)

    assert answer.address == GROUP
    assert [line.key for line in answer.lines] == ["group.first"]
    assert family.told() == []


def test_we_greet_the_group_that_we_are_put_into(family):
    """Once, whoever it was that added us."""
    for who in ("ana", "beto"):
        [greeting] = family.say(who, "", GROUP, "grouped")

        assert greeting.address == GROUP
        assert [line.key for line in greeting.lines] == ["group.hello"]


def test_blocking_us_is_an_opt_out(family):
    """It goes into the ledger, and nothing is sent, not even the confirmation."""
    assert family.say("ana", "", form="blocked") == []

    with family.store.work(reading=True) as work:
        assert work.people.get(1).standing == "stopped"
        assert [line.given for line in work.people.consents(1)] == [True, False]


def test_whoever_blocks_us_without_a_word_is_not_kept(family):
    """Nothing is known of them, and nothing needs to be."""
    family.say("beto", "", form="blocked")

    with family.store.work(reading=True) as work:
        assert work.people.by_address("telegram", "beto") is None


def test_a_keeper_may_answer_what_another_was_asked(family):
    """Who taps in the group is the one who did it."""
    family.joins("beto")
    with family.store.work() as work:
        work.piles.join(1, 2, family.at)
        work.commit()
    [asked] = family.say("ana", "", GROUP, "photo")

    family.tap("beto", asked, 1, GROUP)

    assert family.told() == [("moisture", 2)]


def test_a_button_of_somebody_elses_does_nothing(family):
    """Whoever keeps no such pile cannot answer for its keeper, nor does it answer their own question."""
    [asked] = family.say("ana", "", GROUP, "photo")
    family.joins("beto")

    assert family.tap("beto", asked, 1, GROUP) == []
    assert family.told() == []


@pytest.mark.parametrize("data", ["9999:1", "x:1", ":"])
def test_a_button_of_no_message_does_nothing(family, data):
    """Such as one from before the database was begun anew."""
    assert family.say("ana", data, form="button") == []


def test_an_old_button_means_the_pile_that_it_asked_about(family):
    """Whatever was asked and told since, of whichever pile; what is open now stays open."""
    [old] = family.say("ana", "", form="photo")
    family.say("ana", "new pile, built today 4x4x4 ft, 5 buckets of leaves, 5 of grass, all at once")
    family.at += timedelta(days=7)
    [asked] = family.say("ana", "", form="photo")

    family.tap("ana", old, 1)

    assert family.told(1) == [("moisture", 1)]
    assert family.told(2) == []
    with family.store.work(reading=True) as work:
        assert work.people.get(1).waiting_for == asked.opens


@pytest.mark.parametrize("asked", ["i have a new phone", "can i get a calendar link"])
def test_a_code_asked_for_in_a_group_is_told_in_private(store: Store, asked: str) -> None:
    """Whoever read it in the group could take the piles over, or look into them."""
    family = Family(store)
    family.joins("ana")
    family.say("ana", BUILT)

    (answer,) = family.say("ana", asked, GROUP)

    assert answer.address == "ana"
