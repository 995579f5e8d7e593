"""The outbox: each message once, in order, with its reason; the outcomes as the design words them."""

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

import pytest
from sqlalchemy import create_engine, text

from shared.errors import BadInput
from storage.models import OutKind
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store, Work

LEASE = timedelta(minutes=5)


def add(work: Work, person: Person, kind: OutKind, key: str, due_at: datetime) -> int:
    """A message with one line."""
    row_id = work.outbox.add(
        person.id, kind, [Line(key, {"core_c": 53.3})], due_at=due_at, unique_key=key, reason={"why": "test"}
    )
    assert row_id is not None
    return row_id


def claim(work: Work, at: datetime, holder: str = "me", limit: int = 10) -> list[OutRow]:
    """What is due, for five minutes."""
    return work.outbox.claim(at, holder, LEASE, limit)


def test_a_message_comes_back_as_it_was_put_in(store: Store, ines: Person, at: datetime) -> None:
    """Lines, options, what it opens and its reason survive, and the address is where the person is now."""
    lines = [Line("nudge.turn", {"core_c": 41.5, "first_on": "2026-05-11"}), Line("hello", {})]
    with store.work() as work:
        work.outbox.add(
            ines.id,
            "nudge",
            lines,
            due_at=at,
            unique_key="n1",
            reason={"why": "cooling_food_left", "core_c": 41.5},
            options=("turned", "not_turned"),
            opens={"ask": "turn"},
        )
        (row,) = claim(work, at)

    assert row.lines == tuple(lines)
    assert (row.options, row.opens) == (("turned", "not_turned"), {"ask": "turn"})
    assert row.reason == {"why": "cooling_food_left", "core_c": 41.5}
    assert (row.status, row.channel, row.address, row.holder) == ("claimed", "sms", ines.address, "me")


def test_a_key_is_put_in_once(store: Store, ines: Person, at: datetime) -> None:
    """Planning the same thing twice is harmless: the second time the key is there already."""
    with store.work() as work:
        add(work, ines, "nudge", "turn:1:2026-03-01", at)

        again = work.outbox.add(ines.id, "nudge", [], due_at=at, unique_key="turn:1:2026-03-01", reason={})

        assert again is None
        assert len(claim(work, at)) == 1


def test_only_what_is_due_is_claimed_and_only_once(store: Store, ines: Person, at: datetime) -> None:
    """A message waits for its moment; a claimed one is not claimed by somebody else."""
    with store.work() as work:
        add(work, ines, "reply", "now", at)
        add(work, ines, "reply", "later", at + timedelta(hours=1))
        assert work.outbox.next_due(at) == at + timedelta(hours=1)

        assert [row.unique_key for row in claim(work, at)] == ["now"]
        assert claim(work, at, "another") == []


def test_one_message_of_a_person_is_on_its_way_at_a_time(store: Store, ines: Person, at: datetime) -> None:
    """The next message of a conversation waits until the outcome of the one before is known."""
    with store.work() as work:
        first, second = add(work, ines, "reply", "first", at), add(work, ines, "reply", "second", at)

        assert [row.id for row in claim(work, at)] == [first]
        assert claim(work, at) == []

        work.outbox.sent(first, at, "First", None)
        assert [row.id for row in claim(work, at)] == [second]


def test_a_reply_that_is_tried_again_is_not_overtaken(store: Store, ines: Person, at: datetime) -> None:
    """While an earlier reply waits for its next try, the later one waits too."""
    with store.work() as work:
        first, second = add(work, ines, "reply", "first", at), add(work, ines, "reply", "second", at)
        claim(work, at)
        work.outbox.starting(first, "me", at)
        work.outbox.retry(first, at + timedelta(minutes=1), "network down")

        assert claim(work, at) == []
        assert [row.id for row in claim(work, at + timedelta(minutes=1))] == [first]
        work.outbox.sent(first, at, "First", None)
        assert [row.id for row in claim(work, at + timedelta(minutes=1))] == [second]


