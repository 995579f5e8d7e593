"""What to do next and when it will be done: the lines with which an answer about a pile ends.

One next action and its day, with its reason and the caution that is due; the done date as a range, told
where it was not told before or has moved.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from bot.conversation.talk import Known, KnownPile, Outcome
from scheduler.agenda import KEY_OF
from scheduler.nudges import QUESTIONS
from shared.care import Action
from shared.cautions import Caution, cautions_for
from shared.forecast import DateRange, Forecast
from shared.pile import Record
from storage.outbox import Line
from storage.piles import Piles

EXACT_WIDTH = timedelta(days=24)
"""A range no wider than this is told by days; a wider one by thirds of months."""
LONG_TAIL = timedelta(days=120)
"""A late end further than this behind the middle is told apart: it comes of leaving the pile alone."""
MOVED = timedelta(days=7)
"""The done date is told again when an end of its range moved by more than this, and by a quarter of it."""
TELLING: frozenset[str] = frozenset(
    {"frozen", "winter", "harvested", "looks_done", "did_it_reheat", "still_cold", "after_danger"}
)
"""Reasons for waiting or measuring that are news; the others are told when asked."""


def kept_away(
    known: Known,
    pile: KnownPile,
    outcome: Outcome,
    found: tuple[Forecast, tuple[Action, ...]] | None = None,
) -> bool:
    """Whether people must stay back from the pile now; then that is the answer."""
    _, actions = found or known.look(pile.row, pile.records, known.today)
    if actions[0].do != "keep_away":
        return False
    outcome.say("danger.stay_back", emergency=known.profile.emergency_number)
    return True


def next_step(
    known: Known,
    pile: KnownPile,
    records: Sequence[Record],
    found: tuple[Forecast, tuple[Action, ...]],
    outcome: Outcome,
    *,
    why: bool = True,
    asked: bool = False,
) -> None:
    """One next action and its day, with its reason and the caution that is due.

    Who has asked is told why also where there is nothing to do.

    Water that belongs to a turn is said with it.
    """
    outlook, actions = found
    first = actions[0]
    if kept_away(known, pile, outcome, found):
        return
    poke = first.do == "turn" and known.person.cannot_turn
    outcome.lines.append(worded(known, first))
    asked_of = QUESTIONS.get(KEY_OF.get(first.do, ""))
    if asked_of is not None and not poke and outcome.lines[-1].key.endswith(".now"):
        question, options = asked_of
        outcome.advised = {"ask": question, "options": list(options), "pile": pile.row.id, "advised": True}
    if first.do == "measure" and known.person.thermometer is False and outcome.opens is None:
        outcome.ask("feel", "heat.cold", "heat.warm", "heat.hot", pile=pile.row.id)
    if why and not poke and (first.do not in ("wait", "measure") or asked or first.why in TELLING):
        outcome.lines.append(Line(f"why.{first.do}.{first.why}", dict(first.numbers)))
    if first.why == "rodents":
        outcome.say("caution.rodents")
    if first.do == "turn":
        water = next((act for act in actions[1:] if act.do == "water" and act.on in (first.on, None)), None)
        if water is not None and water.litres:
            outcome.say("do.water.with_turn", add_l=water.litres)
    if not poke and first.why != "rodents" and (first.on is None or first.on <= known.today):
        for caution in cautions_with(pile, records, outlook, first):
            if all(line.key != f"caution.{caution}" for line in outcome.lines):
                outcome.say(f"caution.{caution}")


GRAVE_FIRST: tuple[Caution, ...] = (
    "rodent_dust",
    "dust",
    "steam",
    "manure",
    "herbicide",
    "breath",
    "lift",
    "wash_hands",
)


def cautions_with(
    pile: KnownPile, records: Sequence[Record], outlook: Forecast, action: Action
) -> list[Caution]:
    """The gravest caution of some work, two for the harvest; lifting only before the first turn."""
    due = cautions_for(
        action.do, Piles.pile(pile.row, None, None), records, outlook.core_c.p50, outlook.moisture.p50
    )
    known_work = action.do == "turn" and any(record.kind == "turned" for record in records)
    light = known_work or "dust" in due
    said = [caution for caution in GRAVE_FIRST if caution in due and not (light and caution == "lift")]
    return said[: 2 if action.do == "harvest" else 1]


def worded(known: Known, action: Action) -> Line:
    """One action as a line: what, how much, and its day; in the way that this person can do it."""
    do: str = action.do
    if do == "measure" and known.person.thermometer is False:
        do = "feel"
    if do == "turn" and known.person.cannot_turn:
        do = "poke"
    if action.why == "rodents" and do == "stop_adding":
        do = "stop_food"
    values: dict[str, Any] = {}
    if action.litres:
        values["add_l"] = action.litres
    when = "now"
    if action.on is not None and action.on > known.today:
        when, values["on_on"] = "on", action.on.isoformat()
    amount = ".amount" if action.litres and do == "water" else ""
    return Line(f"do.{do}{amount}.{when}", values)


def tell_range(pile: KnownPile, outlook: Forecast, outcome: Outcome, *, only_if_moved: bool = False) -> None:
    """The done date as a range, where it was not told before or an end of it moved.

    Of a pile that still grows it is told when asked: "if you stop adding now" is no news to who goes on.
    """
    if only_if_moved and pile.row.setup.get("fed"):
        return
    if outlook.stage == "ready":
        if not only_if_moved:
            outcome.say("range.is_ready")
        return
    before = told_before(pile)
    now = (outlook.ready.p10, outlook.ready.p90)
    if only_if_moved and before is not None and not moved(before, now):
        return
    outcome.told_ready[pile.row.id] = now
    again = before is not None and only_if_moved
    outcome.lines.append(range_line(pile, outlook.ready, outlook.as_of, again=again))


def told_before(pile: KnownPile) -> tuple[date, date] | None:
    """The range told last for this pile."""
    told = (pile.row.last_forecast or {}).get("told")
    return (date.fromisoformat(told[0]), date.fromisoformat(told[1])) if told else None


def moved(before: tuple[date, date], now: tuple[date, date]) -> bool:
    """Whether a range differs enough from the one told last to be worth words."""
    slack = max(MOVED, (before[1] - before[0]) / 4, (now[1] - now[0]) / 4)
    return abs(now[0] - before[0]) > slack or abs(now[1] - before[1]) > slack


def range_line(pile: KnownPile, ready: DateRange, today: date, *, again: bool) -> Line:
    """A range in words: by days where narrow, else by thirds of months; from its middle with a long tail."""
    how, values = _range(ready, today)
    fed = ".fed" if pile.row.setup.get("fed") else ""
    return Line(f"range.{how}{fed}" + (".again" if again and not fed and how != "by" else ""), values)


def _range(ready: DateRange, today: date) -> tuple[str, dict[str, str]]:
    """Which wording of the range, and its dates."""
    first, middle, last = ready.p10.isoformat(), ready.p50.isoformat(), ready.p90.isoformat()
    if ready.open:
        return "open", {"first_about": first, "middle_about": middle}
    if ready.p10 <= today:
        wide = ready.p90 - max(ready.p50, today) > LONG_TAIL
        return "by", {"last_about": max(ready.p50 if wide else ready.p90, today).isoformat()}
    if ready.p90 - ready.p10 <= EXACT_WIDTH:
        return "days", {"first_on": first, "last_on": last}
    if ready.p90 - ready.p50 > LONG_TAIL:
        return "long", {"first_about": first, "middle_about": middle, "last_about": last}
    return "rough", {"first_about": first, "last_about": last}
