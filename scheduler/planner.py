"""From agendas to outbox rows, once each: looks at what is due by index, and keeps the restraint.

Any number of processes may plan at once. Each lets itself a few of the due piles, by setting their next look
to the end of a lease; forecasts them outside any transaction; and stores what follows only for those whose
lease still stands: nothing was told of them meanwhile, and no other process took them over from one that was
silent for too long. Each nudge, and each one held back, is written down with its reason.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta

from scheduler.agenda import agenda, answered_by, recheck
from scheduler.case import Case, Due
from scheduler.keeping import View, views_of
from scheduler.nudges import WORK_OF, hold, put
from scheduler.restraint import (
    BEFORE,
    LONGEST,
    OWN_WORDS,
    Held,
    Phase,
    held_back,
    key_of,
    pause_over,
    phase_of,
    put_off,
    wants_restart,
)
from scheduler.times import local, next_allowed, on_wall
from scheduler.turns import Work as TurnWork
from scheduler.turns import once, phone_of, up_next
from shared.care import Action
from shared.forecast import Forecast
from shared.pile import Kind, Record
from storage.outbox import OutRow
from storage.people import Person
from storage.piles import PileRow
from storage.work import Store, Work

log = logging.getLogger(__name__)

Look = Callable[[PileRow, Sequence[Record], date], tuple[Forecast, tuple[Action, ...]]]
"""Where a pile stands on a day, and what care says."""

BATCH = 50
"""Piles that a process lets itself at a time; a few seconds' forecasts."""
LEASE = timedelta(minutes=5)
"""After which the piles of a process that died are due again."""
YOUNG_DAYS = 28
LOOK_EVERY_DAYS, LOOK_EVERY_DAYS_YOUNG = 7, 2
"""How often a pile is looked at where nothing is known to lie ahead."""
START_DAYS = (1, 7)
"""Days after joining on which somebody without a pile is offered help, once each."""
SPRING, SEASON_AFTER_DAYS = (3, 15), 90
"""They are asked once more on this day of the next spring (common practice: most new piles begin then)."""


def plan(store: Store, at: datetime, look: Look) -> int:
    """Look at every pile and person that is due by `at`; how many nudges were put into the outbox."""
    return _plan_people(store, at) + _plan_piles(store, at, look)


def _plan_people(store: Store, at: datetime) -> int:
    """Whoever has just joined or come back."""
    added = 0
    while True:
        with store.work(lasting=False) as work:
            people = work.people.take_due(at, BATCH)
            added += sum(_begin(work, person, at) for person in people)
            work.commit()
        if not people:
            return added


def _plan_piles(store: Store, at: datetime, look: Look) -> int:
    added, lease_until = 0, at + LEASE
    while True:
        with store.work(lasting=False) as work:
            taken = work.piles.take_due(at, lease_until, BATCH)
            work.commit()
        if not taken:
            return added
        with store.work(reading=True) as work:
            views = views_of(work, work.piles.of_ids(taken))
        looked = [(view, _case(view, look, at)) for view in views]
        added += _settle(store, sorted(looked, key=_most_gained_first), lease_until)


def answered(work: Work, pile_id: int, kind: Kind) -> None:
    """A record of this kind came in: hold back the nudges that would ask for what is done."""
    done = set(answered_by(kind))
    for row in work.outbox.about(pile_id):
        if key_of(row) in done:
            work.outbox.hold_back(row.id, "done meanwhile")


def given(work: Work, pile_id: int, to: int, what: TurnWork) -> None:
    """The keepers have settled who does some work: nobody else is asked for it."""
    for row in work.outbox.about(pile_id):
        if WORK_OF.get(key_of(row)) == what and row.reason.get("whose", row.person_id) != to:
            work.outbox.hold_back(row.id, "another keeper does it")


def _case(view: View, look: Look, at: datetime) -> Case | datetime | None:
    """The pile with its forecast; or, where none is needed, when to look again (None: when told of)."""
    reachable = [person for person in view.people if person.standing == "joined"]
    if not reachable or "built" not in view.row.setup:
        return None
    if (wait := _too_soon(view, reachable, at)) is not None:
        return wait
    try:
        outlook, actions = look(view.row, once(view.told), local(at, view.row.zone).date())
    except Exception:  # one pile that cannot be forecast must not keep the others from being planned
        log.exception("action=look pile=%s", view.row.id)
        return at + timedelta(days=LOOK_EVERY_DAYS)
    said = view.said
    if any(put_off(person, at) for person in reachable):  # the work is asked for anew, whenever it last was
        said = tuple(each for each in said if each.key not in WORK_OF)
    return Case(view.row, view.told, outlook, actions, said, at)


