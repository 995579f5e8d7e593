"""What keepers of one pile say of each other: it takes their names, which the plain reader cannot know.

"cant, ask leo"    hand_over, to Leo          "leo turned it"    turned, by Leo
"Leo: turned"      turned, by Leo             "i have the fork"  has_tool, by the writer
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

from bot.language.items import plain
from bot.language.lexicon import lexicon
from bot.language.meaning import Ask, AskKind, Language, Meaning

OWN = "me"
"""Stands for the writer among names."""
LOOKED_FOR = (
    "share", "no_news", "news", "leave_pile", "tool_back", "has_tool", "who_has_tool", "tally", "whose_turn",
    "agree_fraction", "agree_weight", "limit", "swap", "hand_over", "claim", "my_name",
)  # fmt: skip
"""In this order: the first that fits is meant."""
GIVE_WAY = frozenset(
    {
        "who_did",
        "who_has_tool",
        "tally",
        "hand_over",
        "claim",
        "decline",
        "cannot_turn",
        "later",
        "only_about",
    }
)
"""Asks of the plain reader that say the same less well."""
SPEAKER = re.compile(r"\s*((?:[^\W\d_]+ ){0,2}[^\W\d_]{2,12}):\s+(?=\S)")
AMOUNTS: dict[str, float] = {
    "half": 1 / 2, "mitad": 1 / 2, "two thirds": 2 / 3, "dos tercios": 2 / 3, "third": 1 / 3, "tercio": 1 / 3,
    "tercera": 1 / 3, "quarter": 1 / 4, "cuart": 1 / 4, "fifth": 1 / 5, "twice": 2, "double": 2, "doble": 2,
    "three times": 3, "triple": 3, "equal": 1, "even": 1, "iguales": 1, "parejo": 1, "once": 1, "una": 1,
    "dos": 2,
}  # fmt: skip
"""The first of these that an amount in words contains is meant."""


def among_keepers(meaning: Meaning, text: str, names: Sequence[str], *, name_asked: bool = False) -> Meaning:
    """The same message with what only the keepers' names, or the question for one's own, make plain.

    names   of the other keepers of the writer's piles
    """
    said = plain(text.replace("’", "'"))
    if name_asked and not (meaning.facts or meaning.asks or meaning.bare or meaning.number):
        called = _find("name_asked", said, meaning.language, ())
        if called is not None:
            return replace(meaning, asks=(_own_name(called, text),))
    if _find("promise", said, meaning.language, ()) is not None:
        told = tuple(fact for fact in meaning.facts if fact.record.kind not in ("turned", "watered"))
        meaning = replace(meaning, facts=told)
    by = _speaker(meaning, text, names)
    if meaning.facts and not by:
        did = _find("did", said, meaning.language, tuple(names))
        by = _who(did[0], names, meaning.language) if did else ()
    if by:
        return replace(meaning, by=by, asks=tuple(ask for ask in meaning.asks if ask.kind != "claim"))
    asked = None if meaning.danger else _ask(said, text, meaning, tuple(names))
    if asked is None:
        return meaning
    gone = GIVE_WAY | ({"stop", "unclear_stop"} if asked[0].kind == "no_news" else set())
    if any(ask.kind == "stop" for ask in meaning.asks) and "stop" not in gone:
        return meaning
    kept = [ask for ask in meaning.asks if ask.kind not in gone]
    return replace(meaning, asks=(*kept, *asked))


def _ask(said: str, text: str, meaning: Meaning, names: tuple[str, ...]) -> list[Ask] | None:
    """What is asked of or told to the other keepers, None where nothing is."""
    for kind in LOOKED_FOR if names else LOOKED_FOR[:1]:
        found = _find(kind, said, meaning.language, names)
        if found is not None:
            return _with_fields(kind, found, said, text, names, meaning)
    return None


def _with_fields(
    kind: str, found: re.Match[str], said: str, text: str, names: tuple[str, ...], meaning: Meaning
) -> list[Ask]:
    groups: dict[str, Any] = found.groupdict()
    named = _who(found[0], names, meaning.language)
    if kind == "my_name":
        return [_own_name(found, text)]
    if kind in ("agree_fraction", "agree_weight"):
        topic = kind.removeprefix("agree_")
        return [Ask("agree_share", topic=topic, amount=_amount(str(groups[topic])))]
    if kind == "limit":
        return [Ask("limit", amount=_amount(str(groups["times"])))]
    if kind in ("has_tool", "who_has_tool", "tool_back"):
        who = OWN if groups.get("me") else next((name for name in named if name != OWN), None)
        return [Ask(_kind(kind), name=who, topic=_tool(said, meaning.language))]
    if kind in ("hand_over", "swap"):
        to = next((name for name in named if name != OWN), None)
        return [Ask("hand_over", name=to, topic="swap" if kind == "swap" else None)]
    if kind == "whose_turn" and any(name != OWN for name in named):
        return [Ask("whose_turn"), Ask("tally")]
    return [Ask(_kind(kind))]


def _kind(word: str) -> AskKind:
    return word  # type: ignore[return-value]


def _own_name(found: re.Match[str], text: str) -> Ask:
    """A name with the accents and capitals as written; first letters made capital."""
    start, end = found.span("called")
    written = text.replace("’", "'")[start:end] if len(text) == len(found.string) else found["called"]
    return Ask("my_name", name=" ".join(word[:1].upper() + word[1:] for word in written.split()))


def _speaker(meaning: Meaning, text: str, names: Sequence[str]) -> tuple[str, ...]:
    """Who speaks on a shared phone: a keeper's name before a colon, or a new one with a capital letter."""
    found = SPEAKER.match(text)
    if found is None or not meaning.facts:
        return ()
    label = found[1]
    known = _who(plain(label), names, meaning.language)
    if known or " " in label or not label[0].isupper():
        return known
    words = [lexicon(one).tables["sharing_words"]["no_name"] for one in ("en", "es")]
    common = any(lexicon(one).common(plain(label)) for one in ("en", "es"))
    return () if common or any(plain(label) in listed for listed in words) else (label,)


