"""A keeper's report of a pile: what is recorded, and the answer to it.

An answer opens with the facts as read, then a caution where one is due, then one next action with its day,
then the done date where it moved. A danger answers alone: no other advice stands in that message.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, timedelta
from typing import Any

from bot.conversation.doubts import doubtful_reading, question_reading, untimely
from bot.conversation.steps import next_step, tell_range, worded
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Fact
from shared.cautions import COOL_DOWN_C, WATCH_C, danger
from shared.harvest import area_at_depth_m2
from shared.materials import material
from shared.pile import Record
from shared.units import M_PER_IN
from storage.outbox import Line

ADVISE = frozenset(
    {"what_next", "state", "trouble", "water_amount", "safe_use", "picture", "harvest_amount", "cannot_turn"}
    | {"fire_risk", "health"}
)
"""Asks whose answer holds the next step itself, so that the report before it need not."""
HOT_AIR_C = 25.0
"""A day's mean air at which nobody need turn a pile (common practice: heat illness)."""
LATELY = timedelta(days=3)


def report(
    known: Known,
    pile: KnownPile,
    facts: Sequence[Fact],
    outcome: Outcome,
    *,
    advise: bool = True,
    brief: bool = False,
    heard: Collection[Fact] = (),
) -> None:
    """Record what was told of one pile and answer it.

    heard    facts that were read back before
    advise   adds the next step and the range
    brief    more is answered in the same message: the step goes without reason and range
    """
    if untimely(known, pile, facts, outcome):
        return
    if len(known.piles) > 1:
        outcome.say("for_pile", pile=pile.called)
    doubtful = doubtful_reading(known, pile, facts)
    sure = [fact for fact in facts if doubtful is None or fact.record is not doubtful.record]
    sure = [fact for fact in sure if fact.doubt != "ash"]
    records = [fact.record for fact in sure]
    outcome.records.extend((pile.row.id, record, replaced(known, pile, record)) for record in records)
    settle_scale(known, sure, outcome)
    sure = [fact for fact in sure if fact not in heard]
    if danger_in(records):
        outcome.lines.extend(facts_as_read(known, sure, outcome))
        stay_back(known, pile, outcome)
    elif doubtful is not None:
        outcome.lines.extend(facts_as_read(known, sure, outcome))
        question_reading(known, pile, doubtful, outcome)
    elif records and all(record.kind == "not_turned" for record in records):
        not_now(known, pile, records, outcome)
    elif harvests := [record for record in records if record.kind == "harvested"]:
        harvested(known, pile, harvests[-1], outcome)
    else:
        outcome.lines.extend(facts_as_read(known, sure, outcome))
        answer(known, pile, facts, records, outcome)
        if any(record.word == "other" for record in records):
            outcome.say("trouble.pests.other")
            advise = False
        if advise and outcome.opens is None:
            advice(known, pile, (*pile.records, *records), outcome, brief=brief)


def answer(
    known: Known, pile: KnownPile, facts: Sequence[Fact], records: Sequence[Record], outcome: Outcome
) -> None:
    """The question or the caution that goes with the facts as read."""
    if any(fact.doubt == "ash" for fact in facts):
        outcome.say("danger.ash", emergency=known.profile.emergency_number)
        outcome.ask("ash", "smoke", "growth", pile=pile.row.id)
    elif any(fact.doubt == "vague" for fact in facts):
        outcome.say("ask.smell")
        outcome.ask("smell", "smell.ammonia", "smell.rotten", "smell.sour", pile=pile.row.id)
    elif hot_to_the_hand(known, pile, records):
        outcome.say("danger.which", emergency=known.profile.emergency_number)
        outcome.ask("smoke", "smoke", "steam", pile=pile.row.id)
    else:
        warn_of_heat(records, outcome)
        warn_of_additions(records, outcome)


def advice(
    known: Known, pile: KnownPile, records: Sequence[Record], outcome: Outcome, *, brief: bool = False
) -> None:
    """The next step, and the done date where it moved."""
    found = known.look(pile.row, records, known.today)
    next_step(known, pile, records, found, outcome, why=not brief)
    if not brief:
        tell_range(pile, found[0], outcome, only_if_moved=True)


def replaced(known: Known, pile: KnownPile, record: Record) -> int | None:
    """The record that this one is about: a smell of the same day, a harvest whose amount is told now."""
    mine = [told for told in pile.told if told.said_by == known.person.id and told.record.kind == record.kind]
    if not mine:
        return None
    same_smell = record.kind == "smell" and mine[-1].record.on == record.on == known.today
    amount_told = record.kind == "harvested" and known.waiting.get("ask") == "buckets"
    return mine[-1].id if same_smell or amount_told else None


def hot_to_the_hand(known: Known, pile: KnownPile, records: Sequence[Record]) -> bool:
    """A hand that says "hot" with no number, on a pile that may be dangerously so: smoke is asked about."""
    if not any(record.kind == "heat_feel" and record.word == "hot" for record in records):
        return False
    if any(record.core_c is not None for record in records):
        return False
    read = [one.core_c for one in pile.records if one.core_c is not None and known.today - one.on <= LATELY]
    outlook, _ = known.look(pile.row, pile.records, known.today)
    return max(read, default=0.0) >= WATCH_C or outlook.core_c.p90 >= COOL_DOWN_C


