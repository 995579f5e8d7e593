"""SMS text: its two alphabets, and how long a text is in parts.

Source: 3GPP TS 23.038 clause 6.2.1 (alphabet), 3GPP TS 23.040 clause 9.2.3.24 (concatenation): a part
carries 140 octets, of which the header of a longer text takes 6.
"""

import unicodedata
from typing import Literal

BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The GSM 7-bit default alphabet in the order of its codes, without the escape (code 27)."""

EXTENSION = "\f^{}\\[~]|€"
"""Characters that an escape leads in, so that each takes two septets."""

Alphabet = Literal["gsm", "ucs2"]

SINGLE: dict[Alphabet, int] = {"gsm": 160, "ucs2": 70}
"""Septets or 16-bit units in a text of one part."""

JOINED: dict[Alphabet, int] = {"gsm": 153, "ucs2": 67}
"""Septets or 16-bit units in each part of a longer text."""

_COST = dict.fromkeys(BASIC, 1) | dict.fromkeys(EXTENSION, 2)
_PLAIN = {
    "’": "'", "‘": "'", "“": '"', "”": '"', "«": '"', "»": '"', "–": "-", "—": "-", "−": "-",
    "•": "-", "·": "-", "×": "x", "⁄": "/", "°": " ", "`": "'", "\t": " ",
}  # fmt: skip


def alphabet(text: str) -> Alphabet:
    """The alphabet that a text needs: one character outside the default alphabet makes all of it UCS-2."""
    return "gsm" if all(char in _COST for char in text) else "ucs2"


def fold(text: str) -> str:
    """The text with each character outside the default alphabet replaced by a plain one where there is one.

    Typographic signs become ASCII and accents go (é ñ ü ¿ ¡ are in the alphabet and stay). What has no plain
    form, such as an emoji, is left as it is.
    """
    return "".join(char if char in _COST else _plain(char) for char in text)


def parts(text: str) -> tuple[str, ...]:
    """The text cut into the parts that carry it, none of which splits a character."""
    kind = alphabet(text)
    if _length(text, kind) <= SINGLE[kind]:
        return (text,)
    cut, part, used = [], "", 0
    for char in text:
        cost = _length(char, kind)
        if used + cost > JOINED[kind]:
            cut.append(part)
            part, used = "", 0
        part += char
        used += cost
    return (*cut, part)


def _length(text: str, kind: Alphabet) -> int:
    if kind == "gsm":
        return sum(_COST[char] for char in text)
    return len(text) + sum(char > "\uffff" for char in text)


def _plain(char: str) -> str:
    if char in _PLAIN:
        return _PLAIN[char]
    spread = unicodedata.normalize("NFKD", char)
    plain = "".join(_PLAIN.get(part, part) for part in spread if not unicodedata.combining(part))
    return plain if plain and all(part in _COST for part in plain) else char
