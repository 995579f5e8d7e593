"""One message from the inbox to the outbox, on SQLite and on PostgreSQL."""

from datetime import UTC, date, datetime, timedelta

import pytest

from bot.conversation.answers import WHY_HELD
from bot.conversation.respond import Desk, respond
from bot.language.meaning import Language
from bot.language.wording import Voice
from bot.outlook import Outlooks
from bot.profile import Profile, Staff
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store

NOW = datetime(2026, 5, 20, 18, tzinfo=UTC)
PHONE = "+15055550101"
PROFILE = Profile(programme="Larkmoor Compost", staff=Staff(alerts=("telegram:900",)))
DESK = Desk(PROFILE, Outlooks(PROFILE))


class Phone:
    """Somebody's phone: what is texted goes through inbox and respond, and every answer counts as sent."""

    def __init__(self, store: Store, address: str = PHONE) -> None:
        self.store = store
        self.address = address
        self.count = 0
        self.at = NOW

    def text(self, words: str, *, form: str = "text", message_id: str | None = None) -> list[OutRow]:
        """Text something; the rows that lead to an answer on this phone."""
        self.count += 1
        self.at += timedelta(minutes=1)
        key = message_id or f"{self.address}-{self.count}"
        incoming = Incoming("sms", self.address, key, words, self.at, form=form)  # type: ignore[arg-type]
        with self.store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        if incoming_id is None:
            return []
        respond(self.store, DESK, incoming_id, incoming, self.at)
        return self.deliver()

    def deliver(self) -> list[OutRow]:
        """Send what is due, as the sender would."""
        sent = []
        with self.store.work() as work:
            while rows := work.outbox.claim(self.at, "test", timedelta(minutes=5), 10):
                for row in rows:
                    work.outbox.starting(row.id, "test", self.at)
                    work.outbox.sent(row.id, self.at, "words as shown", None)
                    if row.opens is not None:
                        work.people.change(row.person_id, waiting_for=row.opens)
                sent += [row for row in rows if row.address == self.address]
            work.commit()
        return sent

    def person(self) -> Person:
        """Who it belongs to."""
        with self.store.work(reading=True) as work:
            person = work.people.by_address("sms", self.address)
        assert person is not None
        return person


def keys(rows: list[OutRow]) -> list[str]:
    """The keys of all lines."""
    return [line.key for row in rows for line in row.lines]


@pytest.fixture
def ana(store: Store) -> Phone:
    """A keeper with a standing pile."""
    phone = Phone(store)
    phone.text("hi")
    phone.text("yes")
    phone.text("built it today, 3x3x3 bin, 20 buckets of leaves and 20 buckets of grass")
    return phone


def test_a_pile_stands_after_three_texts(ana: Phone) -> None:
    """A greeting, a yes, and one message of facts."""
    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)

    assert row.setup["built"] == "2026-05-20"
    assert [name for name, _ in row.setup["ingredients"]] == ["dry_leaves", "grass_clippings"]


@pytest.mark.parametrize(("first", "language"), [("yo", "en"), ("hola", "es"), ("hello", "en")])
def test_a_word_of_both_languages_shows_neither(store: Store, first: str, language: Language) -> None:
    """A first "yo" leaves somebody in the programme's first language."""
    phone = Phone(store)

    assert keys(phone.text(first)) == ["consent"]

    assert phone.person().language == language


def test_whoever_has_the_number_now_gets_nothing_of_the_one_before(ana: Phone) -> None:
    """A wrong number is told so once; its new owner is a stranger, and staff look for the keeper."""
    keeper = ana.person()

    assert keys(ana.text("wrong number, who is this?")) == ["wrong_person"]

    with ana.store.work() as work:
        assert work.people.by_address("sms", ana.address) is None
        assert [line.given for line in work.people.consents(keeper.id)] == [True, False]
        assert [row.cause for row in work.helpdesk.of(keeper.id)] == ["wrong_person"]
        assert work.people.on_stop_list("sms", ana.address)
    assert keys(ana.text("start")) == ["consent"]
    with ana.store.work(reading=True) as work:
        assert work.piles.of(ana.person().id) == []


