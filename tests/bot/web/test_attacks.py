"""What somebody ill-meaning tries on the staff's pages, and what comes of it: nothing."""

import logging
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from bot.web.brake import TRIES, WINDOW
from bot.web.staff import PAGES
from storage.helpdesk import Waiting
from storage.inbox import Incoming
from storage.outbox import Line
from storage.staff import CODES_AN_HOUR, VISIT_LASTS, WRONG_TRIES, Member
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import NOON, PHONE, Chat, Clock

SignIn = Callable[[Role], Member]
Mark = Callable[[str], str]
MARKUP = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
INES = "+15055550101"


@pytest.fixture
def database_url(sqlite_url: str) -> str:
    """The door is the same on every database."""
    return sqlite_url


@pytest.fixture
def ines(store: Store) -> int:
    """A graduate whose name and words are made of markup and a formula, with a pile, on the list."""
    with store.work() as work:
        person = work.people.add("sms", INES, MARKUP[:60], "en", "f", "America/Denver", NOON)
        work.people.consent(person.id, True, MARKUP, "en", "sms", None, "2", NOON)
        pile = work.piles.found(person.id, "America/Denver", NOON, name="=1+1")
        words = f'=HYPERLINK("http://x") {MARKUP} call me 505 555 0101'
        incoming_id = work.inbox.take(Incoming("sms", INES, "m1", words, NOON, form="text"))
        work.helpdesk.open(person.id, "danger", NOON, pile.id, incoming_id)
        work.commit()
    return person.id


def rows(store: Store) -> list[Waiting]:
    """Who waits for a human."""
    with store.work(reading=True) as work:
        return work.helpdesk.waiting(100)


@pytest.mark.usefixtures("maren")
def test_a_code_cannot_be_guessed(browser: TestClient, chat: Chat) -> None:
    """After five wrong codes the right one opens nothing either."""
    browser.post("/sign-in", data={"address": PHONE})
    right = chat.codes()[-1]
    for guess in range(WRONG_TRIES):
        wrong = f"{(int(right) + 1 + guess) % 1_000_000:06d}"
        assert browser.post("/sign-in/code", data={"address": PHONE, "code": wrong}).status_code == 403

    assert browser.post("/sign-in/code", data={"address": PHONE, "code": right}).status_code == 403


@pytest.mark.usefixtures("maren")
def test_a_member_is_not_flooded_with_codes(browser: TestClient, chat: Chat, clock: Clock) -> None:
    """More than five codes an hour are not sent, and the page does not tell."""
    pages = set()
    for _ in range(CODES_AN_HOUR + 3):
        clock.at += timedelta(seconds=1)
        pages.add(browser.post("/sign-in", data={"address": PHONE}).text)

    assert len(chat.codes()) == CODES_AN_HOUR
    assert len(pages) == 1


def test_one_client_can_try_only_so_often(browser: TestClient, clock: Clock) -> None:
    """The thirty-first try within ten minutes is turned away, whoever it is for; later it is not."""
    data = {"address": "505 555 0177", "code": "123456"}
    statuses = [browser.post("/sign-in/code", data=data).status_code for _ in range(TRIES + 1)]
    clock.at += WINDOW + timedelta(seconds=1)

    assert statuses == [403] * TRIES + [429]
    assert browser.post("/sign-in/code", data=data).status_code == 403


def test_a_code_of_one_member_does_not_open_for_another(
    browser: TestClient, store: Store, chat: Chat, maren: Member
) -> None:
    """The code belongs to the address that it was sent to."""
    with store.work() as work:
        other = work.people.add("gateway", "+15055550143", "Ike", "en", "f", "America/Denver", NOON)
        work.staff.join(work.staff.invite("Ike", "coordinator", maren.id, NOON), other.id, NOON)
        work.commit()
    browser.post("/sign-in", data={"address": PHONE})

    page = browser.post("/sign-in/code", data={"address": "+15055550143", "code": chat.codes()[-1]})

    assert page.status_code == 403


