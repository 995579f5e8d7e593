"""What arrives is stored once and handled once."""

from datetime import datetime

from storage.inbox import Incoming
from storage.work import Store


def test_the_same_message_is_taken_once(store: Store, at: datetime) -> None:
    """A message that the channel brings again is recognised by its id; another channel's ids are its own."""
    first = Incoming("sms", "+13035550100", "m1", "temp 128", at, "Ines")
    with store.work() as work:
        taken = work.inbox.take(first)
        again = work.inbox.take(first)
        elsewhere = work.inbox.take(Incoming("telegram", "77", "m1", "hello", at, form="button"))
        work.commit()

    assert taken is not None
    assert again is None
    assert elsewhere not in (None, taken)
    with store.work(reading=True) as work:
        assert work.inbox.waiting()[0] == (taken, first)


def test_a_message_that_may_have_come_under_another_id_is_taken_once(store: Store, at: datetime) -> None:
    """A channel without ids of its own names the other id; where that is unknown the message is new."""
    with store.work() as work:
        first = work.inbox.take(Incoming("sms", "+13035550100", "m1", "temp 128", at))
        again = work.inbox.take(Incoming("sms", "+13035550100", "m2", "temp 128", at, repeats="m1"))
        other = work.inbox.take(Incoming("sms", "+13035550100", "m4", "temp 130", at, repeats="m3"))

    assert first is not None
    assert again is None
    assert other is not None


def test_a_message_waits_until_it_is_handled(store: Store, at: datetime) -> None:
    """Stored messages wait in the order of arrival; handling one a second time says so."""
    with store.work() as work:
        ids = [
            work.inbox.take(Incoming("sms", "+13035550100", f"m{number}", "hello", at)) for number in range(3)
        ]
        assert ids[1] is not None

        assert work.inbox.handled(ids[1], at)
        assert not work.inbox.handled(ids[1], at)

        assert [row_id for row_id, _ in work.inbox.waiting()] == [ids[0], ids[2]]
