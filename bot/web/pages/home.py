"""The first page: who needs a human, ten at most unless all are asked for."""

from bot.phone_numbers import e164
from bot.staff.helping import STEPS, State, seen_piles, state
from bot.web import forms
from bot.web.office import EDUCATORS, STAFF, Answer, Drawn, Page, Visit
from shared.errors import BadInput
from storage.helpdesk import Waiting
from storage.work import Work

SHOWN, ALL = 10, 500
FOUND = 50


def first_page(visit: Visit) -> Answer:
    """The list, the gravest first: each with reasons, last words, the state of the pile, a step."""
    everything = "all" in visit.query
    with visit.office.store.work(reading=True) as work:
        piles = seen_piles(work, visit.who)
        rows = work.helpdesk.waiting(ALL if everything else SHOWN, piles)
        waiting = work.helpdesk.how_many(piles)
        causes: dict[int, list[Waiting]] = {}
        for row in rows:
            causes.setdefault(row.person_id, []).append(row)
        shown = [
            (
                first,
                None if everything else _state(visit, work, first),
                STEPS[first.cause],
                [row.cause for row in others],
            )
            for first, *others in causes.values()
        ]
    values = {"rows": shown, "listed": len(rows), "waiting": waiting, "everything": everything}
    return Drawn("home.html", values)


def _state(visit: Visit, work: Work, row: Waiting) -> State | None:
    """Where the pile of a row stands; None where the row is about none."""
    if row.pile_id is None:
        return None
    office, person = visit.office, work.people.get(row.person_id)
    kept = {pile.id: pile for pile in work.piles.of(row.person_id)}
    pile = kept.get(row.pile_id) or work.piles.get(row.pile_id)
    return state(work, office.profile, office.look, pile, person, visit.language, visit.at)


def find(visit: Visit) -> Answer:
    """People of a first name, or of a number; what was typed stands in no address."""
    typed = forms.needed(
        visit, forms.line(visit, "who", "First name or phone number"), "First name or phone number"
    )
    try:
        number = e164(typed)
    except BadInput:
        number = typed
    with visit.office.store.work(reading=True) as work:
        return Drawn("found.html", {"found": work.helpdesk.find(typed, number, FOUND)})


PAGES = (
    Page("/", "GET", STAFF, first_page),
    Page("/people/find", "POST", EDUCATORS, find),
)
