"""What is true of simulated piles (traits), and a moment of their lives (state), many piles side by side.

Arrays are (shell, pile), the innermost shell first.
"""

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SHELLS = 5
SHARES = np.array([0.08, 0.17, 0.25, 0.25, 0.25])[:, None]  # of the volume, centre first
STEP_D = 1 / 12
T_GRID = np.arange(-30.0, 100.25, 0.25)  # the temperature responses are tabulated on this [°C]
M_GRID = np.arange(0.0, 1.005, 0.005)  # and the moisture responses on this [wet basis]


@dataclass(slots=True)
class Traits:
    """What is true of each pile and nobody knows: one value a pile; response tables are (pile, grid)."""

    volume_m3: Floats
    area_ratio: Floats  # surface against that of a sphere of equal volume
    base_share: Floats  # of the surface that lies on the soil
    plan_m2: Floats
    film_w_m2k: Floats  # air film and wall together
    ground_w_m2k: Floats
    dry_air_w_mk: Floats  # conductivity without water and weight
    wet_w_mk: Floats  # its growth per t/m³ of wet density
    vapour_w_mk: Floats  # vapour moving through the pores, at 60 °C
    draught_kg_d: Floats  # natural ventilation at no warmth, per V^(2/3)
    draught_per_k: Floats  # its growth per kelvin above the air
    open_draught: Floats  # how far free air space governs it
    condense: Floats  # share of the outgoing vapour that meets the outer shell
    heat_mj_kg: Floats
    o2_kg_kg: Floats
    k_fast: Floats
    k_mod: Floats
    k_slow: Floats
    recalcitrance: Floats  # moderate matter slows as it goes: rate ~ (left)^this
    humus: Floats  # share of what is eaten that comes back as slow matter
    airless: Floats  # pace left without oxygen
    o2_half_pct: Floats
    air_space_weight: Floats  # how much the air-space factor counts beside oxygen itself
    starved: Floats  # how much a high C:N counts
    lag_start: Floats
    lag_growth_d: Floats
    fade_d: Floats
    mat_d: Floats  # how fast mats, crusts and clumps close between turnings
    mat_floor: Floats  # share of the pace left when all is matted
    shrink: Floats  # volume lost per share of dry matter lost
    settle_max: Floats
    settle_d: Floats
    hold_kg_kg: Floats  # water a kg of dry matter can hold
    wick_d: Floats
    rain_caught: Floats  # of rain on the plan
    drying: Floats  # of reference evapotranspiration at the outer shell
    sun_k: Floats  # warming of the surface at full sun
    t_table: Floats
    m_table: Floats

    def take(self, keep: NDArray[np.intp] | NDArray[np.bool_]) -> "Traits":
        """Only these piles."""
        return Traits(*(getattr(self, f.name)[keep] for f in fields(self)))


@dataclass(slots=True)
class Ledger:
    """What came and went over a pile's life [kg], one value a pile."""

    gas: Floats
    water_in: Floats
    water_made: Floats
    vapour: Floats
    drained: Floats
    dry_in: Floats


@dataclass(slots=True)
class State:
    """A moment of many piles. pools are (fast, moderate, slow, ash; shell; pile) in kg dry."""

    warmth_c: Floats
    water: Floats
    pools: Floats
    active: Floats
    reach: Floats  # share of the matter that is not shut in mats and clumps
    nitrogen: Floats
    settled: Floats
    put_in: Floats  # (fast, moderate; pile): all that was ever put in
    dry_at_build: Floats
    ledger: Ledger
    o2_pct: Floats = field(init=False)
    bulk: Floats = field(init=False)
    radius: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.o2_pct = np.full_like(self.warmth_c, 20.0)

    @property
    def dry(self) -> Floats:
        return np.asarray(self.pools.sum(axis=0))

    @property
    def moisture(self) -> Floats:
        """Wet basis, by shell."""
        return np.asarray(self.water / (self.water + self.dry))

    def left(self) -> Floats:
        """Share left of all fast and of all moderate matter that was ever put in: (2, pile)."""
        return np.asarray(self.pools[:2].sum(axis=1) / np.maximum(self.put_in, 1e-9))

    def take(self, keep: NDArray[np.intp] | NDArray[np.bool_]) -> "State":
        """Only these piles."""
        ledger = Ledger(*(getattr(self.ledger, f.name)[keep] for f in fields(Ledger)))
        kept = State(
            self.warmth_c[:, keep],
            self.water[:, keep],
            self.pools[:, :, keep],
            self.active[:, keep],
            self.reach[:, keep],
            self.nitrogen[keep],
            self.settled[keep],
            self.put_in[:, keep],
            self.dry_at_build[keep],
            ledger,
        )
        kept.o2_pct = self.o2_pct[:, keep]
        return kept


def build(traits: Traits, pools_kg: Floats, water_kg: Floats, nitrogen_kg: Floats, air_c: Floats) -> State:
    """A fresh pile, all shells alike. pools_kg is (fast, moderate, slow, ash; pile)."""
    n, nothing = pools_kg.shape[1], np.zeros(pools_kg.shape[1])
    dry = pools_kg.sum(axis=0)
    burnt, made, vapour, drained = (nothing.copy() for _ in range(4))
    ledger = Ledger(burnt, water_kg.copy(), made, vapour, drained, dry.copy())
    return State(
        np.broadcast_to(air_c, (SHELLS, n)).copy(),
        SHARES * water_kg,
        SHARES[None] * pools_kg[:, None, :],
        np.broadcast_to(traits.lag_start, (SHELLS, n)).copy(),
        np.ones((SHELLS, n)),
        nitrogen_kg.copy(),
        nothing.copy(),
        pools_kg[:2].copy(),
        dry,
        ledger,
    )
