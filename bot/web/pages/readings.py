"""Readings from loggers, as schools and gardens have them: looked at, taken in, taken back as a whole."""

from bot.language.meaning import Units
from bot.staff.logger_file import read_logger
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Go, Page, Visit, translate
from scheduler.times import local
from shared.errors import BadInput

PILES, LATEST, SHOWN = 300, 30, 60


def overview(visit: Visit) -> Answer:
    """Where to bring in a file, and what came in before."""
    with visit.office.store.work(reading=True) as work:
        piles, brought = work.logger_files.piles(PILES), work.logger_files.latest(LATEST)
    return Drawn("readings.html", {"piles": piles, "brought": brought, "chosen": visit.query.get("pile", "")})


def bring(visit: Visit) -> Answer:
    """Keep a file as a draft and show what it seems to hold."""
    file = visit.files.get("file")
    if file is None or not file.name:
        raise BadInput(translate(visit.language, "Choose a file first."))
    pile_id = forms.number(visit, "pile", "Pile", 1, 999_999_999) or 0
    said = visit.form.get("unit")
    unit: Units | None = "f" if said == "f" else "c" if said == "c" else None
    with visit.office.store.work(reading=True) as work:
        zone = work.piles.get(pile_id).zone
    now = local(visit.at, zone).replace(tzinfo=None)
    found = read_logger(file.content, unit, now)
    name = "".join(sign for sign in file.name if sign.isprintable())[-80:]
    with visit.office.store.work() as work:
        draft = work.logger_files.draft(pile_id, visit.who.id, name, found.kept, visit.at)
        work.commit()
    values = {"file": draft, "found": found, "shown": found.kept[:SHOWN], "units": visit.office.profile.units}
    return Drawn("readings_look.html", values)


def show(visit: Visit) -> Answer:
    """What came of a file."""
    with visit.office.store.work(reading=True) as work:
        file = work.logger_files.get(visit.path["file"])
    return Drawn("readings_taken.html", {"file": file})


def take(visit: Visit) -> Answer:
    """The readings become records of the pile, once."""
    with visit.office.store.work() as work:
        work.logger_files.take(visit.path["file"], visit.at)
        work.commit()
    return Go(f"/readings/{visit.path['file']}")


def undo(visit: Visit) -> Answer:
    """Take them back."""
    with visit.office.store.work() as work:
        work.logger_files.undo(visit.path["file"], visit.at)
        work.commit()
    return Go(f"/readings/{visit.path['file']}")


PAGES = (
    Page("/readings", "GET", EDUCATORS, overview),
    Page("/readings", "POST", EDUCATORS, bring),
    Page("/readings/{file:int}", "GET", EDUCATORS, show),
    Page("/readings/{file:int}/take", "POST", EDUCATORS, take),
    Page("/readings/{file:int}/undo", "POST", EDUCATORS, undo),
)
