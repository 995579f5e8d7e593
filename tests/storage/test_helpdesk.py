"""Who needs a human: a row for each cause, the gravest first; it comes back only with a new cause."""

from datetime import datetime, timedelta

from shared.pile import Record
from storage.helpdesk import BY_STAFF
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.staff import Member
from storage.work import Store, Work


def keeper(work: Work, number: int, at: datetime) -> Person:
    """Somebody who said yes, with the phone number ...01xx."""
    person = work.people.add("sms", f"+150555501{number:02d}", f"P{number}", "en", "f", "America/Denver", at)
    work.people.consent(person.id, True, "as shown", "en", "sms", None, "2", at)
    work.people.change(person.id, last_heard_at=at)
    return work.people.get(person.id)


def member(work: Work, at: datetime) -> Member:
    """An educator."""
    person = work.people.add("gateway", "+15055550142", "Maren", "en", "f", "America/Denver", at)
    found = work.staff.join(work.staff.invite("Maren", "educator", None, at), person.id, at)
    assert found is not None
    return found


def test_the_same_cause_again_opens_no_second_row(store: Store, at: datetime) -> None:
    """A second cry while the first waits shows the newer words in the same row."""
    with store.work() as work:
        ana = keeper(work, 1, at)
        first = work.inbox.take(Incoming("sms", ana.address, "1", "it smokes", at, form="text"))
        second = work.inbox.take(Incoming("sms", ana.address, "2", "flames now", at, form="text"))
        opened = work.helpdesk.open(ana.id, "danger", at, None, first)
        again = work.helpdesk.open(ana.id, "danger", at, None, second)
        (row,) = work.helpdesk.waiting(10)

    assert opened is not None
    assert again is None
    assert row.words == "flames now"


def test_danger_stands_first_then_who_has_waited_longest(store: Store, at: datetime) -> None:
    """Rank by cause, then by time."""
    with store.work() as work:
        people = [keeper(work, number, at) for number in range(1, 5)]
        for minute, (person, cause) in enumerate(
            zip(people, ("silence", "trouble", "trouble", "danger"), strict=True)
        ):
            work.helpdesk.open(person.id, cause, at + timedelta(minutes=minute))
        rows = work.helpdesk.waiting(10)

    assert [row.name for row in rows] == ["P4", "P2", "P3", "P1"]


def test_a_handled_row_is_gone_until_a_new_cause(store: Store, at: datetime) -> None:
    """After it is seen to, the same person returns with what they write next."""
    with store.work() as work:
        ana, maren = keeper(work, 1, at), member(work, at)
        row_id = work.helpdesk.open(ana.id, "person", at)
        assert row_id is not None
        work.helpdesk.handle([row_id], maren.id, "called", at)
        gone = work.helpdesk.how_many()
        work.helpdesk.open(ana.id, "trouble", at + timedelta(days=1))
        (row,) = work.helpdesk.waiting(10)

    assert gone == 0
    assert row.cause == "trouble"


def test_a_volunteers_list_holds_their_piles_only(store: Store, at: datetime) -> None:
    """Rows of other piles, and those of no pile, are left out and not counted."""
    with store.work() as work:
        ana, leo = keeper(work, 1, at), keeper(work, 2, at)
        piles = [work.piles.found(person.id, "America/Denver", at).id for person in (ana, leo)]
        for person, pile_id in zip((ana, leo), piles, strict=True):
            work.helpdesk.open(person.id, "trouble", at, pile_id)
        work.helpdesk.open(leo.id, "person", at)
        rows, number = work.helpdesk.waiting(10, {piles[0]}), work.helpdesk.how_many({piles[0]})

    assert [row.name for row in rows] == ["P1"]
    assert number == 1


def test_a_volunteers_thread_holds_what_is_about_their_piles_only(store: Store, at: datetime) -> None:
    """Of a keeper of two piles: what was told of one of them and what it was answered, and no other words."""
    with store.work() as work:
        ana = keeper(work, 1, at)
        mine, other = (work.piles.found(ana.id, "America/Denver", at).id for _ in range(2))
        for minute, (words, pile_id) in enumerate(
            (("temp 128", mine), ("temp 90", other), ("my knee", None))
        ):
            moment = at + timedelta(minutes=minute)
            heard = work.inbox.take(Incoming("sms", ana.address, words, words, moment, form="text"))
            assert heard is not None
            if pile_id is not None:
                record = Record("temperature", at.date(), core_c=50.0)
                work.piles.record(pile_id, ana.id, record, moment, heard)
            row_id = work.outbox.add(
                ana.id,
                "reply",
                [Line("thanks", {})],
                due_at=moment,
                unique_key=words,
                reason={},
                incoming_id=heard,
            )
            assert row_id is not None
            work.outbox.sent(row_id, moment, f"on {words}", None)
        work.helpdesk.open(ana.id, "silence", at, mine)
        thread = work.helpdesk.thread(ana.id, 10, {mine})
        (row,) = work.helpdesk.waiting(10, {mine})

    assert sorted(said.text for said in thread) == ["on temp 128", "temp 128"]
    assert row.words == "temp 128"