def test_replies_go_before_nudges_before_broadcasts(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """Danger first, then answers, then what nobody waits for; the longest due first among equals."""
    with store.work() as work:
        for number, kind in enumerate(("broadcast", "nudge", "reply", "confirmation", "warning")):
            add(work, ines, kind, kind, at - timedelta(minutes=number))
        add(work, leo, "reply", "leo's", at - timedelta(hours=1))
        order = []
        while rows := claim(work, at, limit=1):
            order.append(rows[0].unique_key)
            work.outbox.sent(rows[0].id, at, "text", None)

    assert order == ["warning", "confirmation", "leo's", "reply", "nudge", "broadcast"]


def test_nothing_but_the_confirmation_follows_an_opt_out(store: Store, ines: Person, at: datetime) -> None:
    """What still waits for somebody who opted out is held back, warnings included; the confirmation goes."""
    kinds: tuple[OutKind, ...] = ("warning", "alert", "reply", "nudge", "broadcast", "confirmation")
    with store.work() as work:
        ids = {kind: add(work, ines, kind, kind, at) for kind in kinds}
        work.people.consent(ines.id, False, "stop", "es", "sms", None, "1", at)

        assert [row.kind for row in claim(work, at)] == ["confirmation"]
        work.outbox.sent(ids["confirmation"], at, "Done", None)

        assert claim(work, at) == []
        rows = [work.outbox.get(row_id) for kind, row_id in ids.items() if kind != "confirmation"]
        assert {(row.status, row.why_not) for row in rows} == {("held", "opted out")}


def test_nothing_goes_to_somebody_erased(store: Store, ines: Person, at: datetime) -> None:
    """What waits for somebody who is then erased is held back, with the reason and no address."""
    with store.work() as work:
        ids = [add(work, ines, kind, kind, at) for kind in ("reply", "nudge", "broadcast")]
        work.people.erase(ines.id, at)

        assert claim(work, at + timedelta(days=1)) == []
        rows = [work.outbox.get(row_id) for row_id in ids]
        assert {(row.status, row.why_not, row.address) for row in rows} == {("held", "erased", None)}


def test_before_consent_there_are_only_answers(store: Store, at: datetime) -> None:
    """Who has written but not said yes gets answers, never a nudge."""
    with store.work() as work:
        stranger = work.people.add("sms", "+13035550103", None, "en", "f", "America/Denver", at)
        nudge = add(work, stranger, "nudge", "nudge", at)
        add(work, stranger, "reply", "reply", at)

        (reply,) = claim(work, at)
        work.outbox.sent(reply.id, at, "Hello", None)

        assert claim(work, at) == []
        assert work.outbox.get(nudge).why_not == "no consent"


def test_what_expired_is_held_back_and_planned_anew(store: Store, ines: Person, at: datetime) -> None:
    """A machine that slept for two days sends no stale nudge; the pile is looked at again at once."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.look_again(pile.id, at + timedelta(days=7))
        row_id = work.outbox.add(
            ines.id,
            "nudge",
            [],
            due_at=at,
            expires_at=at + timedelta(hours=12),
            unique_key="n",
            reason={},
            pile_id=pile.id,
        )
        assert row_id is not None
        woke = at + timedelta(days=2)

        assert claim(work, woke) == []
        assert (work.outbox.get(row_id).status, work.outbox.get(row_id).why_not) == ("held", "expired")
        assert work.piles.take_due(woke, woke + timedelta(minutes=5), 5) == [pile.id]


def test_a_holder_claims_only_what_it_can_reach(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """Two consoles and a server on one database each take their own people's messages."""
    with store.work() as work:
        work.people.reach(ines.id, "console", "ines", at)
        add(work, ines, "reply", "ines", at)
        add(work, leo, "reply", "leo", at)

        assert work.outbox.claim(at, "other", LEASE, 9, reach={"console": {"ana"}}) == []
        (console,) = work.outbox.claim(at, "console", LEASE, 9, reach={"console": {"ines"}})
        (server,) = work.outbox.claim(at, "server", LEASE, 9, reach={"sms": None, "telegram": None})

    assert (console.unique_key, server.unique_key) == ("ines", "leo")


def test_a_second_try_goes_where_the_person_is_now(store: Store, ines: Person, at: datetime) -> None:
    """Who moved to another channel between two tries is reached there, by the process that serves it."""
    with store.work() as work:
        row_id = add(work, ines, "reply", "reply", at)
        claim(work, at)
        work.outbox.retry(row_id, at, "no network")
        work.people.reach(ines.id, "telegram", "77", at)

        assert work.outbox.claim(at, "gateway", LEASE, 9, reach={"sms": None}) == []
        (row,) = work.outbox.claim(at, "telegram", LEASE, 9, reach={"telegram": None})

    assert (row.channel, row.address) == ("telegram", "77")


def test_someone_without_an_address_stops_nobody_else(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """A message for somebody who cannot be reached any more is held back with that reason."""
    with store.work() as work:
        row_id = add(work, ines, "nudge", "ines", at)
        add(work, leo, "nudge", "leo", at)
        work.people.reach(leo.id, "sms", ines.address, at)

        assert [row.unique_key for row in claim(work, at)] == ["leo"]
        assert work.outbox.get(row_id).why_not == "no address"


@pytest.mark.parametrize("kind", ["reply", "confirmation", "nudge", "broadcast", "warning", "alert"])
def test_a_sender_that_died_before_sending_loses_nothing(
    store: Store, ines: Person, at: datetime, kind: OutKind
) -> None:
    """A claim that ran out before sending began goes back to waiting, whatever its kind."""
    with store.work() as work:
        row_id = add(work, ines, kind, "m", at)
        claim(work, at, "lost")
        assert claim(work, at + LEASE - timedelta(seconds=1)) == []

        (row,) = claim(work, at + LEASE)

        assert (row.id, row.attempts) == (row_id, 0)


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("reply", "unknown"),
        ("confirmation", "unknown"),
        ("nudge", "unknown"),
        ("broadcast", "unknown"),
        ("warning", "claimed"),
        ("alert", "claimed"),
    ],
)
def test_a_sender_that_died_while_sending(
    store: Store, ines: Person, at: datetime, kind: OutKind, status: str
) -> None:
    """What may have gone out is not sent again, unless it must arrive."""
    with store.work() as work:
        row_id = add(work, ines, kind, "m", at)
        claim(work, at, "lost")
        assert work.outbox.starting(row_id, "lost", at)

        claim(work, at + LEASE)

        assert work.outbox.get(row_id).status == status


