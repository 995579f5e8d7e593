"""The staff's door: who may open which page, forms that only our own pages can post, and how a page is drawn.

Every page is a row of a table: path, method, roles, and a plain function from a `Visit` to an `Answer`.
What guards the pages stands here once; the pages themselves know nothing of cookies.
"""

import asyncio
import hashlib
import hmac
import logging
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any, Literal
from zoneinfo import ZoneInfo

from babel.dates import format_date, format_time
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import Translations
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from bot.conversation.talk import Look
from bot.language.meaning import Language
from bot.language.wording import LOCALES
from bot.profile import Profile
from bot.rehearse import Message, Script
from bot.staff.helping import temperature
from bot.staff.poster import Ways
from bot.web.brake import Brake
from scheduler.times import Clock
from shared.errors import BadInput, StorageTrouble
from storage.staff import VISIT_LASTS, Member
from storage.staff_models import Role
from storage.work import Store

log = logging.getLogger(__name__)

COOKIE = "visit"
NO_WAYS = Ways()
LARGEST_FORM = 5 * 1024 * 1024
"""A roster of twenty thousand rows fits. [octets]"""
LARGEST_ID = 2**31 - 1
"""What the databases hold in a number of a row."""
FORM_S = 30.0
"""How long a form may take to come. [s]"""
YEAR_S = 365 * 24 * 3600
VALUE = re.compile(r"'[^']*'|\d+")
ANYBODY: frozenset[Role] = frozenset()
STAFF: frozenset[Role] = frozenset({"coordinator", "educator", "volunteer"})
EDUCATORS: frozenset[Role] = frozenset({"coordinator", "educator"})
COORDINATORS: frozenset[Role] = frozenset({"coordinator"})


@dataclass(frozen=True, slots=True)
class Office:
    """What the pages work on. `public_url` is the address under which browsers reach us.

    look   forecasts a pile
    ways   how graduates reach us, for the posters
    play   plays a script on a database of its own
    """

    store: Store
    profile: Profile
    clock: Clock
    public_url: str
    look: Look
    ways: Ways = NO_WAYS
    play: Callable[[Script], Iterable[Message]] | None = None
    brake: Brake = field(default_factory=Brake)


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that came with a form."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Visit:
    """One request: who asks (None: nobody is signed in), in which language, for what.

    path    values of the path       query, form   what was typed, each name once
    token   of the signed-in browser; "" where nobody is signed in
    """

    office: Office
    member: Member | None
    language: Language
    at: datetime
    url: str
    token: str = ""
    path: Mapping[str, Any] = field(default_factory=dict)
    query: Mapping[str, str] = field(default_factory=dict)
    form: Mapping[str, str] = field(default_factory=dict)
    ticked: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, Upload] = field(default_factory=dict)

    @property
    def who(self) -> Member:
        """The member of a page that only staff can open."""
        assert self.member is not None
        return self.member


@dataclass(frozen=True, slots=True)
class Drawn:
    """A page: its template and what fills it."""

    template: str
    values: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True, slots=True)
class Go:
    """On to another page of ours; `token` signs this browser in, "" signs it out."""

    to: str
    token: str | None = None
    language: str | None = None


@dataclass(frozen=True, slots=True)
class Download:
    """A file."""

    name: str
    content: bytes
    media_type: str


Answer = Drawn | Go | Download


@dataclass(frozen=True, slots=True)
class Page:
    """One page or action. `roles` empty: whoever comes; `braked`: only so often from one client."""

    path: str
    method: Literal["GET", "POST"]
    roles: frozenset[Role]
    answer: Callable[[Visit], Answer]
    braked: bool = False


def staff_routes(office: Office, pages: Sequence[Page]) -> list[Route]:
    """The routes of these pages, each behind the door."""
    return [Route(page.path, _door(office, page), methods=[page.method]) for page in pages]


def _door(office: Office, page: Page) -> Callable[[Request], Any]:
    async def door(request: Request) -> Response:
        at = office.clock.now()
        token = request.cookies.get(COOKIE, "")
        client = request.client.host if request.client is not None else ""
        if page.braked and not office.brake.lets_pass(client, at):
            log.warning("action=braked path=%s", page.path)
            return PlainTextResponse("too often: try again in ten minutes\n", 429)
        try:
            member = await asyncio.to_thread(_visiting, office, token, at) if token else None
            language = _language(request, office.profile)
            visit = Visit(office, member, language, at, str(request.url.path), token if member else "")
            if page.roles and member is None:
                return RedirectResponse("/sign-in", 303)
            if page.roles and member is not None and member.role not in page.roles:
                return _draw(visit, Drawn("refused.html", status=403))
            visit = await _filled(visit, request, page)
            answer = await asyncio.to_thread(page.answer, visit)
        except (TimeoutError, ClientDisconnect):
            return PlainTextResponse("too slow\n", 408)
        except _TooLarge:
            return PlainTextResponse("too large\n", 413)
        except _Forged:
            log.warning("action=form_refused path=%s", page.path)
            return PlainTextResponse("this form is too old or not ours: load the page again\n", 403)
        except StorageTrouble as trouble:
            log.warning("action=page path=%s trouble=%s", page.path, trouble)
            return PlainTextResponse("not now: try again in a minute\n", 503)
        except BadInput as trouble:
            return _draw(visit, Drawn("mistake.html", {"what": in_words(visit.language, trouble)}, 400))
        return await asyncio.to_thread(_draw, visit, answer, office.public_url.startswith("https:"))

    return door


class _TooLarge(Exception):
    pass


class _Forged(Exception):
    pass


