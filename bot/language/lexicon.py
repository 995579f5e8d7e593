"""The words of a language, read once from its folder.

A folder `xx/` holds TOML files; all tables of the same name are merged:

    [sounds]      letters that sound alike = how they are heard; only words not known are compared so
    [spellings]   slip or short form = what it stands for
    [verbs]       class = verbs: "turn" (regular, forms are built) or "dig dug digging" (spelled out)
    [classes]     class = words or phrases; a pattern refers to it as <class>
    [concepts]    class.value = words or phrases, such as moisture.dry
    [materials]   feedstock id = names
    [patterns]    what to look for = sequences of items (see `Pattern` in pattern.py)
"""

import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any, cast

from rapidfuzz.distance import OSA
from rapidfuzz.process import extractOne

from bot.language import conjugate
from bot.language.items import Item, cut, plain
from bot.language.meaning import Bare, Language
from bot.language.pattern import Pattern

FILES = ("materials", "patterns", "sharing", "words")
MOST_FUZZY = 40  # typos looked up in one message
TYPO_LETTERS = 5
SOUND_LETTERS = 4
LONGEST_WORD = 25
TYPO_LIKENESS = 0.8
BONES_LIKENESS = 0.7
_VOWELS = re.compile("[aeiouyw]+")
_DOUBLED = re.compile(r"(.)\1+")