@pytest.mark.parametrize("years", [0, 3])
def test_the_wording_is_known_long_after_it_was_shown(store: Store, years: int) -> None:
    """A stop after many messages, and a new yes, rest on the same wording, even when texts were let go."""
    phone = Phone(store)
    for words in ("hello", "yes", *["temp 128"] * 6, "STOP"):
        phone.text(words)
    phone.at += timedelta(days=365 * years)
    with store.work() as work:
        work.privacy.let_go(phone.at - timedelta(days=365))
        work.commit()
    phone.text("START")

    with store.work(reading=True) as work:
        ledger = work.people.consents(phone.person().id)
    assert [(line.given, line.wording) for line in ledger] == [
        (given, "words as shown") for given in (True, False, True)
    ]


def test_a_yes_with_the_code_is_a_yes_to_the_poster(store: Store) -> None:
    """Nothing was sent before: the ledger has the poster's wording."""
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Phoenix"))
        work.commit()
    phone = Phone(store)
    phone.text("FIG22 yes")

    with store.work(reading=True) as work:
        (consent,) = work.people.consents(phone.person().id)
    assert consent.wording.startswith("For adults. One to three texts a week")
    assert "STOP" in consent.wording


def test_consent_is_kept_with_the_wording_as_shown(store: Store) -> None:
    """Wording, language, channel and class stand in the ledger."""
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Phoenix"))
        work.commit()
    phone = Phone(store)
    phone.text("FIG22")
    phone.text("yes")

    with store.work(reading=True) as work:
        (consent,) = work.people.consents(phone.person().id)
    assert (consent.given, consent.wording, consent.channel) == (True, "words as shown", "sms")
    assert consent.class_code == "FIG22"
    assert phone.person().zone == "America/Phoenix"


def test_the_same_message_again_changes_nothing(ana: Phone) -> None:
    """A redelivered message is not recorded or answered twice."""
    first = ana.text("128", message_id="again")
    second = ana.text("128", message_id="again")

    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)
        temperatures = [told for told in work.piles.records(row.id) if told.record.kind == "temperature"]
    assert first
    assert not second
    assert len(temperatures) == 1


def test_handling_one_inbox_row_twice_changes_nothing(ana: Phone) -> None:
    """Two processes that pick up the same row lead to one record and one answer."""
    incoming = Incoming("sms", PHONE, "twice", "turned it", ana.at)
    with ana.store.work() as work:
        incoming_id = work.inbox.take(incoming)
        work.commit()
    assert incoming_id is not None

    for _ in range(2):
        respond(ana.store, DESK, incoming_id, incoming, ana.at)

    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)
        assert [told.record.kind for told in work.piles.records(row.id)].count("turned") == 1
    assert len(ana.deliver()) == 1


def test_an_event_is_dated_by_its_day_not_by_the_messages(ana: Phone) -> None:
    """ "Yesterday" is the person's yesterday."""
    ana.at += timedelta(days=3)
    ana.text("turned it yesterday")

    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)
        (told,) = work.piles.records(row.id)
    assert told.record.on == date(2026, 5, 22)


def test_a_digit_answers_the_open_question(ana: Phone) -> None:
    """The set-up's "filled at once?" by 2: as I go."""
    answer = ana.text("2")

    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)
    assert row.setup["fed"] is True
    assert keys(answer)[0] == "fill.as_i_go"


def test_an_old_button_still_means_what_it_meant(ana: Phone) -> None:
    """It hangs on its own message, whatever is open now."""
    with ana.store.work() as work:
        (pile,) = work.piles.of(ana.person().id)
        row_id = work.outbox.add(
            ana.person().id,
            "nudge",
            [Line("nudge.turn.plain", {})],
            due_at=ana.at,
            unique_key="old",
            reason={"why": "test"},
            pile_id=pile.id,
            options=("turned", "not_turned"),
            opens={"ask": "turn", "pile": pile.id, "options": ["turned", "not_turned"]},
        )
        work.commit()
    ana.deliver()
    ana.text("how is it going?")

    ana.text(f"{row_id}:1", form="button")

    with ana.store.work(reading=True) as work:
        assert [told.record.kind for told in work.piles.records(pile.id)] == ["turned"]


def test_what_was_done_is_no_longer_asked_for(ana: Phone) -> None:
    """A waiting turn nudge is withdrawn when the turn is told."""
    with ana.store.work() as work:
        (pile,) = work.piles.of(ana.person().id)
        work.outbox.add(
            ana.person().id,
            "nudge",
            [Line("nudge.turn.plain", {})],
            due_at=ana.at + timedelta(hours=5),
            unique_key="turn later",
            reason={"why": "test"},
            pile_id=pile.id,
        )
        work.commit()

    ana.text("turned it")
    ana.at += timedelta(hours=6)

    assert "nudge.turn.plain" not in keys(ana.deliver())


