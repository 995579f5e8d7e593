"""Old texts go by the clock unless they are held; forgetting; copies for records requests."""

from datetime import datetime, timedelta

from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.staff import Member
from storage.work import Store, Work

YEARS = timedelta(days=730)


def writer(work: Work, number: int, at: datetime) -> Person:
    """Somebody who wrote one text and was sent one."""
    person = work.people.add("sms", f"+150555501{number:02d}", f"P{number}", "en", "f", "America/Denver", at)
    work.people.consent(person.id, True, "as shown", "en", "sms", None, "2", at)
    work.inbox.take(Incoming("sms", person.address, f"in-{number}", f"words {number}", at, form="text"))
    row_id = work.outbox.add(
        person.id, "reply", [Line("thanks", {})], due_at=at, unique_key=f"out-{number}", reason={}
    )
    assert row_id is not None
    work.outbox.sent(row_id, at, f"answer {number}", None)
    return work.people.get(person.id)


def coordinator(work: Work, at: datetime) -> Member:
    """A coordinator."""
    person = work.people.add("gateway", "+15055550142", "Maren", "en", "f", "America/Denver", at)
    found = work.staff.join(work.staff.invite("Maren", "coordinator", None, at), person.id, at)
    assert found is not None
    return found


def texts(work: Work, person_id: int) -> list[str]:
    """What is still readable of a person's messages."""
    return sorted(said.text for said in work.helpdesk.thread(person_id, 10) if said.text)


def test_texts_go_when_their_time_is_over(store: Store, at: datetime) -> None:
    """Both ways; younger ones stay; the count beforehand is of what goes; the second round finds nothing."""
    with store.work() as work:
        old, young = writer(work, 1, at), writer(work, 2, at + timedelta(days=10))
        before = at + timedelta(days=1)
        due = work.privacy.overdue(before)
        work.privacy.let_go(before)

        assert due == 2
        assert work.privacy.overdue(before) == 0
        assert texts(work, old.id) == []
        assert texts(work, young.id) == ["answer 2", "words 2"]


def test_words_that_wait_for_an_answer_go_with_their_question(store: Store, at: datetime) -> None:
    """Whoever never came back leaves no words behind; a younger question stays open."""
    question = {"ask": "consent", "said": [["temp 128 by the shed", "2026-03-01T09:00"]]}
    with store.work() as work:
        old, young = writer(work, 1, at), writer(work, 2, at + timedelta(days=10))
        work.people.change(old.id, waiting_for=question, last_heard_at=at)
        work.people.change(young.id, waiting_for=question, last_heard_at=at + timedelta(days=10))
        work.privacy.let_go(at + timedelta(days=1))
        work.commit()

    with store.work(reading=True) as work:
        assert work.people.get(old.id).waiting_for == {}
        assert work.people.get(young.id).waiting_for == question


def test_a_hold_on_one_keeps_theirs_only(store: Store, at: datetime) -> None:
    """Until it is released, then they go like the others."""
    with store.work() as work:
        held, other, maren = writer(work, 1, at), writer(work, 2, at), coordinator(work, at)
        hold_id = work.privacy.hold(held.id, "request 7", maren.id, at)
        work.privacy.let_go(at + YEARS)
        assert texts(work, held.id) == ["answer 1", "words 1"]
        assert texts(work, other.id) == []

        work.privacy.release(hold_id, at)
        work.privacy.let_go(at + YEARS)
        assert texts(work, held.id) == []


def test_a_hold_on_all_stops_the_clock(store: Store, at: datetime) -> None:
    """Nothing goes while it stands; the list of holds tells who made it and why."""
    with store.work() as work:
        ana, maren = writer(work, 1, at), coordinator(work, at)
        work.privacy.hold(None, "request 8", maren.id, at)
        work.privacy.let_go(at + YEARS)
        (hold,) = work.privacy.holds()

        assert texts(work, ana.id) == ["answer 1", "words 1"]
        assert (hold.person_id, hold.reason, hold.made_by) == (None, "request 8", "Maren")


def test_what_staff_wrote_down_goes_by_the_same_clock(store: Store, at: datetime) -> None:
    """A call is kept like a text, held like one, and forgotten like one."""
    with store.work() as work:
        ana, maren = writer(work, 1, at), coordinator(work, at)
        work.inbox.take(Incoming("staff", str(ana.id), "call", "temp 128", at, "Maren", "text"))
        hold_id = work.privacy.hold(ana.id, "request 9", maren.id, at)
        work.privacy.let_go(at + YEARS)
        assert "temp 128" in texts(work, ana.id)

        work.privacy.release(hold_id, at)
        work.people.erase(ana.id, at)
        assert texts(work, ana.id) == []


def test_forgetting_under_a_hold_keeps_the_words_without_who(store: Store, at: datetime) -> None:
    """Name and number go at once; the texts stay under the person's number until the request ends."""
    with store.work() as work:
        ana, maren = writer(work, 1, at), coordinator(work, at)
        hold_id = work.privacy.hold(ana.id, "request 10", maren.id, at)
        work.people.erase(ana.id, at)
        gone = work.people.get(ana.id)
        kept = texts(work, ana.id)
        work.privacy.release(hold_id, at)
        work.privacy.let_go(at - timedelta(days=1))

        assert (gone.name, gone.address, gone.standing) == (None, "", "erased")
        assert work.people.by_address("sms", ana.address) is None
        assert kept == ["answer 1", "words 1"]
        assert texts(work, ana.id) == []


def test_a_copy_holds_a_time_of_a_person_or_of_all(store: Store, at: datetime) -> None:
    """Both ways, by person and time; the end of the time is not in it."""
    with store.work() as work:
        ana, leo = writer(work, 1, at), writer(work, 2, at + timedelta(days=3))
        everything = list(work.privacy.messages(at, at + timedelta(days=9)))
        first_days = list(work.privacy.messages(at, at + timedelta(days=3)))
        of_leo = list(work.privacy.messages(at, at + timedelta(days=9), leo.id))

    assert [(each.person_id, each.by, each.text) for each in everything] == [
        (ana.id, "graduate", "words 1"),
        (ana.id, "programme", "answer 1"),
        (leo.id, "graduate", "words 2"),
        (leo.id, "programme", "answer 2"),
    ]
    assert [each.text for each in first_days] == ["words 1", "answer 1"]
    assert [each.text for each in of_leo] == ["words 2", "answer 2"]
