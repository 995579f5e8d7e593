"""Which pile a message means: the one it names, that of the open question, or the last used."""

from collections.abc import Sequence
from dataclasses import replace

from rapidfuzz.distance import DamerauLevenshtein

from bot.conversation.talk import Known, KnownPile
from bot.language.meaning import Fact, Meaning
from storage.piles import Told


def by_pile(known: Known, meaning: Meaning, pile: KnownPile) -> list[tuple[KnownPile, list[Fact]]]:
    """The facts, each with the pile that it names, else with the one that is meant."""
    grouped: dict[int, tuple[KnownPile, list[Fact]]] = {}
    for fact in meaning.facts:
        if fact.record.kind == "built":
            continue
        one = named_pile(known, fact.pile) or pile
        grouped.setdefault(one.row.id, (one, []))[1].append(fact)
    return list(grouped.values())


def which_pile(known: Known, meaning: Meaning | None) -> KnownPile | None:
    """The pile that a message means: the one it names, that of the open question, or the last used.

    None where it names one that this keeper does not have, and has several.
    """
    if not known.piles:
        return None
    if len(known.piles) == 1:
        return known.piles[0]
    names = [fact.pile for fact in meaning.facts if fact.pile] if meaning else []
    if names:
        return named_pile(known, names[0])
    asked = next((pile for pile in known.piles if pile.row.id == known.waiting.get("pile")), None)
    if asked is not None:
        return asked
    used = sorted(known.piles, key=lambda pile: last_use(known, pile), reverse=True)
    return used[1] if meaning is not None and meaning.bare == "other_one" else used[0]


def last_use(known: Known, pile: KnownPile) -> tuple[float, int]:
    """When this person last told something of a pile; the newer pile where they never did."""
    mine = [told.said_at.timestamp() for told in pile.told if told.said_by == known.person.id]
    return (max(mine, default=0.0), pile.row.id)


def named_pile(known: Known, name: str | None) -> KnownPile | None:
    """The pile of that number or name, a slip of spelling allowed."""
    if name is None:
        return None
    for pile in known.piles:
        if name == str(pile.row.number) or (pile.row.name or "").lower() == name:
            return pile
    for pile in known.piles:
        own = (pile.row.name or "").lower()
        if own and (own in name or name in own or DamerauLevenshtein.normalized_similarity(own, name) >= 0.8):
            return pile
    return known.piles[0] if len(known.piles) == 1 else None


def with_records(known: Known, pile: KnownPile, facts: Sequence[Fact]) -> Known:
    """The same knowledge with what was just told, for the answers that follow."""
    told = tuple(Told(0, fact.record, known.person.id, known.local) for fact in facts if fact.doubt is None)
    piles = tuple(
        replace(one, told=(*one.told, *told)) if one.row.id == pile.row.id else one for one in known.piles
    )
    return replace(known, piles=piles)
