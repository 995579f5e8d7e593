"""Piles: their records are only ever added, and what holds is worked out from them."""

from datetime import date, datetime, timedelta

import pytest

from shared.errors import BadInput
from shared.pile import Climate, Ingredient, Record
from storage.people import Person
from storage.piles import Note
from storage.work import Store

SUNDAY = date(2026, 3, 1)


def test_keepers_number_their_piles_as_they_join(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """The same pile has for each keeper the number in which that keeper joined it."""
    with store.work() as work:
        first = work.piles.found(ines.id, "America/Denver", at, "back fence")
        second = work.piles.found(leo.id, "America/Phoenix", at)
        work.piles.join(first.id, leo.id, at)

        assert [(pile.id, pile.number) for pile in work.piles.of(ines.id)] == [(first.id, 1)]
        assert [(pile.id, pile.number) for pile in work.piles.of(leo.id)] == [(second.id, 1), (first.id, 2)]
        assert [keeper.person_id for keeper in work.piles.keepers(first.id)] == [ines.id, leo.id]


def test_a_keeper_who_comes_back_keeps_the_number(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """Leaving hides the pile from this keeper alone; coming back brings the former number."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.join(pile.id, leo.id, at)
        work.piles.found(leo.id, "America/Denver", at)

        work.piles.leave(pile.id, leo.id, at)
        assert [row.number for row in work.piles.of(leo.id)] == [2]
        assert [keeper.person_id for keeper in work.piles.keepers(pile.id)] == [ines.id]

        assert work.piles.join(pile.id, leo.id, at).number == 1


def test_a_closed_pile_is_out_of_sight(store: Store, ines: Person, at: datetime) -> None:
    """A closed pile is neither listed nor looked at, but not lost."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.close(pile.id, at)

        assert work.piles.of(ines.id) == []
        assert work.piles.take_due(at, at + timedelta(minutes=5), 10) == []
        assert work.piles.get(pile.id).closed_at == at


def test_later_words_of_the_set_up_stand_over_earlier_ones(store: Store, ines: Person, at: datetime) -> None:
    """The set-up is merged from its records; taking one back brings the earlier word back."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.set_up(pile.id, ines.id, {"built": "2026-03-01", "covered": False}, at)
        later = work.piles.set_up(pile.id, ines.id, {"covered": True, "shade": "sun"}, at)

        assert work.piles.get(pile.id).setup == {"built": "2026-03-01", "covered": True, "shade": "sun"}

        work.piles.undo([later], ines.id, at)
        assert work.piles.get(pile.id).setup == {"built": "2026-03-01", "covered": False}
        assert work.piles.records(pile.id) == []


def test_every_field_of_a_record_comes_back(store: Store, ines: Person, at: datetime) -> None:
    """What was told comes back as it was told, in the order told."""
    records = [
        Record("temperature", SUNDAY, hour=8.5, core_c=53.3),
        Record("temperature", SUNDAY, core_c=31.0, edge=True),
        Record("added", SUNDAY, material="coffee_grounds", litres=18.9),
        Record("height", SUNDAY, height_m=0.8),
        Record("moisture", SUNDAY, word="bit_dry"),
        Record("turned", SUNDAY - timedelta(days=2)),
    ]
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        for record in records:
            work.piles.record(pile.id, ines.id, record, at)
        told = work.piles.records(pile.id)

        assert [each.record for each in told] == records
        assert {(each.said_by, each.said_at) for each in told} == {(ines.id, at)}
        assert [each.record.kind for each in work.piles.records(pile.id, SUNDAY - timedelta(days=1))] == [
            "turned"
        ]


def test_a_correction_stands_in_the_place_of_what_it_corrects(
    store: Store, ines: Person, at: datetime
) -> None:
    """Of a corrected reading the new value holds, where the old one stood: before the next turning."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        wrong = work.piles.record(pile.id, ines.id, Record("temperature", SUNDAY, core_c=71.0), at)
        work.piles.record(pile.id, ines.id, Record("turned", SUNDAY), at)
        work.piles.record(pile.id, ines.id, Record("temperature", SUNDAY, core_c=45.0), at, replaces_id=wrong)

        held = [(each.record.kind, each.record.core_c) for each in work.piles.records(pile.id)]
        assert held == [("temperature", 45.0), ("turned", None)]


def test_undo_takes_back_and_can_be_taken_back(store: Store, ines: Person, at: datetime) -> None:
    """Taking a correction back brings the first word back; nothing is ever deleted."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        wrong = work.piles.record(pile.id, ines.id, Record("temperature", SUNDAY, core_c=71.0), at)
        right = work.piles.record(
            pile.id, ines.id, Record("temperature", SUNDAY, core_c=45.0), at, replaces_id=wrong
        )

        work.piles.undo([right], ines.id, at)
        assert [each.record.core_c for each in work.piles.records(pile.id)] == [71.0]

        work.piles.undo([wrong], ines.id, at)
        assert work.piles.records(pile.id) == []


def test_a_pile_for_the_core_is_made_of_its_set_up(store: Store, ines: Person, at: datetime) -> None:
    """Litres become cubic metres, what was not said is None, and without a size there is no pile."""
    climate = Climate((0.0,) * 12, (15.0,) * 12, (30.0,) * 12)
    setup = {
        "built": "2026-03-01",
        "length_m": 1.0,
        "width_m": 1.2,
        "height_m": 0.9,
        "ingredients": [["dry_leaves", 650.0]],
        "bin": True,
    }
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        with pytest.raises(BadInput, match=r"is not set up yet: built, length_m, .* not known"):
            work.piles.pile(row, climate, 39.5)
        work.piles.set_up(row.id, ines.id, setup, at)
        pile = work.piles.pile(work.piles.get(row.id), climate, 39.5)

    assert (pile.id, pile.built, pile.width_m, pile.bin, pile.covered) == (
        str(row.id),
        SUNDAY,
        1.2,
        True,
        None,
    )
    assert pile.ingredients == (Ingredient("dry_leaves", 0.65),)
    assert (pile.climate, pile.latitude, pile.fed) == (climate, 39.5, False)


def test_piles_are_looked_at_by_their_moment(store: Store, ines: Person, at: datetime) -> None:
    """A new pile is due at once; then it is due when it was said to be, the longest due first."""
    lease = timedelta(minutes=5)
    with store.work() as work:
        piles = [work.piles.found(ines.id, "America/Denver", at) for _ in range(3)]
        assert work.piles.take_due(at, at + lease, 2) == [piles[0].id, piles[1].id]

        work.piles.look_again(piles[0].id, at + timedelta(days=2))
        work.piles.look_again(piles[1].id, None)
        work.piles.look_again(piles[2].id, at - timedelta(days=2))

        assert work.piles.next_look(at) == at + timedelta(days=2)
        later = at + timedelta(days=3)
        assert work.piles.take_due(later, later + lease, 9) == [piles[2].id, piles[0].id]


def test_a_pile_is_let_to_one_until_its_lease_ends(store: Store, ines: Person, at: datetime) -> None:
    """Whoever takes a due pile has it alone; after the lease it is due again for another."""
    ends = at + timedelta(minutes=5)
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        assert work.piles.take_due(at, ends, 5) == [pile.id]
        assert work.piles.take_due(ends - timedelta(seconds=1), ends, 5) == []
        assert work.piles.still_let([pile.id], ends) == {pile.id}

        assert work.piles.take_due(ends, ends + timedelta(minutes=5), 5) == [pile.id]
        assert work.piles.still_let([pile.id], ends) == set()


@pytest.mark.parametrize("change", ["told", "left", "closed"])
def test_a_lease_is_off_once_something_happens_to_the_pile(
    store: Store, ines: Person, at: datetime, change: str
) -> None:
    """What was worked out before a keeper left or told something must not be stored."""
    ends = at + timedelta(minutes=5)
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.take_due(at, ends, 5)
        if change == "told":
            work.piles.record(pile.id, ines.id, Record("turned", SUNDAY), at)
        elif change == "left":
            work.piles.leave(pile.id, ines.id, at)
        else:
            work.piles.close(pile.id, at)

        assert work.piles.still_let([pile.id], ends) == set()


def test_an_invitation_leads_to_its_pile_for_a_time(store: Store, ines: Person, at: datetime) -> None:
    """A code lets people in until it expires, in either case of letters."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.invite(pile.id, ines.id, "MINT42", at, at + timedelta(days=14))

        assert work.piles.invited("mint42", at + timedelta(days=13)) == pile.id
        assert work.piles.invited("MINT42", at + timedelta(days=14)) is None
        assert work.piles.invited("MINT43", at) is None


def test_there_is_no_pile_of_an_unknown_id(store: Store) -> None:
    """Asking for a pile that is not there is bad input."""
    with store.work() as work, pytest.raises(BadInput, match="there is no pile 7"):
        work.piles.get(7)


def test_name_and_last_forecast_can_be_set(store: Store, ines: Person, at: datetime) -> None:
    """A pile can be renamed, and keeps its last forecast as a cache."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.rename(pile.id, "back fence")
        work.piles.cache(pile.id, {"told": ["2026-05-11", "2026-06-02"]})

        row = work.piles.get(pile.id)
        assert (row.name, row.last_forecast) == ("back fence", {"told": ["2026-05-11", "2026-06-02"]})


def test_a_record_says_who_did_it(store: Store, ines: Person, leo: Person, at: datetime) -> None:
    """Told by one, done by others; nobody is named where the one who told it did it alone."""
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        for by in ((leo.id,), (leo.id, ines.id), (ines.id,), ()):
            work.piles.record(row.id, ines.id, Record("turned", at.date()), at, by=by)
        work.commit()

    with store.work(reading=True) as work:
        told = work.piles.records(row.id)
    assert [one.by for one in told] == [(leo.id,), (leo.id, ines.id), (), ()]
    assert {one.record for one in told} == {Record("turned", at.date())}


def test_what_keepers_agree_is_no_fact_of_the_pile(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """Notes come back in the order told, and stand neither in the records nor in the set-up."""
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        work.piles.note(row.id, ines.id, "turn", leo.id, {"work": "turned"}, at)
        work.piles.note(row.id, leo.id, "tool", None, {"tool": "fork"}, at)
        work.commit()

    with store.work(reading=True) as work:
        notes = work.piles.notes(row.id)
        assert work.piles.records(row.id) == []
        assert work.piles.get(row.id).setup == {}
    assert notes == [
        Note("turn", leo.id, {"work": "turned"}, ines.id, at),
        Note("tool", None, {"tool": "fork"}, leo.id, at),
    ]
