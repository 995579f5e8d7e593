"""What was done: turned, watered, covered, built, harvested."""

from collections.abc import Iterator
from typing import Any

from bot.language.finding import EVENTS, UNREAL, Finding
from bot.language.items import Item
from bot.language.lexicon import Lexicon
from shared.pile import Kind

OPPOSITE = {"covered": "uncovered", "uncovered": "covered"}


def find_events(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    hits = [(name, span) for name, span in lex.searches(items, "fact.") if name in EVENTS]
    for name, (first, last) in hits:
        if any(
            n == OPPOSITE.get(name)
            and (a < first < b or (a == first and b > last))
            and items[a].segment == items[first].segment
            for n, (a, b) in hits
        ):
            continue  # "opened the lid on pile 2", "popped the lid back on"
        if name == "turned" and any(
            n == "not_turned" and a <= first and items[a].segment == items[first].segment
            for n, (a, b) in hits
        ):
            continue  # "se me olvidó darle vuelta el sábado"
        kind: Kind = name
        acts = first + items[first].has("<clitic>")  # "la volteamos cada semana"
        if any(x.has("<harmless.deed>") for x in (items[first], items[min(acts, last - 1)])) or (
            items[first].has("<beasts>") and kind in ("turned", "harvested")
        ):
            continue
        if kind == "covered" and not _has_cover(items[first:last]):
            continue  # "threw dirt on top"
        if kind == "harvested" and any(x.has("<water_word>") for x in items[first:last]):
            continue  # "the big pile got 5 gallons of water"
        told = items[first : max(first + 1, last - 1)]  # what only follows the deed may be a plan
        scope = set().union(*(x.scope for x in told if x.segment == items[first].segment))
        if scope & UNREAL and not (kind == "not_turned" and not scope & {"ask", "hypo"}):
            continue
        if "not" in scope and kind != "not_turned":
            continue
        told_how = [x for x in items[max(0, first - 3) : first] if not x.has("<degree.very>", "<filler>")]
        seen = bool(told_how) and (told_how[-1].has("<is>", "<was>") or items[first - 1].has("<degree.very>"))
        if kind == "watered" and seen and items[first].has("<moisture>"):
            continue  # "it's absolutely soaked"
        if kind == "not_turned" and any(x.has("<unable>") for x in items[max(0, first - 1) : last]):
            continue
        yield Finding(kind, first, "past", _amount_of(items, first, kind))


def _has_cover(told: list[Item]) -> bool:
    """Whether a cover is more than the top of the pile: "on top"."""
    covers = [i for i, x in enumerate(told) if x.has("<cover_thing>")]
    return not covers or any(i == 0 or not (told[i].has("top") and told[i - 1].has("on")) for i in covers)


def _amount_of(items: list[Item], at: int, kind: Kind) -> dict[str, Any]:
    """What an event carries: litres given (none of it added material) or taken out."""
    if kind not in ("watered", "harvested"):
        return {}
    nearby = [
        i
        for i, item in enumerate(items)
        if item.has("<amount>") and (item.segment == items[at].segment or _in_brackets(items, i, at))
    ]
    if kind == "harvested":
        nearby = [
            i
            for i, x in enumerate(items)
            if x.sentence == items[at].sentence and x.has("<amount>") and i > at - 4
        ]
    if kind == "watered" and not nearby:
        nearby = _trailing_amount(items, at)
    amounts = [items[i].value for i in nearby]
    litres = next((amount.litres for amount in amounts if amount.litres is not None), None)
    return {"litres": litres, "buckets": next((amount.buckets for amount in amounts if amount.buckets), None)}


def _trailing_amount(items: list[Item], at: int) -> list[int]:
    """ "watered it Sunday, about 3 gallons": the next clause is an amount of nothing named."""
    following = items[at].segment + 1
    clause = [i for i, x in enumerate(items) if x.segment == following]
    named = any(items[i].has("<material>", "<verb>", "of", "de") or items[i].scope for i in clause)
    return [] if named else [i for i in clause if items[i].has("<amount>")]


def _in_brackets(items: list[Item], at: int, event: int) -> bool:
    """ "watered (4 gal)"."""
    return at > 0 and items[at - 1].key == "(" and 0 < at - event <= 4