def not_now(known: Known, pile: KnownPile, records: Sequence[Record], outcome: Outcome) -> None:
    """Not turned: no reproach and no second asking, unless it is too hot to be left."""
    all_records = (*pile.records, *records)
    found = outlook, actions = known.look(pile.row, all_records, known.today)
    if actions[0].do == "keep_away" or actions[0].why in ("too_hot", "too_hot_dry"):
        next_step(known, pile, all_records, found, outcome)
        return
    outcome.say("declined.heat" if outlook.air_c >= HOT_AIR_C else "declined")
    water = next((action for action in actions if action.do == "water"), None)
    if water is not None:
        outcome.lines.append(worded(known, water))


def warn_of_additions(records: Iterable[Record], outcome: Outcome) -> None:
    """Something that had better stayed out, or manure, went in: one line on it."""
    added = [record.material for record in records if record.kind == "added" and record.material]
    for feedstock in map(material, added):
        if feedstock.verdict == "no":
            outcome.say("added.no", what_material=feedstock.id)
            outcome.say(f"reason.{feedstock.reason}")
            return
        if feedstock.how == "manure_clock":
            outcome.say("how.manure_clock")
            return


def harvested(known: Known, pile: KnownPile, record: Record, outcome: Outcome) -> None:
    """Well done, where it goes, how much it was, and the next pile; a fed one goes on by itself."""
    if record.litres:
        outcome.say("harvest.taken", some_bulk=record.litres, bed_m2=bed_covered_m2(record.litres))
    else:
        outcome.say("harvest.well_done")
    if known.waiting.get("ask") != "buckets":
        outcome.say("harvest.use")
        outcome.say("caution.harvest")
    if not record.litres:
        outcome.say("ask.buckets")
        outcome.ask("buckets", pile=pile.row.id)
    else:
        ask_next_pile(pile, outcome)


def ask_next_pile(pile: KnownPile, outcome: Outcome) -> None:
    """A pile that is fed goes on by itself; after another comes the next."""
    outcome.opens = {}
    if not pile.row.setup.get("fed"):
        outcome.say("ask.next_pile")
        outcome.ask("next_pile", "new_pile", "pause")


def bed_covered_m2(litres: float) -> float:
    """The bed that a harvest covers at the usual depth. [m²]"""
    return area_at_depth_m2(litres / 1000, BED_DEPTH_M)


BED_DEPTH_M = M_PER_IN
"""One inch, the middle of the depths worked into a bed (common practice)."""


def settle_scale(known: Known, facts: Sequence[Fact], outcome: Outcome) -> None:
    """Who reads a number off has a thermometer, and its scale is theirs once it is clear which."""
    readings = [fact for fact in facts if fact.record.core_c is not None]
    if not readings:
        return
    if known.person.thermometer is None:
        outcome.changes["thermometer"] = True
    written = readings[-1].units
    if (
        written
        and written != known.person.units
        and (known.waiting.get("ask") == "number" or not has_read(known))
    ):
        outcome.changes["units"] = written


def has_read(known: Known) -> bool:
    """Whether this person has given a reading before."""
    told = (told for pile in known.piles for told in pile.told)
    return any(one.said_by == known.person.id and one.record.core_c is not None for one in told)


def facts_as_read(known: Known, facts: Iterable[Fact], outcome: Outcome) -> list[Line]:
    """The facts as read, a line for each day that they happened on; each reading in the scale it came in."""
    theirs = outcome.changes.get("units", known.person.units)
    by_day: dict[date, list[dict[str, Any]]] = {}
    for fact in facts:
        if fact.record.kind == "not_turned":  # nobody wants to hear of it again
            continue
        read = as_read(fact.record)
        if fact.doubt == "vague":
            read = {"key": "read.smell.bad", "values": {}}
        elif fact.units not in (None, theirs):
            scale = "celsius" if fact.units == "c" else "fahrenheit"
            read = {"key": f"{read['key']}.{scale}", "values": {f"core_{scale}": fact.record.core_c}}
        by_day.setdefault(fact.record.on, []).append(read)
    lines = []
    for on, read_facts in sorted(by_day.items()):
        key = "read" if on == known.today else "read.on"
        lines.append(Line(key, {"facts": read_facts, "on_on": on.isoformat()}))
    return lines


def as_read(record: Record) -> dict[str, Any]:
    """One record as a phrase: a catalogue key and its values."""
    match record.kind:
        case "temperature":
            key = "read.edge" if record.edge else "read.temperature"
            return {"key": key, "values": {"core_c": record.core_c}}
        case "harvested" if record.litres:
            return {"key": "read.harvested.amount", "values": {"some_bulk": record.litres}}
        case "watered":
            if record.litres:
                return {"key": f"read.{record.kind}.amount", "values": {"some_l": record.litres}}
        case "added":
            values: dict[str, Any] = {"what_material": record.material}
            if record.litres:
                return {"key": "read.added.amount", "values": {**values, "some_bulk": record.litres}}
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


def alone(outcome: Outcome) -> None:
    """Where people must stay back nothing else is said beside it but what was read and whom we told."""
    if any(line.key == "danger.stay_back" for line in outcome.lines):
        outcome.advised = None
        kept = ("for_pile", "read", "danger.", "told_staff")
        outcome.lines = [line for line in outcome.lines if line.key.startswith(kept)]


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
