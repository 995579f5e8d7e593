"""The sender: each message goes out once, and what came of it is written down."""

import asyncio
import sqlite3
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from scheduler.sender import LEASE, TRIES, NotSent, Outcome, Pace, Refused, Rendered, Sender, Sent, Unknown
from storage.models import OutKind
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store

Render = Callable[[OutRow, Person, datetime], Rendered]


@pytest.fixture
def sender(store: Store, notebook: Any, render: Render, clock: Any) -> Sender:
    """A sender with the notebook as its only channel."""
    return Sender(store, {"sms": notebook}, render, clock, "this process")


def put(store: Store, person: Person, kind: OutKind, key: str, due_at: datetime, **more: Any) -> int:
    """A message in the outbox."""
    with store.work() as work:
        row_id = work.outbox.add(
            person.id, kind, [Line(key, {})], due_at=due_at, unique_key=key, reason={}, **more
        )
        work.commit()
    assert row_id is not None
    return row_id


def row_of(store: Store, row_id: int) -> OutRow:
    """The message as it stands."""
    with store.work(reading=True) as work:
        return work.outbox.get(row_id)


def person_of(store: Store, person: Person) -> Person:
    """The person as they stand."""
    with store.work(reading=True) as work:
        return work.people.get(person.id)


@pytest.fixture
def people(store: Store, at: datetime) -> list[Person]:
    """Thirty keepers who said yes."""
    with store.work() as work:
        added = [
            work.people.add("sms", f"+1303555{number:04}", None, "en", "f", "America/Denver", at)
            for number in range(100, 130)
        ]
        said_yes = [work.people.consent(each.id, True, "Yes?", "en", "sms", None, "1", at) for each in added]
        work.commit()
    return said_yes


class Quiet:
    """A channel that takes everything."""

    name = "sms"
    addresses = None

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
        return Sent(reference)


async def settled(store: Store, row_id: int) -> None:
    """Return when the outcome of a claimed message is written down."""
    while row_of(store, row_id).status == "claimed":
        await asyncio.sleep(0)


