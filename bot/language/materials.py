"""What several words for a material come to: "yogur de fresa" is dairy, sick tomato plants diseased."""

from itertools import zip_longest

from bot.language.items import Item
from bot.language.lexicon import Lexicon

LINKS = ("of", "de", "del")
WITH = ("with", "con")  # "weeds with seeds"
VAGUE = "kitchen_scraps"  # "scraps of lettuce": what they are of is meant


def settle_materials(items: list[Item], lex: Lexicon) -> list[Item]:
    """The items with "X of Y" folded into one material, and each material that is spoilt as that."""
    joined: list[Item] = []
    for item, after in zip_longest(items, items[1:]):
        if (
            item.raw == "te"
            and item.has("<material>")
            and after is not None
            and after.has("<verb>", "<clitic>")
        ):
            item.labels -= {"<material>", "<tea>"}  # "ahí te va"
        if item.has("<material>") and _likened(joined):
            item.labels -= {label for label in item.labels if label in ("<material>", f"<{item.value}>")}
        if item.has("<material>") and _of_another(joined, LINKS + WITH * item.has("<other>")):
            link = len(joined) - 1 - joined[-1].has("<article>")
            _join(joined[link - 1], [*joined[link:], item])
            del joined[link:]
        else:
            joined.append(item)
    for material, (first, last) in list(lex.searches(joined, "becomes.")):
        joined[first].value = material
        joined[first].labels |= {"<material>", f"<{material}>"}
        for item in joined[first + 1 : last]:
            item.labels.discard("<material>")
    return joined


def _likened(before: list[Item]) -> bool:
    """ "reseca como rastrojo", "le di vuelta como a las carnitas": nothing but a likeness."""
    end = len(before)
    while end > 1 and before[end - 1].has("<article>", "a"):
        end -= 1
    return (
        end > 1
        and before[end - 1].key == "como"
        and before[end - 2].has("<moisture>", "<heat>", "<turning_thing>")
    )


def _of_another(before: list[Item], links: tuple[str, ...]) -> bool:
    """Whether a material and its link stand last, an article aside."""
    end = len(before) - (bool(before) and before[-1].has("<article>"))
    return end > 1 and before[end - 1].has(*links) and before[end - 2].has("<material>")


def _join(head: Item, rest: list[Item]) -> None:
    if head.value == VAGUE:
        head.value = rest[-1].value
        head.labels |= rest[-1].labels
    head.key = " ".join(x.key for x in (head, *rest))
    head.raw = " ".join(x.raw for x in (head, *rest))
    head.written = " ".join(x.written for x in (head, *rest))
