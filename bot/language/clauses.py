"""How the parts of a message are meant: sentences, segments, and what is denied, planned, supposed or asked.

Pile names are found here too, since a name reaches over clauses as those do.
"""

from collections.abc import Iterator, Sequence

from bot.language.items import Item
from bot.language.lexicon import Lexicon

LARGEST_PILE_NUMBER = 20
AFTER_NAME = ("at", "<is>", "<was>", "<number>", "<temperature>", "<break>", "<end>", "<verb>", "=")
AFTER_NUMBER = (
    "<is>", "<was>", "<verb>", "en", "a", "<but>", "<break>", "no", "ya", "le", "les", "<date>", "<and>"
)  # fmt: skip
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
    affirmed = {last - 1 for _, (_, last) in lex.searches(items, "affirms.")}  # "ahora si está húmeda"
    for name, (first, last) in sorted(lex.searches(items, "scope."), key=lambda hit: SCOPES.index(hit[0])):
        if name in items[first].scope or (name == "ask" and first and items[first - 1].has("no", "not")):
            continue  # "no time to turn it" asks nothing
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
            if item.has(*taken):
                item.scope -= {"ask", "plan"}


def _asked_to(items: list[Item], last: int, end: int) -> int:
    """Where a question ends: at its "but", or where it runs on into a statement ("what now it's 145")."""
    marked = any(x.key == "?" for x in items[last:end])
    return next(
        (
            i
            for i in range(last, end)
            if (items[i].has("but", "pero") and not marked)
            or (
                i > last
                and items[i].has("it", "pile", "temperature")
                and _opens_clause(items, i, end)
                and not items[i - 1].has("<asks_on>", "<aux>", "<wh>", "<is>", "<article>")
            )
        ),
        end,
    )


def _reach(items: list[Item], first: int, last: int, end: int, name: str) -> int:
    """Where a denial, plan or supposition ends: at the clause, but it goes on over "or" and bare lists."""
    at = last
    while at < end:
        item = items[at]
        if item.has("<break>", "<but>", "<only>") or (
            name != "hypo" and at > last and _opens_clause(items, at, end)
        ):
            return at
        if item.has("<and>") and _new_clause(items, at + 1, end):
            return at
        if "ask" in item.scope and "ask" not in items[first].scope:
            return at
        if name == "hypo" and (
            item.has("then") or (item.has("<now>") and at + 1 < end and items[at + 1].has("it"))
        ):
            return at
        at += 1
    return at


def _opens_clause(items: list[Item], at: int, end: int) -> bool:
    """ "can't stop checking it's 137", "don't worry I turned it": a subject with its verb opens a clause."""
    if at + 1 < end and items[at].has("<sub>") and not items[at - 1].has("<asks_on>", "<relative>", "<aux>"):
        return any(label.endswith(".done>") for label in items[at + 1].labels)
    return (
        at + 1 < end
        and items[at].has("it", "they", "thats", "that", "pile", "temperature")
        and items[at + 1].has("s", "was", "<is_plain>")
    )


