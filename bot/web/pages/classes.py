"""Classes: when and where, the code and its poster, who joined, who signed on paper, and the bins."""

import re

from bot.language.meaning import Language
from bot.staff.enrol import enrol, paper_consent
from bot.staff.poster import poster
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Download, Drawn, Go, Page, Visit, translate
from scheduler.times import local
from shared.errors import BadInput
from storage.classes import ClassRow
from storage.work import Work

SHOWN = 200
CODE = re.compile(r"(?=.{4,7}$)[A-Z]{2,5}[0-9]{2,3}")
"""What graduates can type and a poster can show from afar; `respond` finds such codes in any message."""
CENTS = 100


def overview(visit: Visit) -> Answer:
    """The classes, the latest first."""
    with visit.office.store.work(reading=True) as work:
        classes = work.classes.latest(SHOWN)
    return Drawn("classes.html", {"classes": classes})


def new(visit: Visit) -> Answer:
    """An empty form, with a free code in it."""
    profile = visit.office.profile
    with visit.office.store.work(reading=True) as work:
        code = work.classes.free_code()
    return Drawn("class_form.html", {"taught": ClassRow(code, visit.language, profile.zone), "is_new": True})


def add(visit: Visit) -> Answer:
    """Keep a new class."""
    code = forms.needed(visit, forms.line(visit, "code", "Code"), "Code").upper()
    if CODE.fullmatch(code) is None:
        forms.wrong(visit, "%s: two to five letters, then two or three digits, such as KAP47.", "Code")
    row = _typed(visit, code)
    with visit.office.store.work() as work:
        if work.classes.get(code) is not None:
            forms.wrong(visit, "%s: another class has it. Choose another.", "Code")
        work.classes.add(row)
        work.commit()
    return Go(f"/classes/{code}")


def change_form(visit: Visit) -> Answer:
    """The form of a class as it stands."""
    with visit.office.store.work(reading=True) as work:
        taught = class_of(visit, work)
    return Drawn("class_form.html", {"taught": taught, "is_new": False})


def change(visit: Visit) -> Answer:
    """Keep what was changed; the code stays, it hangs on posters."""
    with visit.office.store.work() as work:
        taught = work.classes.change(_typed(visit, class_of(visit, work).code))
        work.commit()
    return Go(f"/classes/{taught.code}")


def show(visit: Visit) -> Answer:
    """One class: its counts as of now, its people, its bins."""
    with visit.office.store.work(reading=True) as work:
        taught = class_of(visit, work)
        people = work.classes.people(taught.code)
        unsigned = [each for each in people if each.standing == "asked"]
        values = {
            "taught": taught,
            "counts": work.classes.counts(taught.code, visit.at),
            "people": people,
            "unsigned": unsigned,
            "references": work.rosters.references(taught.code),
            "bins": work.classes.bins(taught.code),
            "in_use": work.classes.bins_in_use(taught.code, visit.at),
            "kinds": [each.name[visit.language] for each in visit.office.profile.bins],
            "today": local(visit.at, taught.zone).date(),
        }
    return Drawn("class.html", values)


def poster_file(visit: Visit) -> Answer:
    """The poster to print."""
    ways = visit.office.ways
    with visit.office.store.work(reading=True) as work:
        taught = class_of(visit, work)
    if ways.number is None and ways.telegram is None:
        raise BadInput(translate(visit.language, "The poster needs the number that graduates text."))
    profile = visit.office.profile
    content = poster(taught, profile.programme, ways, profile.languages)
    return Download(f"poster-{taught.code}.pdf", content, "application/pdf")


def enrol_on_paper(visit: Visit) -> Answer:
    """Somebody who signed on paper; with the reference of the paper they are written to, without it not."""
    number = forms.needed(visit, forms.line(visit, "number", "Phone number"), "Phone number")
    language = forms.choice(visit, "language", "Language", visit.office.profile.languages)
    reference = forms.line(visit, "reference", "Reference of the signed paper")
    with visit.office.store.work() as work:
        taught = class_of(visit, work)
        name = forms.line(visit, "name", "First name", longest=40)
        person = enrol(work, visit.office.profile, taught, name, number, language, visit.at)
        if reference is not None:
            paper_consent(work, visit.office.profile, person.id, reference, visit.at)
        work.commit()
    return Go(f"/classes/{taught.code}")