def test_a_late_sender_does_not_begin(store: Store, ines: Person, at: datetime) -> None:
    """Who has lost the lease may no longer send, even before somebody else claims the message."""
    with store.work() as work:
        row_id = add(work, ines, "warning", "m", at)
        claim(work, at, "slow")

        assert not work.outbox.starting(row_id, "slow", at + LEASE)
        claim(work, at + LEASE, "quick")
        assert not work.outbox.starting(row_id, "slow", at + LEASE)
        assert work.outbox.starting(row_id, "quick", at + LEASE)


def test_withdrawing_holds_back_what_has_not_begun(store: Store, ines: Person, at: datetime) -> None:
    """Waiting and claimed messages of the kinds named are held back; one on its way runs its course."""
    with store.work() as work:
        on_its_way = add(work, ines, "nudge", "first", at)
        claim(work, at)
        work.outbox.starting(on_its_way, "me", at)
        waiting = add(work, ines, "nudge", "second", at)
        reply = add(work, ines, "reply", "reply", at)

        assert work.outbox.withdraw(ines.id, ("nudge", "broadcast"), "opted out") == 1

        assert [work.outbox.get(row).status for row in (on_its_way, waiting, reply)] == [
            "claimed",
            "held",
            "waiting",
        ]


def test_holding_back_a_claimed_nudge_stops_its_sender(store: Store, ines: Person, at: datetime) -> None:
    """What was done between claim and sending is not asked for."""
    with store.work() as work:
        row_id = add(work, ines, "nudge", "turn", at)
        claim(work, at)
        work.outbox.hold_back(row_id, "done meanwhile")

        assert not work.outbox.starting(row_id, "me", at)
        assert (work.outbox.get(row_id).status, work.outbox.get(row_id).why_not) == ("held", "done meanwhile")


def test_each_message_held_back_leaves_its_reason(store: Store, ines: Person, at: datetime) -> None:
    """A nudge that restraint holds back is written down, once for each key, and never sent."""
    with store.work() as work:
        held = work.outbox.hold(
            ines.id, "nudge", [Line("nudge.turn", {})], due_at=at, unique_key="h", reason={}, why_not="gap"
        )
        again = work.outbox.hold(ines.id, "nudge", [], due_at=at, unique_key="h", reason={}, why_not="gap")

        assert held is not None
        assert again is None
        assert claim(work, at) == []
        assert (work.outbox.get(held).status, work.outbox.get(held).why_not) == ("held", "gap")


def test_outcomes_are_kept(store: Store, ines: Person, at: datetime) -> None:
    """Sent, failed and unknown keep what is known: the text as sent, the channel's id, the reason."""
    with store.work() as work:
        sent, failed, unknown = (add(work, ines, "reply", key, at) for key in "abc")
        work.outbox.sent(sent, at, "As sent", "77")
        work.outbox.failed(failed, "number blocked")
        work.outbox.unknown(unknown, "no answer")

        assert (work.outbox.get(sent).text, work.outbox.get(sent).channel_message_id) == ("As sent", "77")
        assert (work.outbox.get(failed).status, work.outbox.get(failed).why_not) == (
            "failed",
            "number blocked",
        )
        assert (work.outbox.get(unknown).status, work.outbox.get(unknown).why_not) == ("unknown", "no answer")
        with pytest.raises(BadInput, match="there is no outgoing message 999"):
            work.outbox.get(999)


