"""One pile with every unknown at its middle, for tests of the physics: no ensemble, no luck."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared import decay, heat, life, tending
from shared.lanes import LANES, PILE, PILE_FIELDS, TRAITS, TRAITS_FIELDS, WIDTH
from shared.prior import PRIOR

HALF_AND_HALF = (0.28, 0.38, 0.34)
GRASSY = (0.40, 0.38, 0.22)
LEAFY = (0.15, 0.40, 0.45)
WOODY = (0.10, 0.30, 0.60)
AIR_HUMIDITY = 0.70
THREE_FT_M3 = 0.7646


@dataclass(frozen=True)
class Course:
    """How one pile went: daily mean core [°C], moisture, volume [m³] and dry matter left by day; its end."""

    core_c: NDArray[np.float64]
    moisture: NDArray[np.float64]
    volume_m3: NDArray[np.float64]
    dry_left: NDArray[np.float64]
    ready_day: float
    end: Any


def build(
    volume_m3: float = THREE_FT_M3,
    kg_m3: float = 400.0,
    moisture: float = 0.60,
    pools: tuple[float, float, float] = HALF_AND_HALF,
    air_c: float = 20.0,
    **traits: float,
) -> tuple[Any, Any]:
    """(piles, traits) of one member; pools are shares of the volatile matter, 90 % of the dry matter."""
    own = np.zeros(1, TRAITS)
    for name in TRAITS.names or ():
        own[name] = PRIOR[name][1] if name in PRIOR else 0.0
    own["nitrogen_slowing"] = 1.0
    own["turn_every_days"] = tending.FAR_DAYS
    own["plan_m2"] = volume_m3 ** (2 / 3)
    for name, value in traits.items():
        own[name] = value
    dry = volume_m3 * kg_m3 * (1 - moisture)
    pile = np.zeros(1, PILE)
    for node, share in (("core", 1 - own["shell_share"]), ("shell", own["shell_share"])):
        for name, pool in zip(("fast_kg", "moderate_kg", "slow_kg"), pools, strict=True):
            pile[node][name] = 0.9 * dry * pool * share
        pile[node]["ash_kg"] = 0.1 * dry * share
        pile[node]["water_kg"] = volume_m3 * kg_m3 * moisture * share
        pile[node]["temp_c"] = air_c
    pile["activity"] = decay.START_ACTIVITY
    pile["ever_fast_kg"], pile["ever_moderate_kg"] = 0.9 * dry * pools[0], 0.9 * dry * pools[1]
    pile["ever_dry_kg"], pile["filled_m3"] = dry, volume_m3
    pile["ready_day"], pile["next_turn"] = np.nan, tending.FAR_DAYS
    pile["luck"] = 1
    return pile, own


def dry_kg(pile: Any) -> float:
    """Dry matter of the only member [kg]."""
    pools = ("fast_kg", "moderate_kg", "slow_kg", "ash_kg")
    return float(sum(pile[node][pool][0] for node in ("core", "shell") for pool in pools))


def side_by_side(pile: Any, own: Any, air_c: float = 20.0) -> Any:
    """The only member in every lane, under the given air."""
    lanes = np.zeros(1, LANES)
    rows = lanes.view(np.float64).reshape(-1, WIDTH)
    rows[:PILE_FIELDS] = pile.view(np.float64)[:, None]
    rows[PILE_FIELDS : PILE_FIELDS + TRAITS_FIELDS] = own.view(np.float64)[:, None]
    lanes["day"]["air_c"] = air_c
    return lanes.view(np.recarray)[0]


def sky(days: int, air_c: Any, rain_mm: float = 0.0, et0_mm: float = 0.0) -> NDArray[np.float64]:
    """One trace of steady rain and sun under the given air, a number or one for each day."""
    above = np.zeros((1, days, 4))
    above[0, :, 0] = air_c
    above[0, :, 1] = [heat.humidity(AIR_HUMIDITY * heat.saturation_kpa(c)) for c in above[0, :, 0]]
    above[0, :, 2], above[0, :, 3] = rain_mm, et0_mm
    return above


def go(
    days: int = 84,
    *,
    air_c: Any = 20.0,
    turn_every: int | None = None,
    water: dict[int, float] | None = None,
    feed: tuple[float, ...] = (),
    rain_mm: float = 0.0,
    et0_mm: float = 0.0,
    covered: float = -1.0,
    **built: Any,
) -> Course:
    """Build a pile and let it live; `water` gives litres by day, `feed` is what each week adds to it.

    feed   fast, moderate, slow, ash, water [kg], volume [m³]
    """
    above = sky(days, air_c, rain_mm, et0_mm)
    pile, own = build(air_c=float(above[0, 0, 0]), **built)
    deeds = np.zeros((days, 5))
    deeds[:, 2], deeds[:, 3] = -1.0, covered
    if turn_every:
        deeds[turn_every::turn_every, 0] = 1.0
    for day, litres in (water or {}).items():
        deeds[day, 1] = litres
    if feed:
        deeds[7::7, 2] = 0.0
    seen = np.full((1, days, len(life.SEEN)), np.nan, np.float32)
    life.run(
        pile,
        own,
        np.zeros(1, np.int64),
        above,
        deeds,
        np.array(feed).reshape(1, -1, 6),
        0,
        days,
        days,
        days,
        seen,
    )
    core, wet, volume, _, _, _, left, _ = seen[0].astype(np.float64).T
    return Course(core, wet, volume, left, float(pile["ready_day"][0]), pile)


def year(days: int, start: int, mean_c: float = 13.0, swing_k: float = 10.0) -> NDArray[np.float64]:
    """Daily mean air of a temperate year, coldest on about 20 January; `start` is a day of the year."""
    return np.asarray(mean_c - swing_k * np.cos(2 * np.pi * (np.arange(days) + start - 20) / 365))