@pytest.mark.parametrize("why_not", ["budget", "gap doubled"])
def test_why_tells_what_was_kept_back(ana: Phone, why_not: str) -> None:
    """Whatever restraint kept from Ana this week, and nothing was sent since: "why?" says the reason."""
    with ana.store.work() as work:
        (pile,) = work.piles.of(ana.person().id)
        work.outbox.hold(
            ana.person().id,
            "nudge",
            [Line("nudge.turn.plain", {})],
            due_at=ana.at,
            unique_key="held",
            reason={"why": "cooling_food_left"},
            why_not=why_not,
            pile_id=pile.id,
        )
        work.commit()
    ana.at += timedelta(days=1)

    assert "why.held" in keys(ana.text("why?"))

    ana.at += timedelta(days=8)
    assert "why.held" not in keys(ana.text("why?"))


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_reason_to_keep_quiet_has_its_words(language: Language) -> None:
    """In both languages."""
    for reason in WHY_HELD.values():
        assert Voice(language, "f", NOW.date()).line(Line(f"held.{reason}", {}))


def test_an_opt_out_holds_back_all_that_waits(ana: Phone) -> None:
    """One confirmation, then silence."""
    with ana.store.work() as work:
        work.outbox.add(
            ana.person().id,
            "nudge",
            [Line("nudge.start", {})],
            due_at=ana.at + timedelta(hours=1),
            unique_key="later",
            reason={"why": "test"},
        )
        work.commit()

    assert keys(ana.text("please stop texting me")) == ["stopped"]
    ana.at += timedelta(days=2)
    assert ana.deliver() == []
    assert ana.text("128") == []


def test_smoke_alerts_the_staff(ana: Phone) -> None:
    """The answer stands alone, and every staff address is told."""
    assert keys(ana.text("help its smoking"))[-2:] == ["danger.stay_back", "told_staff"]

    with ana.store.work(reading=True) as work:
        staff = work.people.by_address("telegram", "900")
        assert staff is not None
        assert keys(work.outbox.thread(staff.id, 5)) == ["alert.smoke"]


def test_a_forwarded_code_lets_a_second_keeper_join_from_their_own_phone(ana: Phone) -> None:
    """They consent themselves, once they have read to what, and both see one history."""
    ana.text("I want to share the pile with my uncle")
    with ana.store.work(reading=True) as work:
        rows = work.outbox.thread(ana.person().id, 3)
    code = next(line.values["code"] for row in rows for line in row.lines if line.key == "share.code")
    beto = Phone(ana.store, "+15055550102")

    assert keys(beto.text(f"{code} yes")) == ["consent"]
    beto.text("yes")
    beto.text("turned it")

    with ana.store.work(reading=True) as work:
        (row,) = work.piles.of(ana.person().id)
        assert len(work.piles.keepers(row.id)) == 2
        assert [told.said_by for told in work.piles.records(row.id)] == [beto.person().id]


def test_who_wants_to_be_forgotten_is_told_of_a_records_request(ana: Phone) -> None:
    """Before they say yes and after: their texts are held, and go when the request ends."""
    with ana.store.work() as work:
        boss = work.people.add("sms", "+15055550142", "Maren", "en", "f", "America/Denver", NOW)
        member = work.staff.join(work.staff.invite("Maren", "coordinator", None, NOW), boss.id, NOW)
        assert member is not None
        work.privacy.hold(ana.person().id, "request 7", member.id, NOW)
        work.commit()

    assert keys(ana.text("delete all my data")) == ["forget.held", "forget.sure"]
    assert keys(ana.text("yes")) == ["forget.done", "forget.held"]


def test_forgetting_leaves_the_piles_facts_and_nothing_personal(ana: Phone) -> None:
    """The confirmation is the last message; the number is unknown afterwards."""
    ana.text("128")
    person_id = ana.person().id
    ana.text("delete all my data")
    assert keys(ana.text("yes")) == ["forget.done"]

    with ana.store.work(reading=True) as work:
        assert work.people.by_address("sms", PHONE) is None
        assert work.people.get(person_id).name is None
        assert work.people.on_stop_list("sms", PHONE)
