"""What the yearly figures rest on, as it stood at a moment: whoever asks again later gets the same rows.

Only rows written by the moment `until` count, in the state in which they were then: what was taken back
later still holds, what was told later is not there.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from storage.models import (
    ClassTable,
    ConsentTable,
    KeeperTable,
    OutboxTable,
    PersonTable,
    PileTable,
    PromiseTable,
    RecordTable,
    insert_once,
)
from storage.piles import that_hold
from storage.staff_models import (
    DayFiguresTable,
    FrozenReportTable,
    HelpTable,
    QuestionTable,
    SurveyAnswerTable,
    SurveyTable,
)

FOR_FIGURES = ("setup", "added", "harvested", "texture", "smell", "temperature", "heat_feel", "undo")
"""The kinds whose content the figures read; of the others it counts only that somebody told them."""
PILES_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Graduate:
    """A person who has said yes at some time. Days count from `joined_at`.

    stopped_at   when they opted out, None where their last word is yes
    """

    id: int
    class_code: str | None
    language: str
    joined_at: datetime
    stopped_at: datetime | None
    composted_before: bool | None


@dataclass(frozen=True, slots=True)
class Heap:
    """A pile, its keepers, and when it was told of; `records` holds the kinds of `FOR_FIGURES`."""

    id: int
    keepers: tuple[int, ...]
    first_told: datetime
    last_told: datetime
    setup: dict[str, Any]
    records: tuple[tuple[str, date, dict[str, Any]], ...]
    promises: tuple[tuple[datetime, date, date], ...] = ()


@dataclass(frozen=True, slots=True)
class Taught:
    """A class as the figures see it."""

    code: str
    title: str | None
    language: str
    seats: int | None
    taught_on: date | None


@dataclass(frozen=True, slots=True)
class Asked:
    """A question of a graduate, by topic, and whether a human had to answer it."""

    topic: str
    at: datetime
    by_staff: bool


@dataclass(frozen=True, slots=True)
class Helped:
    """A row of the helpdesk: why, from when to when."""

    cause: str
    opened_at: datetime
    handled_at: datetime | None


@dataclass(frozen=True, slots=True)
class SurveyItem:
    """One question of a survey: how many were asked, who answered what; a skip is counted apart.

    answers   by their English words; `in_spanish` says them in Spanish
    """

    survey: str
    text_en: str
    text_es: str
    asked: int
    skipped: int
    answers: dict[str, int] = field(default_factory=dict)
    in_spanish: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FrozenReport:
    """A yearly report that never changes again."""

    id: int
    year: int
    data_date: date
    made_by: int
    made_at: datetime
    version: str
    figures: dict[str, Any]


class Reports:
    """The rows of the figures, in one unit of work."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def graduates(self, until: datetime) -> list[Graduate]:
        """Everybody who had said yes by then, through their own phone or none."""
        stopped: dict[int, datetime | None] = {}
        joined: dict[int, datetime] = {}
        rows = self._session.execute(
            select(ConsentTable.person_id, ConsentTable.given, ConsentTable.at)
            .where(ConsentTable.at <= until)
            .order_by(ConsentTable.id)
        )
        for person_id, given, at in rows:
            stopped[person_id] = None if given else stopped.get(person_id) or at
            if given:
                joined.setdefault(person_id, at)
        people = self._session.execute(
            select(
                PersonTable.id, PersonTable.class_code, PersonTable.language, PersonTable.composted_before
            ).order_by(PersonTable.id)
        )
        return [
            Graduate(id_, code, language, joined[id_], stopped[id_], before)
            for id_, code, language, before in people
            if id_ in joined
        ]

    def heaps(self, until: datetime) -> Iterator[Heap]:
        """Every pile of which something had been told by then, one after the other."""
        told = {
            pile_id: (first, last)
            for pile_id, first, last in self._session.execute(
                select(RecordTable.pile_id, func.min(RecordTable.said_at), func.max(RecordTable.said_at))
                .where(RecordTable.said_at <= until)
                .group_by(RecordTable.pile_id)
            )
        }
        keepers = self._lists(KeeperTable.pile_id, KeeperTable.person_id, KeeperTable.joined_at <= until)
        promises: defaultdict[int, list[tuple[datetime, date, date]]] = defaultdict(list)
        for pile_id, at, first, last in self._session.execute(
            select(PromiseTable.pile_id, PromiseTable.at, PromiseTable.first, PromiseTable.last)
            .where(PromiseTable.at <= until)
            .order_by(PromiseTable.id)
        ):
            promises[pile_id].append((at, first, last))
        for pile_id, rows in groupby(self._rows(until), key=lambda row: row.pile_id):
            setup, records = _as_it_stood(list(rows))
            yield Heap(
                pile_id,
                tuple(sorted(keepers[pile_id])),
                *told[pile_id],
                setup,
                records,
                tuple(promises[pile_id]),
            )

    def _rows(self, until: datetime) -> Iterator[Any]:
        """The records, pile by pile; some piles at a time."""
        columns = (
            RecordTable.id,
            RecordTable.pile_id,
            RecordTable.kind,
            RecordTable.on,
            RecordTable.data,
            RecordTable.replaces_id,
        )
        statement = (
            select(*columns)
            .where(RecordTable.said_at <= until, RecordTable.kind.in_(FOR_FIGURES))
            .order_by(RecordTable.pile_id, RecordTable.id)
        )
        last = self._session.scalar(select(func.max(PileTable.id))) or 0
        for first in range(1, last + 1, PILES_AT_ONCE):
            some = RecordTable.pile_id.between(first, first + PILES_AT_ONCE - 1)
            yield from self._session.execute(statement.where(some))

    def _lists(self, key: Any, value: Any, where: Any) -> defaultdict[int, list[int]]:
        lists: defaultdict[int, list[int]] = defaultdict(list)
        for one, other in self._session.execute(select(key, value).where(where)):
            lists[one].append(other)
        return lists

    def classes(self) -> list[Taught]:
        """Every class, the latest first."""
        rows = self._session.execute(
            select(
                ClassTable.code,
                ClassTable.title,
                ClassTable.language,
                ClassTable.seats,
                ClassTable.taught_on,
            ).order_by(ClassTable.taught_on.desc(), ClassTable.code)
        )
        return [Taught(*row) for row in rows]

    def ask(
        self, incoming_id: int, person_id: int, topics: Iterable[str], by_staff: bool, at: datetime
    ) -> None:
        """Note what a message asked, each topic once; its words are not kept here."""
        for topic in topics:
            insert_once(
                self._session,
                QuestionTable,
                {
                    "incoming_id": incoming_id,
                    "person_id": person_id,
                    "topic": topic,
                    "at": at,
                    "by_staff": by_staff,
                },
            )

    def questions(self, since: datetime, until: datetime) -> list[Asked]:
        """What was asked, oldest first."""
        rows = self._session.execute(
            select(QuestionTable.topic, QuestionTable.at, QuestionTable.by_staff)
            .where(QuestionTable.at > since, QuestionTable.at <= until)
            .order_by(QuestionTable.id)
        )
        return [Asked(*row) for row in rows]

    def helped(self, since: datetime, until: datetime) -> list[Helped]:
        """The rows of the helpdesk that were opened then, and when they were handled if by then."""
        rows = self._session.execute(
            select(HelpTable.cause, HelpTable.opened_at, HelpTable.handled_at)
            .where(HelpTable.opened_at > since, HelpTable.opened_at <= until)
            .order_by(HelpTable.id)
        )
        return [
            Helped(cause, opened, handled if handled is not None and handled <= until else None)
            for cause, opened, handled in rows
        ]

    def blocked(self, until: datetime) -> int:
        """People whose last message by then could not be delivered."""
        last = (
            select(OutboxTable.person_id, func.max(OutboxTable.id).label("id"))
            .where(OutboxTable.due_at <= until, OutboxTable.status.in_(("sent", "failed")))
            .group_by(OutboxTable.person_id)
            .subquery()
        )
        failed = (
            select(func.count())
            .select_from(OutboxTable)
            .join(last, last.c.id == OutboxTable.id)
            .where(OutboxTable.status == "failed")
        )
        return self._session.scalar(failed) or 0

    def surveys(self, since: datetime, until: datetime) -> list[SurveyItem]:
        """Every question of the surveys that was asked then."""
        answers: defaultdict[tuple[int, int], dict[str | None, int]] = defaultdict(dict)
        for survey_id, item, value, n in self._session.execute(
            select(SurveyAnswerTable.survey_id, SurveyAnswerTable.item, SurveyAnswerTable.value, func.count())
            .where(SurveyAnswerTable.asked_at > since, SurveyAnswerTable.asked_at <= until)
            .group_by(SurveyAnswerTable.survey_id, SurveyAnswerTable.item, SurveyAnswerTable.value)
        ):
            answers[survey_id, item][value] = n
        surveys = {row.id: row for row in self._session.scalars(select(SurveyTable))}
        return [
            SurveyItem(
                survey=surveys[survey_id].title,
                text_en=surveys[survey_id].items[item]["en"],
                text_es=surveys[survey_id].items[item]["es"],
                asked=sum(said.values()),
                skipped=said.get("skip", 0),
                answers={
                    value: n for value, n in sorted(said.items(), key=str) if value not in (None, "skip")
                },
                in_spanish=dict(surveys[survey_id].items[item].get("answers", ())),
            )
            for (survey_id, item), said in sorted(answers.items())
        ]

    def first_year(self) -> int | None:
        """The year in which the first person said yes."""
        first = self._session.scalar(select(func.min(ConsentTable.at)))
        return None if first is None else first.year

    def of_day(self, year: int, data_date: date) -> dict[str, Any] | None:
        """The figures of a year as they were worked out for this day, if they were."""
        row = self._session.get(DayFiguresTable, year)
        return dict(row.figures) if row is not None and row.data_date == data_date else None

    def keep_day(self, year: int, data_date: date, figures: dict[str, Any]) -> None:
        """Keep the figures of a day in the place of those of an earlier one."""
        self._session.merge(DayFiguresTable(year=year, data_date=data_date, figures=figures))

    def freeze(
        self, year: int, data_date: date, made_by: int, at: datetime, version: str, figures: dict[str, Any]
    ) -> FrozenReport:
        """Keep a report as it is."""
        row = FrozenReportTable(
            year=year, data_date=data_date, made_by=made_by, made_at=at, version=version, figures=figures
        )
        self._session.add(row)
        self._session.flush()
        return _frozen(row)

    def frozen(self) -> list[FrozenReport]:
        """Every frozen report, the latest first."""
        rows = self._session.scalars(select(FrozenReportTable).order_by(FrozenReportTable.id.desc()))
        return [_frozen(row) for row in rows]

    def frozen_report(self, report_id: int) -> FrozenReport | None:
        """The frozen report of this id."""
        row = self._session.get(FrozenReportTable, report_id)
        return None if row is None else _frozen(row)


def _as_it_stood(rows: Sequence[Any]) -> tuple[dict[str, Any], tuple[tuple[str, date, dict[str, Any]], ...]]:
    setup: dict[str, Any] = {}
    records = []
    for row in that_hold(rows):
        if row.kind == "setup":
            setup |= row.data
        elif row.kind != "undo":
            records.append((row.kind, row.on, dict(row.data)))
    return setup, tuple(records)


def _frozen(row: FrozenReportTable) -> FrozenReport:
    return FrozenReport(
        row.id, row.year, row.data_date, row.made_by, row.made_at, row.version, dict(row.figures)
    )