@dataclass
class Lexicon:
    """All data of one language, ready for look-up."""

    language: Language
    spellings: dict[str, list[Item]] = field(default_factory=dict)
    phrases: dict[str, dict[tuple[str, ...], list[tuple[set[str], Any]]]] = field(default_factory=dict)
    widths: dict[str, list[int]] = field(default_factory=dict)
    words: dict[str, set[str]] = field(default_factory=dict)
    forms: dict[str, set[str]] = field(default_factory=dict)
    vocabulary: set[str] = field(default_factory=set)
    patterns: dict[str, list[Pattern]] = field(default_factory=dict)
    index: dict[str, dict[str, list[tuple[int, str, Pattern]]]] = field(default_factory=dict)
    bare: dict[str, Bare] = field(default_factory=dict)
    tables: dict[str, dict[str, Any]] = field(default_factory=dict)
    by_length: dict[tuple[str, int], list[str]] = field(default_factory=dict)
    by_sound: dict[str, str] = field(default_factory=dict)
    by_bones: dict[str, list[str]] = field(default_factory=dict)
    sounds: list[tuple[re.Pattern[str], str]] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    everyday: set[str] = field(default_factory=set)
    stop_words: set[str] = field(default_factory=set)
    proper: set[str] = field(default_factory=set)

    def label(self, item: Item) -> None:
        """Add the classes of a single word. A form written with its accent is that form only."""
        if item.raw in self.tables["accented"]:  # "sí" is another word than "si"
            item.key = self.tables["accented"][item.raw]
            item.labels = {item.key}
        if item.raw in self.tables["common"].get("asking", ()):
            item.labels.add("<asks>")
        item.labels |= self.words.get(item.key, set())
        item.labels |= self.forms.get(item.raw, self.forms.get(item.key, set()))

    def fold(self, items: list[Item], strangers: bool = False) -> list[Item]:
        """Label phrases; those of a concept or material become one item, the longest first.

        With `strangers` only words that carry no class yet are looked at (words of the other language).
        """
        folded: list[Item] = []
        at = 0
        while at < len(items):
            width, entries = self._longest(items, at, strangers)
            if not entries:
                folded.append(items[at])
                at += 1
                continue
            for labels, value in entries:
                for item in items[at : at + width]:
                    item.labels |= labels
                    item.value = value if "<material>" in labels else item.value
            if width > 1 and any(value is not None for _, value in entries):
                folded.append(_one(items[at : at + width]))
                at += width
            else:
                folded.append(items[at])
                at += 1
        return folded

    def _longest(self, items: list[Item], at: int, strangers: bool) -> tuple[int, list[tuple[set[str], Any]]]:
        """The longest phrase that begins at `at`: how many words, and the labels and value of each entry."""
        by_words = self.phrases.get(items[at].key, {})
        for width in self.widths.get(items[at].key, ()):
            run = items[at : at + width]
            entries = by_words.get(tuple(item.key for item in run))
            if entries and not (
                strangers and not (any(item.has("<foreign>") for item in run) and _bare(run))
            ):
                return width, entries
        return 0, []

    def unit(self, key: str) -> str | None:
        """The kind of unit that a word names: "gal" is "gallon"."""
        return self.units.get(key)

    def place_of(self, words: Sequence[str]) -> int | None:
        """Which of the answers offered is named by its place and nothing else: "the second one"."""
        told = [word for word in words if word not in self.tables["places"]["beside"]]
        places = [place for place, names in self.tables["places"].items() if told and told[0] in names]
        return int(places[0]) if len(told) == 1 and places else None

    def joins(self, word: str) -> bool:
        """Whether what stands before the word goes on after it: "and", "but"."""
        return not self.words.get(plain(word), set()).isdisjoint(("<and>", "<but>"))

    def asks(self, word: str) -> bool:
        """Whether the word opens a question: "can", "should"."""
        return "<opener>" in self.words.get(plain(word), set())

    def common(self, key: str) -> bool:
        """Whether the word is one of those that tell the language."""
        return key in self.everyday

    def names(self, key: str) -> bool:
        """Whether the word alone is a concept or a material."""
        return (key,) in self.phrases.get(key, {})

    def known(self, key: str) -> bool:
        """Whether the word occurs anywhere in the data of the language."""
        return key in self.vocabulary

    def sound(self, key: str) -> str:
        """The word as it is heard, where several spellings sound the same: "bolteava" as "volteaba"."""
        for letters, heard in self.sounds:
            key = letters.sub(heard, key)
        return key

    def heard(self, key: str) -> str | None:
        """The known word of this language that sounds like an unknown one."""
        return self.by_sound.get(self.sound(key)) if self.sounds and len(key) >= SOUND_LETTERS else None

    def mended(self, key: str) -> str | None:
        """The known word that sounds like an unknown one, or that it is a diminutive of."""
        if not self.sounds or not SOUND_LETTERS <= len(key) <= LONGEST_WORD:
            return None
        small = (word for word in conjugate.without_diminutive(key) if self.known(word))
        return self.heard(key) or next(small, None)

    def nearest(self, key: str) -> str | None:
        """The known word that a longer unknown one is most likely a typo of.

        English: first one with the same consonants ("covrd", "soking"), since the vowels are what is missed.
        """
        alike = self.by_bones.get(bones(key), ()) if not self.sounds else ()
        found = extractOne(key, alike, scorer=OSA.normalized_similarity, score_cutoff=BONES_LIKENESS)
        if found or len(key) < TYPO_LETTERS:
            return found[0] if found else None
        near = [w for n in (-1, 0, 1) for w in self.by_length.get((key[0], len(key) + n), ())]
        found = extractOne(key, near, scorer=OSA.normalized_similarity, score_cutoff=TYPO_LIKENESS)
        return found[0] if found else None

    def stop_word_meant(self, key: str) -> str | None:
        """The word of an opt-out that an unknown one is a typo of: "texitng" is "texting"."""
        words = self.tables["stop"].get("words", ())
        found = extractOne(key, words, scorer=OSA.normalized_similarity, score_cutoff=TYPO_LIKENESS)
        return found[0] if found else None

    def searches(self, items: Sequence[Item], prefix: str) -> Iterator[tuple[str, tuple[int, int]]]:
        """Each match of each pattern whose name starts with `prefix`, as (name, (first, past-last))."""
        by_label = self.index.get(prefix.split(".")[0], {})
        present: set[str] = set().union(*[item.labels for item in items])
        likely = {
            entry
            for label in present & by_label.keys()
            for entry in by_label[label]
            if entry[1].startswith(prefix) and entry[2].may_match(present)
        }
        for _, name, pattern in sorted(likely, key=lambda entry: entry[0]):
            for found in pattern.find_all(items):
                yield name[len(prefix) :], found


