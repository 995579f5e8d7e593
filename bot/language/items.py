"""A message cut into items: words, numbers and marks, each with what later readers find out about it."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

LONGEST_TEXT = 1600  # ten SMS parts; what lies beyond is not read
MOST_ITEMS = 120

_TOKEN = re.compile(
    r"(?P<iso>[0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"|(?P<clock>[0-9]{1,2}:[0-9]{2})"
    r"|(?P<slash>[0-9]{1,2}/[0-9]{1,2}(?:/[0-9]{2,4})?)"
    r"|(?P<number>[0-9]{1,3}(?:,[0-9]{3}){1,3}(?![0-9])|[0-9]{1,9}(?:[.,][0-9]{1,2}(?![0-9]))?)"
    r"|(?P<word>w/o?(?![^\W\d_])|w/(?=[^\W\d_])|[^\W\d_]+(?:'[^\W\d_]+)*)"
    r"|(?P<mark>\.{2,}|[^\w\s]|\n|_)"
)
_ENDINGS = {"n't": " not", "'ll": " will", "'ve": " have", "'re": " are", "'m": " am", "'s": " s", "'d": " d"}
_SHORT_NOT = {"ca": "can", "wo": "will", "sha": "shall", "ai": "is"}
_ONE_SIGN = str.maketrans({"’": "'", "‘": "'", "´": "'", "`": "'", "“": '"', "”": '"', "–": "-", "—": "-",
                           "º": "°", "˚": "°", "⁄": "/", "×": "x", "…": "."})  # fmt: skip
_PICTURES = {"So", "Sk", "Mn", "Cf"}  # emoji and what joins or tints them
_ABBREVIATED = re.compile(
    r"\b\d+\s?(?:in|ft|gal|gals|deg|degs|qt|qts|pt|lb|lbs|yd|yds|hr|hrs|min|mins|cu)$", re.IGNORECASE
)
_GOES_ON = re.compile(r" [a-z0-9]")
_SENTENCE_ENDS = {".", "!", "?", "\n"}
_RULES = {"/", "|", "•", "*"}  # between facts where a space stands before them
_BREAKS = {"...", ",", ";", ":", "-", "(", ")"}


@dataclass(slots=True)
class Item:
    """A word, phrase, number or mark of the message.

    key      without accents and capitals; raw keeps accents; written keeps all
    labels   the key, and each <class> it belongs to
    number   its value where it is a number; value: what a date, amount, pile name... came to
    glued    no space before it
    heard    a number made out of what dictation wrote
    sentence, segment   which one of the message it stands in; a segment is about a clause
    scope    how its clause is meant: "not", "plan", "hypo", "ask", "weather"
    """

    key: str
    raw: str
    written: str
    labels: set[str]
    glued: bool = False
    number: float | None = None
    value: Any = None
    heard: bool = False
    sentence: int = 0
    segment: int = 0
    scope: set[str] = field(default_factory=set)

    def has(self, *labels: str) -> bool:
        """Whether it carries any of the labels."""
        return not self.labels.isdisjoint(labels)


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """Lower case without accents: "Volteé" -> "voltee"."""
    if text.isascii():
        return text.lower()
    return "".join(c for c in unicodedata.normalize("NFD", text.lower()) if not unicodedata.combining(c))


def clean(text: str) -> str:
    """One form for quotes, dashes, fractions and wide letters; cut to what is read."""
    signs = re.sub(r"(?<=\d)(?=[¼½¾⅓⅔])", " ", text[:LONGEST_TEXT]).translate(_ONE_SIGN)  # "60ºC"
    signs = re.sub(r"([aeiouyáéíóú])\1{2,}", r"\1", signs, flags=re.IGNORECASE)  # "diaaas"
    signs = re.sub(r"(?<=\d)'s\b", " s", signs)  # "pile 2's lid", no length in feet
    folded = unicodedata.normalize("NFKC", signs)
    return folded.translate(_ONE_SIGN)[:LONGEST_TEXT]


def cut(text: str) -> list[Item]:
    """Cut a cleaned text into items that carry no label yet but their own key."""
    items: list[Item] = []
    end = 0
    for found in _TOKEN.finditer(text):
        kind, written = found.lastgroup or "", found.group()
        glued = found.start() == end and bool(items)
        end = found.end()
        if kind == "word":
            items.extend(_words(written, glued))
        elif (
            written == "."
            and glued
            and _ABBREVIATED.search(text[: found.start()])
            and _GOES_ON.match(text, end)
        ):
            continue  # "26 in. tall"
        else:
            items.append(_sign(kind, written, glued))
        if len(items) >= MOST_ITEMS:
            break
    return items


def _words(written: str, glued: bool) -> Iterator[Item]:
    raw = written.lower()
    for ending, full in _ENDINGS.items():
        if raw.endswith(ending) and len(raw) > len(ending):
            stem = raw[: -len(ending)]
            raw = (_SHORT_NOT.get(stem, stem) if ending == "n't" else stem) + full
            break
    for word in raw.replace("'", "").split():
        yield Item(plain(word), word, written, {plain(word)}, glued)


def _sign(kind: str, written: str, glued: bool) -> Item:
    if kind == "number":
        value = float(
            written.replace(",", "") if re.search(r",\d{3}", written) else written.replace(",", ".")
        )
        return Item(written, written, written, {written, "<number>"}, glued, number=value)
    if kind == "mark":
        key = "..." if written.startswith("..") else written
        labels = {key}
        if key in _SENTENCE_ENDS:
            labels.add("<end>")
        elif key in _BREAKS or (key in _RULES and not glued):
            labels.add("<break>")
        elif unicodedata.category(key[0]) in _PICTURES:
            labels |= {"<filler>", "<emoji>"}
        return Item(key, key, written, labels, glued)
    return Item(written, written, written, {written, f"<{kind}>"}, glued)