def test_a_visit_ends_by_itself(browser: TestClient, sign_in: SignIn, clock: Clock) -> None:
    """A browser that was left signed in is signed out half a day later."""
    sign_in("educator")
    clock.at += VISIT_LASTS + timedelta(seconds=1)

    assert browser.get("/", follow_redirects=False).headers["location"] == "/sign-in"


def test_who_leaves_is_signed_out_at_once(
    browser: TestClient, sign_in: SignIn, store: Store, maren: Member, clock: Clock
) -> None:
    """A member who no longer works here opens nothing from the very next click."""
    sign_in("coordinator")
    with store.work() as work:
        token = work.staff.open_visit(maren.id, clock.at)
        work.staff.end(maren.id, clock.at)
        work.commit()
    browser.cookies.set("visit", token)

    assert browser.get("/", follow_redirects=False).headers["location"] == "/sign-in"


def test_the_last_coordinator_cannot_leave(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, store: Store
) -> None:
    """Neither by leaving nor by another role: somebody must be able to invite."""
    me = sign_in("coordinator")
    mark = form_mark("/staff")
    ended = browser.post(f"/staff/{me.id}/end", data={"form_mark": mark})
    changed = browser.post(f"/staff/{me.id}/role", data={"form_mark": mark, "role": "educator"})

    with store.work(reading=True) as work:
        assert [member.role for member in work.staff.all()] == ["coordinator"]
    assert (ended.status_code, changed.status_code) == (400, 400)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "null"},
    ],
)
def test_another_site_cannot_post_in_a_members_name(
    browser: TestClient,
    sign_in: SignIn,
    form_mark: Mark,
    ines: int,
    store: Store,
    headers: dict[str, str],
) -> None:
    """Even with the hidden value of our form, a post that comes from another site changes nothing."""
    sign_in("coordinator")
    data = {"form_mark": form_mark(f"/people/{ines}")}

    answer = browser.post(f"/people/{ines}/close", data=data, headers=headers, follow_redirects=False)

    assert answer.status_code == 403
    assert len(rows(store)) == 1


def test_the_hidden_value_of_another_visit_does_not_serve(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, ines: int, store: Store
) -> None:
    """Each visit has a value of its own."""
    sign_in("educator")
    theirs = form_mark("/")
    sign_in("coordinator")

    answer = browser.post(f"/people/{ines}/close", data={"form_mark": theirs}, follow_redirects=False)

    assert answer.status_code == 403
    assert len(rows(store)) == 1


@pytest.mark.parametrize("path", ["/", "/people/{}", "/staff", "/people/{}/forget"])
def test_markup_in_names_and_messages_stays_text(
    browser: TestClient, sign_in: SignIn, ines: int, path: str
) -> None:
    """No name and no message becomes an element of a page."""
    sign_in("coordinator")
    page = browser.get(path.format(ines)).text

    assert "<script>alert" not in page
    assert "<img src=x" not in page


def test_a_formula_in_a_message_is_none_in_a_spreadsheet(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, ines: int
) -> None:
    """A cell that would be worked out begins with an apostrophe in the copy for a records request."""
    sign_in("coordinator")
    data = {"form_mark": form_mark("/records"), "from": "2026-01-01", "to": "2026-12-31", "form": "csv"}
    copied = browser.post("/records/copy", data=data | {"person": str(ines)}).text

    assert "'=HYPERLINK" in copied
    assert ",=HYPERLINK" not in copied
    assert '"=HYPERLINK' not in copied