def _too_soon(view: View, people: Sequence[Person], at: datetime) -> datetime | None:
    """Until when nothing can be said: nobody is in their hours, or the reply has just said it."""
    urgent = recheck(view.told, view.said)
    if urgent is not None and urgent.due_at <= at:
        return None
    spoken = [person.last_heard_at for person in people if person.last_heard_at is not None]
    heard = min(spoken) if len(spoken) == len(people) else None
    told = view.told[-1].said_at if view.told else None
    quiet_until = max((moment + OWN_WORDS for moment in (heard, told) if moment is not None), default=at)
    allowed = min(next_allowed(max(at, quiet_until), person) for person in people)
    if allowed <= at:
        return None
    return min(allowed, urgent.due_at) if urgent is not None else allowed


def _most_gained_first(looked: tuple[View, Case | datetime | None]) -> float:
    """Of several piles of one person, the one with the most to gain goes first."""
    case = looked[1]
    if not isinstance(case, Case):
        return 0.0
    return -max((due.gain_days or 0.0 for due in agenda(case) if due.due_at <= case.at), default=0.0)


def _settle(
    store: Store, looked: Sequence[tuple[View, Case | datetime | None]], lease_until: datetime
) -> int:
    """Store what follows from each look whose lease still stands; how many nudges."""
    added = 0
    with store.work(lasting=False) as work:
        # people before piles, as the conversation locks them; two piles of one person share one budget
        work.people.hold({person.id for view, _ in looked for person in view.people})
        ours = work.piles.still_let([view.row.id for view, _ in looked], lease_until)
        for view, case in looked:
            if view.row.id not in ours:
                continue
            told, again = _tell(work, view, case) if isinstance(case, Case) else (0, case)
            work.piles.look_again(view.row.id, again)
            added += told
        work.commit()
    return added


def _tell(work: Work, view: View, case: Case) -> tuple[int, datetime | None]:
    """Say the one thing that is most worth saying, if restraint lets it; and when to look again."""
    dues = agenda(case)
    now = [due for due in dues if due.due_at <= case.at]
    added = sum(_warn(work, view, case, due) for due in now if due.urgent)
    if added:  # what else is due waits for the answer
        return added, _again(view, case, dues, None)
    verdict: Held | None = None
    for due, people in _offers(work, view, case, [due for due in now if not due.urgent]):
        verdict = _offer(work, view, case, due, people)
        if verdict is None:
            free_on = case.today + timedelta(_phase(case).gap_days)
            return added + 1, _again(view, case, dues, on_wall(free_on, time.min, case.row.zone))
        if verdict.until is not None:
            break
    later = verdict.until if verdict is not None else None
    return added, _again(view, case, dues, later)


def _offers(work: Work, view: View, case: Case, dues: Sequence[Due]) -> list[tuple[Due, Sequence[Person]]]:
    """What may be said to whom: a keeper back from a pause or long silent gets that first, alone."""
    people = [person for person in view.people if person.standing == "joined"]
    rests = case.asleep or case.outlook.stage in ("curing", "ready")
    for person in people:
        if pause_over(person, case.at) and not put_off(person, case.at):
            return [(case.due("back", "back"), [person])]
        if rests or person.unanswered == 0:
            continue
        if wants_restart(person, _recent(work, person, case.at), case.at):
            return [(case.due("restart", "restart"), [person])]
    return [(due, _in_turn(view, due.key, people, case.at)) for due in dues]


def _in_turn(view: View, key: str, people: Sequence[Person], at: datetime) -> Sequence[Person]:
    """Whom something may be said to: on a shared pile, work goes by whose turn it is."""
    if not view.group.shared or key not in WORK_OF:
        return people
    return up_next(view.group, WORK_OF[key], at)


