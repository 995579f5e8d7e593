"""Reads a message: the text, the moment and the person's units in; a `Meaning` out. No history, no clock.

The way of a text: one form for its signs; words; the language; typos mended; numbers, dates, amounts, pile
names and phrases folded into items; clauses marked as denied, planned, supposed or asked; then facts and asks
by tables of patterns over the items. All words and patterns are data, in the folder of each language.
"""

import gc
import re
from datetime import datetime

from bot.language import asks as wants
from bot.language import dates, quantities, urgent
from bot.language.clauses import divide, mark_scopes
from bot.language.clock import clock_time
from bot.language.facts import find_facts
from bot.language.items import Item, clean, cut
from bot.language.lexicon import MOST_FUZZY, SOUND_LETTERS, TYPO_LETTERS, Lexicon, lexicon
from bot.language.materials import settle_materials
from bot.language.meaning import Ask, AskKind, Language, Meaning, Units
from bot.language.pile_names import find_piles
from bot.language.repairs import repair
from bot.language.setup import find_setup
from bot.language.spoken import read_spoken
from bot.language.temperatures import read_bare
from bot.language.tense import settle_tense

LANGUAGES: tuple[Language, ...] = ("en", "es")
SPANISH_LEAN = 1.2  # who mixes the two writes Spanish with English words rather than the other way round
ORDINALS = ("st", "nd", "rd", "th")
SHORT = 6  # words of a message that may be an opt-out in the other language
_STRETCHED = re.compile(r"([^\W\d_])\1{2,}")
_ASSENTS = re.compile(
    "|".join(phrase for one in LANGUAGES for phrase in lexicon(one).tables["bare_words"]["assents"]), re.I
)
_SPEAKER = re.compile(r"\s*([^\W\d_]{2,12}):\s+(?=\S)")


def understand(text: str, now: datetime, units: Units) -> Meaning:
    """What one message means. `now` is the person's local time, naive; `units` how they give a bare reading.

    Never raises on any text; what it cannot read comes back as an empty meaning.
    """
    text = clean(text)
    speaker, rest = _speaker(text)
    words = cut(rest)
    language = _language(words)
    lex = lexicon(language)
    items = _items(words, lex, now, units)
    facts = find_facts(items, lex, now, units) if _any_known(words) else []
    asks = wants.find_asks(items, lex, facts, now, rest)
    stop = _stop(words, lex, told=bool(facts), erases=any(a.kind == "forget_me" for a in asks))
    if stop == "stop":
        return Meaning(
            language, asks=(Ask("stop"), *(a for a in asks if a.kind == "forget_me")), speaker=speaker
        )
    if stop is not None and not facts:
        asks.append(Ask(stop))
    bare = wants.bare_answer(items, lex)
    number = _lone_number(items)
    return Meaning(
        language,
        facts=() if bare else tuple(facts),
        asks=() if bare in ("done", "not_yet", "yes", "no") else tuple(asks),
        bare=bare,
        number=number,
        speaker=speaker,
        setup=find_setup(items, lex),
        lead=None if bare else wants.opening_answer(items, lex),
        danger=urgent.find_danger(items, lex, facts),
        on=dates.day_named(items, lex, now),
        units=quantities.measures(items, lex),
        length_m=quantities.lone_length_m(items),
        after=frozenset(name for name, _ in lex.searches(items, "after.")),
    )


def agrees(text: str) -> bool:
    """Whether a message opens or ends with a yes and nothing in it denies, asks or tells an age under 18.

    For a question that wants a clear yes and gets it in passing: "im over 18 so yes", "sure why not".
    """
    words = [item for item in cut(_ASSENTS.sub(" ", clean(text))) if item.key.isalnum() or item.key == "?"]
    if not words or any(item.key == "?" or (item.number or 18) < 18 for item in words):
        return False
    for lex in map(lexicon, LANGUAGES):
        yes = {item.key for item in (words[0], words[-1])} & {
            phrase for phrase, bare in lex.bare.items() if bare == "yes" and len(phrase) > 1
        }
        for item in words:
            lex.label(item)
        if any(not lexicon(_other(lex.language)).common(word) for word in yes):
            return not any(item.has("<not>", "but", "pero", "if", "es") for item in words)
    return False


