"""Privacy and records: what is kept and how long, copies for records requests, holds, and forgetting."""

import json
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from bot.staff import records
from bot.web import forms
from bot.web.office import (
    ANYBODY,
    COORDINATORS,
    LARGEST_ID,
    STAFF,
    Answer,
    Download,
    Drawn,
    Go,
    Page,
    Visit,
    translate,
)
from scheduler.times import local
from shared.errors import BadInput
from storage.people import Person
from storage.work import Work


def privacy(visit: Visit) -> Answer:
    """What we keep, for anybody who asks."""
    profile = visit.office.profile
    return Drawn("privacy.html", {"days": profile.keep_texts_days, "contact": profile.staff.contact})


def data_map(visit: Visit) -> Answer:
    """The same for the staff, thing by thing."""
    return Drawn("data_map.html", {"days": visit.office.profile.keep_texts_days})


def overview(visit: Visit) -> Answer:
    """The clock of the texts, what is held, and the form of a copy."""
    days = visit.office.profile.keep_texts_days
    before = visit.at - timedelta(days)
    with visit.office.store.work(reading=True) as work:
        values = {"holds": work.privacy.holds(), "overdue": work.privacy.overdue(before)}
    today = local(before, visit.office.profile.zone).date()
    return Drawn("records.html", values | {"days": days, "before": today})


def hold(visit: Visit) -> Answer:
    """Stop the clock for a records request."""
    reason = forms.needed(visit, forms.line(visit, "reason", "Which request"), "Which request")
    with visit.office.store.work() as work:
        work.privacy.hold(_some_person(visit, work), reason, visit.who.id, visit.at)
        work.commit()
    return Go("/records")


def release(visit: Visit) -> Answer:
    """The request is done: the clock goes on."""
    with visit.office.store.work() as work:
        work.privacy.release(visit.path["hold"], visit.at)
        work.commit()
    return Go("/records")


def copy(visit: Visit) -> Answer:
    """The messages of a time, of a person, a class or all, with what is personal blanked."""
    zone = visit.office.profile.zone
    since = _midnight(forms.needed_day(visit, "from", "From this day"), zone)
    until = _midnight(forms.needed_day(visit, "to", "To this day") + timedelta(days=1), zone)
    form = forms.choice(visit, "form", "Form", ("csv", "json"))
    taught = forms.line(visit, "class", "Class", longest=16)
    with visit.office.store.work() as work:
        person_id = _some_person(visit, work)
        copied = records.rows(
            work.privacy.messages(since, until, person_id, taught), work.privacy.names(), zone
        )
        if person_id is not None:
            work.staff.looked(visit.who.id, person_id, "export", visit.at)
        work.commit()
    if form == "csv":
        return Download("records.csv", records.as_csv(copied), "text/csv")
    return Download("records.json", records.as_json(copied), "application/json")


def file(visit: Visit) -> Answer:
    """Everything that is kept of a person, for that person."""
    with visit.office.store.work() as work:
        person = _person(visit, work)
        kept = work.people.export(person.id)
        work.staff.looked(visit.who.id, person.id, "export", visit.at)
        work.commit()
    content = json.dumps(kept, ensure_ascii=False, indent=1, default=str).encode()
    return Download(f"person-{person.id}.json", content, "application/json")


def forget_form(visit: Visit) -> Answer:
    """What goes and what stays, before anything goes."""
    with visit.office.store.work(reading=True) as work:
        person = _person(visit, work)
        held = any(each.person_id in (None, person.id) for each in work.privacy.holds())
    return Drawn("forget.html", {"person": person, "held": held})


def forget(visit: Visit) -> Answer:
    """Forget a person at their wish: the same as their own "forget me"."""
    with visit.office.store.work() as work:
        person = _person(visit, work)
        if work.staff.of_person(person.id) is not None:
            raise BadInput(translate(visit.language, "They work here: end their membership first."))
        work.people.erase(person.id, visit.at)
        work.commit()
    return Go(f"/people/{person.id}")


def _person(visit: Visit, work: Work) -> Person:
    return _found(visit, work, visit.path["person"])


def _some_person(visit: Visit, work: Work) -> int | None:
    """The person whose number was typed; None where the field was left empty."""
    typed = forms.number(visit, "person", "Number of the person", 1, LARGEST_ID)
    return None if typed is None else _found(visit, work, typed).id


def _found(visit: Visit, work: Work, person_id: int) -> Person:
    try:
        return work.people.get(person_id)
    except BadInput:
        raise BadInput(translate(visit.language, "There is nobody of this number.")) from None


def _midnight(day: date, zone: str) -> datetime:
    return datetime.combine(day, time.min, ZoneInfo(zone))


PAGES = (
    Page("/privacy", "GET", ANYBODY, privacy),
    Page("/data-map", "GET", STAFF, data_map),
    Page("/records", "GET", COORDINATORS, overview),
    Page("/records/holds", "POST", COORDINATORS, hold),
    Page("/records/holds/{hold:int}/end", "POST", COORDINATORS, release),
    Page("/records/copy", "POST", COORDINATORS, copy),
    Page("/people/{person:int}/file", "POST", COORDINATORS, file),
    Page("/people/{person:int}/forget", "GET", COORDINATORS, forget_form),
    Page("/people/{person:int}/forget", "POST", COORDINATORS, forget),
)
