"""The signs of a pile: what its records of the last days show, before any forecast.

What a keeper read or felt describes the pile for some days, until work undoes it.
"""

from collections.abc import Sequence
from datetime import date, timedelta

from shared.forecast import Forecast
from shared.materials import material
from shared.pile import MOUND_SHARE, Kind, Pile, Record

FELT = {"dry": 0.33, "bit_dry": 0.42, "right": 0.52, "bit_wet": 0.60, "soggy": 0.69}
"""Moisture by a squeeze, wet basis: middles of the trade's bands (common practice)."""
FRESH_DAYS = 5
"""So long does a squeeze, a smell or a look describe a pile."""
SQUEEZE_UNDONE: frozenset[Kind] = frozenset({"watered", "added"})
TURN_REST_DAYS = 3
"""A turned pile is left alone so long: it dips and recovers in one to two days."""


def days_ago(records: Sequence[Record], kinds: set[Kind] | frozenset[Kind], as_of: date) -> int | None:
    """Whole days since the last record of these kinds, None without one."""
    days = [record.on for record in records if record.kind in kinds]
    return (as_of - max(days)).days if days else None


def core_c(records: Sequence[Record], outlook: Forecast) -> float:
    """A reading of today or yesterday not undone by a turning, else the forecast bent to a felt warmth."""
    yesterday = outlook.as_of - timedelta(days=1)
    guess, told_c = outlook.core_c.p50, None
    bounds = {"hot": (50.0, 70.0), "warm": (25.0, 45.0), "cold": (-40.0, outlook.air_c + 6)}
    for record in records:
        if record.kind == "turned":
            told_c = None
        elif record.on < yesterday:
            continue
        elif record.inner_c is not None:
            told_c = record.inner_c
        elif record.kind == "heat_feel" and record.word in bounds:
            low, high = bounds[record.word]
            told_c = min(max(guess, low), high)
    return guess if told_c is None else told_c


def peak_c(records: Sequence[Record], outlook: Forecast) -> float:
    """Warmest of the last three weeks, read or modelled."""
    since = outlook.as_of - timedelta(days=21)
    read = [record.inner_c for record in records if record.inner_c is not None and record.on >= since]
    modelled = [day.core_c.p50 for day in outlook.days if since <= day.on <= outlook.as_of]
    return max([*read, *modelled], default=outlook.core_c.p50)


def rising(records: Sequence[Record], as_of: date) -> bool:
    """Whether the last reading, a fresh one, stands 3 °C above the one before it, with no turning between."""
    spell = [record for record in records if record.kind == "turned" or record.inner_c is not None][-2:]
    read = [record.inner_c for record in spell if record.inner_c is not None]
    return len(read) == 2 and read[1] >= read[0] + 3 and (as_of - spell[1].on).days <= FRESH_DAYS


def known_warmer(records: Sequence[Record], core_c: float) -> bool:
    """Whether a hand or a thermometer has found the core warmer than this."""
    return any(
        (record.kind == "heat_feel" and record.word == "hot")
        or (record.inner_c is not None and record.inner_c >= core_c + 3)
        for record in records
    )


def read_since_turn_c(records: Sequence[Record]) -> float | None:
    """Warmest reading since the last turning, None before a reading of the fourth day tells."""
    turned = max((record.on for record in records if record.kind == "turned"), default=None)
    if turned is None:
        return None
    since = [(r.on, r.inner_c) for r in records if r.inner_c is not None and r.on > turned]
    told_late = any((on - turned).days > TURN_REST_DAYS for on, _ in since)
    return max(inner_c for _, inner_c in since) if told_late else None


def felt_moisture(records: Sequence[Record], as_of: date) -> float | None:
    """The last fresh squeeze, unless the pile was watered or fed after it."""
    felt = None
    for record in records:
        if record.kind == "moisture" and (as_of - record.on).days <= FRESH_DAYS:
            felt = FELT.get(record.word or "")
        elif record.kind in SQUEEZE_UNDONE:
            felt = None
    return felt


def told(records: Sequence[Record], as_of: date) -> frozenset[str]:
    """Fresh smells, looks and pests, the last of each kind, and "browned" where browns went in after them.

    A turning answers all but pests; browns are asked for no more than once.
    """
    fresh: dict[Kind, str] = {}
    for record in records:
        if (as_of - record.on).days > FRESH_DAYS:
            continue
        if record.kind in ("smell", "texture", "pests"):
            fresh[record.kind] = record.word or "other"
            fresh.pop("added", None)
        elif record.kind == "added" and material(record.material or "other").colour == "brown":
            fresh["added"] = "browned"
        elif record.kind == "growth":
            fresh["growth"] = "powdery"
        elif record.kind == "turned":
            fresh = {kind: word for kind, word in fresh.items() if kind == "pests"}
    return frozenset(fresh.values())


def volume_m3(pile: Pile, height_told_m: float | None) -> float:
    """By the box and the height last told; without a bin a pile is a mound of about half its box."""
    height_m = pile.height_m if height_told_m is None else height_told_m
    return pile.length_m * pile.width_m * height_m * (MOUND_SHARE if pile.bin is False else 1.0)


def covered(pile: Pile, records: Sequence[Record]) -> bool:
    """As last told, else as built."""
    said = [record.kind for record in records if record.kind in ("covered", "uncovered")]
    return said[-1] == "covered" if said else bool(pile.covered)
