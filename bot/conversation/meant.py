"""Which pile a message means: the one it names, that of the open question, or the last used."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from rapidfuzz.distance import DamerauLevenshtein

from bot.conversation.talk import Known, KnownPile
from bot.language.meaning import Ask, Fact, Meaning, Setup
from shared.units import BUCKET_L
from storage.piles import Told

OUTSHONE: Mapping[str, tuple[str, ...]] = {
    "cannot_turn": ("hand_over", "decline", "what_next", "state", "trouble"),
    "only_about": ("later",),
    "to_staff": ("undo",),
    "why": ("hand_over", "decline", "later"),
    "who_has_tool": ("who_did",),
    "tally": ("who_did",),
    "what_browns": ("mix",),
    "how_hot": ("what_next", "state", "how_measure"),
}
"""Asks beside which the others only say the same thing less well."""
SOCIAL = ("thanks", "greeting")
ASIDE = ("worms",)
"""What is answered only where the message says nothing else."""
OTHER = ("other", "otra", "otro")


def tidied(meaning: Meaning) -> Meaning:
    """The message without what its other parts already say: a no twice, thanks beside a report."""
    kinds = {ask.kind for ask in meaning.asks}
    out = {less for kind in kinds for less in OUTSHONE.get(kind, ())}
    if any(fact.record.kind == "harvested" for fact in meaning.facts):
        out.add("how_build")  # "where do I put it" is about the compost
    no = any(fact.record.kind == "not_turned" for fact in meaning.facts)
    if no:
        out.add("decline")
    if meaning.facts or kinds - set(SOCIAL):
        out.update(SOCIAL)
    if meaning.facts or kinds - {*SOCIAL, *ASIDE}:
        out.update(ASIDE)
    facts = tuple(in_litres(fact) for fact in meaning.facts)
    if "cannot_turn" in kinds:
        facts = tuple(fact for fact in facts if fact.record.kind != "not_turned")
    about_pile = bool(meaning.facts) or "trouble" in kinds  # no stranger, whatever the words sound like
    danger = None if meaning.danger == "wrong_person" and about_pile else meaning.danger
    asks = tuple(ask for ask in meaning.asks if ask.kind not in out)
    if meaning.speaker:  # it is one of several on this phone who cannot
        asks = tuple(Ask("hand_over") if ask.kind == "cannot_turn" else ask for ask in asks)
    return replace(meaning, facts=facts, asks=asks, danger=danger)


def together(first: Meaning | None, then: Meaning) -> Meaning:
    """What waited for an answer and the answer, as one message; pleasantries and a yes or no are past."""
    if first is None:
        return then
    said = said_of(first.setup) | said_of(then.setup)
    return replace(
        then,
        facts=tuple(dict.fromkeys((*first.facts, *then.facts))),
        asks=tuple(ask for ask in (*first.asks, *then.asks) if ask.kind not in SETTLED),
        setup=Setup(**said) if said else None,
        on=then.on or first.on,
        units=then.units or first.units,
        length_m=then.length_m or first.length_m,
    )


SETTLED = (*SOCIAL, "yes", "no", "start", "help", "privacy", "join", "move")
"""What was answered at once, or needs no answer after a yes."""


def said_of(setup: Setup | None) -> dict[str, Any]:
    """What a set-up says, by its fields."""
    return (
        {} if setup is None else {name: value for name, value in asdict(setup).items() if value is not None}
    )


def in_litres(fact: Fact) -> Fact:
    """A count of buckets taken as five-gallon ones, as it is read back."""
    if fact.buckets is None or fact.record.litres is not None:
        return fact
    return replace(fact, record=replace(fact.record, litres=fact.buckets * BUCKET_L))


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
    picked = next((pile for pile in known.piles if pile.row.id == known.waiting.get("picked")), None)
    if picked is not None:
        return picked
    if meaning is not None and meaning.bare == "other_one":
        return used(known)[1]
    names = [fact.pile for fact in meaning.facts if fact.pile] if meaning else []
    if names:
        return named_pile(known, names[0])
    asked = next((pile for pile in known.piles if pile.row.id == known.waiting.get("pile")), None)
    return asked or used(known)[0]


def used(known: Known) -> list[KnownPile]:
    """This keeper's piles, the last used first."""
    return sorted(known.piles, key=lambda pile: last_use(known, pile), reverse=True)


def last_use(known: Known, pile: KnownPile) -> tuple[float, int]:
    """When this person last told something of a pile; the newer pile where they never did."""
    mine = [told.said_at.timestamp() for told in pile.told if told.said_by == known.person.id]
    return (max(mine, default=pile.row.created_at.timestamp()), pile.row.id)


def named_pile(known: Known, name: str | None) -> KnownPile | None:
    """The pile of that number or name, a slip of spelling allowed; the other one is that not used last."""
    if name is None:
        return None
    if name in OTHER and len(known.piles) > 1:
        return used(known)[1]
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
    sure = [fact.record for fact in facts if fact.doubt in (None, "vague")]
    told = tuple(Told(0, record, known.person.id, known.at) for record in sure)
    piles = tuple(
        replace(one, told=(*one.told, *told)) if one.row.id == pile.row.id else one for one in known.piles
    )
    return replace(known, piles=piles)
