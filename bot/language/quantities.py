"""Numbers and what they count: fractions, amounts [litres], lengths [m], temperatures [°C].

Each finder folds the items it has understood into one item with a label and a value:
<number>; <amount> with `Amount`; <length> in metres; <temperature> with `Degrees`.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon, lexicon
from bot.language.meaning import Language, Units

# NIST Handbook 44 (2024), appendix C: US customary measures
LITRES = {
    "litre": 1.0,
    "gallon": 3.785411784,
    "quart": 0.946352946,
    "pint": 0.473176473,
    "cup": 0.2365882365,
    "millilitre": 0.001,
    "cubic_foot": 28.316846592,
    "cubic_yard": 764.554857984,
}
METRES = {"metre": 1.0, "centimetre": 0.01, "foot": 0.3048, "inch": 0.0254, "yard_long": 0.9144}
HOTTEST_C, COLDEST_C = 100.0, -40.0  # outside it is a mistake and asked about

VESSELS = {"vessel", "bucket"}


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of something: litres where that was said, else None; `count` of the named vessel.

    buckets   the count, where the vessel is a bucket of no stated size
    """

    litres: float | None
    count: float | None = None
    buckets: float | None = None

    def of(self, count: float) -> "Amount":
        """So many of the same measure."""
        litres = None if self.litres is None or not self.count else self.litres / self.count * count
        return Amount(litres, count, None if self.buckets is None else count)


@dataclass(frozen=True, slots=True)
class Degrees:
    """A reading. `unit` is what was written, None where the person's own unit stands in."""

    celsius: float
    written: float
    unit: Units | None
    heard: bool = False


def celsius(value: float, unit: Units) -> float:
    """Degrees of either scale as °C."""
    return value if unit == "c" else (value - 32) / 1.8


def read_fractions(items: list[Item], lex: Lexicon) -> list[Item]:
    """ "half a", "2 1/2", "a couple of", "two and a half" as numbers, where a measure follows."""
    table, phrases, half = lex.tables["numbers"], _parts(lex.language), _halves(lex.language)
    openers = {words[0] for words, _ in phrases}
    folded: list[Item] = []
    at = 0
    while at < len(items):
        item = items[at]
        before = folded[-1] if folded else None
        if item.has("<slash>") and item.key.count("/") == 1 and _measures(items, at + 1, lex):
            above, below = map(int, item.key.split("/"))
            if below and above < below:
                whole = before.number if before is not None and before.number is not None else 0.0
                if whole:
                    folded.pop()
                folded.append(_number(item, whole + above / below))
                at += 1
                continue
        extra = next((h for h in half if [x.key for x in items[at : at + len(h)]] == h), None)
        after_half = items[at + len(extra)] if extra and at + len(extra) < len(items) else None
        measured = after_half is None or not lex.names(after_half.key)  # "122 y medio seca"
        if extra and measured and before is not None and before.number is not None:
            folded[-1] = _number(before, before.number + 0.5)
            if before.number >= 30:
                folded[-1].labels.discard("<small>")  # "58 y medio" may be a reading
            at += len(extra)
            continue
        phrase = None
        if item.raw in openers:
            phrase = next((p for p in phrases if [x.raw for x in items[at : at + len(p[0])]] == p[0]), None)
        if phrase and _measures(items, at + len(phrase[0]), lex):
            folded.append(_number(item, phrase[1]))
            at += len(phrase[0])
            continue
        if item.key in table["one"] and _measures(items, at + 1, lex):
            folded.append(_number(item, 1.0))
            at += 1
            continue
        folded.append(item)
        at += 1
    return folded


@lru_cache
def _parts(language: Language) -> list[tuple[list[str], float]]:
    """Words for a part or a few of something, the longest first."""
    table = lexicon(language).tables["numbers"]
    named = {"three_quarters": 0.75, "half": 0.5, "quarter": 0.25, "couple": 2.0, "dozen": 12.0}
    parts = [(plain(words).split(), value) for name, value in named.items() for words in table[name]]
    return sorted(parts, key=lambda entry: -len(entry[0]))


