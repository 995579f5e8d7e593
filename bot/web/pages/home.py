"""The first page: who needs a human, ten at most unless all are asked for."""

from bot.phone_numbers import e164
from bot.staff.helping import STEPS, seen_piles, state
from bot.web import forms
from bot.web.office import EDUCATORS, STAFF, Answer, Drawn, Page, Visit
from shared.errors import BadInput

SHOWN, ALL = 10, 500
FOUND = 50


def first(visit: Visit) -> Answer:
    """The list, the gravest first: each with its reason, last words, the state of the pile, a step."""
    office, everything = visit.office, "all" in visit.query
    with office.store.work(reading=True) as work:
        piles = seen_piles(work, visit.who)
        rows = work.helpdesk.waiting(ALL if everything else SHOWN, piles)
        waiting = work.helpdesk.how_many(piles)
        shown = []
        for row in rows:
            stands = None
            if row.pile_id is not None and not everything:
                kept = {pile.id: pile for pile in work.piles.of(row.person_id)}
                pile = kept.get(row.pile_id) or work.piles.get(row.pile_id)
                person = work.people.get(row.person_id)
                stands = state(work, office.profile, office.look, pile, person, visit.language, visit.at)
            shown.append((row, stands, STEPS[row.cause]))
    return Drawn("home.html", {"rows": shown, "waiting": waiting, "everything": everything})


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
    Page("/", "GET", STAFF, first),
    Page("/people/find", "POST", EDUCATORS, find),
)