def _new_clause(items: list[Item], at: int, end: int) -> bool:
    """Whether what follows "and" has its own verb, subject or number."""
    return any(
        item.has("<verb>", "<is>", "<was>", "<sub>", "it", "<number>", "<temperature>", "<amount>", "<not>")
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
    for item in items[opened:end]:
        item.scope.add("ask")


def find_piles(items: list[Item], lex: Lexicon) -> list[Item]:
    """The items with each pile name folded into one, labelled <pilename>, value as the writer calls it."""
    named: list[Item] = []
    at = 0
    while at < len(items):
        found = _numbered(items, at, lex) or _named_after(items, at, named)
        if found:
            name, end = found
            start = len(named)
            while start and named[start - 1].has("<article>"):
                start -= 1
            run = named[start:] + items[at:end]
            named[start:] = [_name_item(run, name)]
            at = end
            continue
        words, width = _named_before(named, items, at)
        if words:
            run = [*named[len(named) - width :], items[at]]
            named[len(named) - width :] = [_name_item(run, words)]
            at += 1
            continue
        named.append(items[at])
        at += 1
    return named


def _name_item(run: list[Item], name: str) -> Item:
    written = " ".join(item.written for item in run)
    return Item(written.lower(), written.lower(), written, {"<pilename>", "<pile>"}, run[0].glued, value=name)


def _numbered(items: list[Item], at: int, lex: Lexicon) -> tuple[str, int] | None:
    """ "pile 2", "bin #3", "#2", "la 2"."""
    item = items[at]
    here = at
    if (
        item.has("<numeral>")
        and (at == 0 or items[at - 1].has("<end>", "<break>", "<and>", "<but>"))
        and any(x.has("<is>", "<was>") for x in items[at + 2 : at + 3])
    ):
        here += 1  # "number 2 is swimming"
    elif (
        item.has("<shepile>")
        and len(items) > at + 2
        and items[at + 1].has("<numeral>")
        and items[at + 2].number
    ):
        here += 2  # "la número 2"
    elif item.number is not None and item.number <= 9 and _labels(items, at):
        pass  # "1: 120, 2: 130"
    elif item.has("<pile>") and not item.has("<article>"):
        here += 1
        while here < len(items) and items[here].has("#", "<numeral>", "no"):
            here += 1
    elif item.key == "#" or (
        item.has("<shepile>") and (any(x.has("<pile>") for x in items[:at]) or _counts_piles(items, at))
    ):
        here += 1
    else:
        return None
    if here >= len(items):
        return None
    after = items[here + 1] if here + 1 < len(items) else None
    counted = items[here].key == "one" and (after is None or after.has(*AFTER_NAME, "<and>"))
    number = 1.0 if items[here].has("<first>") or counted else items[here].number
    if number is not None:
        whole = number == int(number) and 1 <= number <= LARGEST_PILE_NUMBER
        measured = after is not None and (lex.unit(after.key) is not None or after.has("<day_unit>"))
        hour = items[here].has("<clocktime>") and not (after is not None and after.has("le", "les"))
        if whole and not measured and not hour:
            return f"{int(number)}", here + 1
        return None
    if item.has("<pile>") and len(items[here].key) == 1 and items[here].key.isalpha() and here == at + 1:
        letter = items[here]
        capital = letter.written.isupper() and letter.written != "I" and not item.written.isupper()
        if after is None or after.has(*AFTER_NAME, "<and>", "<but>", "<date>") or capital:
            return (letter.key, here + 1) if not letter.has("<noname>") or capital else None
    return None


def _labels(items: list[Item], at: int) -> bool:
    """Whether a small number stands before a colon at the head of a clause."""
    heads = at == 0 or items[at - 1].has("<end>", "<break>", "<and>")
    return heads and any(x.key == ":" for x in items[at + 1 : at + 2]) and len(items) > at + 2


def _counts_piles(items: list[Item], at: int) -> bool:
    """ "la 2 marcaba 146", "la 1 en 101, la 2 en 136": a number that stands for a pile, not for an hour."""
    after = items[at + 2] if at + 2 < len(items) else None
    given = after is not None and after.has("le", "les")  # "a la 2 le puse agua"
    hour = at > 0 and items[at - 1].has("a", "de", "por") and not given
    return not hour and (
        after is None
        or (after.number or 0) > LARGEST_PILE_NUMBER  # "la 1 118"
        or after.has(*AFTER_NUMBER)
    )


def _named_before(named: list[Item], items: list[Item], at: int) -> tuple[str | None, int]:
    """ "the back fence pile": up to three words between an article and the word for pile."""
    if not items[at].has("<namable>", "<pileone>"):
        return None, 0
    words: list[str] = []
    for step in range(1, min(5, len(named) + 1)):
        word = named[-step]
        if word.has("<article>", "<owner>"):
            named_so = (
                words
                and _contrasted(words, items)
                and (items[at].has("<namable>") or named[-1].has("<place>"))
            )
            return (" ".join(reversed(words)), step) if named_so else (None, 0)
        acts = word.has("<verb>") and not word.has("<place>", "<move>")  # "the side yard", "the chicken run"
        if (
            not word.key.replace(" ", "").isalpha()
            or acts
            or word.has("<noname>", "<and>", "<but>", "<pile>")
        ):
            break
        if word.has("<moisture>", "<heat>", "<pests>", "<date>", "<is>", "<was>"):
            break
        if word.has("<material>") and not words:
            break
        words.append(word.written.lower())
    opens = len(named) == len(words) or not named[-len(words) - 1].has(
        "<a>", "<noname>", "<size>", "<degree>"
    )
    if (
        words
        and opens
        and _contrasted(words, items)
        and all(w.has("<place>") for w in named[len(named) - len(words) :])
    ):
        return " ".join(reversed(words)), len(words)
    return None, 0


def _contrasted(words: list[str], items: list[Item]) -> bool:
    """ "the new pile", "my first pile": a name only where another one is spoken of too."""
    return words not in (["new"], ["first"]) or any(
        x.has("old", "older", "other", "second", "third", "<pilename>") for x in items
    )


def _named_after(items: list[Item], at: int, named: list[Item]) -> tuple[str, int] | None:
    """ "la pila del fondo", "la pila grande", "the pile by the shed"."""
    item = items[at]
    pointed = item.has("<pileone>") and at > 0 and items[at - 1].has("<article>")
    if not (pointed or item.has("<pile>", "<shepile>")) or any(
        x.has("<a>") for x in items[max(0, at - 2) : at]
    ):
        return None
    here = at + 1
    linked = definite = False
    while here < len(items) and items[here].has("<link>"):
        linked, definite, here = True, definite or items[here].has("<link_the>"), here + 1
    while linked and here < len(items) and items[here].has("<article>", "<owner>"):
        definite, here = True, here + 1
    bare = item.has("<shepile>") and not item.has("<pile>")
    words: list[str] = []
    while here < len(items) and len(words) < 3 and items[here].key.replace(" ", "").isalpha():
        word = items[here]
        if word.has("<is>", "<was>", "<and>", "<but>", "<date>", "<noname>", "<pests>", "<water_word>"):
            break
        if word.has("<verb>", "<material>") and not (
            (definite and not words and not word.has("<place>")) or word.has("<place>")
        ):
            break
        opens = linked and not words
        if not (opens or word.has("<place>") or (linked and word.has("<article>", "<link>"))):
            break
        words.append(word.written.lower())
        here += 1
    while words and items[here - 1].has("<article>", "<link>"):
        words.pop()
        here -= 1
    if not words:
        return None
    if bare and not linked and not items[here - 1].has("<which>"):
        return None
    if bare and linked and not items[here - 1].has("<place>"):
        told_before = any(x.has("<pilename>") for x in named)
        heads = here < len(items) and items[here].has("<shepile>", "<is>", "<was>", "le", "lo")
        if not (definite and (told_before or heads)):
            return None
    return " ".join(words), here
