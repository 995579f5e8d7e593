"""Classes are found by their code, and count who joined by it."""

from datetime import date, datetime

import pytest

from shared.errors import BadInput
from storage.classes import ClassRow
from storage.work import Store


def test_a_class_is_found_in_either_case(store: Store) -> None:
    """Codes are kept in upper case; people may write them as they like."""
    fig = ClassRow("FIG22", "es", "America/Phoenix", 30, date(2026, 3, 7), "Compost basics")
    with store.work() as work:
        assert work.classes.add(fig) == fig
        assert work.classes.get("fig22") == fig
        assert work.classes.get("FIG23") is None


def test_a_code_is_used_once(store: Store) -> None:
    """A second class cannot have the same code."""
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Denver"))
        with pytest.raises(BadInput, match="the class code FIG22 is taken: choose another"):
            work.classes.add(ClassRow("fig22", "en", "America/Denver"))


def test_joined_counts_those_who_said_yes(store: Store, at: datetime) -> None:
    """Who only asked is not counted; who left later still is."""
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Denver"))
        people = [
            work.people.add("sms", f"+1303555010{digit}", None, "en", "f", "America/Denver", at)
            for digit in range(3)
        ]
        work.people.change(people[0].id, class_code="FIG22")
        for person in people[1:]:
            work.people.consent(person.id, True, "Yes?", "en", "sms", "FIG22", "1", at)
        work.people.consent(people[2].id, False, "stop", "en", "sms", None, "1", at)

        assert work.classes.joined("FIG22") == 2
