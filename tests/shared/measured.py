"""What was measured in piles of home size: curves where the mix is known, and bands of peaks.

Mixes are told in words in the sources; their pools, density and moisture are set here from the like
materials, and no other value of the model is.
"""

from dataclasses import dataclass
from typing import Any

from tests.shared.one_pile import GRASSY, LEAFY, WOODY, Course, go

SCRAPPY = (0.40, 0.33, 0.27)
FRUITY = (0.35, 0.33, 0.32)
# shredded garden waste, like shrub trimmings of C:N 50 (NRAES-54: 53): factor 0.7 to the power 0.35
SHREDDED: dict[str, Any] = {"pools": WOODY, "moisture": 0.55, "nitrogen_slowing": 0.88}
WEEKLY_FEED = (1.45, 1.20, 0.98, 0.40, 7.17, 0.028)  # 11 kg of scraps and leaves, as `one_pile.go` takes it


@dataclass(frozen=True)
class Measured:
    """A pile whose core was read: where and by whom, its peak, readings (day, °C), and how it was built."""

    name: str
    source: str
    peak_c: float
    readings: tuple[tuple[float, float], ...]
    built: dict[str, Any]

    def modelled(self, days: int = 28) -> Course:
        """How the model has it."""
        return go(days, **self.built)


CURVES = (
    Measured(
        "grass and fresh hay, 1.2 m³, June",
        "Fastie 2016, Vermont, logged every 5 minutes; volume assumed",
        69.0,
        ((40 / 24, 66.0), (3.0, 69.0)),
        {"volume_m3": 1.2, "pools": GRASSY, "air_c": 17.0},
    ),
    Measured(
        "cut leaves, 1.5 m³, November",
        "Plhak 2015, Ontario, air 13 °C; volume assumed",
        53.0,
        ((7.0, 53.0),),
        {"volume_m3": 1.5, "pools": LEAFY, "moisture": 0.55, "kg_m3": 267.0, "air_c": 13.0},
    ),
    Measured(
        "woody waste, 30 m³, November",
        "Alexander 2007, England; turned at two weeks",
        70.0,
        (),
        {"volume_m3": 30.0, "air_c": 7.0, "turn_every": 14, **SHREDDED},
    ),
    Measured(
        "fruit peel and leaves, 60 L",
        "small-bin study, Thailand, C:N 32, 55 % moist; air assumed",
        44.75,
        (),
        {"volume_m3": 0.06, "pools": FRUITY, "moisture": 0.55, "air_c": 29.0},
    ),
    Measured(
        "food and leaves, 200 L, piped air",
        "Prohmdetbun and Srisatit 2020, Thailand, 85 kg; moisture and air assumed",
        58.5,
        (),
        {"volume_m3": 0.2, "pools": FRUITY, "kg_m3": 425.0, "air_c": 29.0},
    ),
    Measured(
        "vegetable waste, 550 L drum",
        "Environmental Engineering Research 2013, India, 150 kg, C:N 24 and 30: 63.5 and 61.2 °C",
        62.35,
        (),
        {"volume_m3": 0.4, "pools": SCRAPPY, "moisture": 0.65, "kg_m3": 375.0, "air_c": 28.0},
    ),
)


@dataclass(frozen=True)
class Band:
    """A band of peaks [°C] and the days on which they come, for a kind of pile, within a range of air."""

    name: str
    peak_c: tuple[float, float]
    days: tuple[int, int]
    air_c: tuple[float, ...]
    built: dict[str, Any]

    def modelled(self) -> list[Course]:
        """How the model has it, under each air."""
        return [go(42, air_c=air_c, **self.built) for air_c in self.air_c]


WHENEVER = (1, 42)
BROWN = {"pools": WOODY, "moisture": 0.55, "kg_m3": 300.0}
BANDS = (
    Band("much fresh grass, 1.2 m³", (60, 71), (2, 5), (10, 15, 20), {"volume_m3": 1.2, "pools": GRASSY}),
    Band("half and half, 3 ft cube", (55, 69), (2, 5), (15, 20, 25), {}),
    Band("mostly brown, 3 ft cube", (35, 50), (3, 10), (20,), BROWN),
    Band(
        "damp leaves, 1.5 m³",
        (40, 60),
        (3, 10),
        (10, 13, 15),
        {"volume_m3": 1.5, "pools": LEAFY, "moisture": 0.55, "kg_m3": 267.0},
    ),
    Band("woody, 0.3 m³, cold", (6, 12), WHENEVER, (5, 7), {"volume_m3": 0.3, **BROWN}),
    Band(
        "200 L bin, fed weekly",
        (40, 57),
        WHENEVER,
        (25, 28, 30),
        {"volume_m3": 0.05, "pools": SCRAPPY, "moisture": 0.64, "feed": WEEKLY_FEED},
    ),
    Band("dry, 28 %, 3 ft cube", (20, 35), WHENEVER, (20,), {"kg_m3": 222.0, "moisture": 0.28}),
    Band(
        "the hottest home pile",
        (60, 75),
        WHENEVER,
        (32,),
        {"volume_m3": 3.5, "pools": (0.55, 0.30, 0.15)},
    ),
)
