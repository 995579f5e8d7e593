"""What was told is mended: a value corrected, another pile or day meant, the last message taken back."""

from dataclasses import replace

from bot.conversation.keeper import advice, as_read, danger_in, report, stay_back
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Fact, Meaning
from storage.outbox import Line
from storage.piles import Told


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
    advice(known, pile, (*kept, *records), outcome)
    return True


def told_last(known: Known) -> list[tuple[KnownPile, Told]]:
    """What this person told last, all of one message together."""
    mine = [(pile, told) for pile in known.piles for told in pile.told if told.said_by == known.person.id]
    latest = max((told.said_at for _, told in mine), default=None)
    return [(pile, told) for pile, told in mine if told.said_at == latest]


def swap(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome) -> None:
    """Another job was done than the one that was noted: that is taken back."""
    last = told_last(known)
    outcome.undo.extend((one.row.id, told.id) for one, told in last)
    without = replace(pile, told=tuple(told for told in pile.told if told not in [one for _, one in last]))
    report(replace(known, piles=(without,)), without, meaning.facts, outcome)


def set_right(known: Known, pile: KnownPile, meaning: Meaning, outcome: Outcome) -> bool:
    """What was told last was of the other pile, or of the day that is named now. False where it was not."""
    last = told_last(known)
    moves = meaning.bare == "other_one" and any(one.row.id != pile.row.id for one, _ in last)
    if not last or not (moves or meaning.on):
        return False
    outcome.undo.extend((one.row.id, told.id) for one, told in last)
    gone = {told.id for _, told in last}
    piles = tuple(replace(one, told=tuple(t for t in one.told if t.id not in gone)) for one in known.piles)
    to_id = pile.row.id if moves else last[0][0].row.id
    to = next(one for one in piles if one.row.id == to_id)
    on = None if moves else meaning.on
    facts = [Fact(replace(told.record, on=on or told.record.on)) for _, told in last]
    report(replace(known, piles=piles), to, facts, outcome)
    return True


def take_back(known: Known, outcome: Outcome) -> None:
    """Undo: what this person told last."""
    last = told_last(known)
    if not last:
        outcome.say("undo.nothing")
        return
    outcome.undo.extend((pile.row.id, told.id) for pile, told in last)
    outcome.say("undo.done", facts=[as_read(told.record) for _, told in last])
