"""A pile's records laid out day by day: what was done to it, what was seen of it, the sky above it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from shared.errors import BadInput
from shared.materials import material
from shared.pile import Pile, Record

Array = npt.NDArray[np.float64]

HORIZON_DAYS = 1096
USUAL_CAN_L = 20.0  # a watering of no stated amount; assumed
USUAL_ADDITION_L = 8.0  # a kitchen pail of no stated amount; assumed
LEAST_C, MOST_C = -40.0, 100.0  # a core outside cannot be


@dataclass(frozen=True, slots=True)
class Sight:
    """Something seen of a pile on day `day` since the build: a word, or a number.

    The number is °C for "core" and "core_after_turn", the volume left over that at the build for "height".
    """

    kind: str
    day: int
    value: float
    word: str = ""


@dataclass(frozen=True, slots=True)
class History:
    """Records as arrays. Days count from the build; `today` is the day of `as_of`.

    deeds      turnings, litres given, row of loads or -1, cover (1, 0, -1 unknown), litres taken [day, 5]
    loads      matter added: fast, moderate, slow, ash, water [kg], volume [m³] [row, 6]
    turned     days on which it was turned
    watered    days on which it was watered, `usual_water_l` the middle amount that was said
    unsaid_water, unsaid_addition   an amount was not said, so a usual one stands for it
    hot_seen   a reading has shown the core hot
    """

    today: int
    deeds: Array
    loads: Array
    sights: tuple[Sight, ...]
    turned: tuple[int, ...]
    watered: tuple[int, ...]
    usual_water_l: float
    unsaid_water: bool
    unsaid_addition: bool
    hot_seen: bool


def matter(material_id: str, volume_m3: float) -> tuple[float, float, float, float, float, float]:
    """What a loose volume brings: fast, moderate, slow, ash, water [kg], settled volume [m³]."""
    stuff = material(material_id)
    wet = volume_m3 * stuff.loose_kg_m3
    dry = wet * (1.0 - stuff.moisture)
    organic = dry * stuff.volatile
    settled = volume_m3 * stuff.loose_kg_m3 / max(stuff.settled_kg_m3, stuff.loose_kg_m3)
    return (
        organic * stuff.fast,
        organic * stuff.moderate,
        organic * stuff.slow,
        dry - organic,
        wet - dry,
        settled,
    )


def read_history(pile: Pile, records: Sequence[Record], as_of: date) -> History:
    """Lay the records up to `as_of` out by day.

    Raises BadInput for a day of `as_of` before the build. Records before the build, after `as_of` or that
    cannot be (a core outside -40 to 100 °C) are passed over.
    """
    today = (as_of - pile.built).days
    if today < 0:
        raise BadInput(f"as_of {as_of} lies before the build on {pile.built}: give a later day")
    deeds = np.zeros((today + 1, 5))
    deeds[:, 2] = -1.0
    deeds[:, 3] = -1.0 if pile.covered is None else float(pile.covered)
    rows: list[list[float]] = []
    sights: list[Sight] = []
    cores: dict[int, list[float]] = defaultdict(list)
    turned: list[int] = []
    watered: list[int] = []
    said: list[float] = []
    unsaid_water = unsaid_addition = False
    for record in records:
        day = (record.on - pile.built).days
        if not 0 <= day <= today:
            continue
        if record.kind == "turned":
            if day not in turned and day > 0:
                turned.append(day)
                deeds[day, 0] = 1.0
        elif record.kind == "watered":
            watered.append(day)
            unsaid_water |= record.litres is None
            if record.litres is not None:
                said.append(record.litres)
            deeds[day, 1] += min(record.litres or USUAL_CAN_L, 1000.0)
        elif record.kind == "added":
            unsaid_addition |= record.litres is None
            load = matter(record.material or "other", (record.litres or USUAL_ADDITION_L) / 1000.0)
            if deeds[day, 2] < 0:
                deeds[day, 2] = len(rows)
                rows.append([0.0] * 6)
            row = rows[int(deeds[day, 2])]
            for at, amount in enumerate(load):
                row[at] += amount
        elif record.kind == "harvested":
            deeds[day, 4] += record.litres or 0.0
        elif record.kind in ("covered", "uncovered"):
            deeds[day:, 3] = float(record.kind == "covered")
        elif record.kind == "temperature":
            if record.core_c is not None and not record.edge and LEAST_C <= record.core_c <= MOST_C:
                after = deeds[day, 0] > 0.0
                cores[2 * day + after].append(record.core_c)
        elif record.kind == "height" and record.height_m and not pile.fed:
            shrunk = min(1.5, max(0.05, record.height_m / pile.height_m))
            sights.append(Sight("height", day, shrunk if pile.bin else shrunk**2))
        elif record.word:
            sights.append(Sight(record.kind, day, 0.0, record.word))
    for slot, values in cores.items():
        kind = "core_after_turn" if slot % 2 else "core"
        sights.append(Sight(kind, slot // 2, float(np.median(values))))
    sights.sort(key=lambda sight: sight.day)
    return History(
        today=today,
        deeds=deeds,
        loads=np.array(rows).reshape(-1, 6),
        sights=tuple(sights),
        turned=tuple(sorted(turned)),
        watered=tuple(sorted(watered)),
        usual_water_l=float(np.median(said)) if said else USUAL_CAN_L,
        unsaid_water=unsaid_water,
        unsaid_addition=unsaid_addition,
        hot_seen=any(sight.kind.startswith("core") and sight.value >= 45.0 for sight in sights),
    )
