"""Classes, people on paper and lists: what staff type is kept, counted, and taken back."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from starlette.testclient import TestClient

from storage.classes import Counts
from storage.people import Person
from storage.staff import Member
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import Clock

CLASS = {
    "code": "kap47",
    "title": "Spring <b>class</b>",
    "taught_on": "2026-04-02",
    "place": "Cinder Lane Garden",
    "language": "en",
    "seats": "30",
    "zone": "America/Denver",
}
LIST = (
    b"Name;Celular;Idioma;Consent form\nAna;(505) 555-0160;espa\xf1ol;P-3\nBob;505-555-0161;Englsh;\n"
    b"Bob;5055550161;en;\nEve;12;en;\nInes;505 555 0150;es;\nGus;505 555 0151;en;\n"
)


@pytest.fixture
def post(
    browser: TestClient, sign_in: Callable[[Role], Member], form_mark: Callable[[str], str]
) -> Callable[..., str]:
    """Sends a form of an educator's browser and gives the page that follows, as its reader sees it."""
    sign_in("educator")

    def send(path: str, data: dict[str, str] | None = None, file: bytes | None = None) -> str:
        mark = form_mark("/classes/new")
        files = {"file": ("list.csv", file)} if file is not None else None
        page = browser.post(path, data={"form_mark": mark, **(data or {})}, files=files)
        return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text)))

    return send


@pytest.fixture
def kap47(post: Callable[..., str]) -> str:
    """A class with a code."""
    post("/classes/new", CLASS)
    return "KAP47"


def person(store: Store, number: str) -> Person | None:
    """Who is reached by this number."""
    with store.work(reading=True) as work:
        return work.people.by_address("sms", number)


def test_a_class_is_kept_as_it_was_typed(post: Callable[..., str]) -> None:
    """Its page shows it, and markup in a title is only letters."""
    page = post("/classes/new", CLASS)

    assert "Spring <b>class</b>" in page
    assert "Cinder Lane Garden" in page
    assert "KAP47" in page


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("code", "X", "Code: two to five letters"),
        ("code", "KAP4Ñ", "Code: two to five letters"),
        ("seats", "0", "Seats: a whole number from 1 to 5000"),
        ("seats", "many", "Seats: a whole number"),
        ("taught_on", "next week", "Day: a day such as"),
        ("taught_on", "", "Day: please fill it in"),
        ("zone", "Larkmoor", "unknown time zone"),
        ("language", "fr", "Language: choose one of the list"),
        ("title", "x" * 81, "Title: at most 80 letters"),
    ],
)
def test_a_mistake_names_its_field_and_the_mend(
    post: Callable[..., str], store: Store, field: str, typed: str, said: str
) -> None:
    """Nothing is kept of a form with a mistake in it."""
    assert said in post("/classes/new", CLASS | {field: typed})
    with store.work(reading=True) as work:
        assert work.classes.get("KAP47") is None


def test_a_code_is_given_once(post: Callable[..., str], kap47: str) -> None:
    """A second class has to take another."""
    assert "another class has it" in post("/classes/new", CLASS | {"code": kap47})


def test_who_signed_on_paper_is_written_to_only_with_the_reference(
    post: Callable[..., str], store: Store, kap47: str, clock: Clock
) -> None:
    """Leo gave none and gets nothing; Ines's paper stands in the ledger, and she is written to."""
    post(f"/classes/{kap47}/people", {"name": "Leo", "number": "505 555 0151", "language": "en"})
    ines_typed = {"name": "Ines", "number": "505 555 0150", "language": "es", "reference": "P-17"}
    post(f"/classes/{kap47}/people", ines_typed)

    leo, ines = person(store, "+15055550151"), person(store, "+15055550150")
    assert leo is not None
    assert ines is not None
    with store.work() as work:
        assert (leo.standing, work.people.consents(leo.id)) == ("asked", [])
        [yes] = work.people.consents(ines.id)
        rows = work.outbox.claim(clock.at, "a", clock.at - clock.at, 10)
        counts = work.classes.counts(kap47, clock.at)
    assert (yes.channel, yes.class_code, yes.language) == ("paper", "KAP47", "es")
    assert "referenc" in yes.wording
    assert "P-17" in yes.wording
    assert [(row.person_id, row.lines[0].key) for row in rows] == [(ines.id, "nudge.enrolled")]
    assert counts == Counts(joined=1, started=0, going=0)