async def test_what_is_due_goes_out_in_order(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """Due messages of a conversation go out one by one; the text and the channel's id are kept."""
    first = put(store, ines, "reply", "first", at)
    put(store, ines, "reply", "second", at)
    put(store, ines, "reply", "tomorrow", at + timedelta(days=1))

    assert await sender.send_due(at) == 2

    assert notebook.sent == [(ines.address, "first"), (ines.address, "second")]
    row = row_of(store, first)
    assert (row.status, row.text, row.channel_message_id, row.sent_at) == ("sent", "first", f"id {first}", at)
    assert await sender.send_due(at) == 0


async def test_a_nudge_is_overtaken_by_their_own_words(
    store: Store, sender: Sender, ines: Person, at: datetime
) -> None:
    """Who wrote after a nudge was planned for a later hour does not get it; the pile is looked at anew."""
    with store.work() as work:
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.people.change(ines.id, last_heard_at=at - timedelta(minutes=5))
        work.piles.look_again(pile.id, None)
        work.commit()
    row_id = put(store, ines, "nudge", "nudge.turn", at, pile_id=pile.id)

    assert await sender.send_due(at) == 0

    assert (row_of(store, row_id).status, row_of(store, row_id).why_not) == ("held", "wrote within a day")
    with store.work(reading=True) as work:
        assert work.piles.take_due(at, at + timedelta(minutes=5), 5) == [pile.id]


async def test_a_question_is_open_once_it_is_sent(
    store: Store, sender: Sender, ines: Person, at: datetime
) -> None:
    """What a nudge asks is what we wait for, and counts as unanswered; a mere statement does neither."""
    put(store, ines, "nudge", "curing", at)
    await sender.send_due(at)
    assert (person_of(store, ines).waiting_for, person_of(store, ines).unanswered) == ({}, 0)

    put(store, ines, "nudge", "turn", at, opens={"ask": "turn", "pile": 1})
    await sender.send_due(at)
    assert person_of(store, ines).waiting_for == {"ask": "turn", "pile": 1}
    assert person_of(store, ines).unanswered == 1

    put(store, ines, "reply", "reply", at, opens={"ask": "fill"})
    await sender.send_due(at)
    assert (person_of(store, ines).waiting_for, person_of(store, ines).unanswered) == ({"ask": "fill"}, 1)

    put(store, ines, "nudge", "sleep", at)
    await sender.send_due(at)
    assert (person_of(store, ines).waiting_for, person_of(store, ines).unanswered) == ({}, 1)


async def test_a_nudge_that_did_not_go_opens_nothing(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """A lost nudge asks nothing."""
    notebook.outcomes = [Unknown("no answer")]
    put(store, ines, "nudge", "turn", at, opens={"ask": "turn"})

    await sender.send_due(at)

    assert (person_of(store, ines).waiting_for, person_of(store, ines).unanswered) == ({}, 0)


async def test_what_was_surely_not_sent_is_tried_again(
    store: Store, sender: Sender, ines: Person, notebook: Any, clock: Any, at: datetime
) -> None:
    """The wait doubles with each try, and is never shorter than the channel asks for."""
    notebook.outcomes = [NotSent("no network"), NotSent("slow down", retry_after_s=600), Sent("7")]
    row_id = put(store, ines, "reply", "reply", at)

    await sender.send_due(at)
    assert row_of(store, row_id).next_try_at == at + timedelta(seconds=30)
    clock.moment = at + timedelta(seconds=30)
    await sender.send_due(clock.moment)
    assert row_of(store, row_id).next_try_at == clock.moment + timedelta(seconds=600)
    clock.moment += timedelta(seconds=600)
    await sender.send_due(clock.moment)

    assert (row_of(store, row_id).status, row_of(store, row_id).attempts) == ("sent", 3)


async def test_it_gives_up_with_a_reason(
    store: Store, sender: Sender, ines: Person, notebook: Any, clock: Any, at: datetime
) -> None:
    """After the last try the message has failed, and says why."""
    notebook.outcomes = [NotSent("no network")] * TRIES
    row_id = put(store, ines, "reply", "reply", at)

    for _ in range(TRIES):
        await sender.send_due(clock.moment)
        clock.moment += timedelta(hours=1)

    row = row_of(store, row_id)
    assert (row.status, row.why_not) == ("failed", f"gave up after {TRIES} tries: no network")


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("reply", "unknown"),
        ("nudge", "unknown"),
        ("broadcast", "unknown"),
        ("warning", "waiting"),
        ("alert", "waiting"),
    ],
)
@pytest.mark.parametrize("outcome", [Unknown("connection cut"), RuntimeError("a bug"), TimeoutError()])
async def test_an_unknown_outcome(
    store: Store,
    sender: Sender,
    ines: Person,
    notebook: Any,
    at: datetime,
    kind: OutKind,
    status: str,
    outcome: Any,
) -> None:
    """A lost nudge is forgiven, a double is not; a warning or an alert is sent again rather than lost."""
    notebook.outcomes = [outcome]
    row_id = put(store, ines, kind, "message", at)

    assert await sender.send_due(at) == 0

    assert row_of(store, row_id).status == status


