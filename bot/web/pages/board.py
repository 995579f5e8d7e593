"""A board for the garden's wall: for each bay its stage and next job, and nothing of anybody."""

from bot.staff.helping import state
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Page, Visit, translate
from shared.errors import BadInput
from storage.work import Work

SHOWN = 60
LONGEST_BAY = 20


def choose(visit: Visit) -> Answer:
    """The piles that several people keep, to choose those of one garden and to name its bays."""
    with visit.office.store.work(reading=True) as work:
        piles = [
            (row, [person.name for person in work.people.of_ids(keepers).values() if person.name])
            for row, keepers in work.piles.shared(SHOWN)
        ]
    return Drawn("board.html", {"piles": piles, "longest": LONGEST_BAY})


def show(visit: Visit) -> Answer:
    """The board, to print."""
    chosen = [int(pile) for pile in visit.ticked.get("pile", ()) if pile.isascii() and pile.isdigit()][:SHOWN]
    if not chosen:
        raise BadInput(translate(visit.language, "Choose at least one pile for the board."))
    with visit.office.store.work(reading=True) as work:
        bays = [_bay(visit, work, place, pile_id) for place, pile_id in enumerate(chosen, 1)]
    return Drawn("board_print.html", {"bays": bays})


def _bay(visit: Visit, work: Work, place: int, pile_id: int) -> tuple[str, str, str]:
    """The bay's name, the stage and the next job of its pile; "" where it is not set up."""
    office = visit.office
    row = work.piles.get(pile_id)
    bay = forms.line(visit, f"bay{pile_id}", "Bay", longest=LONGEST_BAY) or str(place)
    founder = work.people.get(row.founder_id)
    stands = state(work, office.profile, office.look, row, founder, visit.language, visit.at)
    return (bay, stands.stage, stands.step) if stands is not None else (bay, "", "")


PAGES = (
    Page("/board", "GET", EDUCATORS, choose),
    Page("/board", "POST", EDUCATORS, show),
)