def _number(item: Item, value: float) -> Item:
    key = f"{value:g}"
    return Item(key, key, item.written, {key, "<number>", "<small>"}, item.glued, value, heard=item.heard)


def _measures(items: list[Item], at: int, lex: Lexicon) -> bool:
    """Whether a measure follows, an adjective or a number ("5-gallon") aside."""
    for step in range(3):
        if at + step >= len(items):
            return False
        item = items[at + step]
        if _unit(items, at + step, lex, {*LITRES, *METRES, *VESSELS})[0]:
            return True
        if not (item.number is not None or item.has("<size>") or item.key in ("-", "de", "of", "a")):
            return False
    return False


def _unit(items: list[Item], at: int, lex: Lexicon, kinds: set[str]) -> tuple[str | None, int]:
    """The unit at `at` (of two words or one) and where it ends."""
    for width in (2, 1):
        if at + width <= len(items):
            key = " ".join(item.key for item in items[at : at + width])
            kind = lex.unit(key)
            if kind in kinds:
                return kind, at + width
    return None, at


def read_amounts(items: list[Item], lex: Lexicon) -> list[Item]:
    """The items with volumes and lengths folded: "3 gallons", "two 5-gallon buckets", "3 ft 4 in"."""
    folded: list[Item] = []
    at = 0
    while at < len(items):
        found = (
            _amount(items, at, lex)
            or _length(items, at, lex)
            or _same_again(items, at, folded)
            or _same_length(items, at, folded)
        )
        if found is None:
            folded.append(items[at])
            at += 1
            continue
        item, at = found
        folded.append(item)
    return folded


def _same_again(items: list[Item], at: int, before: list[Item]) -> tuple[Item, int] | None:
    """ "six gallons of leaves and two of grass", "3 more yesterday": the measure is the one before."""
    count = items[at].number if items[at].key not in ("one",) else 1.0
    after = items[at + 1] if at + 1 < len(items) else None
    follows = (
        after is not None
        and after.has("of", "de", "more", "mas")
        and bool(before)
        and before[-1].has("y", "and", ",", "then", "plus", "<date>", "...")
    )
    last = next((x.value for x in reversed(before) if isinstance(x.value, Amount)), None)
    if count is None or not follows or last is None or not last.count:
        return None
    return _folded(items, at, at + 1, last.of(count)), at + 1


def _same_length(items: list[Item], at: int, before: list[Item]) -> tuple[Item, int] | None:
    """ "22 inches now, was 34 on the 1st": a bare number has the unit of the length before it."""
    number = items[at].number
    last = next((x for x in reversed(before) if x.has("<length>", "<temperature>")), None)
    after = items[at + 1] if at + 1 < len(items) else None
    if number is None or last is None or last.number is None or not last.has("<length>"):
        return None
    if any(x.has("<temperature_word>", "<tool>", "<core>") for x in before[-4:]):
        return None  # "32 inches, and the probe says 115"
    said = before[-1].has(
        "<is>", "<was>", "<now>", "<pile>", "<place>", "not", "from", "to", "at", "era", "estaba"
    )
    ends = after is None or after.has("<end>", "<break>", "<and>", "<date>", "on", "when", "<was>", "cuando")
    if not (said and ends and last.number / 4 <= number <= last.number * 4):
        return None
    metres = last.value / last.number * number
    written = items[at].written
    return Item(plain(written), written.lower(), written, {"<length>"}, number=number, value=metres), at + 1