async def test_being_blocked_is_an_opt_out(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """It goes into the ledger, and nothing that waits goes out any more."""
    notebook.outcomes = [Refused("blocked by the user", gone=True)]
    first, later = (
        put(store, ines, "reply", "first", at),
        put(store, ines, "warning", "later", at + timedelta(hours=1)),
    )

    await sender.send_due(at)
    await sender.send_due(at + timedelta(hours=1))

    assert notebook.sent == []
    assert [(row_of(store, row).status, row_of(store, row).why_not) for row in (first, later)] == [
        ("failed", "blocked by the user"),
        ("held", "opted out"),
    ]
    with store.work(reading=True) as work:
        assert work.people.get(ines.id).standing == "stopped"
        assert [(line.given, line.wording) for line in work.people.consents(ines.id)][-1] == (
            False,
            "(blocked by the user)",
        )


async def test_a_refusal_of_one_message_is_no_opt_out(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """A message that is too long fails; the person stays."""
    notebook.outcomes = [Refused("too long")]
    row_id = put(store, ines, "reply", "long", at)

    await sender.send_due(at)

    assert (row_of(store, row_id).status, person_of(store, ines).standing) == ("failed", "joined")


async def test_nudges_keep_the_hours_even_when_late(
    store: Store, sender: Sender, ines: Person, notebook: Any, clock: Any, at: datetime
) -> None:
    """A nudge that comes to be sent at night waits for the morning; a reply and a warning do not."""
    clock.moment = at + timedelta(hours=13)
    for kind in ("nudge", "reply", "warning"):
        put(store, ines, kind, kind, at)

    await sender.send_due(clock.moment)
    assert [text for _, text in notebook.sent] == ["warning", "reply"]

    clock.moment = at + timedelta(hours=24)
    await sender.send_due(clock.moment)
    assert [text for _, text in notebook.sent] == ["warning", "reply", "nudge"]


async def test_a_pause_reaches_what_already_waits(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """A nudge that was planned before the pause is held back with that reason."""
    row_id = put(store, ines, "nudge", "turn", at)
    with store.work() as work:
        work.people.change(ines.id, paused_until=date.max)
        work.commit()

    await sender.send_due(at)

    assert notebook.sent == []
    assert row_of(store, row_id).why_not == "paused"


async def test_a_message_that_cannot_be_worded_stops_no_other(
    store: Store, ines: Person, notebook: Any, clock: Any, at: datetime
) -> None:
    """It has failed, with the reason; the next one goes out."""

    def render(row: OutRow, _person: Person, _at: datetime) -> Rendered:
        return {"good": Rendered("good")}[row.lines[0].key]

    bad, _ = put(store, ines, "reply", "bad", at), put(store, ines, "reply", "good", at)

    await Sender(store, {"sms": notebook}, render, clock, "this process").send_due(at)

    assert notebook.sent == [(ines.address, "good")]
    assert row_of(store, bad).why_not == "could not be worded: KeyError('bad')"


async def test_other_channels_are_left_to_other_processes(
    store: Store, sender: Sender, ines: Person, notebook: Any, at: datetime
) -> None:
    """What goes to a channel that this process does not serve keeps waiting."""
    with store.work() as work:
        work.people.reach(ines.id, "telegram", "77", at)
        work.commit()
    row_id = put(store, ines, "reply", "reply", at)

    assert await sender.send_due(at) == 0

    assert (row_of(store, row_id).status, notebook.sent) == ("waiting", [])


async def test_a_console_serves_only_its_own_people(
    store: Store, ines: Person, render: Render, notebook: Any, clock: Any, at: datetime
) -> None:
    """Two consoles on one database: each shows what is for its own person."""
    with store.work() as work:
        work.people.reach(ines.id, "console", "ines", at)
        work.commit()
    put(store, ines, "reply", "reply", at)
    notebook.name, notebook.addresses = "console", frozenset({"leo"})
    sender = Sender(store, {"console": notebook}, render, clock, "this process")

    assert await sender.send_due(at) == 0
    notebook.addresses = frozenset({"ines"})
    assert await sender.send_due(at) == 1


async def test_who_lost_the_lease_does_not_send(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """A process that slept through its lease does not send what it had claimed, until it claims it anew."""
    ids = [put(store, person, "reply", f"to {person.id}", at) for person in people[:2]]
    notebook.pace = Pace(per_second=1)

    async def sleep(_seconds: float) -> None:
        await settled(store, ids[0])
        clock.moment = at + LEASE

    assert await Sender(store, {"sms": notebook}, render, clock, "this process", sleep).send_due(at) == 2

    assert [text for _, text in notebook.sent] == [f"to {person.id}" for person in people[:2]]
    assert [row_of(store, row_id).attempts for row_id in ids] == [1, 1]
    assert [row_of(store, row_id).sent_at for row_id in ids] == [at, at + LEASE]


async def test_a_channel_is_not_given_more_than_it_bears(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """Two workers together keep the pace of a channel: ten a second, spread evenly, two seconds ahead."""
    notebook.pace = Pace(per_second=10)
    for person in people:
        put(store, person, "broadcast", f"to {person.id}", at)
    waits: list[float] = []

    async def sleep(seconds: float) -> None:
        waits.append(seconds)

    workers = [Sender(store, {"sms": notebook}, render, clock, name, sleep) for name in ("first", "second")]

    assert sum(await asyncio.gather(*(worker.send_due(at) for worker in workers))) == 20
    assert sorted(waits) == pytest.approx([0.1 * number for number in range(1, 20)])
    clock.moment = at + timedelta(seconds=2)
    assert sum(await asyncio.gather(*(worker.send_due(clock.moment) for worker in workers))) == 10


async def test_a_clock_set_back_holds_nothing_up(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """What was sent by a clock that ran an hour ahead takes neither the channel's time nor the person's."""
    notebook.pace = Pace(per_second=10, per_person_s=1.0)
    waits: list[float] = []

    async def sleep(seconds: float) -> None:
        waits.append(seconds)

    sender = Sender(store, {"sms": notebook}, render, clock, "this process", sleep)
    clock.moment = at + timedelta(hours=1)
    put(store, people[0], "reply", "by the wrong clock", clock.moment)
    assert await sender.send_due(clock.moment) == 1

    clock.moment = at
    for person in people[:3]:
        put(store, person, "reply", f"to {person.id}", at)

    assert await sender.send_due(at) == 3
    assert max(waits) <= 1.0


async def test_a_clock_set_forward_doubles_nothing(
    store: Store, people: list[Person], render: Render, clock: Any, at: datetime
) -> None:
    """A clock that leaps a day ahead in mid-sending ends the lease; no other process sends it again."""
    arrived: list[str] = []

    class Leaping(Quiet):
        """A channel during whose sending the clock is put right."""

        async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
            arrived.append(address)
            clock.moment = at + timedelta(days=1)
            other = Sender(store, {"sms": Quiet()}, render, clock, "another process")
            assert await other.send_due(clock.moment) == 0
            return Sent(reference)

    row_id = put(store, people[0], "nudge", "nudge", at, expires_at=at + timedelta(hours=12))

    assert await Sender(store, {"sms": Leaping()}, render, clock, "this process").send_due(at) == 1
    assert (len(arrived), row_of(store, row_id).status) == (1, "sent")


async def test_a_long_text_counts_for_all_its_parts(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """Where a channel bears two parts a second, of all workers, four texts of two parts take four seconds."""
    notebook.pace = Pace(per_second=2, counts=lambda _text: 2)
    for person in people[:6]:
        put(store, person, "broadcast", f"to {person.id}", at)

    async def sleep(_seconds: float) -> None:
        pass

    one, other = (Sender(store, {"sms": notebook}, render, clock, name, sleep) for name in ("one", "other"))

    assert await one.send_due(at) == 4
    clock.moment = at + timedelta(seconds=1.9)
    assert await other.send_due(clock.moment) == 0
    clock.moment = at + timedelta(seconds=3)
    assert await other.send_due(clock.moment) == 2


async def test_one_person_is_written_to_once_a_second(
    store: Store, ines: Person, notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """Where a channel wants a second between two messages to one person, a conversation keeps it."""
    notebook.pace = Pace(per_person_s=1.0)
    ids = [put(store, ines, "reply", str(number), at) for number in range(3)]

    async def sleep(seconds: float) -> None:
        clock.moment += timedelta(seconds=seconds)

    await Sender(store, {"sms": notebook}, render, clock, "this process", sleep).send_due(at)

    assert [text for _, text in notebook.sent] == ["0", "1", "2"]
    assert [row_of(store, row_id).sent_at for row_id in ids] == [at + timedelta(seconds=n) for n in range(3)]


async def test_a_channel_that_asks_for_a_pause_gets_it(
    store: Store, people: list[Person], sender: Sender, notebook: Any, clock: Any, at: datetime
) -> None:
    """After "too many, wait 90 seconds" nothing goes to that channel, from no worker, until they are over."""
    put(store, people[0], "reply", "first", at)
    notebook.outcomes = [NotSent("too many", retry_after_s=90)]
    await sender.send_due(at)
    put(store, people[1], "warning", "second", at)

    clock.moment = at + timedelta(seconds=80)
    assert await sender.send_due(clock.moment) == 0
    clock.moment = at + timedelta(seconds=90)
    assert await sender.send_due(clock.moment) == 2


async def test_what_is_in_hand_waits_for_the_pause_too(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """A channel that asks for a pause is given nothing more, not even what was claimed before."""
    notebook.pace = Pace(per_second=10)
    ids = [put(store, person, "reply", f"to {person.id}", at) for person in people[:10]]
    notebook.outcomes = [NotSent("too many", retry_after_s=60)]

    async def sleep(_seconds: float) -> None:
        await settled(store, ids[0])

    sender = Sender(store, {"sms": notebook}, render, clock, "this process", sleep)

    assert await sender.send_due(at) == 0
    clock.moment = at + timedelta(seconds=60)
    assert await sender.send_due(clock.moment) == len(ids)


async def test_a_slow_message_holds_up_nobody_else(
    store: Store, people: list[Person], render: Render, clock: Any, at: datetime
) -> None:
    """While one message hangs, everything else goes out, the later messages of other people included."""
    gone: list[str] = []
    all_the_others = asyncio.Event()

    class Hanging:
        name = "sms"
        addresses = None

        async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
            if message.text == f"0 to {people[0].id}":
                await asyncio.wait_for(all_the_others.wait(), 30)
            gone.append(message.text)
            if len(gone) == 2 * (len(people) - 1):
                all_the_others.set()
            return Sent(reference)

    for number in range(2):
        for person in people:
            put(store, person, "reply", f"{number} to {person.id}", at)

    sent = await Sender(store, {"sms": Hanging()}, render, clock, "this process").send_due(at)

    assert sent == 2 * len(people)
    assert gone[-2:] == [f"0 to {people[0].id}", f"1 to {people[0].id}"]


async def test_a_channel_in_trouble_holds_up_no_other(
    store: Store, people: list[Person], notebook: Any, render: Render, clock: Any, at: datetime
) -> None:
    """While every message of one channel hangs, another channel's go out."""
    with store.work() as work:
        for person in people[1:]:
            work.people.reach(person.id, "telegram", str(person.id), at)
        work.commit()
    arrived = asyncio.Event()

    class Hanging:
        name = "telegram"
        addresses = None

        async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
            await asyncio.wait_for(arrived.wait(), 30)
            return Sent(reference)

    class Noted(type(notebook)):  # type: ignore[misc]
        async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
            arrived.set()
            return Sent(f"{address} {message.text} {reference}")

    for person in people:
        put(store, person, "reply", f"to {person.id}", at)
    channels: Any = {"telegram": Hanging(), "sms": Noted()}

    assert await Sender(store, channels, render, clock, "this process").send_due(at) == len(people)


async def test_what_falls_due_meanwhile_goes_along(
    store: Store, ines: Person, clock: Any, at: datetime
) -> None:
    """A reply that is put in while a long list is being sent does not wait for the end of the list."""
    put(store, ines, "broadcast", "first", at)
    later = at + timedelta(seconds=3)

    def adding(row: OutRow, person: Person, _at: datetime) -> Rendered:
        if row.kind == "broadcast":
            clock.moment = later
        return Rendered(row.lines[0].key + person.address)

    put(store, ines, "reply", "reply", later)

    sender = Sender(store, {"sms": Quiet()}, adding, clock, "this process")
    assert await sender.send_due(at) == 2


async def test_an_outcome_outlives_a_locked_database(
    store: Store, sqlite_url: str, ines: Person, render: Render, clock: Any, at: datetime
) -> None:
    """A database that is locked just after a message went out does not make the outcome unknown."""
    row_id = put(store, ines, "reply", "reply", at)
    impatient = Store(f"{sqlite_url}?timeout=0.01")

    class Locking:
        """A channel during whose sending another program locks the database for a moment."""

        name = "sms"
        addresses = None

        async def send(self, address: str, message: Rendered, reference: str) -> Outcome:  # noqa: ARG002
            other = sqlite3.connect(sqlite_url.removeprefix("sqlite:///"), isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            asyncio.get_running_loop().call_later(0.1, other.close)
            return Sent("7")

    assert await Sender(impatient, {"sms": Locking()}, render, clock, "this process").send_due(at) == 1

    assert row_of(store, row_id).status == "sent"
    impatient.close()


async def test_many_people_are_served_at_once(
    store: Store, sender: Sender, notebook: Any, at: datetime
) -> None:
    """Messages to different people are all sent, each to its own address."""
    with store.work() as work:
        people = [
            work.people.add("sms", f"+1303555{number:04}", None, "en", "f", "America/Denver", at)
            for number in range(100, 130)
        ]
        work.commit()
    for person in people:
        put(store, person, "reply", f"to {person.address}", at)

    assert await sender.send_due(at) == 30

    assert sorted(notebook.sent) == [(person.address, f"to {person.address}") for person in people]
