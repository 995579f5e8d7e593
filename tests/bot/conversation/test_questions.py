"""What the staff ask through us: three questions at joining, and surveys; each may be skipped."""

from datetime import UTC, date, datetime, timedelta

import pytest

from bot.conversation.respond import Desk, respond
from bot.outlook import Outlooks
from bot.profile import Profile
from scheduler.broadcasts import send_out
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.surveys import Item
from storage.work import Store

NOON = datetime(2026, 4, 2, 18, tzinfo=UTC)
PHONE = "+15055550150"
BUILT = "built it today, 3 ft bin, 10 buckets leaves, 8 buckets grass, filled at once"


class Talk:
    """Somebody's texts and what comes back, message by message."""

    def __init__(self, store: Store) -> None:
        self.store, self.at, self.number = store, NOON, 0
        self.desk = Desk(Profile(), Outlooks(Profile()))

    def say(self, text: str) -> list[str]:
        """The keys of the lines of the reply; sent at once, so that its question is open."""
        self.number += 1
        self.at += timedelta(minutes=1)
        incoming = Incoming("sms", PHONE, f"m{self.number}", text, self.at)
        with self.store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        assert incoming_id is not None
        respond(self.store, self.desk, incoming_id, incoming, self.at)
        return self.sent()

    def sent(self) -> list[str]:
        """Everything that is due goes out; the keys of its lines."""
        with self.store.work() as work:
            rows = work.outbox.claim(self.at, "a", timedelta(minutes=5), 10)
            for row in rows:
                work.outbox.sent(row.id, self.at, "text", None)
                if row.opens is not None:
                    work.people.change(row.person_id, waiting_for=row.opens)
            work.commit()
        return [line.key for row in rows for line in row.lines]

    @property
    def person(self) -> Person:
        """Who texts."""
        with self.store.work(reading=True) as work:
            found = work.people.by_address("sms", PHONE)
        assert found is not None
        return found


@pytest.fixture
def talk(store: Store) -> Talk:
    """Somebody whose pile of a class stands, asked for a thermometer."""
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver"))
        work.commit()
    spoken = Talk(store)
    for text in ("KAP47", "yes", BUILT):
        spoken.say(text)
    return spoken


def test_the_three_questions_come_one_by_one_after_the_set_up(talk: Talk) -> None:
    """Composted before, household, area; of the ZIP code three digits are kept."""
    assert talk.say("no") == ["thermometer.no", "ask.before"]
    assert talk.say("2") == ["ask.household"]
    assert talk.say("4") == ["ask.postcode"]
    assert talk.say("87102") == ["thanks.joined"]

    person = talk.person
    assert (person.composted_before, person.household, person.postcode_area) == (False, 4, "871")


def test_each_may_be_skipped(talk: Talk) -> None:
    """By its digit or by the word; nothing is kept of a skip."""
    talk.say("no")
    assert talk.say("3") == ["ask.household"]
    assert talk.say("0") == ["ask.postcode"]
    assert talk.say("skip") == ["thanks.joined"]

    person = talk.person
    assert (person.composted_before, person.household, person.postcode_area) == (None, None, None)


def test_whoever_goes_on_about_the_pile_is_not_held_up(talk: Talk) -> None:
    """A reading is a reading, whatever was asked; the question is not asked again."""
    talk.say("no")
    talk.say("1")

    keys = talk.say("120")

    assert "read" in keys
    assert talk.person.household is None
    with talk.store.work(reading=True) as work:
        [pile] = work.piles.of(talk.person.id)
        told = [each.record.core_c for each in work.piles.records(pile.id)]
    assert [round(core_c or 0) for core_c in told if core_c] == [49]
    assert not {key for text in ("turned it", "looks dry") for key in talk.say(text)} & {
        "ask.before",
        "ask.household",
        "ask.postcode",
    }


def test_stop_is_stop_whatever_was_asked(talk: Talk) -> None:
    """An opt-out is no answer to a question."""
    talk.say("no")

    assert talk.say("stop") == ["stopped"]
    assert talk.person.standing == "stopped"


def test_who_came_without_a_class_is_not_asked(store: Store) -> None:
    """The questions are for the report on classes."""
    spoken = Talk(store)
    for text in ("hi", "yes", BUILT):
        spoken.say(text)

    assert spoken.say("no") == ["thermometer.no"]


@pytest.mark.parametrize(
    ("said", "value"), [("1", "Yes"), ("2", "No"), ("yes", "Yes"), ("3", "skip"), ("skip", "skip")]
)
def test_a_survey_is_answered_by_digit_or_word(talk: Talk, said: str, value: str) -> None:
    """What was chosen is kept; the last digit skips."""
    talk.say("no")
    with talk.store.work() as work:
        maren = work.people.add("sms", "+15055550142", "Maren", "en", "f", "America/Denver", NOON)
        staff = work.staff.join(work.staff.invite("Maren", "educator", None, NOON), maren.id, NOON)
        assert staff is not None
        going = Item("Is your pile going?", "¿Sigue tu pila?", (("Yes", "Sí"), ("No", "No")))
        work.surveys.add("Spring", [going], date(2026, 4, 1), date(2026, 6, 1), staff.id)
        work.commit()
    talk.at += timedelta(days=20)
    send_out(talk.store, talk.at, "America/Denver")
    assert talk.sent() == ["nudge.survey"]

    assert talk.say(said) == ["skipped" if value == "skip" else "thanks"]

    with talk.store.work(reading=True) as work:
        [count] = work.surveys.counted(work.surveys.get(1))
    assert {"skip": count.skipped, **count.answers}[value] == 1
    assert count.asked == 1


def test_a_word_on_the_pile_is_no_answer_to_a_survey(talk: Talk) -> None:
    """ "130" while a survey asks is a reading."""
    with talk.store.work() as work:
        options = ["answer:Yes", "answer:No", "skip"]
        work.outbox.add(
            talk.person.id,
            "reply",
            [Line("nudge.survey", {"text": "?"})],
            due_at=talk.at,
            unique_key="s",
            reason={},
            opens={"ask": "survey", "survey": 1, "item": 0, "options": options},
        )
        work.commit()
    talk.sent()

    assert "read" in talk.say("130")
