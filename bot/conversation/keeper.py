"""A keeper's report of a pile: what is recorded, and the answer to it.

An answer opens with the facts as read, then a caution where one is due, then one next action with its day,
then the done date where it moved. A danger answers alone: no other advice stands in that message.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from bot.conversation.doubts import doubtful_reading, question_reading, untimely
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Fact, Meaning
from shared.care import Action
from shared.cautions import Caution, cautions_for, danger
from shared.forecast import DateRange, Forecast
from shared.harvest import area_at_depth_m2
from shared.pile import Record
from storage.outbox import Line
from storage.piles import Piles

EXACT_WIDTH = timedelta(days=24)
"""A range no wider than this is told by days; a wider one by thirds of months."""
MOVED = timedelta(days=5)
"""The done date is told again when an end of its range moved by more than this."""


def report(
    known: Known, pile: KnownPile, facts: Sequence[Fact], outcome: Outcome, *, advise: bool = True
) -> None:
    """Record what was told of one pile and answer it; `advise` adds the next step and the range."""
    if untimely(known, pile, facts, outcome):
        return
    doubtful = doubtful_reading(known, pile, facts)
    records = [fact.record for fact in facts if doubtful is None or fact.record is not doubtful.record]
    outcome.records.extend((pile.row.id, record, None) for record in records)
    if records:
        outcome.lines.extend(read_back(records, known.today))
    if danger_in(records):
        stay_back(known, pile, outcome)
        return
    name_pile(known, pile, outcome)
    if doubtful is not None:
        question_reading(known, pile, doubtful, outcome)
        return
    warn_of_heat(records, outcome)
    harvests = [record for record in records if record.kind == "harvested"]
    if harvests:
        harvested(harvests[-1], outcome)
    elif advise:
        all_records = (*pile.records, *records)
        found = known.look(pile.row, all_records, known.today)
        next_step(known, pile, all_records, found, outcome)
        tell_range(pile, found[0], outcome, only_if_moved=True)


def harvested(record: Record, outcome: Outcome) -> None:
    """Well done, where it goes, and the next pile."""
    if record.litres:
        outcome.say(
            "harvest.taken", some_l=record.litres, bed_m2=area_at_depth_m2(record.litres / 1000, BED_DEPTH_M)
        )
    else:
        outcome.say("harvest.well_done")
    outcome.say("caution.harvest")
    outcome.say("ask.next_pile")
    outcome.ask("next_pile", "new_pile", "pause")


def bed_covered_m2(litres: float) -> float:
    """The bed that a harvest covers at the usual depth. [m²]"""
    return area_at_depth_m2(litres / 1000, BED_DEPTH_M)


BED_DEPTH_M = 0.0254
"""One inch, the middle of the depths worked into a bed (common practice)."""


def read_back(records: Iterable[Record], today: date) -> list[Line]:
    """The facts as read, one line for each day that they happened on."""
    by_day: dict[date, list[dict[str, Any]]] = {}
    for record in records:
        by_day.setdefault(record.on, []).append(as_read(record))
    lines = []
    for on, facts in sorted(by_day.items()):
        key = "read" if on == today else "read.on"
        lines.append(Line(key, {"facts": facts, "on_on": on.isoformat()}))
    return lines


def as_read(record: Record) -> dict[str, Any]:
    """One record as a phrase: a catalogue key and its values."""
    match record.kind:
        case "temperature":
            key = "read.edge" if record.edge else "read.temperature"
            return {"key": key, "values": {"core_c": record.core_c}}
        case "watered" | "harvested":
            if record.litres:
                return {"key": f"read.{record.kind}.amount", "values": {"some_l": record.litres}}
        case "added":
            values: dict[str, Any] = {"what_material": record.material}
            if record.litres:
                return {"key": "read.added.amount", "values": {**values, "some_l": record.litres}}
            return {"key": "read.added", "values": values}
        case "height":
            return {"key": "read.height", "values": {"top_m": record.height_m}}
    if record.word is not None:
        return {"key": f"read.{record.kind}.{record.word}", "values": {}}
    return {"key": f"read.{record.kind}", "values": {}}


def danger_in(records: Iterable[Record]) -> bool:
    """Smoke, or a core at which people must stay back."""
    return any(
        record.kind == "smoke" or (record.core_c is not None and danger(record.core_c) == "stay_back")
        for record in records
    )


def stay_back(known: Known, pile: KnownPile | None, outcome: Outcome) -> None:
    """The one answer to smoke, flame, a burnt smell, or 77 °C and more: nothing else stands beside it."""
    outcome.lines = [line for line in outcome.lines if line.key.startswith("read")][:1]
    outcome.say("danger.stay_back", emergency=known.profile.emergency_number)
    outcome.opens = {}
    outcome.options = ()
    outcome.alerts.append(alert("alert.smoke", known, pile))
    if known.profile.staff.alerts:
        outcome.say("told_staff")


def alert(key: str, known: Known, pile: KnownPile | None) -> Line:
    """A line for the staff: who it is about, by first name or number, and which pile."""
    name = known.person.name or f"#{known.person.id}"
    return Line(key, {"name": name, "pile": pile.called if pile else "-"})


def warn_of_heat(records: Iterable[Record], outcome: Outcome) -> None:
    """Watch from 66 °C; from 71 °C the cooling itself is the next action, told with its caution."""
    hottest = max((record.core_c for record in records if record.core_c is not None), default=None)
    level = danger(hottest)
    if level == "watch":
        outcome.say("caution.watch")
    if level == "cool_down":
        outcome.say("caution.cool_down")


def name_pile(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """Say which pile was meant where the keeper has several."""
    if len(known.piles) > 1:
        outcome.lines.insert(0, Line("for_pile", {"pile": pile.called}))


def next_step(
    known: Known,
    pile: KnownPile,
    records: Sequence[Record],
    found: tuple[Forecast, tuple[Action, ...]],
    outcome: Outcome,
    *,
    why: bool = True,
) -> None:
    """One next action and its day, with its reason and the caution that is due.

    Water that belongs to a turn is said with it.
    """
    outlook, actions = found
    first = actions[0]
    if first.do == "keep_away":
        outcome.say("danger.stay_back", emergency=known.profile.emergency_number)
        return
    outcome.lines.append(worded(known, first))
    if why and first.do not in ("wait", "measure"):
        outcome.lines.append(Line(f"why.{first.do}.{first.why}", dict(first.numbers)))
    if first.do == "turn":
        water = next((act for act in actions[1:] if act.do == "water" and act.on in (first.on, None)), None)
        if water is not None and water.litres:
            outcome.say("do.water.with_turn", add_l=water.litres)
    if first.on is None or first.on <= known.today:
        for caution in cautions_with(pile, records, outlook, first):
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
    said = [caution for caution in GRAVE_FIRST if caution in due and not (known_work and caution == "lift")]
    return said[: 2 if action.do == "harvest" else 1]


def worded(known: Known, action: Action) -> Line:
    """One action as a line: what, how much, and its day."""
    do: str = action.do
    if do == "measure" and known.person.thermometer is False:
        do = "feel"
    values: dict[str, Any] = {}
    if action.litres:
        values["add_l"] = action.litres
    when = "now"
    if action.on is not None and action.on > known.today:
        when, values["on_on"] = "on", action.on.isoformat()
    amount = ".amount" if action.litres and do == "water" else ""
    return Line(f"do.{do}{amount}.{when}", values)


def tell_range(pile: KnownPile, outlook: Forecast, outcome: Outcome, *, only_if_moved: bool = False) -> None:
    """The done date as a range, where it was not told before or an end of it moved."""
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
    width = max(before[1] - before[0], timedelta(days=1))
    slack = max(MOVED, width / 6)
    return abs(now[0] - before[0]) > slack or abs(now[1] - before[1]) > slack


def range_line(pile: KnownPile, ready: DateRange, today: date, *, again: bool) -> Line:
    """A range in words: by days where it is narrow, by thirds of months where it is not."""
    fed = ".fed" if pile.row.setup.get("fed") else ""
    if ready.open:
        values = {"first_about": ready.p10.isoformat(), "middle_about": ready.p50.isoformat()}
        return Line(f"range.open{fed}", values)
    if ready.p10 <= today:
        return Line(f"range.by{fed}", {"last_about": max(ready.p90, today).isoformat()})
    if ready.p90 - ready.p10 <= EXACT_WIDTH:
        values = {"first_on": ready.p10.isoformat(), "last_on": ready.p90.isoformat()}
        return Line(f"range.days{fed}" + (".again" if again and not fed else ""), values)
    values = {"first_about": ready.p10.isoformat(), "last_about": ready.p90.isoformat()}
    return Line(f"range.rough{fed}" + (".again" if again and not fed else ""), values)


def correct(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome) -> bool:
    """Replace the last record of each kind that the message corrects. False where there is none."""
    replaced = False
    for fact in meaning.facts:
        old = next(
            (told for told in reversed(pile.told) if told.record.kind == fact.record.kind),
            None,
        )
        if old is None:
            continue
        record = fact.record
        if record.on == known.today:
            record = replace(record, on=old.record.on)
        outcome.records.append((pile.row.id, record, old.id))
        replaced = True
    if not replaced:
        return False
    outcome.lines.append(Line("corrected", {"facts": [as_read(record) for _, record, _ in outcome.records]}))
    kept = [told.record for told in pile.told if told.id not in {old for _, _, old in outcome.records}]
    records = [record for _, record, _ in outcome.records]
    if danger_in(records):
        stay_back(known, pile, outcome)
        return True
    all_records = (*kept, *records)
    found = known.look(pile.row, all_records, known.today)
    next_step(known, pile, all_records, found, outcome)
    tell_range(pile, found[0], outcome, only_if_moved=True)
    return True


def take_back(known: Known, piles: Sequence[KnownPile], outcome: Outcome) -> None:
    """Undo: what this person told last, all of one message together."""
    mine = [(pile, told) for pile in piles for told in pile.told if told.said_by == known.person.id]
    if not mine:
        outcome.say("undo.nothing")
        return
    latest = max(told.said_at for _, told in mine)
    last = [(pile, told) for pile, told in mine if told.said_at == latest]
    outcome.undo.extend((pile.row.id, told.id) for pile, told in last)
    outcome.say("undo.done", facts=[as_read(told.record) for _, told in last])
