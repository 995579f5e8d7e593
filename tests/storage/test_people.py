"""People: their settings, their consent, and forgetting them."""

from datetime import date, datetime, time, timedelta

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from shared.errors import BadInput
from shared.pile import Record
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.work import Store


def test_someone_new_has_not_said_yes(store: Store, at: datetime) -> None:
    """A stranger who writes is known by address, with the defaults and without consent."""
    with store.work() as work:
        assert work.people.by_address("sms", "+13035550100") is None

        person = work.people.add("sms", "+13035550100", None, "en", "c", "America/Phoenix", at)

        assert work.people.by_address("sms", "+13035550100") == person
    assert (person.standing, person.joined_at, person.quiet_from, person.quiet_to) == (
        "asked",
        None,
        time(20),
        time(9),
    )


def test_change_sets_only_what_is_named(store: Store, ines: Person) -> None:
    """Changing some settings leaves the others as they were."""
    with store.work() as work:
        work.people.change(
            ines.id, weekday="sat", nudge_at=time(8), paused_until=date.max, waiting_for={"ask": "turn"}
        )
        work.commit()

    with store.work(reading=True) as work:
        changed = work.people.get(ines.id)
    assert (changed.weekday, changed.nudge_at, changed.paused_until) == ("sat", time(8), date.max)
    assert (changed.waiting_for, changed.language, changed.units) == ({"ask": "turn"}, "es", "f")


def test_an_unknown_zone_is_refused(store: Store, ines: Person, at: datetime) -> None:
    """A zone that the IANA list does not hold is refused with an example of one that it does."""
    with store.work() as work:
        for zone in ("Mars/Olympus", "", "../etc/passwd"):
            with pytest.raises(BadInput, match="use a name such as America/Denver"):
                work.people.change(ines.id, zone=zone)
            with pytest.raises(BadInput, match="unknown time zone"):
                work.people.add("sms", "+13035550109", None, "en", "f", zone, at)


def test_an_unlinked_number_is_a_strangers(store: Store, at: datetime) -> None:
    """Nobody is known by it, nothing of its former owner's is lost, and a list on paper cannot enrol it."""
    with store.work() as work:
        ines = work.people.add("sms", "+13035550100", "Ines", "en", "f", "America/Denver", at)
        work.inbox.take(Incoming("sms", "+13035550100", "1", "temp 128", at))

        work.people.unlink(ines.id, at)

        assert work.people.by_address("sms", "+13035550100") is None
        assert work.people.on_stop_list("sms", "+13035550100")
        assert [said.text for said in work.helpdesk.thread(ines.id, 9)] == ["temp 128"]
        stranger = work.people.add("sms", "+13035550100", None, "en", "f", "America/Denver", at)
        assert work.helpdesk.thread(stranger.id, 9) == []
        work.people.consent(stranger.id, True, "OK?", "en", "sms", None, "1", at)
        assert not work.people.on_stop_list("sms", "+13035550100")


@pytest.mark.parametrize("change", ["UPDATE consent SET given = true", "DELETE FROM consent"])
def test_the_database_lets_nobody_change_the_ledger(
    store: Store, database_url: str, at: datetime, change: str
) -> None:
    """Whoever goes past the program, too, can only add lines."""
    with store.work() as work:
        person = work.people.add("sms", "+13035550100", None, "en", "f", "America/Denver", at)
        work.people.consent(person.id, False, "stop", "en", "sms", None, "7", at)
        work.commit()
    engine = create_engine(database_url)

    with pytest.raises(DBAPIError, match="only added to"), engine.begin() as connection:
        connection.execute(text(change))

    engine.dispose()
    with store.work(reading=True) as work:
        assert [line.given for line in work.people.consents(person.id)] == [False]


def test_the_consent_ledger_keeps_every_word(store: Store, at: datetime) -> None:
    """Each yes and no is a line of its own, in the wording shown; the standing follows the last one."""
    later = at + timedelta(days=3)
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Denver"))
        person = work.people.add("sms", "+13035550100", None, "en", "f", "America/Denver", at)
        said_yes = work.people.consent(
            person.id, True, "About 2 texts a week?", "en", "sms", "FIG22", "7", at
        )
        said_no = work.people.consent(person.id, False, "stop", "en", "sms", None, "7", later)
        ledger = work.people.consents(person.id)

    assert (said_yes.standing, said_yes.joined_at, said_yes.class_code) == ("joined", at, "FIG22")
    assert (said_no.standing, said_no.joined_at, said_no.class_code) == ("stopped", at, "FIG22")
    assert [(line.given, line.wording, line.class_code, line.version, line.at) for line in ledger] == [
        (True, "About 2 texts a week?", "FIG22", "7", at),
        (False, "stop", None, "7", later),
    ]


