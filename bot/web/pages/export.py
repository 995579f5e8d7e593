"""Everything as files, for whoever takes over from us or wants to check our figures."""

import logging

from bot.staff.export import archive, dictionary
from bot.web.office import COORDINATORS, Answer, Download, Drawn, Page, Visit

log = logging.getLogger(__name__)


def explain(visit: Visit) -> Answer:
    """What the files hold, and the button."""
    return Drawn("export.html", {"files": dictionary(), "member": visit.who})


def write(visit: Visit) -> Answer:
    """The archive, its personal parts only where they were asked for."""
    personal = "personal" in visit.form
    log.info("action=export staff=%s personal=%s", visit.who.id, personal)
    with visit.office.store.work(reading=True) as work:
        content = archive(work, personal)
    return Download(f"warmheap-{visit.at.date()}.zip", content, "application/zip")


PAGES = (
    Page("/export", "GET", COORDINATORS, explain),
    Page("/export", "POST", COORDINATORS, write),
)