def _visiting(office: Office, token: str, at: datetime) -> Member | None:
    with office.store.work(reading=True) as work:
        return work.staff.visiting(token, at)


def form_mark(visit: Visit) -> str:
    """The hidden value of every form of this visit: only its browser and we know the token it is of."""
    return hashlib.blake2b(b"form", key=visit.token.encode(), digest_size=16).hexdigest()


async def _filled(visit: Visit, request: Request, page: Page) -> Visit:
    """The visit with what was typed; a form must be one of ours."""
    visit = replace(visit, path=request.path_params, query=dict(request.query_params))
    if any(isinstance(value, int) and value > LARGEST_ID for value in visit.path.values()):
        raise BadInput("there is nothing of this number")
    if any("\0" in str(value) for value in (*visit.path.values(), *visit.query.values())):
        raise BadInput("there is nothing of this name")  # PostgreSQL keeps no such sign
    if page.method == "GET":
        return visit
    if int(request.headers.get("content-length") or LARGEST_FORM + 1) > LARGEST_FORM:
        raise _TooLarge
    if not _same_site(request):
        raise _Forged
    async with asyncio.timeout(FORM_S):
        try:
            form = await request.form(max_files=2, max_fields=2000, max_part_size=LARGEST_FORM)
        except HTTPException:
            raise _TooLarge from None
        typed = {
            name: value.replace("\0", "") for name, value in form.multi_items() if isinstance(value, str)
        }
        ticked: dict[str, list[str]] = {}
        for name, value in form.multi_items():
            if isinstance(value, str):
                ticked.setdefault(name, []).append(value)
        uploads = {
            name: Upload(value.filename or "", await value.read())
            for name, value in form.multi_items()
            if isinstance(value, UploadFile)
        }
        await form.close()
    if visit.member is not None and not hmac.compare_digest(typed.pop("form_mark", ""), form_mark(visit)):
        raise _Forged
    return replace(visit, form=typed, ticked=ticked, files=uploads)


def _same_site(request: Request) -> bool:
    """Whether a browser that tells where a form comes from says: from here."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("origin")
    return origin is None or origin.partition("://")[2] == request.headers.get("host")


def _language(request: Request, profile: Profile) -> Language:
    """The language that was chosen on a page, else the browser's, else the programme's first."""
    wished = [request.cookies.get("language", ""), *request.headers.get("accept-language", "").split(",")]
    for wish in wished:
        for language in profile.languages:
            if wish.strip()[:2].lower() == language:
                return language
    return profile.languages[0]


@cache
def _templates(language: Language) -> Environment:
    environment = Environment(
        loader=PackageLoader("bot.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    environment.install_gettext_translations(_translations(language), newstyle=True)  # type: ignore[attr-defined]
    environment.globals["locale"] = LOCALES[language]
    environment.filters["longday"] = lambda day: format_date(day, "long", locale=LOCALES[language])
    environment.filters["day"] = lambda day: format_date(day, "medium", locale=LOCALES[language])
    environment.filters["moment"] = lambda at, zone: _moment(at, zone, LOCALES[language])
    environment.filters["core"] = lambda core_c, units: temperature(language, units, core_c)
    return environment


def _moment(at: datetime, zone: str, locale: str) -> str:
    there = at.astimezone(ZoneInfo(zone))
    return f"{format_date(there, 'medium', locale=locale)}, {format_time(there, 'short', locale=locale)}"


def translate(language: Language, sentence: str) -> str:
    """A sentence that stands in our own code or data, in the reader's language."""
    return _translations(language).ugettext(sentence)


def in_words(language: Language, trouble: BadInput) -> str:
    """What is wrong, in the reader's language; numbers and what stands in quotes are its values."""
    sentence = str(trouble)
    said = translate(language, sentence)
    if said != sentence:
        return said
    return translate(language, VALUE.sub("%s", sentence.replace("%", "%%"))) % tuple(VALUE.findall(sentence))


@cache
def _translations(language: Language) -> Translations:
    """The templates are written in English; `es/pages.po` says each of their sentences in Spanish.

    `en/pages.po` only gives words to codes, such as the topics of questions.
    """
    with (files("bot.language") / language / "pages.po").open("rb") as file:
        sentences = read_po(file, locale=LOCALES[language], abort_invalid=True)
    compiled = BytesIO()
    write_mo(compiled, sentences)
    compiled.seek(0)
    return Translations(compiled)


def _draw(visit: Visit, answer: Answer, secure: bool = False) -> Response:
    if isinstance(answer, Go):
        response: Response = RedirectResponse(answer.to, 303)
        if answer.token is not None:
            _set_cookie(response, answer.token, secure)
        if answer.language in visit.office.profile.languages:
            response.set_cookie(
                "language", answer.language or "", max_age=YEAR_S, samesite="lax", secure=secure
            )
    elif isinstance(answer, Download):
        response = Response(answer.content, media_type=answer.media_type)
        if not answer.media_type.startswith("image/"):
            response.headers["Content-Disposition"] = f'attachment; filename="{answer.name}"'
    else:
        template = _templates(visit.language).get_template(answer.template)
        shared = {"visit": visit, "programme": visit.office.profile.programme}
        mark = form_mark(visit) if visit.member else ""
        response = HTMLResponse(template.render(**shared, form_mark=mark, **answer.values), answer.status)
    response.headers.update(HEADERS)
    return response


HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; "
    "form-action 'self'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def _set_cookie(response: Response, token: str, secure: bool) -> None:
    if not token:
        response.delete_cookie(COOKIE, httponly=True, samesite="strict", secure=secure)
        return
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(VISIT_LASTS.total_seconds()),
        httponly=True,
        samesite="strict",
        secure=secure,
    )