def test_a_paper_cannot_speak_for_who_said_stop(post: Callable[..., str], store: Store, kap47: str) -> None:
    """Only they can come back, by a text; the same for who asked to be forgotten."""
    ines_typed = {"name": "Ines", "number": "505 555 0150", "language": "es", "reference": "P-17"}
    post(f"/classes/{kap47}/people", ines_typed)
    ines = person(store, "+15055550150")
    assert ines is not None
    with store.work() as work:
        work.people.consent(
            ines.id, False, "alto", "es", "sms", None, "1", work.people.consents(ines.id)[0].at
        )
        work.commit()

    assert "here already" in post(f"/classes/{kap47}/people", ines_typed)
    with store.work() as work:
        work.people.erase(ines.id, work.people.consents(ines.id)[0].at)
        work.commit()
    assert "asked to be forgotten" in post(f"/classes/{kap47}/people", ines_typed)
    assert person(store, "+15055550150") is None


def test_signed_papers_of_a_list_are_noted_one_by_one(
    post: Callable[..., str], store: Store, kap47: str
) -> None:
    """A reference in the field is no yes without the tick, nor the tick without a reference."""
    post("/rosters", {"class": kap47}, LIST)
    post("/rosters/1/take")
    ana, bob, gus = (person(store, f"+150555501{n}") for n in (60, 61, 51))
    assert ana
    assert bob
    assert gus
    typed = {f"reference-{ana.id}": "P-3", f"signed-{ana.id}": "yes", f"reference-{bob.id}": "P-4"}

    post(f"/classes/{kap47}/signed", typed | {f"signed-{gus.id}": "yes"})

    with store.work(reading=True) as work:
        standings = [work.people.get(one.id).standing for one in (ana, bob, gus)]
    assert standings == ["joined", "asked", "asked"]


def test_a_list_is_looked_at_row_by_row_before_anything_is_kept(
    post: Callable[..., str], store: Store, kap47: str
) -> None:
    """Of six rows three are new; twice in the file, no number and here already are told."""
    post(f"/classes/{kap47}/people", {"name": "Ines", "number": "505 555 0150", "language": "es"})

    page = post("/rosters", {"class": kap47}, LIST)

    assert (
        "New people: 3. Here already: 1. Said stop: 0. Asked to be forgotten: 0. Cannot be used: 2." in page
    )
    assert "twice in this file" in page
    assert "no such phone number" in page
    assert person(store, "+15055550160") is None


def test_a_list_is_taken_in_once_and_taken_back_whole(
    post: Callable[..., str], store: Store, kap47: str
) -> None:
    """Twice taken it brings nobody twice; again it finds everybody here; taken back, all are gone."""
    post("/rosters", {"class": kap47}, LIST)
    assert "4 people came in by this list" in post("/rosters/1/take")
    assert "4 people came in by this list" in post("/rosters/1/take")
    assert "New people: 0. Here already: 4." in post("/rosters", {"class": kap47}, LIST)

    assert "Removed: 4. Stayed, because something came of them: 0." in post("/rosters/1/undo")
    with store.work(reading=True) as work:
        assert work.classes.people(kap47) == []


def test_columns_can_be_told_anew(post: Callable[..., str], kap47: str) -> None:
    """With the names taken from no column, nobody has one."""
    post("/rosters", {"class": kap47}, LIST)

    page = post("/rosters/1/columns", {"column-number": "1", "column-name": "", "column-language": "2"})

    assert "Ana" not in page
    assert "New people: 4" in page


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04 broken"])
def test_a_file_that_is_no_list_changes_nothing(
    post: Callable[..., str], store: Store, kap47: str, content: bytes
) -> None:
    """It is refused with a mend."""
    assert "That did not work" in post("/rosters", {"class": kap47}, content)
    with store.work(reading=True) as work:
        assert work.rosters.latest(10) == []


def test_a_bin_is_noted_for_a_household_of_the_class_only(post: Callable[..., str], kap47: str) -> None:
    """Somebody of no class or of another is not on the list to choose from."""
    post(f"/classes/{kap47}/people", {"name": "Ines", "number": "505 555 0150", "language": "es"})
    sale = {"kind": "county bin", "serial": "B-1", "price": "25"}

    assert "choose one of the list" in post(f"/classes/{kap47}/bins", sale | {"person": "1"})
    page = post(f"/classes/{kap47}/bins", sale | {"person": "2"})

    assert "county bin B-1 Ines" in page


def test_the_poster_needs_a_number(browser: TestClient, kap47: str) -> None:
    """Without a number or a chat there is nothing to write to."""
    page = browser.get(f"/classes/{kap47}/poster.pdf")

    assert page.status_code == 400
    assert "The poster needs the number" in page.text
