"""The forms of a verb or noun, so that the word lists name each only once.

A verb is labelled by form: `done` (past; in English the participle as well), `part` (Spanish participle),
`was` (imperfect), `now` (present), `base` (infinitive),
`ing`, `imp` (imperative and subjunctive), `fut` (future and conditional).
"""

import re
from collections.abc import Iterable, Iterator

from bot.language.meaning import Language

_VOWELS = "aeiou"
_CLITICS = [
    "me",
    "te",
    "se",
    "le",
    "les",
    "lo",
    "la",
    "los",
    "las",
    "nos",
    "melo",
    "mela",
    "melos",
    "selo",
    "sela",
    "selos",
    "selas",
    "noslo",
    "nosla",
    "telo",
    "tela",
]
_ENDINGS = {
    "ar": {
        "done": "é ó amos aron aste",
        "part": "ado ada ados adas",
        "was": "aba aban ábamos abas",
        "now": "o a as an amos",
        "imp": "e es en emos",
        "fut": "aré ará aremos arán arás aría aríamos arían",
        "ing": "ando",
    },
    "er": {
        "done": "í ió imos ieron iste",
        "part": "ido ida idos idas",
        "was": "ía ían íamos ías",
        "now": "o e es en emos",
        "imp": "a as an amos",
        "fut": "eré erá eremos erán erás ería eríamos erían",
        "ing": "iendo",
    },
    "ir": {
        "done": "í ió imos ieron iste",
        "part": "ido ida idos idas",
        "was": "ía ían íamos ías",
        "now": "o e es en imos",
        "imp": "a as an amos",
        "fut": "iré irá iremos irán irás iría iríamos irían",
        "ing": "iendo",
    },
}
_UNSTRESSED = str.maketrans("áéíóú", "aeiou")  # limón, limones
_SOFTENED = {"c": "qu", "g": "gu", "z": "c"}  # sacar, saqué; regar, regué; empezar, empecé


def forms(verb: str, language: Language) -> Iterator[tuple[str, str]]:
    """Each (form, written) of a verb as the word lists give it.

    English: "turn", or "dig dug digging" (base, past, optional participle, -ing) where it is irregular.
    Spanish: "voltear"; "regar rieg" with its second stem; "poner done=puse,puso now=pongo" where irregular.
    """
    if language == "en":
        yield from _english(verb.split())
    else:
        yield from _spanish(verb.split())


def _english(parts: list[str]) -> Iterator[tuple[str, str]]:
    base = parts[0]
    yield "base", base
    yield "now", base + "es" if base.endswith(("s", "sh", "ch", "x", "z")) else _y(base, "s")
    if len(parts) > 1:
        yield from (("done", past) for past in parts[1:-1])
        yield "ing", parts[-1]
        return
    doubled = base + base[-1] if _doubles(base) else base
    yield "done", base + "d" if base.endswith("e") else _y(doubled, "ed")
    yield "ing", (base[:-1] if base.endswith("e") else doubled) + "ing"


def _y(word: str, ending: str) -> str:
    if word.endswith("y") and word[-2] not in _VOWELS:
        return word[:-1] + ("ies" if ending == "s" else "i" + ending)
    return word + ending


def _doubles(word: str) -> bool:
    """Short words of consonant, vowel, consonant: flip, flipped."""
    return (
        len(word) in (3, 4)
        and word[-1] not in _VOWELS + "wxy"
        and word[-2] in _VOWELS
        and word[-3] not in _VOWELS
    )


def _spanish(parts: list[str]) -> Iterator[tuple[str, str]]:
    infinitive = parts[0]
    given = dict(part.split("=") for part in parts[1:] if "=" in part)
    second = next((part for part in parts[1:] if "=" not in part), None)
    stem, endings = infinitive[:-2], _ENDINGS[infinitive[-2:]]
    made = {form: list(_with_endings(stem, ends, infinitive)) for form, ends in endings.items()}
    if second:
        made["now"] += [second + e for e in endings["now"].split()]
        made["imp"] += list(_with_endings(second, endings["imp"], infinitive))
    for form, spelled in given.items():
        made[form] = spelled.split(",")
    yield from (("base", infinitive + clitic) for clitic in ["", *_CLITICS])
    for form, words in made.items():
        yield from ((form, word) for word in words)
    commands = made["imp"] + [w for w in made["now"] if w.endswith(("a", "e"))]
    yield from (("imp", word + clitic) for word in commands for clitic in _CLITICS)
    yield from (("ing", word + clitic) for word in made["ing"] for clitic in _CLITICS)