def bones(word: str) -> str:
    """The first letter and the consonants after it, a doubled one once: "covered" is "cvrd"."""
    if word[:2] in ("kn", "gn", "wr"):
        word = word[1:]  # "kneedles"
    return word[0] + _DOUBLED.sub(r"\1", _VOWELS.sub("", word[1:]))


def _bare(run: list[Item]) -> bool:
    """Whether no word of the run means something in the language of the message."""
    return all(
        item.has("<foreign>") or not any(label.startswith("<") for label in item.labels) for item in run
    )


def _one(run: list[Item]) -> Item:
    """A phrase as one item, with the labels that all its words were given."""
    labels = set.intersection(*(item.labels for item in run)) | {" ".join(item.key for item in run)}
    labels |= {"<now>"} & run[0].labels  # "ya no huele"
    first = run[0]
    return Item(
        " ".join(item.key for item in run),
        " ".join(item.raw for item in run),
        " ".join(item.written for item in run),
        labels,
        first.glued,
        value=first.value,
    )


@lru_cache
def lexicon(language: Language) -> Lexicon:
    """Read the folder of a language once."""
    tables: dict[str, dict[str, Any]] = {}
    for name in FILES:
        file = files("bot.language").joinpath(language, f"{name}.toml")
        for table, entries in tomllib.loads(file.read_text(encoding="utf-8")).items():
            tables.setdefault(table, {}).update(entries)
    made = Lexicon(language, tables=tables)
    for slip, full in tables["spellings"].items():
        made.spellings[plain(slip)] = cut(full)
        made.vocabulary.update(item.key for item in made.spellings[plain(slip)])
    for name, verbs in tables["verbs"].items():
        _add_verbs(made, name, verbs)
    _doubt_unaccented(made)
    for name, words in tables["classes"].items():
        _add_phrases(made, words, {f"<{name}>"}, None)
    for concept, values in tables["concepts"].items():
        for value, words in values.items():
            said = conjugate.inflected(words, concept) if language == "es" else words
            _add_phrases(made, said, {"<concept>", f"<{concept}>", f"<{concept}.{value}>"}, value)
    for material, names in tables["materials"].items():
        _add_phrases(made, conjugate.numbers(names, language), {"<material>", f"<{material}>"}, material)
    made.units = {plain(word): kind for kind, words in tables["units"].items() for word in words}
    for table in ("units", "numbers"):
        for words in tables[table].values():
            for word in words if isinstance(words, list) else [words]:
                made.vocabulary.update(plain(str(word)).split())
    for answer, phrases in tables["bare"].items():
        for phrase in phrases:
            words = [i.key for item in cut(phrase) for i in made.spellings.get(item.key, [item])]
            made.bare.setdefault(" ".join(words), cast(Bare, answer))
            made.vocabulary.update(word for word in words if word.isalpha())
    made.stop_words = {" ".join(i.key for i in cut(text)) for text in tables["stop"]["whole"]}
    made.everyday = set(plain(" ".join(tables["common"]["words"])).split())
    made.vocabulary |= made.everyday | set(plain(tables["common"].get("no_typos", "")).split())
    for words in (*tables["dates"]["weekdays"].values(), *tables["dates"]["months"]):
        made.vocabulary.update(map(plain, words))
    _index_patterns(made)
    made.proper = {plain(w) for words in tables["dates"]["weekdays"].values() for w in words}
    made.proper.update(map(plain, tables["classes"]["tongue"]))
    made.sounds = [(re.compile(letters), heard) for letters, heard in tables.get("sounds", {}).items()]
    for word in sorted(made.vocabulary, key=lambda word: (word not in made.everyday, word)):
        if made.sounds:
            made.by_sound.setdefault(made.sound(word), word)
        made.by_length.setdefault((word[0], len(word)), []).append(word)
        if len(word) >= SOUND_LETTERS:
            made.by_bones.setdefault(bones(word), []).append(word)
    for slip, full in made.spellings.items():
        if len(full) > 1 and len(slip) >= TYPO_LETTERS and slip not in made.vocabulary:
            made.by_length.setdefault((slip[0], len(slip)), []).append(slip)
    for slip, full_words in _run_together(tables["numbers"]):
        made.spellings.setdefault(slip, cut(full_words))
    return made


