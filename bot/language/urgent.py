"""What goes before any advice: opt-outs, and signs of danger."""

from collections.abc import Sequence

from bot.language.clauses import sentences
from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon
from bot.language.meaning import AskKind, Danger, Fact

GRAVEST_FIRST: tuple[Danger, ...] = (
    "self_harm", "threat", "breathing", "injury", "smoke", "swallowed", "animal", "wrong_person",
    "maybe_smoke",
)  # fmt: skip


def says_stop(items: Sequence[Item], lex: Lexicon, *, told: bool) -> bool:
    """A message, or its first or last sentence, that is an opt-out and nothing else.

    Only words as written count, and typos of the longer words of an opt-out. Where the message has told
    something of the pile, a lone "stop!" in it is no opt-out.
    """
    for start, end in [(0, len(items))] if told else _stretches(items):
        run = [x for x in items[start:end] if plain(x.raw).replace(" ", "").isalnum()]
        kept = [x for x in run if not x.has("<polite>")]
        if {_said(run), _said(kept)} & lex.stop_words:
            return True
    return False


def limits_stop(items: Sequence[Item], lex: Lexicon) -> set[int]:
    """The sentences in which less than an end of contact is meant: "at 6", "until Monday", "about water"."""
    return {items[first].sentence for _, (first, _) in lex.searches(items, "stop_not.")}


def wants_stop(items: Sequence[Item], lex: Lexicon, limited: set[int], *, erases: bool) -> AskKind | None:
    """ "stop" where no more messages are wanted, by any wording; "unclear_stop" where that may be meant.

    What the same sentence or the next one limits is less than that;
    "delete my number and all my records" (`erases`) asks for more, and is answered as that.
    """
    kinds: tuple[AskKind, ...] = ("stop", "unclear_stop")
    for kind in kinds:
        for way, (first, last) in lex.searches(items, f"{kind}."):
            if way == "number" and erases:
                continue
            if limited.isdisjoint(
                {items[first].sentence, items[last - 1].sentence, items[last - 1].sentence + 1}
            ):
                return kind
    return None


def _said(items: Sequence[Item]) -> str:
    return " ".join(plain(x.raw) for x in items)


def _stretches(items: Sequence[Item]) -> list[tuple[int, int]]:
    """The whole message, its first and last sentence, and what stands after its last comma."""
    bounds = list(sentences(items))
    comma = max((i + 1 for i, x in enumerate(items) if x.has(",", "-", ";")), default=0)
    return [(0, len(items)), *bounds[:1], *bounds[-1:], (comma, len(items))]


def find_danger(items: list[Item], lex: Lexicon, facts: Sequence[Fact]) -> Danger | None:
    """The gravest sign of danger in the message."""
    hits = {name for name, _ in lex.searches(items, "danger.")}
    if any(fact.record.kind == "smoke" for fact in facts):
        hits.add("smoke")
    if facts:
        hits.discard("wrong_person")  # "wrong number, it was 136"
    return next((danger for danger in GRAVEST_FIRST if danger in hits), None)
