"""Classes are found by their code, and count who joined by it."""

from datetime import date, datetime, timedelta

import pytest

from shared.errors import BadInput
from shared.pile import Kind, Record
from storage.classes import BinsInUse, ClassRow, Counts
from storage.people import Person
from storage.work import Store

DAY = timedelta(days=1)


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


def test_counts_of_a_class_by_hand(store: Store, at: datetime) -> None:
    """Of six who joined, five told of a pile; one has left, one was last heard of too long ago."""
    days_silent = {"now": 0, "lately": 59, "too long": 61, "after a harvest": 170, "gone": 0}
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver"))
        for number, (case, days) in enumerate([*days_silent.items(), ("no pile", -1)]):
            person = work.people.add(
                "sms", f"+1303555011{number}", case, "en", "f", "America/Denver", at - 200 * DAY
            )
            work.people.consent(person.id, True, "Yes?", "en", "sms", "KAP47", "1", at - 200 * DAY)
            if days < 0:
                continue
            pile = work.piles.found(person.id, "America/Denver", at - 200 * DAY)
            heard = at - days * DAY
            kind: Kind = "harvested" if case == "after a harvest" else "turned"
            work.piles.record(pile.id, person.id, Record(kind, heard.date()), heard)
            if case == "gone":
                work.people.consent(person.id, False, "stop", "en", "sms", None, "1", at)

        assert work.classes.counts("kap47", at) == Counts(joined=6, started=5, going=3)


def test_a_new_code_has_no_letters_that_look_alike(store: Store) -> None:
    """Of zero and O, one and I, five and S, eight and B, two and Z neither is in a code."""
    with store.work() as work:
        codes = "".join(work.classes.free_code() for _ in range(200))

    assert not set(codes) & set("0O1IL5S8B2ZGQ")


def test_what_a_class_is_can_be_changed_but_not_its_code(store: Store) -> None:
    """The code hangs on posters; the rest is changed under it."""
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver", 30))
        changed = work.classes.change(ClassRow("KAP47", "es", "America/Phoenix", 12, place="Library"))

        assert (
            work.classes.get("KAP47")
            == changed
            == ClassRow("KAP47", "es", "America/Phoenix", 12, place="Library")
        )
        with pytest.raises(BadInput, match="there is no class FIG22"):
            work.classes.change(ClassRow("FIG22", "es", "America/Phoenix"))


def test_the_class_of_today_comes_before_one_that_was(store: Store) -> None:
    """The class of the day, else the last one before it, else the next."""
    with store.work() as work:
        for code, day in (("KAP47", 1), ("FIG22", 7), ("PUM49", 20)):
            work.classes.add(ClassRow(code, "en", "America/Denver", taught_on=date(2026, 3, day)))

        found = [work.classes.nearest(date(2026, 3, day)) for day in (7, 8, 20)]
        before = work.classes.nearest(date(2026, 2, 1))

    assert [row.code for row in found if row] == ["FIG22", "FIG22", "PUM49"]
    assert before is not None
    assert before.code == "KAP47"


def test_bins_in_use_after_ninety_days_by_hand(store: Store, at: datetime) -> None:
    """Told of later, told of before and then silent, opted out early, of nobody known, sold too lately."""
    sold = at - 100 * DAY
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver"))
        people = [
            work.people.add("sms", f"+1303555011{number}", None, "en", "f", "America/Denver", sold)
            for number in range(4)
        ]
        for person, days in zip(people, (95, 20, 20, 1), strict=True):
            work.people.consent(person.id, True, "Yes?", "en", "sms", "KAP47", "1", sold)
            pile = work.piles.found(person.id, "America/Denver", sold)
            told = sold + days * DAY
            work.piles.record(pile.id, person.id, Record("turned", told.date()), told)
        work.people.consent(people[2].id, False, "stop", "en", "sms", None, "1", sold + 30 * DAY)
        for person_id in (people[0].id, people[1].id, people[2].id, None):
            work.classes.sell_bin("KAP47", "county bin", sold.date(), person_id=person_id)
        work.classes.sell_bin("KAP47", "county bin", (at - 89 * DAY).date(), person_id=people[3].id)

        assert work.classes.bins_in_use("kap47", at) == BinsInUse(bins=4, at_least=1, at_most=3)


def test_a_bin_is_tied_to_a_household_and_can_be_taken_back(store: Store, at: datetime, ines: Person) -> None:
    """A bin noted by mistake no longer stands with its class."""
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver"))
        sold = date(2026, 3, 1)
        first = work.classes.sell_bin("kap47", "county bin", sold, serial="B-1", person_id=ines.id)
        work.classes.sell_bin("kap47", "pallet bin", sold, price_cents=2500)
        work.classes.take_back_bin(first, at)
        left = work.classes.bins("KAP47")

    assert [(sale.kind, sale.name, sale.price_cents) for sale in left] == [("pallet bin", None, 2500)]