def _amount(items: list[Item], at: int, lex: Lexicon) -> tuple[Item, int] | None:
    count = items[at].number
    if count is None:
        return _one_and_half(items, at, lex) or _some(items, at, lex)
    if count > 10_000:
        return None
    here = _past(items, at + 1, ("-", "<size>", "x", *(("de", "of") if count < 1 else ())))
    if (
        here < len(items)
        and (second := items[here].number) is not None
        and not items[here].has("<spoken_last>")
    ):
        after = _past(items, here + 1, ("-",))
        kind, end = _unit(items, after, lex, set(LITRES))
        end = _past(items, end, ("-",))
        vessel, past = _unit(items, end, lex, VESSELS)
        if kind and vessel:  # two 5-gallon buckets
            return _folded(items, at, past, Amount(count * second * LITRES[kind], count)), past
        return None
    kind, end = _unit(items, here, lex, set(LITRES))
    if kind:
        vessel, past = _unit(items, _past(items, end, ("-",)), lex, VESSELS)
        end = past if vessel else end
        half = next((h for h in _halves(lex.language) if [x.key for x in items[end : end + len(h)]] == h), [])
        end += len(half)
        return _folded(items, at, end, Amount((count + (0.5 if half else 0)) * LITRES[kind], count)), end
    vessel, end = _unit(items, here, lex, VESSELS)
    if not vessel or (
        items[here].has("can") and items[end : end + 1] and items[end].has("not", "<sub>", "<verb>")
    ):
        return None  # "113 can't read this"
    size = _past(items, end, ("of", "de", "-", "("))
    if size < len(items) and (each := items[size].number) is not None:  # dos cubetas de 19 litros
        kind, past = _unit(items, size + 1, lex, set(LITRES))
        if kind:
            return _folded(items, at, past, Amount(count * each * LITRES[kind], count)), past
    half = next((h for h in _halves(lex.language) if [x.key for x in items[end : end + len(h)]] == h), [])
    count, end = count + (0.5 if half else 0), end + len(half)  # "tres cubetas y media"
    return _folded(items, at, end, Amount(None, count, count if vessel == "bucket" else None)), end


def _one_and_half(items: list[Item], at: int, lex: Lexicon) -> tuple[Item, int] | None:
    """ "cubeta y media", "litro y medio": one is not said."""
    kind = lex.unit(items[at].key)
    half = next(
        (h for h in _halves(lex.language) if [x.key for x in items[at + 1 : at + 1 + len(h)]] == h), None
    )
    if half is None or kind not in {*LITRES, *VESSELS}:
        return None
    amount = Amount(1.5 * LITRES[kind] if kind in LITRES else None, 1.5, 1.5 if kind == "bucket" else None)
    return _folded(items, at, at + 1 + len(half), amount), at + 1 + len(half)


def _some(items: list[Item], at: int, lex: Lexicon) -> tuple[Item, int] | None:
    """ "unas cubetas de tierra": how many is not said."""
    if items[at].key not in lex.tables["numbers"]["few"]:
        return None
    vessel, end = _unit(items, at + 1, lex, VESSELS)
    return (_folded(items, at, end, Amount(None)), end) if vessel else None


@lru_cache
def _halves(language: Language) -> list[list[str]]:
    """ "and a half" as it may follow a number or its unit."""
    return [plain(w).split() for w in lexicon(language).tables["numbers"]["and_half"]]


def _past(items: list[Item], at: int, labels: tuple[str, ...]) -> int:
    while at < len(items) and items[at].has(*labels):
        at += 1
    return at


def _folded(items: list[Item], at: int, end: int, value: Amount) -> Item:
    written = " ".join(item.written for item in items[at:end])
    words = {item.key for item in items[at:end] if item.key.isalpha()} - {"can"}  # the vessel, not the verb
    labels = {"<amount>", *words}
    return Item(plain(written), written.lower(), written, labels, items[at].glued, value=value)