def test_one_person_is_written_to_at_one_address(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """A new address is where to write from then on; the old one still tells who writes."""
    with store.work() as work:
        work.people.reach(ines.id, "telegram", "77", at)

        assert work.people.get(ines.id).channel == "telegram"
        assert work.people.by_address("sms", "+13035550101") == work.people.get(ines.id)

        work.people.reach(leo.id, "telegram", "77", at)
        assert work.people.get(ines.id).address == ""
        assert work.people.by_address("telegram", "77") == work.people.get(leo.id)


def test_erasing_leaves_nothing_personal(store: Store, ines: Person, database_url: str, at: datetime) -> None:
    """After "forget me" no table holds the name, the number or the words; what was told of the pile stays."""
    with store.work() as work:
        incoming_id = work.inbox.take(
            Incoming("sms", ines.address, "m1", "Ines here, 128 and dry", at, "Ines")
        )
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.record(pile.id, ines.id, Record("temperature", at.date(), core_c=53.0), at, incoming_id)
        reply = work.outbox.add(
            ines.id, "reply", [Line("hello", {"name": "Ines"})], due_at=at, unique_key="r1", reason={}
        )
        assert reply is not None
        work.outbox.claim(at, "me", timedelta(minutes=1), 1)
        work.outbox.sent(reply, at, "Hello Ines", "9")
        work.commit()

    with store.work() as work:
        work.people.erase(ines.id, at)
        work.commit()

    engine = create_engine(database_url)
    with engine.connect() as connection:
        tables = ("person", "address", "incoming", "outbox", "consent", "record", "keeper", "stop_list")
        everything = [
            str(row) for name in tables for row in connection.execute(text(f"SELECT * FROM {name}"))
        ]
    engine.dispose()
    assert not [row for row in everything if "Ines" in row or "5550101" in row or "dry" in row]
    with store.work(reading=True) as work:
        assert work.people.get(ines.id).standing == "erased"
        assert work.people.by_address("sms", ines.address) is None
        assert [told.record.core_c for told in work.piles.records(pile.id)] == [53.0]
        assert work.piles.keepers(pile.id) == []


def test_an_erased_number_is_known_until_it_says_yes_again(store: Store, ines: Person, at: datetime) -> None:
    """The stop list knows a number without holding it; a new yes from that number takes it off."""
    with store.work() as work:
        work.people.erase(ines.id, at)

        assert work.people.on_stop_list("sms", ines.address)
        assert not work.people.on_stop_list("sms", "+13035550199")

        again = work.people.add("sms", ines.address, None, "es", "f", "America/Denver", at)
        assert work.people.on_stop_list("sms", ines.address)
        work.people.consent(again.id, True, "Yes?", "es", "sms", None, "1", at)
        assert not work.people.on_stop_list("sms", ines.address)


def test_without_the_secret_a_number_is_not_found(
    store: Store, database_url: str, ines: Person, at: datetime
) -> None:
    """The marks of the stop list are keyed: with another secret they tell nothing."""
    with store.work() as work:
        work.people.erase(ines.id, at)
        work.commit()
    other = Store(database_url, secret="guessed")

    with other.work(reading=True) as work:
        assert not work.people.on_stop_list("sms", ines.address)

    other.close()


def test_the_confirmation_of_an_erasure_still_goes_out(store: Store, ines: Person, at: datetime) -> None:
    """Once, to the number it was meant for; then the number is gone. Other messages are held back."""
    lease = timedelta(minutes=1)
    with store.work() as work:
        work.outbox.add(ines.id, "nudge", [Line("n", {})], due_at=at, unique_key="n", reason={})
        work.outbox.add(ines.id, "confirmation", [Line("gone", {})], due_at=at, unique_key="c", reason={})
        work.people.erase(ines.id, at)

        (row,) = work.outbox.claim(at, "me", lease, 10)
        assert (row.kind, row.channel, row.address) == ("confirmation", "sms", ines.address)

        work.outbox.starting(row.id, "me", at)
        work.outbox.sent(row.id, at, "All gone", "9")
        kept = work.outbox.get(row.id)
        assert (kept.text, kept.address, kept.lines) == (None, None, ())
        assert work.outbox.claim(at, "me", lease, 10) == []
        with pytest.raises(BadInput, match="add the confirmation before erasing"):
            work.outbox.add(ines.id, "confirmation", [], due_at=at, unique_key="c2", reason={})


def test_export_holds_everything_about_a_person(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """The export has settings, consents, records and messages of this person, and of nobody else."""
    with store.work() as work:
        work.inbox.take(Incoming("sms", ines.address, "m1", "128 and dry", at))
        work.inbox.take(Incoming("sms", leo.address, "m2", "turned it", at))
        pile = work.piles.found(ines.id, "America/Denver", at)
        work.piles.record(pile.id, ines.id, Record("temperature", at.date(), core_c=53.0), at)
        work.piles.record(pile.id, leo.id, Record("turned", at.date()), at)

        kept = work.people.export(ines.id)

    assert kept["person"]["name"] == "Ines"
    assert [line["wording"] for line in kept["consents"]] == ["Yes?"]
    assert [(row["kind"], row["core_c"], row["on"]) for row in kept["records"]] == [
        ("temperature", 53.0, at.date().isoformat())
    ]
    assert [row["text"] for row in kept["received"]] == ["128 and dry"]


def test_people_to_look_at_come_by_their_moment(
    store: Store, ines: Person, leo: Person, at: datetime
) -> None:
    """Whoever joined is looked at from then on, the longest due first, until told otherwise."""
    with store.work() as work:
        work.people.change(leo.id, next_look_at=at - timedelta(hours=1))
        assert [person.id for person in work.people.take_due(at, 10)] == [leo.id, ines.id]

        work.people.change(leo.id, next_look_at=None)
        work.people.change(ines.id, next_look_at=at + timedelta(hours=1))

        assert work.people.take_due(at, 10) == []
        assert work.people.next_look(at) == at + timedelta(hours=1)


def test_who_speaks_through_a_phone_is_forgotten_with_it(store: Store, ines: Person, at: datetime) -> None:
    """A name that only this phone has told: credited, never written to, blanked with its owner."""
    with store.work() as work:
        row = work.piles.found(ines.id, "America/Denver", at)
        marta = work.people.add_to_phone("Marta", ines, at)
        work.piles.join(row.id, marta.id, at)
        work.commit()
    assert (marta.standing, marta.address, marta.through_id) == ("asked", "", ines.id)

    with store.work() as work:
        work.people.erase(ines.id, at)
        work.commit()

    with store.work(reading=True) as work:
        assert work.people.get(marta.id).name is None
        assert work.piles.keepers(row.id) == []
