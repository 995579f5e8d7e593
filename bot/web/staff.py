"""Every page and action of the staff, in one table, and what it serves besides."""

from collections.abc import Sequence
from importlib.resources import files

from starlette.routing import BaseRoute, Mount
from starlette.staticfiles import StaticFiles

from bot.web.office import Office, Page, staff_routes
from bot.web.pages import (
    answers,
    board,
    broadcasts,
    calendar,
    classes,
    export,
    home,
    members,
    practice,
    readings,
    records,
    reports,
    rosters,
    sign_in,
    surveys,
    thread,
)

PAGES: Sequence[Page] = (
    *sign_in.PAGES,
    *home.PAGES,
    *thread.PAGES,
    *classes.PAGES,
    *practice.PAGES,
    *rosters.PAGES,
    *readings.PAGES,
    *answers.PAGES,
    *broadcasts.PAGES,
    *surveys.PAGES,
    *reports.PAGES,
    *board.PAGES,
    *calendar.PAGES,
    *members.PAGES,
    *records.PAGES,
    *export.PAGES,
)


def staff_pages(office: Office) -> list[BaseRoute]:
    """The routes of the staff's part of the web."""
    static = StaticFiles(directory=str(files("bot.web") / "static"))
    return [Mount("/static", static), *staff_routes(office, PAGES)]
