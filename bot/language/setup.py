"""What a message says of how the pile is built: size, bin, filled how, sun, thermometer."""

from typing import Any

from bot.language.items import Item
from bot.language.lexicon import Lexicon
from bot.language.meaning import Setup
from bot.language.quantities import METRES, Amount

WIDE = ("wide", "across", "square", "ancho", "ancha", "largo", "diametro")
_SAYS: dict[str, dict[str, Any]] = {
    "bin": {"bin": True},
    "no_bin": {"bin": False},
    "batch": {"fed": False},
    "fed": {"fed": True},
    "covered": {"covered": True},
    "sun": {"shade": "sun"},
    "shade": {"shade": "shade"},
    "part": {"shade": "part"},
    "thermometer": {"thermometer": True},
    "no_thermometer": {"thermometer": False},
    "has_pile": {"has_pile": True},
    "no_pile": {"has_pile": False},
}


def find_setup(items: list[Item], lex: Lexicon) -> Setup | None:
    """What is said of the pile's make, None where nothing is. A later row of the table above wins."""
    said: dict[str, Any] = {}
    hits = {name for name, _ in lex.searches(items, "setup.")}
    for name, values in _SAYS.items():
        if name in hits:
            said |= values
    said |= _box(items, lex, in_a_bin=bool(said.get("bin")))
    said |= _volume(items)
    return Setup(**said) if said else None


def _box(items: list[Item], lex: Lexicon, *, in_a_bin: bool) -> dict[str, float]:
    """ "3x3x3", "3 by 3 ft and 4 high", "4 feet tall and wide", "a metre each way", "a 3 ft bin"."""
    by = [i for i, x in enumerate(items) if x.has("x", "by", "por", "*") and 0 < i < len(items) - 1]
    sides = [i for i in sorted({i + d for i in by for d in (-1, 1)}) if _side(items[i]) is not None]
    if len(sides) >= 2:
        unit = _unit_of(items, lex)
        lengths = [_metres(items[i], unit) for i in sides[:3]]
        high = next(
            (i for i, x in enumerate(items) if _side(x) is not None and i not in sides and _tall(items, i)),
            None,
        )
        if len(lengths) == 2 and high is not None:
            lengths.append(_metres(items[high], unit))
        names = ("length_m", "width_m", "height_m")
        return dict(zip(names, lengths, strict=False))
    lone = [i for i, x in enumerate(items) if x.has("<length>")]
    if len(lone) == 1:
        every = in_a_bin or any(x.has("<each_way>") for x in items)
        length = float(items[lone[0]].value)
        if every:
            return {"length_m": length, "width_m": length, "height_m": length}
    wide = [i for i in lone if any(x.has(*WIDE) for x in items[i + 1 : i + 4])]
    if wide:
        across = float(items[wide[0]].value)
        return {"length_m": across, "width_m": across}
    return {}


def _side(item: Item) -> float | None:
    if item.has("<length>"):
        return float(item.value)
    return item.number if item.number is not None and 0 < item.number <= 400 else None


def _tall(items: list[Item], at: int) -> bool:
    return any(x.has("<tall>") for x in items[max(0, at - 3) : at + 3])


def _unit_of(items: list[Item], lex: Lexicon) -> float:
    """Metres in the unit that the numbers share: as written, else feet in English, metres in Spanish."""
    for item in items:
        for word in item.key.split():
            kind = lex.unit(word)
            if kind in METRES and (item.has("<length>") or word not in ("in", "'", "m")):
                return METRES[kind]
    return METRES["foot"] if lex.language == "en" else METRES["metre"]


def _metres(item: Item, unit: float) -> float:
    if item.has("<length>"):
        return float(item.value)
    number = item.number or 0.0
    return number / 100 if unit == 1.0 and number > 10 else number * unit


def _volume(items: list[Item]) -> dict[str, float]:
    for item in items:
        amount = item.value
        if isinstance(amount, Amount) and amount.litres and amount.litres >= 100:
            return {"volume_m3": amount.litres / 1000}
    return {}
