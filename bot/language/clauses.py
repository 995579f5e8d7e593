"""How the parts of a message are meant: sentences and segments; what is denied, planned, supposed, asked."""

from collections.abc import Iterator, Sequence
from itertools import takewhile

from bot.language.items import Item
from bot.language.lexicon import Lexicon

SCOPES = ("ask", "hypo", "plan", "not", "weather")


def divide(items: list[Item]) -> None:
    """Number the sentences and segments of the message."""
    sentence = segment = 0
    several = sum(x.has("<pilename>") for x in items) > 1
    for i, item in enumerate(items):
        following = items[i + 1] if i + 1 < len(items) else None
        labels_clause = item.key in (":", "-") and i > 0 and items[i - 1].has("<pilename>")
        heads = (several and item.has("<pilename>") and _heads_clause(items, i)) or _dated(items, i)
        slash = item.key == "/" and following is not None and following.number is None
        if (
            heads
            or slash
            or (item.has("<break>", "<and>", "<but>") and not _within_number(items, i) and not labels_clause)
        ):
            segment += 1
        item.sentence, item.segment = sentence, segment
        if item.has("<end>") and following is not None and not following.has("<end>"):
            sentence, segment = sentence + 1, segment + 1


def _dated(items: list[Item], at: int) -> bool:
    """ "Sun: built it Mon: 88": a day before a colon opens a clause."""
    after = items[at + 1 : at + 2]
    return (
        at > 0
        and items[at].has("<date>")
        and bool(after)
        and after[0].key == ":"
        and not items[at - 1].has("<break>", "<and>", "<end>")
    )


def _heads_clause(items: list[Item], at: int) -> bool:
    """ "pile 2: 136 pile 3: 141", "turned both front bin 125 back bin 140": each name opens a clause."""
    opening = next((x for x in items if not x.has("<filler>", "<end>", "<break>")), None)
    after = items[at + 1] if at + 1 < len(items) else None
    told = after is not None and after.has(
        "<number>", "<temperature>", "<is>", "<was>", "<heat>", "<moisture>", ":"
    )
    headed = opening is not None and opening.has("<pilename>")
    return at > 0 and (headed or told) and not items[at - 1].has("<of_pile>", "<break>", "<and>")


def _within_number(items: list[Item], at: int) -> bool:
    return items[at].key == "-" and items[at].glued and at + 1 < len(items) and items[at + 1].glued


def sentences(items: Sequence[Item]) -> Iterator[tuple[int, int]]:
    """Bounds (first, past-last) of each sentence."""
    start = 0
    for i in range(1, len(items) + 1):
        if i == len(items) or items[i].sentence != items[start].sentence:
            yield start, i
            start = i


def mark_scopes(items: list[Item], lex: Lexicon) -> None:
    """Note in `scope` of each item how its clause is meant."""
    bounds = dict(sentences(items))
    start_of = {i: start for start, end in bounds.items() for i in range(start, end)}
    affirmed = {
        at for _, span in lex.searches(items, "affirms.") for at in range(*span)
    }  # "ahora si está húmeda", "cuando llegue ya estaba seca"
    for name, (first, last) in sorted(lex.searches(items, "scope."), key=lambda hit: SCOPES.index(hit[0])):
        if name in items[first].scope or (name == "ask" and first and items[first - 1].has("no", "not")):
            continue  # "no time to turn it" asks nothing
        if name == "ask" and items[first].has("<telling>"):
            continue  # "fíjese que anda en 119"
        if name == "ask" and _tells_when(items, first, last):
            if first and items[first - 1].has("que", "a", "desde", "como"):  # "igual que cuando la puse"
                for item in items[first:last]:
                    item.scope.add("hypo")
            continue
        if name == "not" and _only_unable(items, first):
            continue
        if name == "hypo" and first in affirmed:
            continue
        end = bounds[start_of[first]] if first in start_of else len(items)
        stop = _asked_to(items, last, end) if name == "ask" else _reach(items, first, last, end, name)
        for item in items[first:stop]:
            item.scope.add(name)
    for start, end in bounds.items():
        _mark_question(items, start, end)
    for way, (first, _) in lex.searches(items, "presumes."):
        taken = ("<concept>", "<temperature>", "<number>") if way == "given" else ("<concept>",)
        for item in items[start_of[first] : bounds[start_of[first]]]:
            if item.has(*taken) and not item.has("<cure_word>"):
                item.scope -= {"ask", "plan", "not"} if way == "unwanted" else {"ask", "plan"}


def _tells_when(items: list[Item], first: int, last: int) -> bool:
    """ "cuando la puse": a "when" with a past and no question mark dates something."""
    past = any(label.endswith(".done>") for x in items[first:last] for label in x.labels)
    return items[first].key == "cuando" and past and not any(x.key == "?" for x in items[last:])


def _belongs(items: list[Item], at: int) -> bool:
    """Whether a question goes on: "how the pile is"; not in "what do I do, the pile is smoking"."""
    if items[at - 1].has("<article>") and at > 2:
        told = items[at - 3].has("<sub>") and items[at - 2].has("do")
        return not (told or items[at - 2].has("<break>"))
    return items[at - 1].has("<asks_on>", "<aux>", "<wh>", "<is>", "<article>")