def _who(said: str, names: Sequence[str], language: Language) -> tuple[str, ...]:
    """The keepers named in some words, in order; the writer too, where they name themselves."""
    places = [
        (found.start(), name)
        for name in names
        if (found := re.search(rf"\b(?:{'|'.join(_forms(name))})\b", said)) is not None
    ]
    if not places:
        return ()
    by = [name for _, name in sorted(places)]
    words = lexicon(language).tables["sharing_words"]["also_me"]
    return (*by, OWN) if re.search(rf"\b(?:{'|'.join(words)})\b", said) else tuple(by)


def _forms(name: str) -> list[str]:
    """A name as it may be written: whole, or a part of it."""
    parts = plain(name).split()
    return [re.escape(form) for form in dict.fromkeys((" ".join(parts), *parts)) if len(form) > 1]


def _tool(said: str, language: Language) -> str | None:
    for one in (language, _other(language)):
        for tool, words in lexicon(one).tables["sharing_words"]["tool"].items():
            if re.search(rf"\b(?:{'|'.join(words)})\b", said):
                return str(tool)
    return None


def _amount(words: str) -> float:
    """A number in digits or words; of a percentage, the fraction."""
    digits = re.search(r"\d+", words)
    if digits is not None:
        return float(digits[0]) / (100 if "%" in words or "cent" in words or "ciento" in words else 1)
    return next(amount for word, amount in AMOUNTS.items() if word in words)


def _find(kind: str, said: str, language: Language, names: tuple[str, ...]) -> re.Match[str] | None:
    """The first pattern of a kind that fits, the writer's language first."""
    for one in (language, _other(language)):
        for pattern in _patterns(one, kind, names):
            if (found := pattern.search(said)) is not None:
                return found
    return None


def _other(language: Language) -> Language:
    return "es" if language == "en" else "en"


@lru_cache(maxsize=512)
def _patterns(language: Language, kind: str, names: tuple[str, ...]) -> tuple[re.Pattern[str], ...]:
    return tuple(re.compile(text) for text in _filled(language, kind, names))


def _filled(language: Language, kind: str, names: tuple[str, ...]) -> Iterator[str]:
    tables = lexicon(language).tables
    words = tables["sharing_words"]
    forms = [form for name in names for form in _forms(name)]
    tools = [word for listed in words["tool"].values() for word in listed]
    for text in tables["sharing"].get(kind, ()):
        if "NAME" in text and not forms and "|NAME" not in text and "NAME|" not in text:
            continue
        yield (
            text.replace("NAME", f"(?:{'|'.join(forms) or '(?!)'})")
            .replace("TOOL", f"(?:{'|'.join(tools)})")
            .replace("WORK", "|".join(words["work"]))
        )
