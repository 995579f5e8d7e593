"""Texts of no sense, to break the reader with, and what no such text may give: a record that was not said."""

import json
import random
import re
from pathlib import Path
from typing import Any

from bot.language.items import plain
from bot.language.lexicon import lexicon
from bot.language.meaning import Meaning

BANK = Path(__file__).parent / "bank"
LONGEST = 10_000
SIGNS = "abcdefgh 0123456789.,!?'-°/:#%&+()"
MARKUP = [
    "<b>", "<script>alert(1)</script>", "&nbsp;", "'; DROP TABLE piles;--", "\x00", "\u202e",
    "\u200d", "\ufeff", "%s%s%n", "{}", "${x}", "../../", "=1+1", "\\", "n't ", "'s ", "½", "¿", "º", "🔥",
    "👍🏽", "e\u0301", "ﬁ",
]  # fmt: skip


def texts(name: str) -> list[str]:
    """The messages of a bank."""
    lines = (BANK / name).read_text(encoding="utf-8").splitlines()
    return [json.loads(line)["text"] for line in lines]


SAID = [*texts("en_tuned.jsonl"), *texts("es_tuned.jsonl")]
WORDS = sorted({word for text in SAID for word in text.split()})


def senseless(seed: int) -> str:
    """One text: shuffled words, strange letters, one thing over and over, messages cut, glued, reversed."""
    chance = random.Random(seed)
    size = chance.choice([3, 30, 300, 2000])
    ways = [
        lambda: " ".join(chance.choice(WORDS) for _ in range(size)),
        lambda: "".join(chr(chance.randrange(0x3000)) for _ in range(size)),
        lambda: (
            "".join(chr(chance.randrange(0x20, 0x1FFFF)) for _ in range(size))
            .encode(errors="ignore")
            .decode()
        ),
        lambda: chance.choice([*WORDS, *MARKUP, "1 ", "1/2 ", "stop ", "one ", ", "]) * size,
        lambda: "".join(chance.choice(SIGNS) for _ in range(size)),
        lambda: " ".join(chance.choice([*MARKUP, *WORDS]) for _ in range(size)),
        lambda: " ".join(str(chance.randrange(10 ** chance.randrange(1, 12))) for _ in range(size)),
        lambda: " ".join(chance.choice(SAID) for _ in range(1 + size // 30))[::-1],
        lambda: "".join(chance.choice(SAID)[: chance.randrange(1, 40)] for _ in range(1 + size // 10)),
    ]
    return chance.choice(ways)()[:LONGEST]


def _numbers() -> set[str]:
    """Words that say how many, in either language."""
    words: set[str] = set()
    for language in ("en", "es"):
        table = lexicon(language).tables
        for listed in (*table["numbers"].values(), *table["heard"].values(), *table["heard"]):
            for phrase in [listed] if isinstance(listed, str) else listed:
                words |= set(plain(phrase).split())
    return words


NUMBER_WORDS = _numbers()


def unsaid(text: str, meaning: Meaning) -> list[Any]:
    """The facts that the text cannot have said: numbers without a number in it, anything without a word."""
    read = plain(text)
    words = set(re.findall(r"[^\W\d_]+", read))
    numbered = any(c.isnumeric() for c in read) or bool(words & NUMBER_WORDS)
    known = any(lexicon(one).known(word) for one in ("en", "es") for word in words)
    return [
        fact
        for fact in meaning.facts
        if (
            not numbered
            and (fact.record.core_c, fact.record.litres, fact.record.height_m) != (None, None, None)
        )
        or not (numbered or known or "🔥" in text)
    ]