def test_a_receipt_settles_what_was_unknown(store: Store, ines: Person, at: datetime) -> None:
    """A message whose sender came back late is sent after all."""
    with store.work() as work:
        row_id = add(work, ines, "reply", "m", at)
        work.outbox.unknown(row_id, "sender lost while sending")

        work.outbox.sent(row_id, at, "As sent", "77")

        assert work.outbox.get(row_id).status == "sent"


def test_the_last_nudge_and_the_thread(store: Store, ines: Person, at: datetime) -> None:
    """For "why?": the nudge sent last; for staff: the last messages, oldest first; held ones are no part."""
    with store.work() as work:
        assert work.outbox.last_nudge(ines.id) is None
        keys: tuple[tuple[OutKind, str], ...] = (
            ("nudge", "n1"),
            ("nudge", "n2"),
            ("reply", "r"),
            ("nudge", "n3"),
        )
        for number, (kind, key) in enumerate(keys):
            row_id = add(work, ines, kind, key, at)
            if key != "n3":
                work.outbox.sent(row_id, at + timedelta(minutes=number), key, None)

        last = work.outbox.last_nudge(ines.id)
        assert last is not None
        assert last.unique_key == "n2"
        assert [row.text for row in work.outbox.thread(ines.id, 2)] == ["n2", "r"]


def test_unprompted_messages_count_from_their_due_moment(store: Store, ines: Person, at: datetime) -> None:
    """Nudges and broadcasts on their way or gone count for the budget; replies and what was held do not."""
    with store.work() as work:
        for number, kind in enumerate(("nudge", "reply", "broadcast", "nudge")):
            add(work, ines, kind, f"{kind}{number}", at + timedelta(days=number))
        work.outbox.hold(ines.id, "nudge", [], due_at=at, unique_key="h", reason={}, why_not="gap")

        keys = [row.unique_key for row in work.outbox.unprompted_since(ines.id, at + timedelta(days=1))]

    assert keys == ["broadcast2", "nudge3"]


def test_many_workers_take_each_message_once(store: Store, at: datetime) -> None:
    """Four workers that drain one outbox: every message taken once, each person's in their order."""
    kinds: tuple[OutKind, ...] = ("nudge", "reply", "reply")
    with store.work() as work:
        people = [
            work.people.add("sms", f"+1303555{number:04}", None, "en", "f", "America/Denver", at)
            for number in range(100, 130)
        ]
        for person in people:
            work.people.consent(person.id, True, "Yes?", "en", "sms", None, "1", at)
            for number, kind in enumerate(kinds):
                add(work, person, kind, f"{person.id} {number}", at)
        work.commit()
    taken: list[tuple[int, int]] = []

    def drain(name: str) -> None:
        while len(taken) < len(people) * len(kinds):
            with store.work() as work:
                rows = claim(work, at, name, limit=7)
                work.commit()
            for row in rows:
                taken.append((row.person_id, row.id))
                with store.work() as work:
                    assert work.outbox.starting(row.id, name, at)
                    work.outbox.sent(row.id, at, "text", None)
                    work.commit()

    with ThreadPoolExecutor() as workers:
        for done in [workers.submit(drain, f"worker {number}") for number in range(4)]:
            done.result(60)

    assert len(taken) == len(set(taken)) == len(people) * len(kinds)
    for person in people:
        replies = [row_id for person_id, row_id in taken if person_id == person.id]
        assert len(replies) == len(kinds)
        assert replies.index(max(replies)) > replies.index(sorted(replies)[1])


def test_due_rows_are_found_by_index(sqlite_url: str) -> None:
    """However many messages wait, the due ones are found through the partial index."""
    engine = create_engine(sqlite_url)
    query = (
        "EXPLAIN QUERY PLAN SELECT id FROM outbox WHERE status = 'waiting' AND rank = 3 "
        "AND next_try_at <= '2026-03-01' ORDER BY next_try_at, id LIMIT 50"
    )

    with engine.connect() as connection:
        plan = " ".join(str(row) for row in connection.execute(text(query)))

    assert "ix_outbox_due" in plan
    assert "TEMP B-TREE" not in plan
    engine.dispose()