def tells_language(text: str) -> bool:
    """Whether a message shows its language: a lone "yo" may greet in English or mean "I" in Spanish."""
    said = {item.key for item in cut(clean(text)) if item.key.isalpha()}
    return not said or not said <= set(lexicon("es").tables["common"]["alike"])


def _warm_up() -> None:
    """Read the data of each language when the module is imported, so that no message waits for it."""
    for language in LANGUAGES:
        dates.find_dates(cut("3/4"), lexicon(language), datetime(2026, 1, 1))
    gc.collect()
    gc.freeze()  # what was read lives as long as the process: no later collection need go through it


def _speaker(text: str) -> tuple[str | None, str]:
    found = _SPEAKER.match(text)
    if not found or not found[1][0].isupper() or any(_familiar(found[1], lang) for lang in LANGUAGES):
        return None, text
    return found[1], text[found.end() :]


def _any_known(words: list[Item]) -> bool:
    """Whether a word stands there as people write it, or none at all: of typos alone nothing is recorded."""
    told = [word for word in words if word.key.isalpha()]
    counted = len(told) == 1 and any(word.number is not None for word in words)  # "132!! yey"
    return (
        not told
        or counted
        or any(
            lexicon(one).known(word.key) or word.key in lexicon(one).spellings
            for word in told
            for one in LANGUAGES
        )
    )


def _familiar(word: str, language: Language) -> bool:
    lex = lexicon(language)
    return any(lex.known(item.key) or item.key in lex.spellings for item in cut(word))


def _language(words: list[Item]) -> Language:
    """The likelier language: by common words, then by any known word, then by its letters."""
    score = dict.fromkeys(LANGUAGES, 0.0)
    known: set[str] = set()
    for item in words:
        if item.key in known or not item.key.isalpha():
            continue
        known.add(item.key)
        if all(lexicon(language).common(item.key) for language in LANGUAGES):
            continue
        for language in LANGUAGES:
            lex = lexicon(language)
            slip = item.key in lex.spellings and not lexicon(_other(language)).common(item.key)
            known_word = lex.known(item.key) or slip or _heard_only(item.key, lex)
            score[language] += 1.0 if lex.common(item.key) else 0.5 if known_word else 0.0
        if item.raw != item.key:
            score["es"] += 1.0
    if any(item.key in "¿¡" for item in words):
        score["es"] += 3.0
    lean = (
        SPANISH_LEAN
        if any(lexicon("es").common(key) and not lexicon("en").common(key) for key in known)
        else 1.0
    )
    return "es" if score["es"] * lean > score["en"] else "en"


def _heard_only(key: str, lex: Lexicon) -> bool:
    """Whether a word that neither language knows sounds like one of this language alone."""
    other = lexicon(_other(lex.language))
    heard = None if other.known(key) else lex.heard(key)
    return heard is not None and not other.known(heard)


def _stop(words: list[Item], lex: Lexicon, *, told: bool, erases: bool) -> AskKind | None:
    """Opt-outs in either language, from the words exactly as written."""
    items = _as_written(words, lex)
    other = lexicon(_other(lex.language))
    mixed = any(other.common(word.key) and not lex.known(word.key) for word in words)
    foreign = _as_written(words, other) if mixed or len(words) <= SHORT else []
    if urgent.says_stop(items, lex, told=told) or urgent.says_stop(foreign, other, told=told):
        return "stop"
    limited = urgent.limits_stop(items, lex) | urgent.limits_stop(foreign, other)
    return urgent.wants_stop(items, lex, limited, erases=erases) or urgent.wants_stop(
        foreign, other, limited, erases=erases
    )


def _as_written(words: list[Item], lex: Lexicon) -> list[Item]:
    items = [item for word in words for item in _spelled(_fresh(word), lex)]
    other = lexicon(_other(lex.language))
    for item in items:
        strange = item.key.isalpha() and len(item.key) >= TYPO_LETTERS
        if strange and not lex.known(item.key) and not other.known(item.key):
            item.key = item.raw = lex.stop_word_meant(item.key) or lex.heard(item.key) or item.key
            item.labels = {item.key}
        lex.label(item)
    items = lex.fold(items)
    divide(items)
    return items