def test_a_volunteer_sees_no_thread_that_is_not_theirs(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, ines: int, store: Store
) -> None:
    """Another's number in the address opens nothing, tells nothing, and no action reaches them."""
    sign_in("volunteer")
    mark = form_mark("/")
    thread = browser.get(f"/people/{ines}")
    nobody = browser.get("/people/999")
    answers = [
        browser.post(
            f"/people/{ines}/{what}", data={"form_mark": mark, "words": "x", "told": "x", "how": "called"}
        )
        for what in ("answer", "told", "close")
    ]

    assert thread.status_code == 400
    assert thread.text == nobody.text.replace("/people/999", f"/people/{ines}")
    assert {answer.status_code for answer in answers} == {400}
    assert len(rows(store)) == 1
    assert "HYPERLINK" not in browser.get("/").text


def test_a_volunteer_with_a_pile_sees_its_thread_but_no_number(
    browser: TestClient, sign_in: SignIn, ines: int, store: Store
) -> None:
    """The pile that was given to them opens its keeper's thread; the number stays hidden, masked too."""
    volunteer = sign_in("volunteer")
    with store.work() as work:
        (pile,) = work.piles.of(ines)
        work.staff.assign(volunteer.id, pile.id, NOON)
        work.commit()
    page = browser.get(f"/people/{ines}")

    assert page.status_code == 200
    assert "…01" not in page.text
    assert browser.post(f"/people/{ines}/number").status_code == 403


def test_what_a_volunteer_does_touches_their_piles_only(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, ines: int, store: Store
) -> None:
    """A row about another pile of the same keeper is not shown to a volunteer, and stays when theirs goes."""
    volunteer = sign_in("volunteer")
    with store.work() as work:
        mine = work.piles.found(ines, "America/Denver", NOON)
        work.staff.assign(volunteer.id, mine.id, NOON)
        work.helpdesk.open(ines, "trouble", NOON, mine.id)
        work.commit()
    page = browser.get(f"/people/{ines}").text
    browser.post(f"/people/{ines}/close", data={"form_mark": form_mark("/")})

    assert "Advice has not helped" in page
    assert "Danger" not in page
    assert "HYPERLINK" not in page
    assert [row.cause for row in rows(store)] == ["danger"]


def test_a_code_of_another_member_is_not_shown_in_their_thread(
    browser: TestClient, sign_in: SignIn, store: Store, maren: Member
) -> None:
    """An educator who opens a coordinator's thread reads no code that signs in or moves a phone."""
    with store.work() as work:
        for key, code in (("staff.sign_in_code", "482913"), ("move.code", "KAP482")):
            values = {"code": code, "minutes": 10, "until_minutes": 10}
            row_id = work.outbox.add(
                maren.person_id, "reply", [Line(key, values)], due_at=NOON, unique_key=key, reason={}
            )
            assert row_id is not None
            work.outbox.sent(row_id, NOON, f"Your code: {code}", None)
        work.commit()
    sign_in("educator")

    page = browser.get(f"/people/{maren.person_id}").text

    assert page.count("for their eyes only") == 2
    assert "482913" not in page
    assert "KAP482" not in page


def test_a_pile_of_somebody_else_cannot_be_named(
    browser: TestClient, sign_in: SignIn, form_mark: Mark, ines: int, store: Store
) -> None:
    """The number of another's pile in a form is refused, and nothing is recorded there."""
    with store.work() as work:
        other = work.people.add("sms", "+15055550102", "Leo", "en", "f", "America/Denver", NOON)
        theirs = work.piles.found(other.id, "America/Denver", NOON)
        work.commit()
    sign_in("educator")
    data = {"form_mark": form_mark("/"), "told": "temp 128", "how": "called", "pile": str(theirs.id)}

    answer = browser.post(f"/people/{ines}/told", data=data)

    assert answer.status_code == 400
    with store.work(reading=True) as work:
        assert work.piles.records(theirs.id) == []


