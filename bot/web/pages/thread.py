"""One person's thread: what was said both ways and why, their piles, and what a human does about it.

Every look is logged. A volunteer sees people whose piles are theirs, what was said of those piles, and no
number at all.
"""

from collections.abc import Mapping
from typing import Any, get_args
from zoneinfo import ZoneInfo

from bot.language.wording import Voice
from bot.phone_numbers import as_written, masked
from bot.staff.helping import LONGEST_WORDS, STEPS, may_see, see_to, seen_piles, state, write, write_down
from bot.web import forms
from bot.web.office import COORDINATORS, EDUCATORS, STAFF, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput
from storage.helpdesk import How, Said
from storage.outbox import Line
from storage.people import Person
from storage.staff import Looked
from storage.work import Work

SHOWN = 100
LOOKS = 20
SECRET = frozenset(
    {"staff.sign_in_code", "move.code", "share.code", "calendar.link", "calendar.new", "picture.link"}
)
"""What lets its reader in: a member who could read it in a thread could come in as another member."""


def show(visit: Visit) -> Answer:
    """The thread as it stands."""
    return _drawn(visit, shows_number=False)


def number(visit: Visit) -> Answer:
    """The same, with the number; that it was shown is logged."""
    return _drawn(visit, shows_number=True)


def answer(visit: Visit) -> Answer:
    """Words of one's own, or an approved text, into the person's thread."""
    words = forms.text(visit, "words", "Your answer", longest=LONGEST_WORDS)
    with visit.office.store.work() as work:
        person = _person(visit, work)
        approved = None
        if visit.form.get("approved"):
            texts = {str(each.id): each for each in work.approved.current()}
            approved = texts[forms.choice(visit, "approved", "An approved text", texts)]
            words = approved.text(person.language)
        said = forms.needed(visit, words, "Your answer")
        pile_id = _pile(visit, work, person)
        try:
            write(work, visit.who, person, said, visit.at, pile_id, approved)
        except BadInput as trouble:
            raise BadInput(translate(visit.language, str(trouble))) from None
        work.commit()
    return Go(f"/people/{person.id}")


def told(visit: Visit) -> Answer:
    """What they said on the phone or on a visit, read and kept like a text of theirs."""
    words = forms.needed(visit, forms.text(visit, "told", "What they told"), "What they told")
    how: How = forms.choice(visit, "how", "How", ("called", "visited"))
    with visit.office.store.work() as work:
        person = _person(visit, work)
        try:
            write_down(work, visit.who, person, words, how, _pile(visit, work, person), visit.at)
        except BadInput as trouble:
            raise BadInput(translate(visit.language, str(trouble))) from None
        work.commit()
    return Go(f"/people/{person.id}")


def close(visit: Visit) -> Answer:
    """Off the list; they come back only with a new cause."""
    with visit.office.store.work() as work:
        see_to(work, visit.who, _person(visit, work).id, "closed", visit.at)
        work.commit()
    return Go("/")


def assign(visit: Visit) -> Answer:
    """Let a volunteer see a pile of this person."""
    with visit.office.store.work() as work:
        person = _person(visit, work)
        volunteers = {str(each.id): each.id for each in work.staff.all() if each.role == "volunteer"}
        pile_id = _pile(visit, work, person)
        if pile_id is None:
            forms.wrong(visit, "%s: choose one of the list.", "Pile")
        work.staff.assign(
            volunteers[forms.choice(visit, "volunteer", "Volunteer", volunteers)], pile_id, visit.at
        )
        work.commit()
    return Go(f"/people/{person.id}")


def unassign(visit: Visit) -> Answer:
    """A volunteer sees a pile no longer."""
    with visit.office.store.work() as work:
        person = _person(visit, work)
        pile_id = _pile(visit, work, person)
        if pile_id is not None:
            work.staff.unassign(int(forms.number(visit, "volunteer", "Volunteer", 1, 10**8) or 0), pile_id)
        work.commit()
    return Go(f"/people/{person.id}")


def ledger(visit: Visit) -> Answer:
    """Every yes and no of a person, with the wording they were shown and the moment."""
    with visit.office.store.work() as work:
        person = _person(visit, work, "ledger")
        lines = work.people.consents(person.id)
        work.commit()
    return Drawn("ledger.html", {"person": person, "lines": lines})


