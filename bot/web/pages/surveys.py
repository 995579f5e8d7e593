"""Surveys in the thread: at most five questions, one a week, each skipped by a digit."""

from itertools import pairwise

from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput
from storage.surveys import MOST_ITEMS, Item

LONGEST_QUESTION, LONGEST_ANSWER, MOST_ANSWERS = 120, 24, 5
LATEST = 30


def overview(visit: Visit) -> Answer:
    """The surveys, the latest first."""
    with visit.office.store.work(reading=True) as work:
        surveys = work.surveys.latest(LATEST)
    return Drawn("surveys.html", {"surveys": surveys, "today": visit.at.date()})


def form(visit: Visit) -> Answer:
    """An empty form."""
    return Drawn("survey_form.html", {"numbers": range(1, MOST_ITEMS + 1), "today": visit.at.date()})


def add(visit: Visit) -> Answer:
    """Keep a survey; it begins to ask on its first day."""
    title = forms.needed(visit, forms.line(visit, "title", "Title"), "Title")
    items = [item for number in range(1, MOST_ITEMS + 1) if (item := _item(visit, number)) is not None]
    if not items:
        raise BadInput(translate(visit.language, "Write one question at least."))
    starts_on = forms.needed_day(visit, "starts_on", "First day")
    ends_on = forms.needed_day(visit, "ends_on", "Last day")
    if ends_on < starts_on:
        forms.wrong(visit, "%s: not before the first.", "Last day")
    with visit.office.store.work() as work:
        survey = work.surveys.add(title, items, starts_on, ends_on, visit.who.id)
        work.commit()
    return Go(f"/surveys/{survey.id}")


def show(visit: Visit) -> Answer:
    """What people answered, and how many fell silent from one question to the next."""
    with visit.office.store.work(reading=True) as work:
        survey = work.surveys.get(visit.path["survey"])
        counted = work.surveys.counted(survey)
    lost = [None, *(before.asked - after.asked for before, after in pairwise(counted))]
    rows = list(zip(survey.items, counted, lost, strict=True))
    return Drawn("survey.html", {"survey": survey, "rows": rows})


def stop(visit: Visit) -> Answer:
    """Ask nobody any more; what was answered stays."""
    with visit.office.store.work() as work:
        work.surveys.stop(visit.path["survey"], visit.at)
        work.commit()
    return Go(f"/surveys/{visit.path['survey']}")


def _item(visit: Visit, number: int) -> Item | None:
    """One question of the form with its answers, one a line in each language; None where it is empty."""
    english = forms.line(visit, f"en-{number}", "In English", longest=LONGEST_QUESTION)
    spanish = forms.line(visit, f"es-{number}", "In Spanish", longest=LONGEST_QUESTION)
    if english is None and spanish is None:
        return None
    answers = [
        [line.strip() for line in (forms.text(visit, f"{code}-answers-{number}", label) or "").split("\n")]
        for code, label in (("en", "Answers in English"), ("es", "Answers in Spanish"))
    ]
    pairs = [pair for pair in zip(*answers, strict=False) if all(pair)]
    alike = len(answers[0]) == len(answers[1]) == len(pairs) == len({en for en, _ in pairs})
    if not alike or not 2 <= len(pairs) <= MOST_ANSWERS:
        forms.wrong(visit, "%s: two to five, one a line, as many in Spanish.", "Answers in English")
    if any(len(word) > LONGEST_ANSWER for pair in pairs for word in pair):
        forms.wrong(visit, "%s: at most %s letters.", "Answers in English", LONGEST_ANSWER)
    return Item(
        forms.needed(visit, english, "In English"), forms.needed(visit, spanish, "In Spanish"), tuple(pairs)
    )


PAGES = (
    Page("/surveys", "GET", EDUCATORS, overview),
    Page("/surveys/new", "GET", EDUCATORS, form),
    Page("/surveys/new", "POST", EDUCATORS, add),
    Page("/surveys/{survey:int}", "GET", EDUCATORS, show),
    Page("/surveys/{survey:int}/stop", "POST", EDUCATORS, stop),
)