def _run_together(numbers: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Number words without the spaces between them, each with what it stands for: "treintaycinco"."""
    joints = numbers.get("joined_by", ())
    joined = [(joint + unit, f"{joints[0]} {unit}") for joint in joints for unit in numbers["units"]]
    yield from joined[: len(numbers["units"])]
    below = [(ten + slip, f"{ten} {full}") for ten in numbers.get("tens", ()) for slip, full in joined]
    yield from below
    for hundred in numbers.get("hundreds", ()):
        yield from ((hundred + plain(word), f"{hundred} {word}") for word in numbers["words"])
        yield from ((hundred + slip, f"{hundred} {full}") for slip, full in below)


def _index_patterns(made: Lexicon) -> None:
    """Find each pattern by the labels of its rarest element."""
    for name, texts in made.tables["patterns"].items():
        made.patterns[name] = [Pattern(plain(text)) for text in texts]
    every = [(name, pattern) for name, patterns in made.patterns.items() for pattern in patterns]
    uses = Counter(label for _, pattern in every for need in pattern.needs for label in need)
    for order, (name, pattern) in enumerate(every):
        rarest = min(pattern.needs, key=lambda need: sum(uses[label] for label in need))
        by_label = made.index.setdefault(name.split(".")[0], {})
        for label in rarest:
            by_label.setdefault(label, []).append((order, name, pattern))
        made.vocabulary.update(n for e in pattern.elements for n in e.names if n.isalpha())


def _add_verbs(made: Lexicon, name: str, verbs: Iterable[str]) -> None:
    for verb in verbs:
        for form, written in conjugate.forms(verb, made.language):
            labels = {"<verb>", f"<{name}>", f"<{name}.{form}>"}
            made.vocabulary.add(plain(written))
            if plain(written) in made.tables["common"]["no_verbs"] and written == plain(written):
                continue
            accent = {f"<{name}.accent>"} if written != plain(written) else set()
            if plain(written) not in made.tables["common"]["no_verbs"]:
                made.forms.setdefault(plain(written), set()).update(labels | accent)
            if accent:
                made.forms.setdefault(written, set()).update(labels)


def _doubt_unaccented(made: Lexicon) -> None:
    """A form that is past only by its accent ("volteó") is `maybe` past where it lacks it ("volteo")."""
    for labels in made.forms.values():
        for label in [label for label in labels if label.endswith(".done>")]:
            name = label.removesuffix(".done>")
            if {f"{name}.accent>"} <= labels and not labels.isdisjoint({f"{name}.now>", f"{name}.imp>"}):
                labels.discard(label)
                labels.add(f"{name}.maybe>")


def _add_phrases(made: Lexicon, words: Iterable[str], labels: set[str], value: Any) -> None:
    for phrase in words:
        keys = tuple(i.key for item in cut(phrase) for i in made.spellings.get(item.key, [item]))
        made.vocabulary.update(k for k in keys if k.isalpha())
        if not keys:
            continue
        if len(keys) == 1 and value is None:
            made.words.setdefault(keys[0], set()).update(labels)
        else:
            made.phrases.setdefault(keys[0], {}).setdefault(keys, []).append((labels, value))
            made.widths[keys[0]] = sorted({len(words) for words in made.phrases[keys[0]]}, reverse=True)
