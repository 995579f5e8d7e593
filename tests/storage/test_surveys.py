"""Surveys: a question a week, each person once, a skip counted as a skip and silence as silence."""

from datetime import date, datetime, timedelta

import pytest

from shared.errors import BadInput
from storage.people import Person
from storage.staff import Member
from storage.surveys import Counted, Item, Survey
from storage.work import Store, Work

GOING = Item("Is your pile going?", "¿Sigue tu pila?", (("Yes", "Sí"), ("No", "No")))
USED = Item("Did you use the compost?", "¿Usaste la composta?", (("Yes", "Sí"), ("Not yet", "Aún no")))
LATER = timedelta(days=30)


@pytest.fixture
def maren(store: Store, at: datetime) -> Member:
    """An educator, who has said no yes for herself."""
    with store.work() as work:
        person = work.people.add("sms", "+13035550142", "Maren", "en", "f", "America/Denver", at)
        member = work.staff.join(work.staff.invite("Maren", "educator", None, at), person.id, at)
        work.commit()
    assert member is not None
    return member


def survey(work: Work, maren: Member, *items: Item) -> Survey:
    """A survey of the spring."""
    return work.surveys.add("Spring", items, date(2026, 3, 1), date(2026, 5, 31), maren.id)


def test_each_is_asked_one_question_a_week(
    store: Store, maren: Member, ines: Person, leo: Person, at: datetime
) -> None:
    """Who was asked the first is asked the second seven days later, and nothing after the last."""
    with store.work() as work:
        spring = survey(work, maren, GOING, USED)
        now = at + LATER
        assert work.surveys.next_people(spring, now, 10) == [(ines.id, 0), (leo.id, 0)]
        work.surveys.ask(spring.id, ines.id, 0, now)
        assert work.surveys.next_people(spring, now + timedelta(days=6), 10) == [(leo.id, 0)]
        week = now + timedelta(days=7)
        assert (ines.id, 1) in work.surveys.next_people(spring, week, 10)
        work.surveys.ask(spring.id, ines.id, 1, week)
        assert work.surveys.next_people(spring, week + timedelta(days=30), 10) == [(leo.id, 0)]


def test_nobody_is_asked_in_their_first_fortnight(
    store: Store, maren: Member, ines: Person, at: datetime
) -> None:
    """The first days are for the pile."""
    with store.work() as work:
        spring = survey(work, maren, GOING)

        assert work.surveys.next_people(spring, at + timedelta(days=13), 10) == []
        assert work.surveys.next_people(spring, at + timedelta(days=14), 10) == [(ines.id, 0)]


def test_answers_skips_and_silence_by_hand(
    store: Store, maren: Member, ines: Person, leo: Person, at: datetime
) -> None:
    """Three asked: one says yes in Spanish, one skips after all, one is silent."""
    with store.work() as work:
        spring = survey(work, maren, GOING)
        ana = work.people.add("sms", "+13035550103", "Ana", "en", "f", "America/Denver", at)
        for person in (ines, leo, ana):
            work.surveys.ask(spring.id, person.id, 0, at + LATER)
        work.surveys.answer(spring.id, 0, 0, ines.id, at + LATER)
        work.surveys.answer(spring.id, 0, 1, leo.id, at + LATER)
        work.surveys.answer(spring.id, 0, None, leo.id, at + LATER)

        [count] = work.surveys.counted(spring)

    assert count == Counted(asked=3, skipped=1, answers={"Yes": 1, "No": 0})
    assert count.answered == 1


def test_a_survey_runs_from_its_first_day_to_its_last(store: Store, maren: Member, at: datetime) -> None:
    """It asks on both of them; once stopped, on none."""
    with store.work() as work:
        spring = survey(work, maren, GOING)
        days = [date(2026, 2, 28), date(2026, 3, 1), date(2026, 5, 31), date(2026, 6, 1)]
        running = [len(work.surveys.running(day)) for day in days]
        work.surveys.stop(spring.id, at)

        assert running == [0, 1, 1, 0]
        assert work.surveys.running(date(2026, 4, 1)) == []


def test_a_survey_has_five_questions_at_most(store: Store, maren: Member) -> None:
    """A sixth is refused, and so is none."""
    with store.work() as work:
        for number in (0, 6):
            with pytest.raises(BadInput, match="one to 5 questions"):
                survey(work, maren, *([GOING] * number))
