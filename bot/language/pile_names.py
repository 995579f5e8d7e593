"""What a writer calls a pile: "pile 2", "the back fence pile", "la pila del fondo"."""

from bot.language.items import Item
from bot.language.lexicon import Lexicon

LARGEST_PILE_NUMBER = 20
AFTER_NAME = ("at", "<is>", "<was>", "<number>", "<temperature>", "<break>", "<end>", "<verb>", "=")
NO_NAME_ENDINGS = ("ing", "ous", "ful", "est", "ish")  # "the ducking pile", "the gorgeous pile"
AFTER_NUMBER = (
    "<is>", "<was>", "<verb>", "en", "a", "<but>", "<break>", "no", "ya", "le", "les", "<date>", "<and>",
    "<clitic>",
)  # fmt: skip


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
            while name.isdigit() and (more := _next_number(items, at, lex)):  # "pile 1, 2 and 3"
                named += [*items[at : more - 1], _name_item([items[more - 1]], items[more - 1].key)]
                at = more
            continue
        if _place_alone(items, at):  # "both bins: front 128, back 117"
            named.append(_name_item([items[at]], items[at].key))
            at += 1
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


def _place_alone(items: list[Item], at: int) -> bool:
    """Whether a place at the head of a clause stands for the pile there: several were spoken of."""
    after = items[at + 1] if at + 1 < len(items) else None
    return (
        items[at].has("<place>")
        and not items[at].has("<core>", "<edge>", "<pile>", "<noname>")
        and any(x.has("<several>") for x in items[:at])
        and items[at - 1].has("<break>", "<and>", "<end>")
        and after is not None
        and (after.number is not None or after.has("<is>", "<was>", "<heat>", "<moisture>", ":"))
    )


def _next_number(items: list[Item], at: int, lex: Lexicon) -> int | None:
    """Where a list of pile numbers goes on to after `at`, None where it ends."""
    here = at
    while here < len(items) and here < at + 2 and items[here].has(",", "<and>"):
        here += 1
    if here == at or here >= len(items) or not items[here].key.isdigit():
        return None
    after = items[here + 1] if here + 1 < len(items) else None
    counts = after is not None and (
        lex.unit(after.key) is not None
        or after.has("<count_noun>", "<material>", "<day_unit>", "<pile>", ":")
    )
    small = 1 <= int(items[here].key) <= LARGEST_PILE_NUMBER
    return here + 1 if small and not counts and not items[here].has("<clocktime>") else None


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
        if letter.key == "s" and "'" in letter.written:
            return None  # "pile's one forty"
        capital = letter.written.isupper() and letter.written != "I" and not item.written.isupper()
        if after is None or after.has(*AFTER_NAME, "<and>", "<but>", "<date>") or capital:
            counted = after is not None and after.has("<number>", "<temperature>")  # "pile a 120"
            counted = counted and not letter.has("<to_reading>")  # "la pila a 120"
            return (letter.key, here + 1) if not letter.has("<noname>") or capital or counted else None
    return None


def _labels(items: list[Item], at: int) -> bool:
    """Whether a small number stands before a colon at the head of a clause."""
    heads = at == 0 or items[at - 1].has("<end>", "<break>", "<and>")
    named = any(x.has("<pile>", "both", "all", "ambas") for x in items[:at])
    if heads and named and any(x.has("<is>", "<was>") for x in items[at + 1 : at + 2]):
        return True  # "is pile 2 hotter than pile 1? 2 is 140, 1 is 112"
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
        if word.has("<whole>"):
            continue  # "the whole front bay"
        acts = word.has("<verb>") and not word.has("<place>", "<move>")  # "the side yard", "the chicken run"
        if (
            not word.key.replace(" ", "").isalpha()
            or acts
            or word.has("<link_the>", "<turning_thing>", "<noname>", "<and>", "<but>", "<pile>")
        ):
            break
        if word.has("<moisture>", "<heat>", "<pests>", "<date>", "<is>", "<was>"):
            break
        if word.has("<material>") and not words and not word.has("<place>"):
            break
        if not word.has("<place>") and word.key.endswith(NO_NAME_ENDINGS):
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
    if len(words) == 1 and _opens_clause(named) and _told_of(items, at):
        return words[0], 1  # "Port pile 131, starboard pile 98"
    return None, 0


def _opens_clause(named: list[Item]) -> bool:
    """Whether the last word stands first in its clause, and is no word of another use."""
    if len(named) > 1 and not named[-2].has("<break>", "<end>", "<and>", "<filler>"):
        return False
    other = (
        "<temperature_word>",
        "<core>",
        "<edge>",
        "<relation>",
        "<sub>",
        "<it>",
        "<more_than>",
        "<degree>",
    )
    return not named[-1].has(
        *other, "<filler>", "<polite>", "<article>", "<a>", "<wh>", "<aux>", "<not>", "<size>"
    )


def _told_of(items: list[Item], at: int) -> bool:
    after = items[at + 1] if at + 1 < len(items) else None
    return after is not None and (
        (after.number is not None and after.number > LARGEST_PILE_NUMBER) or after.has("<heat>", "<moisture>")
    )


def _contrasted(words: list[str], items: list[Item]) -> bool:
    """ "the new pile", "my first pile": a name only where another one is spoken of too."""
    if words in (["second"], ["third"]) and any(x.has("<build.done>") for x in items):
        return False  # "built our second bin"
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
    if not words or (words in (["nueva"], ["nuevo"]) and _just_built(items, at)):
        return None
    if bare and not linked and not items[here - 1].has("<which>"):
        return None
    if bare and linked and not items[here - 1].has("<place>"):
        told_before = any(x.has("<pilename>") for x in named)
        heads = here < len(items) and (
            items[here].has("<shepile>", "<is>", "<was>", "le", "lo", "<heat>", "<moisture>", "<degree>")
            or (items[here].number or 0) > LARGEST_PILE_NUMBER
        )
        heads = heads or (at > 0 and items[at - 1].has("en", "a"))  # "un ratón en la del alley"
        if not (definite and (told_before or heads)):
            return None
    return " ".join(words), here


def _just_built(items: list[Item], at: int) -> bool:
    """ "arrancamos pila nueva": it is told that there is one, not which one."""
    known = at > 0 and items[at - 1].has("<article>")
    return not known or any(x.has("<build.done>", "<build.maybe>") for x in items[max(0, at - 3) : at])