def _only_unable(items: list[Item], at: int) -> bool:
    """ "can't stop the ants": what cannot be helped is there."""
    return (
        at > 0
        and items[at - 1].has("can", "could")
        and any(x.has("stop", "shake", "beat", "control", "evict") for x in items[at + 1 : at + 3])
    )


def _asked_to(items: list[Item], last: int, end: int) -> int:
    """Where a question ends: at its "but", or where it runs on into a statement ("what now it's 145")."""
    marked = any(x.key == "?" for x in items[last:end])
    return next(
        (
            i
            for i in range(last, end)
            if (items[i].has("but", "pero") and not marked)
            or (items[i].has(",", "...", ";", "-") and not marked and _states(items, i + 1, end))
            or (
                i > last
                and items[i].has("it", "pile", "temperature", "she", "there")
                and _opens_clause(items, i, end)
                and not _belongs(items, i)
            )
        ),
        end,
    )


def _reach(items: list[Item], first: int, last: int, end: int, name: str) -> int:
    """Where a denial, plan or supposition ends: at the clause, but it goes on over "or" and bare lists."""
    at = last
    while at < end:
        item = items[at]
        if item.has("<break>", "<but>", "<only>", "<rather>") or (
            name != "hypo" and at > last and _opens_clause(items, at, end)
        ):
            return at
        if item.has("<and>") and _new_clause(items, at + 1, end):
            return at
        if "ask" in item.scope and "ask" not in items[first].scope:
            return at
        if name == "plan" and at > last and _told_past(items, at):
            return at  # "tengo que decir que ya la volteé"
        if name == "plan" and items[first].key == "antes" and item.has("<was>"):
            return at  # "antes de voltearla estaba en 152"
        if name == "hypo" and (
            item.has("then") or (item.has("<now>") and at + 1 < end and items[at + 1].has("it"))
        ):
            return at
        at += 1
    return at


def _told_past(items: list[Item], at: int) -> bool:
    """Whether a form that can only be past stands here, beside its pronoun."""
    forms = {label.rsplit(".", 1)[-1] for label in items[at].labels if "." in label}
    return "done>" in forms and not forms & {"now>", "imp>", "maybe>"} and items[at - 1].has("<clitic>", "ya")


def _states(items: list[Item], at: int, end: int) -> bool:
    """Whether the clause from `at` on tells something: "q onda, ya medí, trae 147"."""
    clause = list(takewhile(lambda x: not x.has("<break>", "<end>"), items[at:end]))
    if any(x.has("<wh>", "<opener>", "<aux>") for x in clause[:2]):
        return False
    told = any(label.endswith(".done>") for x in clause for label in x.labels)
    told = told or (
        any(x.has("<is>", "<was>") for x in clause)
        and any(x.has("<moisture>", "<smell>", "<heat>") for x in clause)
    )
    return told or any(x.has("<temperature>") or (x.has("<number>") and (x.number or 0) > 32) for x in clause)


def _opens_clause(items: list[Item], at: int, end: int) -> bool:
    """ "can't stop checking it's 137", "don't worry I turned it": a subject with its verb opens a clause."""
    if at + 1 < end and items[at].has("<sub>") and not items[at - 1].has("<asks_on>", "<relative>", "<aux>"):
        return any(label.endswith(".done>") for label in items[at + 1].labels)
    return (
        at + 1 < end
        and items[at].has("it", "they", "she", "there", "thats", "that", "pile", "temperature")
        and items[at + 1].has("s", "was", "<is_plain>")
    )


def _new_clause(items: list[Item], at: int, end: int) -> bool:
    """Whether what follows "and" has its own verb, subject or number."""
    return any(
        item.has("<verb>", "<is>", "<was>", "<sub>", "it", "<number>", "<temperature>", "<amount>", "<not>")
        or item.key.startswith("se ")  # "ni huele y se deshace en la mano"
        for item in items[at : min(at + 3, end)]
    )


def _mark_question(items: list[Item], start: int, end: int) -> None:
    """A sentence that ends in "?" asks from its question word on, else its last clause asks."""
    told = [item for item in items[start:end] if not item.has("<end>", "<filler>", "<more_than>")]
    if not any(item.key == "?" for item in items[start:end]) or all(item.number is not None for item in told):
        return
    opened = next((i for i in range(start, end) if items[i].key == "¿"), None)
    if opened is None and any("ask" in item.scope for item in items[start:end]):
        return
    if opened is None:
        opened = start
        for i in range(start, end):
            clause_starts = i == start or items[i - 1].has("<break>", "<but>", "<and>")
            if clause_starts and items[i].has("<wh>", "<aux>"):
                opened = i
                break
            if items[i].has("<break>", "<but>") and i + 1 < end and not items[i + 1].has("<end>"):
                opened = i + 1
        deeds = ("<verb>", "<is>", "<was>", "<temperature>", "<number>", "<concept>")
        if not any(x.has(*deeds) and not x.has("<material>") for x in items[start:opened]):
            opened = start  # "peels, lint and a pizza box?"
    for item in items[opened:end]:
        item.scope.add("ask")
