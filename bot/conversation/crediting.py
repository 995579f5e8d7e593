"""Who did it: work is credited to whoever had a hand in it, and told to the others as far as they want."""

from collections.abc import Sequence

from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask, Fact, Meaning
from bot.language.sharing import OWN
from scheduler.turns import SAME_TURNING, turnings, wants_to_hear
from shared.pile import Kind
from storage.outbox import Line
from storage.people import Person

CREDITED: tuple[Kind, ...] = ("turned", "watered", "added", "covered", "harvested")
"""Work for which it matters who did it."""


def who_did(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Who turned it last, and when."""
    last = next((deed for deed in reversed(pile.deeds) if deed.record.kind == "turned"), None)
    if last is None:
        outcome.say("who_did.nobody")
        return
    on = last.record.on.isoformat()
    others = [name for who in last.by if who != known.person.id and (name := pile.names.get(who))]
    if known.person.id in last.by and len(last.by) == 1:
        outcome.say("who_did.you", on_on=on)
    elif known.person.id in last.by and others:
        outcome.say("who_did.with_you", name=others[0], on_on=on)
    elif len(others) > 1:
        outcome.say("who_did.two", name=others[0], other=others[1], on_on=on)
    elif others:
        outcome.say("who_did", name=others[0], on_on=on)
    else:
        outcome.say("who_did.other", on_on=on)


def tally(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """Who had a hand in how many turnings: shown when asked, never pushed."""
    counts = turnings(pile.group)
    if not any(counts.values()):
        outcome.say("who_did.nobody")
        return
    one = [
        {"key": "tally.you", "values": {"n": n}}
        if who == known.person.id
        else {"key": "tally.one", "values": {"name": called(known, pile, who), "n": n}}
        for who, n in sorted(counts.items(), key=lambda count: -count[1])
    ]
    outcome.say("tally", facts=one)


def credit(known: Known, pile: KnownPile, facts: Sequence[Fact], meaning: Meaning, outcome: Outcome) -> None:
    """Who did what was told: keepers by name, one who shares the phone, two who report the same turning."""
    done = [fact.record for fact in facts if fact.record.kind in CREDITED]
    if not done or not any(record in done for _, record, _ in outcome.records):
        return
    if meaning.by:
        outcome.done_by = tuple(doer(known, pile, name) for name in meaning.by)
        others = [name for name in meaning.by if name != OWN and doer(known, pile, name) != known.person.id]
        if others:
            after_the_facts(outcome, Line("credited", {"name": others[0]}))
        return
    turned = next((record for record in done if record.kind == "turned"), None)
    earlier = next((deed for deed in reversed(pile.deeds) if deed.record.kind == "turned"), None)
    if turned is None or earlier is None or earlier.record.on != turned.on or known.person.id in earlier.by:
        return
    if known.at - earlier.said_at <= SAME_TURNING:
        after_the_facts(outcome, Line("one_turn", {"name": called(known, pile, earlier.by[0])}))


def after_the_facts(outcome: Outcome, line: Line) -> None:
    """Put a line behind the facts as read."""
    read = [number for number, one in enumerate(outcome.lines) if one.key.startswith("read")]
    outcome.lines.insert(read[-1] + 1 if read else 0, line)


def tell_others(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """Keepers who want to hear of it are told that somebody else has turned the pile."""
    if not any(pile_id == pile.row.id and record.kind == "turned" for pile_id, record, _ in outcome.records):
        return
    doers = outcome.done_by or (known.person.id,)
    name = next((who for who in doers if isinstance(who, str)), None)
    name = name or called(known, pile, next(who for who in doers if isinstance(who, int)))
    for person in pile.group.members:
        if person.id not in (*doers, known.person.id) and wants_to_hear(pile.group, person.id):
            outcome.relays.append((pile.row.id, person.id, Line("nudge.news", {"name": name})))


def doer(known: Known, pile: KnownPile, name: str) -> int | str:
    """A keeper's id; of somebody who speaks through this phone for the first time, the name."""
    if name == OWN:
        return known.person.id
    keeper = keeper_named(pile, name)
    return name if keeper is None else keeper.id


def keeper_named(pile: KnownPile, name: str | None) -> Person | None:
    """The keeper of that name, by the whole of it or a part."""
    if name is None:
        return None
    wanted = name.casefold()
    whole = [person for person in pile.group.members if (person.name or "").casefold() == wanted]
    part = [person for person in pile.group.members if wanted in (person.name or "").casefold().split()]
    return next(iter((*whole, *part)), None)


def called(known: Known, pile: KnownPile, who: int) -> str:
    """A keeper's name; of one who has not told it, their number among the keepers."""
    if who == known.person.id and known.person.name:
        return known.person.name
    place = next((n for n, person in enumerate(pile.group.members, 1) if person.id == who), 0)
    return pile.names.get(who) or f"#{place}"
