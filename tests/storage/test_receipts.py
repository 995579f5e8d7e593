"""What became of texts, as receipts tell it."""

from datetime import timedelta

import pytest

from storage.outbox import Line, Receipt

ANA = "+15055550123"


@pytest.fixture
def texted(store, at):
    """The id of a text in two parts that was sent to Ana."""
    with store.work() as work:
        person = work.people.add("sms", ANA, "Ana", "en", "f", "America/Denver", at)
        row = work.outbox.add(person.id, "reply", [Line("hello", {})], due_at=at, unique_key="k", reason={})
        work.outbox.claim(at, "me", timedelta(minutes=5), 1)
        work.outbox.starting(row, "me", at)
        work.outbox.sent(row, at, "hello", "0041 0042")
        work.commit()
    return row


def told(store, at, *receipts: tuple[tuple[str, ...], bool], address: str = ANA) -> list[bool]:
    """Whether each receipt found its text."""
    with store.work() as work:
        found = [work.outbox.arrived(Receipt("sms", address, ids, good, at)) for ids, good in receipts]
        work.commit()
    return found


def arrived(store, row: int) -> bool | None:
    with store.work(reading=True) as work:
        return work.outbox.get(row).arrived


@pytest.mark.parametrize(
    ("receipts", "outcome"),
    [
        ([], None),
        ([(("0041",), True)], None),
        ([(("0041",), True), (("0042", "66"), True)], True),
        ([(("0041",), True), (("0041",), True)], None),
        ([(("0042",), False)], False),
        ([(("0042",), False), (("0041",), True)], False),
    ],
)
def test_a_text_arrived_when_all_its_parts_did(store, at, texted, receipts, outcome):
    """One lost part is a lost text; while one is not told of, nothing is known."""
    assert told(store, at, *receipts) == [True] * len(receipts)
    assert arrived(store, texted) is outcome


def test_a_receipt_finds_only_its_own_text(store, at, texted):
    """Another id, another number or a week later: it is nobody's, and can be brought again."""
    assert told(store, at, (("004",), True)) == [False]
    assert told(store, at, (("0041",), True), address="+15055550124") == [False]
    assert told(store, at + timedelta(days=8), (("0041",), True)) == [False]
    assert arrived(store, texted) is None
