"""An educator shows the class a conversation; nothing of it is kept, counted or sent."""

from collections.abc import Callable, Iterator
from datetime import date
from functools import partial

import pytest
from sqlalchemy import create_engine, func, select
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.app import play
from bot.outlook import Outlooks
from bot.profile import Profile, Staff
from bot.web.office import Office
from bot.web.pages.practice import MOST_TEXTS
from bot.web.staff import staff_pages
from storage.classes import ClassRow
from storage.models import Table
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import Clock

PROFILE = Profile(staff=Staff(alerts=("sms:+15055550160",)))


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """The practice is played on a database of its own, whatever ours is."""
    return sqlite_url


@pytest.fixture
def browser(store: Store, clock: Clock) -> Iterator[TestClient]:
    """A browser, and a class in Spanish."""
    with store.work() as work:
        work.classes.add(ClassRow("FIG22", "es", "America/Denver", taught_on=date(2026, 4, 2)))
        work.commit()
    outlooks = Outlooks(PROFILE)
    office = Office(store, PROFILE, clock, "http://testserver", outlooks, play=partial(play, PROFILE))
    with TestClient(Starlette(routes=staff_pages(office))) as client:
        yield client


@pytest.fixture
def said(
    browser: TestClient, sign_in: Callable[[Role], object], form_mark: Callable[[str], str]
) -> Callable[..., str]:
    """Texts in the class; the page that follows."""
    sign_in("educator")

    def text(*words: str) -> str:
        form = {"form_mark": form_mark("/classes/FIG22/try"), "said": list(words[:-1]), "words": words[-1]}
        return browser.post("/classes/FIG22/try", data=form).text

    return text


def rows(url: str) -> dict[str, int]:
    """How many rows each table has."""
    engine = create_engine(url)
    with engine.connect() as connection:
        counts = {
            table.name: connection.scalar(select(func.count()).select_from(table)) or 0
            for table in Table.metadata.sorted_tables
        }
    engine.dispose()
    return counts


def test_a_conversation_is_shown_and_leaves_no_trace(said: Callable[..., str], database_url: str) -> None:
    """The class sees the program's own answers in its language; no table of ours has a row more."""
    before = rows(database_url)
    page = said("FIG22", "sí", "la armé hoy, 3x3x3 pies, 14 cubetas de hojas y 12 de zacate", "está a 128")

    assert "ALTO" in page
    assert "14 cubetas de hojas" in page
    assert "128 F" in page
    assert rows(database_url) == before


def test_an_alarm_in_a_practice_alerts_nobody(said: Callable[..., str], database_url: str) -> None:
    """Smoke is answered on the wall; what would go to the staff is neither shown nor sent."""
    before = rows(database_url)
    page = said("FIG22", "sí", "sale humo de la pila")

    assert "911" in page
    assert "+15055550160" not in page
    assert rows(database_url) == before


def test_what_is_typed_in_a_practice_stays_text(said: Callable[..., str]) -> None:
    """Markup from the back row is shown as it was typed."""
    page = said("<script>alert(1)</script>")

    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_a_practice_comes_to_an_end(said: Callable[..., str]) -> None:
    """A page that is posted over and over does not play ever more."""
    assert "Start anew" in said(*["hi"] * MOST_TEXTS)
    assert "That is enough" in said(*["hi"] * (MOST_TEXTS + 1))
