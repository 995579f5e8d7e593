"""The values that the whole project speaks in: a pile, what went into it, what its keepers told us."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

Kind = Literal[
    "temperature",
    "moisture",
    "smell",
    "turned",
    "not_turned",
    "watered",
    "added",
    "covered",
    "uncovered",
    "built",
    "harvested",
    "pests",
    "smoke",
    "growth",
    "texture",
    "height",
    "heat_feel",
]
Turning = Literal["weekly", "fortnightly", "monthly", "never"]
Pieces = Literal["fine", "mixed", "coarse"]
Shade = Literal["sun", "part", "shade"]
Stage = Literal["warming", "hot", "cooling", "stalled", "curing", "ready"]
MOUND_SHARE = 0.5
"""Without a bin a pile is a mound of about half its box."""


@dataclass(frozen=True, slots=True)
class Record:
    """One thing a keeper told us about a pile.

    on, hour      the pile's local day on which it happened, and the hour (0 to 24) where it was said
    core_c        `temperature`: degrees Celsius
    litres        `watered`, `added`, `harvested`: amount, None where none was said
    height_m      `height`: metres
    material      `added`: a feedstock id
    word          `moisture` dry|bit_dry|right|bit_wet|soggy; `smell` earthy|ammonia|rotten|sour|none;
                  `texture` crumbly|clumpy|matted|recognisable; `heat_feel` cold|warm|hot;
                  `pests` flies|rodents|ants|larvae|other
    edge          `temperature` read near the surface: no core reading
    """

    kind: Kind
    on: date
    hour: float | None = None
    core_c: float | None = None
    litres: float | None = None
    height_m: float | None = None
    material: str | None = None
    word: str | None = None
    edge: bool = False

    @property
    def inner_c(self) -> float | None:
        """A reading of the core [°C]; None for one near the surface, and for whatever is no reading."""
        return self.core_c if self.kind == "temperature" and not self.edge else None


@dataclass(frozen=True, slots=True)
class Ingredient:
    """Something that went into the pile at the build: loose volume, as tipped in."""

    material: str
    volume_m3: float


@dataclass(frozen=True, slots=True)
class Climate:
    """Monthly normals, January first: mean daily minimum and maximum [°C], rain sums [mm]."""

    min_c: tuple[float, ...]
    max_c: tuple[float, ...]
    rain_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class DailyWeather:
    """Weather known day by day from `start` on: minimum and maximum [°C], rain [mm]."""

    start: date
    min_c: tuple[float, ...]
    max_c: tuple[float, ...]
    rain_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Pile:
    """A pile as its keeper described it. What is None was not said; the forecast assumes and says so.

    length_m, width_m, height_m   the built pile; without a bin it is a mound of about half that box
    turning                       what the keeper intends; what was done stands in the records
    fed                           added to as you go, rather than filled at once
    """

    id: str
    built: date
    length_m: float
    width_m: float
    height_m: float
    ingredients: tuple[Ingredient, ...]
    pieces: Pieces | None = None
    climate: Climate | None = None
    turning: Turning | None = None
    bin: bool | None = None
    covered: bool | None = None
    shade: Shade | None = None
    latitude: float | None = None
    weather: DailyWeather | None = None
    fed: bool = False


Records = Sequence[Record]
"""A pile's records in the order in which they were told; among records of one day the order counts."""
