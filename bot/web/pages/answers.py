"""Approved answers: written in both languages, approved by name, every version kept."""

from bot.staff.approval import another_can
from bot.web import forms
from bot.web.office import EDUCATORS, STAFF, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput

LONGEST = 300
"""Two parts of a text."""


def overview(visit: Visit) -> Answer:
    """What can be sent now, and what waits for a yes."""
    with visit.office.store.work(reading=True) as work:
        current, waiting = work.approved.current(), work.approved.waiting()
        others = another_can(work.staff.all(), visit.who.id)
    own = {each.id for each in waiting if each.written_by == visit.who.id}
    values = {"current": current, "waiting": waiting, "not_mine": own if others else set()}
    return Drawn("answers.html", values)


def form(visit: Visit) -> Answer:
    """An empty form, or one with the newest version of a topic in it."""
    topic = visit.query.get("topic", "")[:40]
    with visit.office.store.work(reading=True) as work:
        versions = work.approved.versions(topic) if topic else []
    return Drawn("answer_form.html", {"topic": topic, "versions": versions, "longest": LONGEST})


def write(visit: Visit) -> Answer:
    """Keep a new version; what was sent before stays as it was."""
    topic = forms.needed(visit, forms.line(visit, "topic", "Topic", longest=40), "Topic")
    english = forms.needed(visit, forms.text(visit, "en", "In English", longest=LONGEST), "In English")
    spanish = forms.needed(visit, forms.text(visit, "es", "In Spanish", longest=LONGEST), "In Spanish")
    with visit.office.store.work() as work:
        work.approved.write(topic, english, spanish, visit.who.id)
        work.commit()
    return Go("/answers")


def approve(visit: Visit) -> Answer:
    """Say yes to a version that somebody else wrote; alone in the office, to one's own."""
    with visit.office.store.work() as work:
        answer = work.approved.get(visit.path["answer"])
        if answer.written_by == visit.who.id and another_can(work.staff.all(), visit.who.id):
            raise BadInput(translate(visit.language, "Somebody else has to approve what you wrote."))
        work.approved.approve(answer.id, visit.who.id, visit.at)
        work.commit()
    return Go("/answers")


PAGES = (
    Page("/answers", "GET", STAFF, overview),
    Page("/answers/write", "GET", EDUCATORS, form),
    Page("/answers/write", "POST", EDUCATORS, write),
    Page("/answers/{answer:int}/approve", "POST", EDUCATORS, approve),
)
