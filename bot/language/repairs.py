"""Slips mended inside one message: "10 gal thursday... i mean wednesday", "108, 109? call it 109"."""

from bot.language.items import Item
from bot.language.lexicon import Lexicon

NEAR = 3  # items after the words of repair in which the right value stands
BACK = 12  # items before them in which the wrong one does
SORTS = ("<temperature>", "<date>", "<pilename>", "<amount>", "<material>")


def repair(items: list[Item], lex: Lexicon) -> None:
    """Put the right value in the place of the wrong one; where it stood second it is only <repaired>.

    A reading that is settled on ("call it 109") takes the place of every one before it.
    """
    for way, (first, last) in list(lex.searches(items, "repair.")):
        _count_anew(items, first, last)
        at = next((i for i in range(last, min(last + NEAR, len(items))) if items[i].has(*SORTS)), None)
        if at is None or (at > last and items[at - 1].has("no", "not")):
            continue  # "115 perdón, no 151"
        if items[at].has("<now>") or (way == "meant" and at > last):
            continue
        sort = next(sort for sort in SORTS if items[at].has(sort))
        before = [i for i in range(max(0, first - BACK), first) if items[i].has(sort)]
        if way == "settle":
            for i in before if sort == "<temperature>" else ():
                items[i].labels.discard(sort)
        elif before and not _another(items, before[-1], at, sort):
            _move(items[at], items[before[-1]])


def _count_anew(items: list[Item], first: int, last: int) -> None:
    """ "2 cubetas, digo 3": a bare number counts what the amount before it did."""
    number = next((x for x in items[last : last + 2] if x.number is not None and not x.has(*SORTS)), None)
    wrong = next((x for x in reversed(items[max(0, first - BACK) : first]) if x.has("<amount>")), None)
    if number is not None and wrong is not None and wrong.value.count:
        wrong.value = wrong.value.of(number.number)
        number.labels.add("<repaired>")


def _another(items: list[Item], wrong: int, right: int, sort: str) -> bool:
    """ "pile 1 130, sorry, pile 2 113": the two tell of two things."""
    others = [s for s in SORTS if s != sort]
    return any(x.has(*others) for x in items[right + 1 : right + 3]) and any(
        x.has(*others) for x in items[wrong + 1 : right]
    )


def _move(right: Item, wrong: Item) -> None:
    wrong.value, wrong.number = right.value, right.number
    wrong.labels -= {"<past_reading>", "<denied>"}
    right.labels = {right.key, "<repaired>"}
    right.value = right.number = None
