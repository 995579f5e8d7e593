"""Who may open which page and do what: every page and action, by every role and by nobody."""

from collections.abc import Callable, Iterator

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from bot.outlook import Outlooks
from bot.profile import Profile
from bot.web.office import Office, Page
from bot.web.staff import PAGES, staff_pages
from storage.classes import ClassRow
from storage.staff_models import Role
from storage.work import Store
from tests.bot.web.conftest import NOON, Clock

ANYBODY = {
    "GET /sign-in",
    "POST /sign-in",
    "GET /sign-in/code",
    "POST /sign-in/code",
    "GET /language/{language}",
    "GET /privacy",
    "GET /calendar/{key}.ics",
    "GET /picture/{key}.png",
    "GET /dates-kept",
}
VOLUNTEERS = {
    "POST /sign-out",
    "GET /",
    "GET /people/{person:int}",
    "POST /people/{person:int}/answer",
    "POST /people/{person:int}/told",
    "POST /people/{person:int}/close",
    "GET /answers",
    "GET /data-map",
}
COORDINATORS_ONLY = {
    "GET /export",
    "POST /export",
    "GET /staff",
    "GET /staff/looks",
    "POST /staff/invite",
    "POST /staff/{member:int}/role",
    "POST /staff/{member:int}/end",
    "POST /staff/{member:int}/sign-out",
    "GET /records",
    "POST /records/holds",
    "POST /records/holds/{hold:int}/end",
    "POST /records/copy",
    "POST /people/{person:int}/ledger",
    "POST /people/{person:int}/file",
    "GET /people/{person:int}/forget",
    "POST /people/{person:int}/forget",
}
VALUES = {"member:int": "99", "language": "es", "code": "FIG22", "form": "csv", "topic": "ants"}
"""What stands for the named parts of a path; any other number is 1."""


@pytest.fixture
def store(sqlite_url: str) -> Iterator[Store]:
    """A store with one class and one graduate; what a role may do is the same on every database."""
    opened = Store(sqlite_url, secret="a key for tests")
    with opened.work() as work:
        work.classes.add(ClassRow("FIG22", "en", "America/Denver"))
        work.people.add("sms", "+15055550101", "Ines", "en", "f", "America/Denver", NOON)
        work.commit()
    yield opened
    opened.close()


def name(page: Page) -> str:
    """A page as the tables here have it."""
    return f"{page.method} {page.path}"


def visit(browser: TestClient, page: Page, mark: str = "") -> int:
    """The status of a page or an action with sample values."""
    path = page.path
    while "{" in path:
        part = path[path.index("{") + 1 : path.index("}")]
        path = path.replace(f"{{{part}}}", VALUES.get(part, "1"))
    form = {"form_mark": mark} if mark else {}
    answer = browser.request(page.method, path, data=form, follow_redirects=False)
    if answer.status_code == 303 and answer.headers["location"] == "/sign-in":
        return 401
    return answer.status_code


def test_every_page_says_who_may_open_it_as_the_tables_here_do() -> None:
    """A page or action that is added must be given its roles here too, by hand."""
    said = {name(page): page.roles for page in PAGES}

    assert {each for each, roles in said.items() if not roles} == ANYBODY
    assert {each for each, roles in said.items() if "volunteer" in roles} == VOLUNTEERS
    assert {each for each, roles in said.items() if roles == {"coordinator"}} == COORDINATORS_ONLY
    others = said.keys() - ANYBODY - VOLUNTEERS - COORDINATORS_ONLY
    assert {said[each] for each in others} == {frozenset({"coordinator", "educator"})}


def test_nobody_is_sent_to_sign_in_from_every_page_that_is_not_public(browser: TestClient) -> None:
    """Without a signed-in browser no page of the staff opens and no action acts."""
    statuses = {name(page): visit(browser, page) for page in PAGES if page.roles}

    assert {each: status for each, status in statuses.items() if status != 401} == {}


@pytest.mark.parametrize("role", ["volunteer", "educator", "coordinator"])
def test_a_role_opens_its_own_pages_and_no_other(
    browser: TestClient, sign_in: Callable[[Role], object], form_mark: Callable[[str], str], role: Role
) -> None:
    """Each page and action answers a member of another role with 403, and one of its own never."""
    sign_in(role)
    mark = form_mark("/")
    last = {"POST /sign-out", "GET /sign-in"}
    statuses = {page: visit(browser, page, mark) for page in PAGES if name(page) not in last and page.roles}

    for page, status in statuses.items():
        if role in page.roles:
            assert status in (200, 303, 400), (name(page), status)
        else:
            assert status == 403, (name(page), status)


def test_no_action_acts_on_a_form_that_is_not_ours(
    browser: TestClient, sign_in: Callable[[Role], object]
) -> None:
    """A coordinator's browser that posts without the hidden value of our forms is refused everywhere."""
    sign_in("coordinator")
    statuses = {name(page): visit(browser, page) for page in PAGES if page.method == "POST" and page.roles}

    assert set(statuses.values()) == {403}


@pytest.fixture
def browser(store: Store, clock: Clock) -> Iterator[TestClient]:
    """A browser whose tries to sign in are not counted."""
    office = Office(store, Profile(), clock, "http://testserver", Outlooks(Profile()))
    with TestClient(Starlette(routes=staff_pages(office))) as client:
        yield client