def sign(visit: Visit) -> Answer:
    """The papers of those who wait for them: who has a reference and a tick has said yes."""
    with visit.office.store.work() as work:
        taught = class_of(visit, work)
        for each in work.classes.people(taught.code):
            reference = forms.line(visit, f"reference-{each.id}", "Reference of the signed paper")
            if each.standing == "asked" and reference is not None and f"signed-{each.id}" in visit.form:
                paper_consent(work, visit.office.profile, each.id, reference, visit.at)
        work.commit()
    return Go(f"/classes/{taught.code}")


def sell(visit: Visit) -> Answer:
    """A bin went to somebody."""
    kind = forms.needed(visit, forms.line(visit, "kind", "Kind of bin", longest=40), "Kind of bin")
    serial = forms.line(visit, "serial", "Serial number", longest=40)
    price = forms.number(visit, "price", "Price in dollars", 0, 100_000)
    with visit.office.store.work() as work:
        taught = class_of(visit, work)
        sold_on = forms.day(visit, "sold_on", "Day") or local(visit.at, taught.zone).date()
        people = {str(each.id): each.id for each in work.classes.people(taught.code)}
        to = people[forms.choice(visit, "person", "To whom", people)] if visit.form.get("person") else None
        cents = None if price is None else price * CENTS
        work.classes.sell_bin(taught.code, kind, sold_on, serial=serial, price_cents=cents, person_id=to)
        work.commit()
    return Go(f"/classes/{taught.code}")


def take_back(visit: Visit) -> Answer:
    """A bin that was noted by mistake."""
    with visit.office.store.work() as work:
        taught = class_of(visit, work)
        sale_id = int(visit.path["sale"])
        if sale_id in {sale.id for sale in work.classes.bins(taught.code)}:
            work.classes.take_back_bin(sale_id, visit.at)
        work.commit()
    return Go(f"/classes/{taught.code}")


def class_of(visit: Visit, work: Work) -> ClassRow:
    """The class that a page's address names."""
    taught = work.classes.get(str(visit.path["code"])[:16])
    if taught is None:
        raise BadInput(translate(visit.language, "There is no class with this code."))
    return taught


def _typed(visit: Visit, code: str) -> ClassRow:
    zone = forms.needed(visit, forms.line(visit, "zone", "Time zone"), "Time zone")
    language: Language = forms.choice(visit, "language", "Language", visit.office.profile.languages)
    return ClassRow(
        code=code,
        language=language,
        zone=zone,
        seats=forms.number(visit, "seats", "Seats", 1, 5000),
        taught_on=forms.needed_day(visit, "taught_on", "Day"),
        title=forms.line(visit, "title", "Title"),
        place=forms.line(visit, "place", "Place"),
    )


PAGES = (
    Page("/classes", "GET", EDUCATORS, overview),
    Page("/classes/new", "GET", EDUCATORS, new),
    Page("/classes/new", "POST", EDUCATORS, add),
    Page("/classes/{code}", "GET", EDUCATORS, show),
    Page("/classes/{code}/change", "GET", EDUCATORS, change_form),
    Page("/classes/{code}/change", "POST", EDUCATORS, change),
    Page("/classes/{code}/poster.pdf", "GET", EDUCATORS, poster_file),
    Page("/classes/{code}/people", "POST", EDUCATORS, enrol_on_paper),
    Page("/classes/{code}/signed", "POST", EDUCATORS, sign),
    Page("/classes/{code}/bins", "POST", EDUCATORS, sell),
    Page("/classes/{code}/bins/{sale:int}/back", "POST", EDUCATORS, take_back),
)