def test_a_human_has_a_pile_in_hand_for_a_day(store: Store, at: datetime) -> None:
    """From their answer on for 24 hours; an answer about one pile leaves the other alone."""
    with store.work() as work:
        ana = keeper(work, 1, at)
        mine, other = (work.piles.found(ana.id, "America/Denver", at).id for _ in range(2))
        work.outbox.add(
            ana.id,
            "reply",
            [Line("staff.said.educator", {"words": "Hi", "by": "Maren"})],
            due_at=at,
            unique_key=f"{BY_STAFF}1",
            reason={"why": "staff"},
            pile_id=mine,
        )
        later = at + timedelta(hours=23)
        assert work.helpdesk.quiet_until(mine, [ana.id], later) == at + timedelta(hours=24)
        assert work.helpdesk.quiet_until(other, [ana.id], later) is None
        assert work.helpdesk.quiet_until(mine, [ana.id], at + timedelta(hours=24)) is None


def test_silence_of_weeks_with_a_pile_is_worth_a_call_once(store: Store, at: datetime) -> None:
    """Three weeks of silence after unanswered nudges: listed once, not again after the call."""
    later = at + timedelta(days=25)
    with store.work() as work:
        maren = member(work, at)
        silent, paused, fresh, bare = (keeper(work, number, at) for number in (1, 2, 3, 4))
        for person in (silent, paused, fresh):
            work.piles.found(person.id, "America/Denver", at)
            work.people.change(person.id, unanswered=3)
        work.people.change(paused.id, paused_until=later.date() + timedelta(days=9))
        work.people.change(fresh.id, last_heard_at=later - timedelta(days=3))
        work.people.change(bare.id, unanswered=3)
        first = work.helpdesk.look_for_trouble(later, 10)
        (row,) = work.helpdesk.waiting(10)
        work.helpdesk.handle([row.id], maren.id, "called", later)
        second = work.helpdesk.look_for_trouble(later + timedelta(days=1), 10)

    assert (row.name, row.cause) == ("P1", "silence")
    assert (first, second) == (1, 0)


def test_a_number_that_takes_nothing_is_listed(store: Store, at: datetime) -> None:
    """Two messages in a row that failed since they last wrote; one that arrived would clear it."""
    later = at + timedelta(days=2)
    with store.work() as work:
        dead, alive = keeper(work, 1, at), keeper(work, 2, at)
        for number, (person, arrived) in enumerate(
            [(dead, False), (dead, False), (alive, False), (alive, True)]
        ):
            row_id = work.outbox.add(
                person.id,
                "nudge",
                [Line("nudge.start", {})],
                due_at=at + timedelta(days=1),
                unique_key=str(number),
                reason={"why": "start"},
            )
            assert row_id is not None
            if arrived:
                work.outbox.sent(row_id, later, "words", None)
            else:
                work.outbox.failed(row_id, "no such number")
        work.helpdesk.look_for_trouble(later, 10)
        rows = work.helpdesk.waiting(10)

    assert [(row.name, row.cause) for row in rows] == [("P1", "unreachable")]


def test_the_thread_holds_both_sides_and_what_was_held_back(store: Store, at: datetime) -> None:
    """Newest first: what they wrote, what we said, what was told to staff, and what was not sent and why."""
    with store.work() as work:
        ana = keeper(work, 1, at)
        work.inbox.take(Incoming("sms", ana.address, "1", "temp 128", at, form="text"))
        work.inbox.take(
            Incoming(
                "staff", str(ana.id), "2", "turned it", at + timedelta(minutes=2), "Maren, called", "text"
            )
        )
        row_id = work.outbox.add(
            ana.id, "reply", [Line("thanks", {})], due_at=at + timedelta(minutes=1), unique_key="r", reason={}
        )
        assert row_id is not None
        work.outbox.sent(row_id, at + timedelta(minutes=1), "128 F.", None)
        work.outbox.hold(
            ana.id,
            "nudge",
            [Line("nudge.water", {})],
            due_at=at + timedelta(minutes=3),
            unique_key="h",
            reason={"why": "dry"},
            why_not="budget",
        )
        thread = work.helpdesk.thread(ana.id, 10)

    assert [(said.by, said.text, said.why_not) for said in thread] == [
        ("program", "", "budget"),
        ("staff", "turned it", None),
        ("program", "128 F.", None),
        ("person", "temp 128", None),
    ]


def test_people_are_found_by_name_or_whole_number(store: Store, at: datetime) -> None:
    """The beginning of a name in any case; a sign of the pattern language is only a letter."""
    with store.work() as work:
        ana = keeper(work, 1, at)
        keeper(work, 2, at)
        by_name = work.helpdesk.find("p1", "p1", 10)
        by_number = work.helpdesk.find("+15055550101", "+15055550101", 10)
        by_sign = work.helpdesk.find("%", "%", 10)

    assert [row[0] for row in by_name] == [row[0] for row in by_number] == [ana.id]
    assert by_sign == []
