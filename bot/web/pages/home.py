"""The first page: where to go from here, and how many people wait for a human."""

from bot.web.office import STAFF, Answer, Drawn, Page, Visit


def first(visit: Visit) -> Answer:
    """The parts of the work that this member may open."""
    return Drawn("home.html", {"member": visit.who})


PAGES = (Page("/", "GET", STAFF, first),)
