"""What to look for in a message: a sequence of items, as the data files write it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bot.language.items import Item


@dataclass(frozen=True, slots=True)
class Element:
    names: frozenset[str]
    kind: str  # "item", "gap", "start", "end", "not"
    maybe: bool = False
    reach: int = 0


class Pattern:
    """A sequence of items, written like "when|<how_soon> ** <ready> ?".

    a|b|?     one of these; the mark "?" itself at the end of a pattern, else it may be missing
    a|b|<c>   one item with any of these labels      x?   may be missing      <any>   any word
    *         up to three items, no mark between     **   up to eight items of the sentence
    ^ $       start and end of a clause              !x   not followed by x
    """

    def __init__(self, text: str) -> None:
        self.text = text
        parts = text.split()
        self.elements = tuple(self._element(part, last=part is parts[-1]) for part in parts)
        firm = [
            e
            for e in self.elements
            if e.kind == "item" and not e.maybe and e.names.isdisjoint({"$", "<any>"})
        ]
        self.needs = tuple(e.names for e in firm)  # labels without one of each of which it cannot match

    @staticmethod
    def _element(part: str, *, last: bool) -> Element:
        if part in ("*", "**"):
            return Element(frozenset(), "gap", reach=3 if part == "*" else 8)
        if part in ("^", "$"):
            return Element(frozenset(), "start" if part == "^" else "end")
        refuses = part[0] == "!" and part[1:2] not in ("", "|")
        maybe = len(part) > 1 and part.endswith("?") and not (last and part.endswith("|?"))
        names = frozenset(
            part.removeprefix("!" if refuses else "").removesuffix("?" if maybe else "").split("|")
        )
        return Element(names, "not" if refuses else "item", maybe=maybe)

    def may_match(self, present: set[str]) -> bool:
        """Whether a message with these labels can hold it at all."""
        return not any(map(present.isdisjoint, self.needs))

    def find(self, items: Sequence[Item], start: int = 0) -> tuple[int, int] | None:
        """First match at or after `start` as (first, past-last) positions."""
        first = self.elements[0]
        opens = first.kind == "item" and not first.maybe and first.names.isdisjoint({"$", "<any>"})
        sure = first.names if opens else None
        for at in range(start, len(items)):
            if sure is None or not sure.isdisjoint(items[at].labels):
                end = self._match(items, at, 0)
                if end is not None:
                    return at, end
        return None

    def find_all(self, items: Sequence[Item]) -> Iterator[tuple[int, int]]:
        """Each match that does not overlap an earlier one."""
        at = 0
        while found := self.find(items, at):
            yield found
            at = max(found[1], found[0] + 1)

    def _match(self, items: Sequence[Item], at: int, step: int) -> int | None:
        if step == len(self.elements):
            return at
        element = self.elements[step]
        here = items[at] if at < len(items) else None
        if element.kind == "item":
            fits = here is not None and not element.names.isdisjoint(here.labels)
            if fits or (here is not None and "<any>" in element.names and here.key[:1].isalnum()):
                end = self._match(items, at + 1, step + 1)
                if end is not None:
                    return end
            passes = element.maybe or ("$" in element.names and _closes(items, at))
            return self._match(items, at, step + 1) if passes else None
        if element.kind == "gap":
            return self._skip(items, at, step, element.reach)
        if element.kind == "not":
            refused = here is not None and not element.names.isdisjoint(here.labels)
        elif element.kind == "start":
            refused = not _opens(items, at)
        else:
            refused = not _closes(items, at)
        return None if refused else self._match(items, at, step + 1)

    def _skip(self, items: Sequence[Item], at: int, step: int, reach: int) -> int | None:
        for here in range(at, min(at + reach, len(items)) + 1):
            end = self._match(items, here, step + 1)
            if end is not None:
                return end
            if here < len(items) and (
                "<end>" in items[here].labels or (reach <= 3 and "<break>" in items[here].labels)
            ):
                return None
        return None


def _opens(items: Sequence[Item], at: int) -> bool:
    while at > 0:
        before = items[at - 1].labels
        if "<end>" in before or "<break>" in before or "<and>" in before or "<but>" in before:
            return True
        if "<filler>" not in before:
            return False
        at -= 1
    return True


def _closes(items: Sequence[Item], at: int) -> bool:
    while at < len(items):
        here = items[at].labels
        if "<end>" in here or "<break>" in here:
            return True
        if "<filler>" not in here:
            return False
        at += 1
    return True