def _fresh(word: Item) -> Item:
    return Item(word.key, word.raw, word.written, set(word.labels), word.glued, word.number)


def _other(language: Language) -> Language:
    return "es" if language == "en" else "en"


def _spelled(item: Item, lex: Lexicon) -> list[Item]:
    full = lex.spellings.get(item.key)
    ordinal = item.glued and item.key in ORDINALS  # the "nd" of "22nd" is no "and"
    if (
        full is None
        or ordinal
        or (item.key in lex.tables["common"].get("kept", ()) and item.written.isupper())
    ):
        return [item]
    return [
        Item(f.key, f.raw, item.written if len(full) == 1 else f.written, {f.key, *f.labels}, item.glued)
        for f in full
    ]


def _items(words: list[Item], lex: Lexicon, now: datetime, units: Units) -> list[Item]:
    other = lexicon(_other(lex.language))
    items = [item for word in words for item in _spelled(_fresh(word), lex)]
    items = _mend(items, lex, other)
    items = quantities.read_fractions(read_spoken(items, lex), lex)
    items = dates.find_dates(items, lex, now)
    items = clock_time(items, lex)
    items = quantities.read_amounts(items, lex)
    items = lex.fold(items)
    items = other.fold(items, strangers=True)
    items = settle_materials(items, lex)
    items = find_piles(items, lex)
    items = quantities.read_degrees(items, lex, units)
    divide(items)
    mark_scopes(items, lex)
    settle_tense(items)
    items = read_bare(items, lex, units)
    repair(items, lex)
    return items


def _mend(items: list[Item], lex: Lexicon, other: Lexicon) -> list[Item]:
    """Label each word: a longer unknown one as what it is a typo of, a foreign one by its own language."""
    mended = 0
    mixed = any(other.common(item.key) and not lex.known(item.key) for item in items)
    read: list[Item] = []
    for at, item in enumerate(items):
        lex.label(item)
        if not item.key.isalpha() or lex.known(item.key):
            part = len(item.labels) == 1 and not lex.names(item.key)
            if part and other.names(item.key) and not lex.common(item.key):
                item.labels.add("<foreign>")  # known as a part of a name only: "el coffee"
            read.append(item)
            continue
        name = (
            item.written[:1].isupper()
            and not item.written.isupper()
            and at > 0
            and not items[at - 1].has("<end>")
        )
        if other.known(item.key):
            item.labels.add("<foreign>")
            if not other.names(item.key) and mixed:
                other.label(item)
            read.append(item)
            continue
        near = None if name else lex.mended(item.key)
        if near is None and (short := _unstretched(item.key, lex)):
            near = short
        if near is None and item.key.endswith("in") and lex.known(item.key + "g"):
            near = item.key + "g"
        if near is None and len(item.key) >= SOUND_LETTERS and mended < MOST_FUZZY:
            mended += 1
            near = lex.nearest(item.key)
        if near is not None and (not name or near in lex.proper):
            spelled = _spelled(
                Item(near, near, item.written, {near}, item.glued), lex
            )  # "hvaent" is two words
            for word in spelled:
                lex.label(word)
            read.extend(spelled)
            continue
        if len(item.labels) == 1:
            item.labels.add("<name>")
        read.append(item)
    return read


def _unstretched(key: str, lex: Lexicon) -> str | None:
    """ "soooo", "thankssss": a letter written three times and more, as once or twice."""
    if not _STRETCHED.search(key):
        return None
    shorter = (_STRETCHED.sub(letters, key) for letters in (r"\1", r"\1\1"))
    return next((word for word in shorter if lex.known(word) or word in lex.spellings), None)


def _lone_number(items: list[Item]) -> float | None:
    told = [item for item in items if not item.has("<end>", "<polite>", "<temperature_word>")]
    if len(told) == 1 and told[0].number is not None:
        return told[0].number
    return None


_warm_up()
