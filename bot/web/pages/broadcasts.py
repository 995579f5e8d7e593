"""A text to many graduates, with its brakes: cost first, a second person's yes, a pace, a stop."""

from bot.staff.approval import COOLS_OFF, not_before
from bot.staff.reach import Cost, cost_of
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput
from storage.broadcasts import Audience, Broadcast
from storage.work import Work

LONGEST = 280
"""Two parts of a text with the word on how to end them."""
LATEST = 50
PER_HOUR, MOST_PER_HOUR = 120, 3600


def overview(visit: Visit) -> Answer:
    """What was sent to many, the latest first."""
    with visit.office.store.work(reading=True) as work:
        latest = work.broadcasts.latest(LATEST)
        results = work.broadcasts.results([each.id for each in latest])
    return Drawn("broadcasts.html", {"rows": [(each, results[each.id]) for each in latest]})


def form(visit: Visit) -> Answer:
    """An empty form."""
    with visit.office.store.work(reading=True) as work:
        classes = [taught for taught, _ in work.classes.latest(100)]
    return Drawn("broadcast_form.html", {"classes": classes, "per_hour": PER_HOUR, "longest": LONGEST})


def write(visit: Visit) -> Answer:
    """Keep a draft; its page shows whom it reaches and what it costs."""
    title = forms.needed(visit, forms.line(visit, "title", "Title"), "Title")
    english = forms.needed(visit, forms.text(visit, "en", "In English", longest=LONGEST), "In English")
    spanish = forms.needed(visit, forms.text(visit, "es", "In Spanish", longest=LONGEST), "In Spanish")
    per_hour = forms.number(visit, "per_hour", "Texts an hour", 1, MOST_PER_HOUR) or PER_HOUR
    with visit.office.store.work() as work:
        broadcast = work.broadcasts.draft(
            title, _audience(visit, work), english, spanish, per_hour, visit.who.id, visit.at
        )
        work.commit()
    return Go(f"/broadcasts/{broadcast.id}")


def show(visit: Visit) -> Answer:
    """One of them: what it says, whom it reaches, what it costs; and what has come of it."""
    with visit.office.store.work(reading=True) as work:
        broadcast = work.broadcasts.get(visit.path["broadcast"])
        members = work.staff.all()
        values = {
            "broadcast": broadcast,
            "cost": _cost(visit, work, broadcast),
            "result": work.broadcasts.result(broadcast.id),
            "may_go": not_before(members, broadcast.made_by, visit.who, visit.at),
            "alone": visit.who.id == broadcast.made_by,
            "cools_hours": int(COOLS_OFF.total_seconds()) // 3600,
            "members": {each.id: each.name for each in members},
        }
    return Drawn("broadcast.html", values)


def approve(visit: Visit) -> Answer:
    """A second person's yes; in an office of one, one's own, and a day to think better of it."""
    with visit.office.store.work() as work:
        broadcast = work.broadcasts.get(visit.path["broadcast"])
        begins = not_before(work.staff.all(), broadcast.made_by, visit.who, visit.at)
        if begins is None:
            raise BadInput(translate(visit.language, "Somebody else has to approve what you wrote."))
        work.broadcasts.approve(broadcast.id, visit.who.id, visit.at, begins)
        work.commit()
    return Go(f"/broadcasts/{broadcast.id}")


def stop(visit: Visit) -> Answer:
    """Stop it where it is; what waits does not go out."""
    with visit.office.store.work() as work:
        broadcast = work.broadcasts.get(visit.path["broadcast"])
        work.broadcasts.stop(broadcast.id, visit.at, "by staff")
        work.commit()
    return Go(f"/broadcasts/{broadcast.id}")


def _audience(visit: Visit, work: Work) -> Audience:
    code, language = visit.form.get("class") or None, visit.form.get("language") or None
    if code is not None and (taught := work.classes.get(code[:16])) is not None:
        code = taught.code
    elif code is not None:
        forms.wrong(visit, "%s: choose one of the list.", "Class")
    return Audience(
        class_code=code,
        language=forms.choice(visit, "language", "Language", ("en", "es")) if language else None,
        going="going" in visit.form,
        topic=forms.choice(visit, "topic", "About", ("broadcast", "water", "turn")),
    )


def _cost(visit: Visit, work: Work, broadcast: Broadcast) -> Cost:
    people = work.broadcasts.sizes(broadcast.audience, visit.at)
    return cost_of(broadcast, people, visit.office.profile.cents_per_text)


PAGES = (
    Page("/broadcasts", "GET", EDUCATORS, overview),
    Page("/broadcasts/new", "GET", EDUCATORS, form),
    Page("/broadcasts/new", "POST", EDUCATORS, write),
    Page("/broadcasts/{broadcast:int}", "GET", EDUCATORS, show),
    Page("/broadcasts/{broadcast:int}/approve", "POST", EDUCATORS, approve),
    Page("/broadcasts/{broadcast:int}/stop", "POST", EDUCATORS, stop),
)