def _length(items: list[Item], at: int, lex: Lexicon) -> tuple[Item, int] | None:
    number = items[at].number
    if number is None and items[at].key in ("metro", "yarda") and items[at + 1 : at + 3]:
        number, at = 1.0, at - 1  # "metro y medio"
    if number is None or number > 1000:
        return None
    kind, end = _unit(items, _past(items, at + 1, ("-",)), lex, set(METRES))
    if not kind or (items[end - 1].key == "in" and not items[end - 1].glued and not _ends_length(items, end)):
        return None
    metres = number * METRES[kind]
    extra = _past(items, end, ("and", "y", "con"))
    if extra < len(items) and (more := items[extra].number) is not None:
        second, past = _unit(items, extra + 1, lex, {"inch", "centimetre"})
        if second:
            metres, end = metres + more * METRES[second], past
        elif kind == "metre" and 10 <= more <= 95 and (past == len(items) or not items[past].has("<degree>")):
            metres, end = metres + more / 100, extra + 1  # un metro veinte
    elif half := next(
        (h for h in _halves(lex.language) if [x.key for x in items[end : end + len(h)]] == h), None
    ):
        metres, end = metres + 0.5 * METRES[kind], end + len(half)
    written = " ".join(item.written for item in items[max(at, 0) : end])
    return Item(plain(written), written.lower(), written, {"<length>"}, number=number, value=metres), end


def _ends_length(items: list[Item], end: int) -> bool:
    return end >= len(items) or items[end].has("<end>", "<break>", "<and>", "<tall>", "<across>")


METRIC = frozenset({"litre", "millilitre", "metre", "centimetre", "celsius"})


def measures(items: list[Item], lex: Lexicon) -> Units | None:
    """The measures that a message is written in, those of a reading before those of a length or an amount."""
    for item in items:
        if isinstance(item.value, Degrees) and item.value.unit is not None and "weather" not in item.scope:
            return item.value.unit
    kinds = [
        kind
        for item in items
        if item.has("<length>") or isinstance(item.value, Amount)
        for word in item.key.split()
        if (kind := lex.unit(word.strip("0123456789.,"))) in {*LITRES, *METRES}
    ]
    return None if not kinds else "c" if kinds[0] in METRIC else "f"


def lone_length_m(items: list[Item]) -> float | None:
    """The one length that a message names, None where it names none or several. [m]"""
    lengths = [float(item.value) for item in items if item.has("<length>")]
    return lengths[0] if len(lengths) == 1 else None


def read_degrees(items: list[Item], lex: Lexicon, units: Units) -> list[Item]:
    """The items with numbers that carry a unit of temperature folded: "58c", "128 degrees", "60 grados"."""
    folded: list[Item] = []
    at = 0
    while at < len(items):
        number, item = items[at].number, items[at]
        if number is None:
            folded.append(item)
            at += 1
            continue
        end = at + 1
        degree, end = _unit(items, end, lex, {"degree"})
        scale, end = _unit(items, end, lex, {"fahrenheit", "celsius"})
        if not (degree or scale):
            folded.append(item)
            at += 1
            continue
        below = bool(folded) and folded[-1].key == "-" and item.glued
        if below:
            folded.pop()
        unit: Units | None = "c" if scale == "celsius" else "f" if scale else None
        folded.append(degrees_item(items[at:end], -number if below else number, unit, units))
        at = end
    return folded


def degrees_item(run: list[Item], written: float, unit: Units | None, units: Units) -> Item:
    """One <temperature> item. A bare reading above 100 cannot be Celsius and is taken as Fahrenheit."""
    scale: Units = unit or (units if written <= HOTTEST_C else "f")
    text = " ".join(item.written for item in run)
    value = Degrees(celsius(written, scale), written, unit, any(item.heard for item in run))
    return Item(plain(text), text.lower(), text, {"<temperature>"}, run[0].glued, number=written, value=value)


Doubt = Literal["impossible", "digits", "unit", "surface", "heard", "vague", "ash"]


def doubt_of(reading: Degrees, units: Units, edge: bool) -> Doubt | None:
    """Why a reading may not be what was meant, None where it is plain."""
    if not COLDEST_C <= reading.celsius <= HOTTEST_C:
        return "impossible"
    if reading.heard:
        return "heard"
    if edge:
        return "surface"
    if reading.unit is None and units == "f" and 0 <= reading.written < 33:
        return "digits"
    if reading.unit is None and units == "f" and 40 <= reading.written <= 75:
        return "unit"
    return None