def _person(visit: Visit, work: Work, looked: Looked | None = None) -> Person:
    """The person of this page, if the member may see them; the look is logged."""
    person_id = visit.path["person"]
    if not may_see(work, visit.who, person_id):
        raise BadInput(translate(visit.language, "There is nobody of this number whom you may see."))
    try:
        person = work.people.get(person_id)
    except BadInput:
        raise BadInput(
            translate(visit.language, "There is nobody of this number whom you may see.")
        ) from None
    if looked is not None:
        work.staff.looked(visit.who.id, person.id, looked, visit.at)
    return person


def _pile(visit: Visit, work: Work, person: Person) -> int | None:
    """The pile that a form is about: one that this person keeps and this member may see."""
    kept = {str(row.id): row.id for row in work.piles.of(person.id)}
    seen = seen_piles(work, visit.who)
    mine = {name: pile_id for name, pile_id in kept.items() if seen is None or pile_id in seen}
    if visit.form.get("pile"):
        return mine[forms.choice(visit, "pile", "Pile", mine)]
    return next(iter(mine.values())) if len(mine) == 1 else None


def _drawn(visit: Visit, *, shows_number: bool) -> Drawn:
    office, seen_all = visit.office, visit.who.role != "volunteer"
    with office.store.work() as work:
        person = _person(visit, work, "number" if shows_number else "thread")
        seen = seen_piles(work, visit.who)
        rows = [row for row in work.piles.of(person.id) if seen is None or row.id in seen]
        stands = [
            state(work, office.profile, office.look, row, person, visit.language, visit.at) for row in rows
        ]
        values: dict[str, Any] = {
            "person": person,
            "address": _address(person, shows_number) if seen_all else None,
            "shows_number": shows_number,
            "waiting": [(row, STEPS[row.cause]) for row in work.helpdesk.of(person.id, seen)],
            "thread": [_worded(visit, person, said) for said in work.helpdesk.thread(person.id, SHOWN, seen)],
            "piles": list(zip(rows, stands, strict=True)),
            "approved": work.approved.current(),
            "volunteers": [each for each in work.staff.all() if each.role == "volunteer"],
            "sees": work.staff.who_sees([row.id for row in rows]),
            "looks": work.staff.looks(person.id, LOOKS) if visit.who.role == "coordinator" else [],
            "longest": LONGEST_WORDS,
            "hows": [how for how in get_args(How) if how in ("called", "visited")],
        }
        work.commit()
    return Drawn("thread.html", values)


def _address(person: Person, shows_number: bool) -> str:
    if not person.address:
        return ""
    if not shows_number:
        return masked(person.address)
    return as_written(person.address) if person.address.startswith("+") else person.address


def _worded(visit: Visit, person: Person, said: Said) -> Mapping[str, Any]:
    """One message as the page shows it: what was not sent is worded as it would have been."""
    voice = Voice(person.language, person.units, said.at.astimezone(ZoneInfo(person.zone)).date())
    text = said.text
    if SECRET & {key for key, _ in said.lines}:
        text = translate(visit.language, "(a code or an address for their eyes only)")
    elif not text and said.lines:
        text = _said(voice, [Line(key, dict(values)) for key, values in said.lines])
    return {"said": said, "text": text, "why": _why(visit, said)}


def _why(visit: Visit, said: Said) -> str:
    """Why we said it, in the words of the catalogue."""
    code = (said.reason or {}).get("why") if said.kind in ("nudge", "warning") else None
    if not isinstance(code, str) or not said.lines:
        return ""
    voice = Voice(visit.language, visit.office.profile.units, said.at.date())
    numbers = {name: value for name, value in (said.reason or {}).items() if name != "why"}
    work = said.lines[0][0].split(".")[1] if said.lines[0][0].startswith("nudge.") else ""
    do = {"turn_water": "turn"}.get(work, work)
    for key in (f"why.{do}.{code}", f"why.nudge.{code}"):
        if words := _said(voice, [Line(key, numbers)]):
            return words
    return ""


def _said(voice: Voice, lines: list[Line]) -> str:
    """The words of some lines; "" where the catalogue of today no longer holds them."""
    try:
        return voice.say(lines)
    except (KeyError, ValueError):
        return ""


PAGES = (
    Page("/people/{person:int}", "GET", STAFF, show),
    Page("/people/{person:int}/number", "POST", EDUCATORS, number),
    Page("/people/{person:int}/answer", "POST", STAFF, answer),
    Page("/people/{person:int}/told", "POST", STAFF, told),
    Page("/people/{person:int}/close", "POST", STAFF, close),
    Page("/people/{person:int}/assign", "POST", EDUCATORS, assign),
    Page("/people/{person:int}/unassign", "POST", EDUCATORS, unassign),
    Page("/people/{person:int}/ledger", "POST", COORDINATORS, ledger),
)
