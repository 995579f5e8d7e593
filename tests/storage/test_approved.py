"""Approved answers: a change is a new version, and only what somebody approved is sent."""

from datetime import datetime

import pytest

from storage.people import Person
from storage.staff import Member
from storage.work import Store


@pytest.fixture
def members(store: Store, at: datetime, ines: Person, leo: Person) -> tuple[Member, Member]:
    """Two who work here."""
    with store.work() as work:
        found = [
            work.staff.join(work.staff.invite(person.name or "", "educator", None, at), person.id, at)
            for person in (ines, leo)
        ]
        work.commit()
    first, second = found
    assert first is not None
    assert second is not None
    return first, second


def test_a_change_is_sent_only_once_it_is_approved(
    store: Store, members: tuple[Member, Member], at: datetime
) -> None:
    """The second version takes the place of the first when somebody says yes to it, not before."""
    writer, approver = members
    with store.work() as work:
        first = work.approved.write("Ants", "Water it.", "Riégala.", writer.id)
        assert work.approved.current() == []
        work.approved.approve(first.id, approver.id, at)
        second = work.approved.write("Ants", "Water it well.", "Riégala bien.", writer.id)
        before = work.approved.current()
        work.approved.approve(second.id, approver.id, at)
        after = work.approved.current()

    assert [(each.version, each.en, each.approver) for each in before] == [(1, "Water it.", "Leo")]
    assert [(each.version, each.text("es")) for each in after] == [(2, "Riégala bien.")]


def test_what_was_approved_stays_as_it_was(
    store: Store, members: tuple[Member, Member], at: datetime
) -> None:
    """Every version is still there with its approver, and a second yes changes nothing."""
    writer, approver = members
    with store.work() as work:
        first = work.approved.write("Ants", "Water it.", "Riégala.", writer.id)
        work.approved.approve(first.id, approver.id, at)
        work.approved.approve(first.id, writer.id, at)
        work.approved.write("Ants", "Water it well.", "Riégala bien.", writer.id)
        versions = work.approved.versions("Ants")

    assert [(each.version, each.en, each.writer, each.approver) for each in versions] == [
        (2, "Water it well.", "Ines", None),
        (1, "Water it.", "Ines", "Leo"),
    ]