def test_a_huge_form_is_not_taken(browser: TestClient, sign_in: SignIn, form_mark: Mark) -> None:
    """Six megabytes are refused, whether their length is told or not."""
    sign_in("educator")
    mark = form_mark("/rosters")
    told = browser.post(
        "/rosters", data={"form_mark": mark}, files={"file": ("list.csv", b"x" * 6 * 1024 * 1024)}
    )

    def untold() -> Iterator[bytes]:
        for _ in range(6):
            yield b"a=" + b"x" * 1024 * 1024

    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert told.status_code == 413
    assert browser.post("/rosters", content=untold(), headers=kind).status_code == 413


def test_the_cookie_and_the_pages_keep_to_themselves(browser: TestClient, chat: Chat, maren: Member) -> None:
    """The cookie is not for scripts or other sites; no page is framed, cached or sniffed."""
    browser.post("/sign-in", data={"address": PHONE})
    data = {"address": PHONE, "code": chat.codes()[-1]}
    signed_in = browser.post("/sign-in/code", data=data, follow_redirects=False)
    page = browser.get("/")

    assert maren.name in page.text
    assert "httponly" in signed_in.headers["set-cookie"].lower()
    assert "samesite=strict" in signed_in.headers["set-cookie"].lower()
    assert "frame-ancestors 'none'" in page.headers["content-security-policy"]
    assert "unsafe" not in page.headers["content-security-policy"]
    assert page.headers["cache-control"] == "no-store"
    assert page.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("to", ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example"])
def test_no_link_of_ours_leads_elsewhere(browser: TestClient, to: str) -> None:
    """The page that chooses the language leads back to our own pages only."""
    answer = browser.get("/language/es", params={"to": to}, follow_redirects=False)

    assert answer.headers["location"] == "/"


def test_nothing_personal_is_logged_or_stands_in_an_address(
    browser: TestClient,
    sign_in: SignIn,
    form_mark: Mark,
    ines: int,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Through every page, a failed sign-in, a refused form: no log line or link holds a name or number."""
    caplog.set_level(logging.INFO)
    sign_in("coordinator")
    mark = form_mark("/")
    seen = [browser.get(page.path) for page in PAGES if page.method == "GET" and "{" not in page.path]
    seen += [browser.get(f"/people/{ines}"), browser.post(f"/people/{ines}/number", data={"form_mark": mark})]
    seen += [browser.post("/people/find", data={"form_mark": mark, "who": INES})]
    seen += [browser.post("/sign-in/code", data={"address": INES, "code": "1"})]
    seen += [browser.post(f"/people/{ines}/close")]

    ours = [record.getMessage() for record in caplog.records if record.name.startswith(("bot", "storage"))]
    addresses = [str(page.url) for page in seen]
    addresses += [link for page in seen for link in page.text.split('href="')[1:]]
    for secret in ("5550101", "0101", "alert(1)", "HYPERLINK"):
        assert not any(secret in line for line in ours)
        assert not any(secret in address.split('"')[0] for address in addresses)


def test_a_sign_that_no_database_can_hold_is_no_trouble(
    browser: TestClient, sign_in: SignIn, form_mark: Mark
) -> None:
    """A NUL in an address finds nothing; in a form it is left out."""
    sign_in("educator")
    typed = {"class": "A\0", "title": "t", "en": "t", "es": "t", "topic": "water"}
    addresses = ("/classes/A%00", "/answers/write?topic=%00", "/rosters?class=%00")

    assert [browser.get(address).status_code for address in addresses] == [400, 400, 400]
    page = browser.post("/broadcasts/new", data={"form_mark": form_mark("/broadcasts/new")} | typed)
    assert page.status_code == 400


@pytest.mark.parametrize("part", ["people", "rosters", "broadcasts", "surveys", "readings"])
def test_a_broken_page_tells_nothing(browser: TestClient, sign_in: SignIn, part: str) -> None:
    """A number that no database can hold is answered like one that nobody has."""
    sign_in("educator")
    page = browser.get(f"/{part}/99999999999999999999")

    assert page.status_code == 400
    assert "Traceback" not in page.text
