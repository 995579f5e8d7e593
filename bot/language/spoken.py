"""Numbers in words, as written out or as dictation hears them: "one hundred forty two", "one for tea"."""

from functools import cache

from text_to_num import text2num  # type: ignore[import-untyped]

from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon, lexicon
from bot.language.meaning import Language


def read_spoken(items: list[Item], lex: Lexicon) -> list[Item]:
    """The items with number words folded into numbers: "one hundred forty two", "half a", "ciento veinte"."""
    words, joiners, heard = _number_words(lex.language)
    folded: list[Item] = []
    at = 0
    while at < len(items):
        run, end, slips = _run(items, at, words, joiners, heard, lex)
        value = _spoken(run, lex) if run else None
        if value is None and len(run) > 1 and not slips and run[0] not in lex.tables["numbers"]["pronoun"]:
            value, end = _spoken(run[:1], lex), at + 1  # "two five gallon buckets"
        if value is None:
            folded.append(items[at])
            at += 1
            continue
        value, end = _decimals(items, end, value, lex)
        if value == 100 and end < len(items) and 0 < (items[end].number or 0) < 100:  # "ciento 42"
            value, end = value + (items[end].number or 0), end + 1
        written = " ".join(item.written for item in items[at:end])
        key = f"{value:g}"
        folded.append(
            Item(key, key, written, {key, "<number>", "<spoken>"}, items[at].glued, value, heard=slips)
        )
        at = end
    return folded


@cache
def _number_words(language: Language) -> tuple[set[str], set[str], dict[str, str]]:
    """Words for numbers, those that join them, and what dictation writes for either."""
    lex = lexicon(language)
    table, heard = lex.tables["numbers"], lex.tables["heard"]
    return (
        set(map(plain, table["words"])),
        set(map(plain, table["joiners"])),
        {plain(written): plain(meant) for written, meant in heard.items()},
    )


def _decimals(items: list[Item], at: int, value: float, lex: Lexicon) -> tuple[float, int]:
    """ "fifty eight point five"."""
    if at + 1 < len(items) and items[at].key in ("point", "punto", "coma"):
        digit = _spoken([items[at + 1].key], lex)
        if digit is not None and digit < 10:
            return value + digit / 10, at + 2
    return value, at


def _run(
    items: list[Item], at: int, words: set[str], joiners: set[str], heard: dict[str, str], lex: Lexicon
) -> tuple[list[str], int, bool]:
    """The number words from `at` on, where they end, and whether dictation slips are among them."""
    key, table = items[at].key, lex.tables["numbers"]
    following = items[at + 1].key if at + 1 < len(items) else ""
    opens = key in words or (key in table["one"] and following in ("hundred", "cien", "ciento"))
    if key in table["pronoun"] and following in table.get("hundreds", ()) and plain(items[at].written) == key:
        return [], at, False  # "pila uno ciento diez"
    if not opens and not (key in heard and not lex.common(key) and following in words):
        return [], at, False
    run: list[str] = []
    end, slips = at, False
    while end < len(items):
        key = items[end].key
        pair = f"{key} {items[end + 1].key}" if end + 1 < len(items) else ""
        if run and pair in heard:
            run.append(heard[pair])
            end, slips = end + 2, True
        elif key in words or (not run and key in table["one"]):
            run.append("one" if key in ("a", "an") else key)
            end += 1
        elif key in heard and (not run or (heard[key] in words and _speaks_on(items, end, words, run))):
            run.append(heard[key])
            end, slips = end + 1, True
        elif len(run) > 1 and run[-1] in joiners and key in table["one"]:  # "sesenta y un"
            run.append(table["units"][0])
            end += 1
        elif len(run) == 1 and key in table.get("zero", ()) and _following(items, end) in words:
            run.append(table["words"][0])  # "one oh five"
            end += 1
        elif run and key in joiners and lex.language == "en" and run[-1] not in table["and_after"]:
            break  # "a hundred and eight and two days ago"
        elif run and key in joiners and _one_more(items, end, table["one"]):
            run.append(key)
            end += 1
        elif run and key in joiners | {"-"} and end + 1 < len(items) and items[end + 1].key in words:
            run.extend([key] if key != "-" else [])
            end += 1
        else:
            break
    if len(run) == 1 and (run[0] in table["pronoun"] or slips):
        return [], at, False
    return run, end, slips


def _following(items: list[Item], at: int) -> str:
    """The key after `at`, empty at the end."""
    return items[at + 1].key if at + 1 < len(items) else ""


def _one_more(items: list[Item], joiner: int, ones: list[str]) -> bool:
    """ "sesenta y un grados", "two and a half" aside."""
    after = items[joiner + 1 : joiner + 3]
    return len(after) == 2 and after[0].key in ones and after[1].has("<temperature_word>", "<degree_word>")


def _speaks_on(items: list[Item], at: int, words: set[str], run: list[str]) -> bool:
    """ "one forty ate" is 148, but "went from forty to sixty" is not 4260."""
    after = items[at + 1].key if at + 1 < len(items) else ""
    return len(run) >= 2 and after not in words and not after.isdigit()


def _spoken(run: list[str], lex: Lexicon) -> float | None:
    language, accented = lex.language, {plain(word): word for word in lex.tables["numbers"]["words"]}
    run = [accented.get(word, word) for word in run]  # "veintidos"
    if run[0] in lex.tables["numbers"]["pronoun"] and run[1:2] == lex.tables["numbers"].get("hundreds"):
        run = run[1:]  # "one hundred forty" in Spanish words
    try:
        return float(text2num(" ".join(run), language))
    except ValueError:
        pass
    units = lex.tables["numbers"]["units"]
    joiners = lex.tables["numbers"]["joiners"]
    if run[0] in units and len(run) > 1:  # "one forty two" is 142
        try:
            rest = float(text2num(" ".join(run[1:]), language))
        except ValueError:
            rest = None
        if rest is not None and 10 <= rest < 100:
            return float(text2num(run[0], language) * 100 + rest)
    try:
        values = [text2num(word, language) for word in run if word not in joiners]
    except ValueError:
        return None
    if len(values) == 3 and all(v < 10 for v in values):  # "one three five" is 135
        return float(values[0] * 100 + values[1] * 10 + values[2])
    return float(sum(values)) if sorted(values, reverse=True) == values else None
