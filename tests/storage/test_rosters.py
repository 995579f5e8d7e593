"""Lists of people: a draft until they are taken, once; taken back, they leave nothing but who did it."""

from datetime import datetime, timedelta

import pytest

from shared.errors import BadInput
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.people import Person
from storage.rosters import Roster
from storage.staff import Member
from storage.work import Store, Work

ROWS = (("Name", "Phone"), ("Ana", "303 555 0150"))


@pytest.fixture
def maren(store: Store, at: datetime, ines: Person) -> Member:
    """An educator."""
    with store.work() as work:
        member = work.staff.join(work.staff.invite("Maren", "educator", None, at), ines.id, at)
        work.classes.add(ClassRow("KAP47", "en", "America/Denver"))
        work.commit()
    assert member is not None
    return member


def draft(work: Work, maren: Member, at: datetime) -> Roster:
    """A file of one row."""
    return work.rosters.draft("kap47", maren.id, "list.csv", {"name": 0, "number": 1}, ROWS, at)


def brought(work: Work, at: datetime, number: str = "+13035550150") -> Person:
    """Somebody whom a list brings in."""
    return work.people.add("sms", number, "Ana", "en", "f", "America/Denver", at)


def test_a_list_is_taken_once(store: Store, maren: Member, at: datetime) -> None:
    """A second take of the same list brings nobody, and its cells are gone after the first."""
    with store.work() as work:
        roster = draft(work, maren, at)
        first = work.rosters.take(roster.id, {brought(work, at).id: "P-1"}, at)
        second = work.rosters.take(roster.id, {}, at)

        assert (first, second) == (True, False)
        assert work.rosters.get(roster.id).rows is None
        assert len(work.rosters.brought(roster.id)) == 1


def test_a_list_taken_back_removes_whom_nothing_came_of(store: Store, maren: Member, at: datetime) -> None:
    """Who has written since stays; the others are gone with their numbers, as if they had never been here."""
    with store.work() as work:
        roster = draft(work, maren, at)
        silent, wrote = brought(work, at), brought(work, at, "+13035550151")
        work.rosters.take(roster.id, {silent.id: None, wrote.id: None}, at)
        work.inbox.take(Incoming("sms", "+13035550151", "m1", "hi", at))

        assert work.rosters.undo(roster.id, at) == (1, 1)
        assert work.people.by_address("sms", "+13035550150") is None
        assert not work.people.on_stop_list("sms", "+13035550150")
        assert work.people.by_address("sms", "+13035550151") is not None
        assert work.rosters.undo(roster.id, at) == (0, 0)


def test_a_yes_since_keeps_a_person(store: Store, maren: Member, at: datetime) -> None:
    """The ledger never loses a row, so whoever is in it stays."""
    with store.work() as work:
        roster = draft(work, maren, at)
        ana = brought(work, at)
        work.rosters.take(roster.id, {ana.id: None}, at)
        work.people.consent(ana.id, True, "Yes?", "en", "paper", "KAP47", "1", at)

        assert work.rosters.undo(roster.id, at) == (0, 1)
        assert len(work.people.consents(ana.id)) == 1


def test_a_draft_is_forgotten_after_a_day(store: Store, maren: Member, at: datetime) -> None:
    """Names and numbers of a file that nobody took do not stay."""
    with store.work() as work:
        old = draft(work, maren, at)
        work.rosters.forget_drafts(at + timedelta(days=1, minutes=1))

        with pytest.raises(BadInput, match="bring in the file again"):
            work.rosters.get(old.id)


def test_references_wait_for_the_signed_paper(store: Store, maren: Member, at: datetime) -> None:
    """What a file says of a paper is kept beside the person, and is no yes."""
    with store.work() as work:
        ana = brought(work, at)
        work.people.change(ana.id, class_code="KAP47")
        work.rosters.take(draft(work, maren, at).id, {ana.id: "P-1"}, at)

        assert work.rosters.references("kap47") == {ana.id: "P-1"}
        assert work.people.get(ana.id).standing == "asked"


def test_known_numbers_are_told_with_their_standing(store: Store, ines: Person) -> None:
    """Of many numbers, those that are here."""
    with store.work(reading=True) as work:
        assert work.rosters.known("sms", {ines.address, "+13035550199"}) == {ines.address: "joined"}


def test_the_stop_list_is_asked_for_many_at_once(store: Store, at: datetime, ines: Person) -> None:
    """A forgotten number is known again, though nobody can read it."""
    with store.work() as work:
        work.people.erase(ines.id, at)
        listed = work.people.on_stop_list_of("sms", [f"+1303555{number:04}" for number in range(700)])

    assert listed == {ines.address}