def _with_endings(stem: str, endings: str, infinitive: str) -> Iterator[str]:
    for ending in endings.split():
        soft = infinitive.endswith("ar") and ending[0] in "eé" and stem[-1] in _SOFTENED
        yield (stem[:-1] + _SOFTENED[stem[-1]] if soft else stem) + ending


def numbers(names: Iterable[str], language: Language) -> Iterator[str]:
    """Each name, and its last (English) or first (Spanish) word in the other number as well.

    A Spanish "X de Y" also comes with an article and in the plural: "cáscara del limón", "de los limones".
    """
    for name in names:
        for linked in _linked(name) if language == "es" else [name]:
            yield linked
            words = linked.split()
            at = -1 if language == "en" else 0
            other = _other_number(words[at], language)
            if other != words[at]:
                words[at] = other
                yield " ".join(words)


def _linked(name: str) -> Iterator[str]:
    yield name
    head, de, rest = name.partition(" de ")
    if de and " " not in rest:
        one, many = sorted((rest, _other_number(rest, "es")), key=len)
        yield from (f"{head} {link} {one}" for link in ("de", "del", "de la", "de mi"))
        yield from (f"{head} {link} {many}" for link in ("de", "de los", "de las", "de mis"))


def _other_number(word: str, language: Language) -> str:
    if len(word) < 3 or not word.isalpha():
        return word
    if language == "es":
        if word.endswith(("a", "e", "o", "é")):
            return word + "s"
        if word.endswith(("n", "r", "l", "d", "j")):
            return word.translate(_UNSTRESSED) + "es"
        if word.endswith(("nes", "res", "les")):
            return word[:-2]
        return word[:-1] if word.endswith(("as", "es", "os")) else word
    if word in ("leaf", "half"):
        return word[:-1] + "ves"
    if word.endswith("ies"):
        return word[:-3] + "y"
    if word.endswith(("ss", "us")):
        return word
    if word.endswith("s"):
        return word[:-1]
    return word + "es" if word.endswith(("sh", "ch", "x", "z")) else _y(word, "s")


_ADJECTIVE = re.compile(r"(?<=[^\W\d_])(ad|id|ud|ec|os|ísim|it|bi|úmed|elt|act|edi|tost)a\b")


def inflected(phrases: Iterable[str], concept: str) -> Iterator[str]:
    """Each Spanish phrase of a concept in its other genders and numbers; of a smell, "a puro pescado" too."""
    for phrase in phrases:
        yield phrase
        if concept == "smell" and phrase.startswith("a "):
            yield from (f"a {pure} {phrase[2:]}" for pure in ("puro", "pura", "pinche"))
        if concept in ("moisture", "heat", "texture"):
            yield from {_ADJECTIVE.sub(rf"\1{ending}", phrase) for ending in ("o", "as", "os")} - {phrase}


_SMALL = re.compile(r"(?:(?:e?c)?it|ill)([oa])(s?)$")
_HARDENED = {"qu": "c", "gu": "g", "c": "z"}  # barquito, barco; hormiguita, hormiga; pedacito, pedazo


def without_diminutive(word: str) -> Iterator[str]:
    """What a Spanish diminutive may be one of, without accents: "hojitas": "hojas", "florecita": "flor"."""
    found = _SMALL.search(word)
    if not found or found.start() < 2:
        return
    stem, (ending, plural) = word[: found.start()], found.groups()
    hard = next((stem[: -len(soft)] + full for soft, full in _HARDENED.items() if stem.endswith(soft)), stem)
    for root in (hard, stem):
        yield from (root + last + plural for last in (ending, "o" if ending == "a" else "a", "e"))
        yield root + ("es" if plural else "")