def _offer(work: Work, view: View, case: Case, due: Due, people: Sequence[Person]) -> Held | None:
    """Give it to the first keeper who may have it; else write down why the first one does not get it."""
    in_hand = work.helpdesk.quiet_until(case.row.id, [person.id for person in view.people], case.at)
    refused: Held | None = None if people else Held("nobody is free for it")
    if in_hand is not None:
        refused, people = Held("staff", in_hand), ()
    for whose in people:
        person = phone_of(view.group, whose)
        held = held_back(person, due.key, _phase(case), _recent(work, person, case.at), case.at)
        allowed = next_allowed(case.at, person)
        if held is None and allowed > case.at:
            held = Held("outside their hours", allowed)
        if held is None:
            _add(work, case, due, person, whose if view.group.shared and due.key in WORK_OF else None)
            return None
        refused = refused or held
    assert refused is not None
    told = phone_of(view.group, people[0]) if people else view.people[0]
    hold(work, case.row, due, told, refused, case.at)
    return refused


def _add(work: Work, case: Case, due: Due, person: Person, whose: Person | None) -> None:
    if pause_over(person, case.at):
        work.people.change(person.id, paused_until=None)
    put(work, person, due, _phase(case), case.at, case.row, whose)


def _warn(work: Work, view: View, case: Case, due: Due) -> bool:
    """A matter of safety goes to the keeper who told of it, at any hour."""
    teller = next(
        (person for person in view.people if view.told and person.id == view.told[-1].said_by), view.people[0]
    )
    return put(work, teller, due, _phase(case), case.at, case.row)


def _again(view: View, case: Case, dues: Sequence[Due], not_before: datetime | None) -> datetime:
    """When to look at the pile next: at what lies ahead, at a keeper's hour, tomorrow at the soonest."""
    every = LOOK_EVERY_DAYS_YOUNG if case.age_days < YOUNG_DAYS else LOOK_EVERY_DAYS
    ahead = [due.due_at for due in dues if due.due_at > case.at and not due.urgent]
    routine = on_wall(case.today + timedelta(every), time.min, case.row.zone)
    tomorrow = on_wall(case.today + timedelta(1), time.min, case.row.zone)
    candidate = max(not_before or min([*ahead, routine]), tomorrow)
    people = [person for person in view.people if person.standing == "joined"]
    morning = min(next_allowed(candidate, person) for person in people)
    return min([morning, *(due.due_at for due in dues if due.urgent and due.due_at > case.at)])


def _begin(work: Work, person: Person, at: datetime) -> int:
    """Look at a person who has just joined or come back: wake their piles, or help them to start one."""
    piles = work.piles.of(person.id)
    for row in piles:
        work.piles.look_again(row.id, at)
    added, again = (0, None) if piles or person.standing != "joined" else _start(work, person, at)
    work.people.change(person.id, next_look_at=again)
    return added


def _start(work: Work, person: Person, at: datetime) -> tuple[int, datetime | None]:
    """Somebody without a pile: one offer on each of two days, one more in the next spring, then quiet."""
    joined_at = person.joined_at or at
    since = [key_of(row) for row in work.outbox.unprompted_since(person.id, joined_at)]
    offers = since.count("start")
    if "start_again" in since:
        return 0, None
    if offers < len(START_DAYS):
        key, due_at = "start", joined_at + timedelta(START_DAYS[offers])
    else:
        key, due_at = "start_again", _next_spring(joined_at, person.zone)
    allowed = next_allowed(max(due_at, at), person)
    if allowed > at:
        return 0, allowed
    due = Due(key, due_at, {}, {"why": key})
    held = held_back(person, key, BEFORE, _recent(work, person, at), at)
    if held is None:
        put(work, person, due, BEFORE, at, None)
        return 1, at + timedelta(days=1)
    hold(work, None, due, person, held, at)
    return 0, held.until or at + timedelta(days=LOOK_EVERY_DAYS)


def _next_spring(joined_at: datetime, zone: str) -> datetime:
    """The first spring that does not come right after joining."""
    soonest = local(joined_at, zone).date() + timedelta(SEASON_AFTER_DAYS)
    this_year = date(soonest.year, *SPRING)
    return on_wall(this_year if this_year >= soonest else date(soonest.year + 1, *SPRING), time.min, zone)


def _recent(work: Work, person: Person, at: datetime) -> list[OutRow]:
    return work.outbox.unprompted_since(person.id, at - LONGEST)


def _phase(case: Case) -> Phase:
    return phase_of(case.age_days, case.outlook.stage, case.harvested)
