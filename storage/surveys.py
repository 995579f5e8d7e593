"""Surveys of a few questions in the thread: who was asked what, and what they said."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from shared.errors import BadInput
from storage.models import PersonTable, insert_once
from storage.people import Language
from storage.staff_models import SurveyAnswerTable, SurveyTable

MOST_ITEMS = 5
BETWEEN = timedelta(days=7)
"""One question a week."""
SETTLED = timedelta(days=14)
"""Nobody is asked in their first days: those are for the pile."""
SKIPPED = "skip"


@dataclass(frozen=True, slots=True)
class Item:
    """A question in both languages, and its answers, each in both languages."""

    en: str
    es: str
    answers: tuple[tuple[str, str], ...]

    def text(self, language: Language) -> str:
        """The question as somebody of this language gets it."""
        return self.es if language == "es" else self.en

    def choices(self, language: Language) -> tuple[str, ...]:
        """The answers to choose from."""
        return tuple(es if language == "es" else en for en, es in self.answers)


@dataclass(frozen=True, slots=True)
class Survey:
    """A survey; its days are those of the programme's zone, the last one included."""

    id: int
    title: str
    items: tuple[Item, ...]
    starts_on: date
    ends_on: date
    cursor: int
    stopped_at: datetime | None


@dataclass(frozen=True, slots=True)
class Counted:
    """What came of one question: how many were asked, skipped it, gave which answer (in English)."""

    asked: int
    skipped: int
    answers: dict[str, int]

    @property
    def answered(self) -> int:
        """How many gave an answer."""
        return sum(self.answers.values())


class Surveys:
    """The surveys of one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def add(self, title: str, items: Sequence[Item], starts_on: date, ends_on: date, made_by: int) -> Survey:
        """Keep a survey. Raises BadInput where it has no or too many questions, or ends before it starts."""
        if not 1 <= len(items) <= MOST_ITEMS:
            raise BadInput(f"a survey has one to {MOST_ITEMS} questions, not {len(items)}")
        if ends_on < starts_on:
            raise BadInput("the survey ends before it starts: change one of the days")
        row = SurveyTable(
            title=title,
            items=[
                {"en": item.en, "es": item.es, "answers": list(map(list, item.answers))} for item in items
            ],
            starts_on=starts_on,
            ends_on=ends_on,
            made_by=made_by,
            cursor=0,
        )
        self._session.add(row)
        self._session.flush()
        return _survey(row)

    def get(self, survey_id: int) -> Survey:
        """The survey of this id. Raises BadInput where there is none."""
        row = self._session.get(SurveyTable, survey_id)
        if row is None:
            raise BadInput(f"there is no survey {survey_id}")
        return _survey(row)

    def latest(self, limit: int) -> list[Survey]:
        """The surveys, the latest first."""
        rows = self._session.scalars(select(SurveyTable).order_by(SurveyTable.id.desc()).limit(limit))
        return [_survey(row) for row in rows]

    def running(self, on: date) -> list[Survey]:
        """Those that ask on this day."""
        rows = self._session.scalars(
            select(SurveyTable)
            .where(SurveyTable.starts_on <= on, SurveyTable.ends_on >= on, SurveyTable.stopped_at.is_(None))
            .order_by(SurveyTable.id)
        )
        return [_survey(row) for row in rows]

    def stop(self, survey_id: int, at: datetime) -> None:
        """Ask nobody any more."""
        mine = update(SurveyTable).where(SurveyTable.id == survey_id, SurveyTable.stopped_at.is_(None))
        self._session.execute(mine.values(stopped_at=at))

    def next_people(self, survey: Survey, at: datetime, limit: int) -> list[tuple[int, int]]:
        """Who may be asked what next: (person, item); nobody within a week of any survey's question."""
        recent = select(SurveyAnswerTable.person_id).where(
            SurveyAnswerTable.person_id == PersonTable.id, SurveyAnswerTable.asked_at > at - BETWEEN
        )
        asked = (
            select(func.count())
            .where(SurveyAnswerTable.survey_id == survey.id, SurveyAnswerTable.person_id == PersonTable.id)
            .correlate(PersonTable)
            .scalar_subquery()
        )
        rows = self._session.execute(
            select(PersonTable.id, asked)
            .where(
                PersonTable.standing == "joined",
                PersonTable.through_id.is_(None),
                PersonTable.joined_at <= at - SETTLED,
                asked < len(survey.items),
                ~recent.exists(),
            )
            .order_by(PersonTable.id <= survey.cursor, PersonTable.id)
            .limit(limit)
        )
        return [(person_id, item) for person_id, item in rows]

    def looked_at(self, survey_id: int, person_id: int) -> None:
        """The next beat goes on behind this person."""
        self._session.execute(update(SurveyTable).where(SurveyTable.id == survey_id).values(cursor=person_id))

    def ask(self, survey_id: int, person_id: int, item: int, at: datetime) -> bool:
        """Note that a question is put to somebody; False where it was before."""
        values = {"survey_id": survey_id, "person_id": person_id, "item": item, "asked_at": at}
        return insert_once(self._session, SurveyAnswerTable, values) is not None

    def answer(self, survey_id: int, item: int, place: int | None, person_id: int, at: datetime) -> None:
        """The answer of this place, None for a skip; a second one replaces the first."""
        value = SKIPPED if place is None else self.get(survey_id).items[item].answers[place][0]
        mine = update(SurveyAnswerTable).where(
            SurveyAnswerTable.survey_id == survey_id,
            SurveyAnswerTable.person_id == person_id,
            SurveyAnswerTable.item == item,
        )
        self._session.execute(mine.values(value=value, answered_at=at))

    def counted(self, survey: Survey) -> list[Counted]:
        """What came of each question so far."""
        rows = self._session.execute(
            select(SurveyAnswerTable.item, SurveyAnswerTable.value, func.count())
            .where(SurveyAnswerTable.survey_id == survey.id)
            .group_by(SurveyAnswerTable.item, SurveyAnswerTable.value)
        )
        said: list[dict[str | None, int]] = [{} for _ in survey.items]
        for item, value, number in rows:
            said[item][value] = number
        return [
            Counted(
                asked=sum(each.values()),
                skipped=each.get(SKIPPED, 0),
                answers={answer: each.get(answer, 0) for answer, _ in item.answers},
            )
            for item, each in zip(survey.items, said, strict=True)
        ]


def _survey(row: SurveyTable) -> Survey:
    items: Sequence[Mapping[str, Any]] = row.items
    return Survey(
        row.id,
        row.title,
        tuple(
            Item(item["en"], item["es"], tuple((en, es) for en, es in item.get("answers", ())))
            for item in items
        ),
        row.starts_on,
        row.ends_on,
        row.cursor,
        row.stopped_at,
    )
