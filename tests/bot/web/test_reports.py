"""The pages of what came of it: live to last night, frozen for good; page, PDF and table say the same."""

import csv
import io
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from shared.pile import Record
from storage.classes import ClassRow
from storage.staff import Member
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import Clock

JOINED = datetime(2026, 1, 10, 18, tzinfo=UTC)


@pytest.fixture
def season(store: Store) -> None:
    """Six graduates of one class, each with a pile of leaves; three of them are still heard of in March."""
    with store.work() as work:
        work.classes.add(ClassRow("KAP47", "en", "America/Denver", 30, date(2026, 1, 10), "Winter class"))
        for n in range(6):
            person = work.people.add(
                "gateway", f"+1505555011{n}", "Keeper", "en", "f", "America/Denver", JOINED
            )
            work.people.consent(person.id, True, "OK to text you?", "en", "gateway", "KAP47", "1", JOINED)
            row = work.piles.found(person.id, "America/Denver", JOINED)
            setup = {"built": "2026-01-11", "ingredients": [["dry_leaves", 400.0]], "bin": True}
            work.piles.set_up(row.id, person.id, setup, JOINED + timedelta(hours=1))
            heard = JOINED + timedelta(days=50 if n < 3 else 5)
            work.piles.record(row.id, person.id, Record("temperature", heard.date(), core_c=50.0), heard)
        work.commit()


def table(page: bytes) -> list[list[str]]:
    """The rows of a CSV file."""
    return list(csv.reader(io.StringIO(page.decode("utf-8-sig"))))


@pytest.mark.usefixtures("season")
def test_the_page_shows_what_was_counted_by_hand(
    browser: TestClient, sign_in: Callable[[Role], Member]
) -> None:
    """Six households of one class; at most 22 days can be followed yet, so nothing is said of 30."""
    sign_in("educator")

    rows = table(browser.get("/reports/2026.csv").content)

    assert ["Winter class", "Jan 10, 2026", "30", "6", "6", "3"] in rows
    assert ["Households that started a pile", "6"] in rows
    assert ["Of those with a reading, ran hot (113 °F, 45 °C)", "6 of 6"] in rows
    assert ["30 days", "too few to tell", "", "", ""] in rows


@pytest.mark.usefixtures("season")
def test_a_frozen_report_never_changes(
    browser: TestClient,
    store: Store,
    clock: Clock,
    sign_in: Callable[[Role], Member],
    form_mark: Callable[[str], str],
) -> None:
    """What is told after the freeze changes the live figures and not a digit of the frozen ones."""
    sign_in("coordinator")
    kept = browser.post("/reports/2026/freeze", data={"form_mark": form_mark("/reports/2026")})
    address = kept.url.path
    before = browser.get(f"{address}.csv").content
    live = browser.get("/reports/2026.csv").content
    with store.work() as work:
        work.piles.record(1, 1, Record("harvested", date(2026, 4, 2), litres=190.0), clock.at)
        work.commit()
    clock.at += timedelta(days=1)
    sign_in("educator")

    assert browser.get(f"{address}.csv").content == before == live
    assert browser.get("/reports/2026.csv").content != before


@pytest.mark.usefixtures("season")
def test_the_same_data_date_gives_the_same_digits_again(
    browser: TestClient, store: Store, clock: Clock, sign_in: Callable[[Role], Member]
) -> None:
    """Asked anew with nothing remembered, the rows up to the same day give the same figures."""
    sign_in("educator")
    first = browser.get("/reports/2026.csv").content
    with store.work() as work:
        work.reports.keep_day(2026, date(2020, 1, 1), {})
        work.piles.record(1, 1, Record("turned", date(2026, 4, 2)), clock.at)
        work.commit()

    assert browser.get("/reports/2026.csv").content == first


@pytest.mark.usefixtures("season")
def test_the_pdf_says_what_the_page_says(browser: TestClient, sign_in: Callable[[Role], Member]) -> None:
    """The PDF can be read by a machine, names its language, and holds every heading of the page."""
    sign_in("educator")
    headings = re.findall(r"<h2>(.*?)</h2>", browser.get("/reports/2026").text)

    pdf = PdfReader(io.BytesIO(browser.get("/reports/2026.pdf").content))
    text = "\n".join(page.extract_text() for page in pdf.pages)

    assert pdf.trailer["/Root"]["/Lang"] == "en"
    assert [h for h in headings if h != "Freeze this report" and h.replace("&#39;", "'") not in text] == []


@pytest.mark.usefixtures("season")
def test_the_dates_page_is_open_and_says_nothing_of_anybody(browser: TestClient) -> None:
    """Whoever comes sees how often the dates were right, and neither a name nor a number."""
    page = browser.get("/dates-kept")

    assert page.status_code == 200
    assert "80%" in page.text
    assert "Keeper" not in page.text
    assert "555" not in page.text


def test_a_year_without_figures_is_refused_in_one_line(
    browser: TestClient, sign_in: Callable[[Role], Member]
) -> None:
    """Next year's report does not exist yet, and the page says what to do."""
    sign_in("educator")

    page = browser.get("/reports/2027")

    assert page.status_code == 400
    assert "choose a year of the list" in page.text


def test_a_volunteer_sees_no_reports(browser: TestClient, sign_in: Callable[[Role], Member]) -> None:
    """Figures are for the staff who answer for them."""
    sign_in("volunteer")

    assert browser.get("/reports/2026").status_code == 403
