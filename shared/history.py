"""A pile's records laid out day by day: what was done to it, what was seen of it, the sky above it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from shared.errors import BadInput
from shared.materials import material
from shared.pile import Ingredient, Pile, Record
from shared.units import L_PER_M3

Array = npt.NDArray[np.float64]

HORIZON_DAYS = 1096
OLDEST_DAYS = 3650
LAST_YEAR = 9980  # of a build; the calendar ends in 9999
USUAL_CAN_L = 20.0  # a watering of no stated amount; assumed
USUAL_ADDITION_L = 8.0  # a kitchen pail of no stated amount; assumed
MOST_WATER_L = 1000.0
LEAST_C, MOST_C = -40.0, 100.0  # a core outside cannot be
HOT_C = 45.0


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
    added      the same as it was told
    turned     days on which it was turned
    watered    days on which it was watered, `usual_water_l` the middle amount that was said
    unsaid_water, unsaid_addition   an amount was not said, so a usual one stands for it
    hot_seen   a reading has shown the core hot
    passed_over   a reading that cannot be was left out
    """

    today: int
    deeds: Array
    loads: Array
    added: tuple[Ingredient, ...]
    sights: tuple[Sight, ...]
    turned: tuple[int, ...]
    watered: tuple[int, ...]
    usual_water_l: float
    unsaid_water: bool
    unsaid_addition: bool
    hot_seen: bool
    passed_over: bool

    @property
    def rested_days(self) -> float:
        """Days since it was last turned, watered or fed, inf if it never was."""
        turned, litres, load = self.deeds[:, :3].T
        stirred = np.flatnonzero((turned > 0.0) | (litres > 0.0) | (load >= 0.0))
        return float(self.today - stirred[-1]) if stirred.size else np.inf


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

    Raises BadInput for a day of `as_of` before the build or more than ten years after it. Records before the
    build or after `as_of`, and a core outside -40 to 100 °C, are passed over.
    """
    today = (as_of - pile.built).days
    if today < 0:
        raise BadInput(f"as_of {as_of} lies before the build on {pile.built}: give a later day")
    if today > OLDEST_DAYS:
        raise BadInput(f"built {pile.built}: more than ten years before {as_of}; start what lies there anew")
    if pile.built.year > LAST_YEAR:
        raise BadInput(f"built {pile.built}: the calendar ends before the forecast; check the year")
    ledger = _Ledger(pile, today)
    for record in records:
        day = (record.on - pile.built).days
        if 0 <= day <= today:
            ledger.enter(day, record)
    return ledger.closed()


class _Ledger:
    """Takes records in, one after the other, and gives them out as a History."""

    def __init__(self, pile: Pile, today: int) -> None:
        self.pile = pile
        self.today = today
        self.deeds = np.zeros((today + 1, 5))
        self.deeds[:, 2] = -1.0
        self.deeds[:, 3] = -1.0 if pile.covered is None else float(pile.covered)
        self.loads: list[Array] = []
        self.added: list[Ingredient] = []
        self.sights: list[Sight] = []
        self.cores: dict[tuple[int, bool], list[float]] = defaultdict(list)
        self.watered: list[int] = []
        self.water_said_l: list[float] = []
        self.unsaid_addition = self.passed_over = False

    def enter(self, day: int, record: Record) -> None:
        """One record; kinds that say nothing of the balance or the state are left aside."""
        kind = record.kind
        if kind == "turned":
            self.deeds[day, 0] = float(day > 0)
        elif kind == "watered":
            self._water(day, record.litres)
        elif kind == "added":
            self._add(day, record)
        elif kind == "harvested":
            self.deeds[day, 4] += record.litres or 0.0
        elif kind in ("covered", "uncovered"):
            self.deeds[day:, 3] = float(kind == "covered")
        elif kind == "temperature":
            self._read_core(day, record)
        elif kind == "height":
            self._measure(day, record.height_m)
        elif record.word:
            self.sights.append(Sight(kind, day, 0.0, record.word))

    def _water(self, day: int, litres: float | None) -> None:
        self.watered.append(day)
        if litres is not None:
            self.water_said_l.append(litres)
        self.deeds[day, 1] += min(USUAL_CAN_L if litres is None else litres, MOST_WATER_L)

    def _add(self, day: int, record: Record) -> None:
        self.unsaid_addition |= record.litres is None
        litres = USUAL_ADDITION_L if record.litres is None else record.litres
        self.added.append(Ingredient(record.material or "other", litres / L_PER_M3))
        if self.deeds[day, 2] < 0:
            self.deeds[day, 2] = len(self.loads)
            self.loads.append(np.zeros(6))
        self.loads[int(self.deeds[day, 2])] += matter(self.added[-1].material, self.added[-1].volume_m3)

    def _read_core(self, day: int, record: Record) -> None:
        if record.inner_c is None:
            return
        if LEAST_C <= record.inner_c <= MOST_C:
            self.cores[day, bool(self.deeds[day, 0])].append(record.inner_c)
        else:
            self.passed_over = True

    def _measure(self, day: int, height_m: float | None) -> None:
        if height_m and not self.pile.fed:
            left = min(1.5, max(0.05, height_m / self.pile.height_m))
            self.sights.append(Sight("height", day, left if self.pile.bin else left**2))

    def closed(self) -> History:
        """The history of all that was entered; readings of one time of a day count as their median."""
        for (day, after_turn), values in self.cores.items():
            kind = "core_after_turn" if after_turn else "core"
            self.sights.append(Sight(kind, day, float(np.median(values))))
        self.sights.sort(key=lambda sight: sight.day)
        hot_seen = any(value >= HOT_C for values in self.cores.values() for value in values)
        return History(
            today=self.today,
            deeds=self.deeds,
            loads=np.array(self.loads).reshape(-1, 6),
            added=tuple(self.added),
            sights=tuple(self.sights),
            turned=tuple(int(day) for day in np.flatnonzero(self.deeds[:, 0])),
            watered=tuple(self.watered),
            usual_water_l=float(np.median(self.water_said_l)) if self.water_said_l else USUAL_CAN_L,
            unsaid_water=len(self.watered) > len(self.water_said_l),
            unsaid_addition=self.unsaid_addition,
            passed_over=self.passed_over,
            hot_seen=hot_seen,
        )
