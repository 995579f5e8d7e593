"""Lists of people from spreadsheets: looked at row by row, taken in once, taken back as a whole."""

from collections import Counter

from bot.staff.enrol import take_in, verdicts
from bot.staff.roster_file import FIELDS, entries, guess_columns, header_of, read_grid
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Go, Page, Visit, translate
from shared.errors import BadInput
from storage.rosters import Roster
from storage.work import Work

SHOWN = 300
LATEST = 30


def overview(visit: Visit) -> Answer:
    """Where to bring in a file, and what came in before."""
    with visit.office.store.work(reading=True) as work:
        classes = [taught for taught, _ in work.classes.latest(100)]
        brought = work.rosters.latest(LATEST)
    values = {"classes": classes, "brought": brought, "chosen": visit.query.get("class", "")}
    return Drawn("rosters.html", values)


def bring(visit: Visit) -> Answer:
    """Keep a file as a draft and show what it seems to hold."""
    file = visit.files.get("file")
    if file is None or not file.name:
        raise BadInput(translate(visit.language, "Choose a file first."))
    grid = read_grid(file.content)
    with visit.office.store.work() as work:
        taught = work.classes.get(visit.form.get("class", "")[:16])
        if taught is None:
            forms.wrong(visit, "%s: choose one of the list.", "Class")
        name = "".join(sign for sign in file.name if sign.isprintable())[-80:]
        draft = work.rosters.draft(taught.code, visit.who.id, name, guess_columns(grid), grid, visit.at)
        work.commit()
    return Go(f"/rosters/{draft.id}")


def show(visit: Visit) -> Answer:
    """Row by row, what would come of the file; or what came of it."""
    with visit.office.store.work(reading=True) as work:
        roster = work.rosters.get(visit.path["roster"])
        if roster.rows is None:
            brought = work.rosters.brought(roster.id)
            return Drawn("roster_taken.html", {"roster": roster, "brought": len(brought)})
        found = verdicts(work, entries(roster.rows, roster.columns))
    header = header_of(roster.rows)
    width = max(len(row) for row in roster.rows)
    heads = roster.rows[header] if header is not None else ()
    columns = [heads[place] if place < len(heads) else "" for place in range(width)]
    odd = [one for one in found if one[1] != "new" or one[0].oddities]
    plain = [one for one in found if one[1] == "new" and not one[0].oddities]
    values = {
        "roster": roster,
        "fields": list(FIELDS),
        "columns": columns,
        "counts": Counter(verdict for _, verdict in found),
        "shown": (odd + plain)[:SHOWN],
        "all": len(found),
    }
    return Drawn("roster.html", values)


def arrange(visit: Visit) -> Answer:
    """Say what stands in which column."""
    with visit.office.store.work() as work:
        roster = _draft(work, visit)
        width = max(len(row) for row in roster.rows or ())
        columns = {}
        for field in FIELDS:
            place = forms.number(visit, f"column-{field}", "Column", 0, width - 1)
            if place is not None:
                columns[field] = place
        work.rosters.arrange(roster.id, columns)
        work.commit()
    return Go(f"/rosters/{roster.id}")


def take(visit: Visit) -> Answer:
    """Bring the new people in; the same list a second time brings nobody."""
    with visit.office.store.work() as work:
        roster = work.rosters.get(visit.path["roster"])
        if roster.rows is not None:
            found = entries(roster.rows, roster.columns)
            take_in(work, visit.office.profile, roster, found, visit.at)
        work.commit()
    return Go(f"/rosters/{roster.id}")


def undo(visit: Visit) -> Answer:
    """Take an import back; whoever has written or said yes since stays."""
    with visit.office.store.work() as work:
        roster = work.rosters.get(visit.path["roster"])
        gone, stay = work.rosters.undo(roster.id, visit.at)
        work.commit()
    return Drawn("roster_undone.html", {"roster": roster, "gone": gone, "stay": stay})


def _draft(work: Work, visit: Visit) -> Roster:
    roster = work.rosters.get(visit.path["roster"])
    if roster.rows is None:
        raise BadInput(translate(visit.language, "This list is taken in already."))
    return roster


PAGES = (
    Page("/rosters", "GET", EDUCATORS, overview),
    Page("/rosters", "POST", EDUCATORS, bring),
    Page("/rosters/{roster:int}", "GET", EDUCATORS, show),
    Page("/rosters/{roster:int}/columns", "POST", EDUCATORS, arrange),
    Page("/rosters/{roster:int}/take", "POST", EDUCATORS, take),
    Page("/rosters/{roster:int}/undo", "POST", EDUCATORS, undo),
)
