"""The mix: carbon to nitrogen, moisture, density and air of what is heaped together, and what to add.

All sums go by mass; ratios are never averaged. Volumes are loose, as tipped in, and add up to more than the
built pile. Moisture is on the wet basis [kg water/kg wet] throughout.

[A] Rynk, On-Farm Composting Handbook, NRAES-54, 1992
[D] Trautmann and Richard, Cornell composting notes, 1996
[E] Haug, The Practical Handbook of Compost Engineering, 1993
[F] Rynk, The Composting Handbook, 2022, Table 4.2
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shared.errors import Infeasible, OutOfRange
from shared.materials import Material, material
from shared.pile import Ingredient
from shared.units import L_PER_M3

GOAL_C_N = 30.0
"""Middle of what both editions of the handbook prefer: 25-30 [A], 25-40 [F]. [kg/kg]"""
GOAL_MOISTURE = 0.55
"""Middle of the preferred 50-60 % [A, F]."""
WET_LIMIT = 0.65
"""Above this a mix packs and loses its air [A, F]."""
NEARLY_WET = 0.63

WATER_KG_M3 = 1000.0
ORGANIC_KG_M3 = 1600.0
MINERAL_KG_M3 = 2500.0

VOLUME_SPREAD = 0.30
NITROGEN_SPREAD = 0.20
WATER_SPREAD = 0.20
"""Standard deviations of the logarithm of a volume told by eye, of a nitrogen and of a water content.
Rough: ±30 % for home volumes, the others from the ranges within one name in [A]."""


@dataclass(frozen=True, slots=True)
class Part:
    """So much of one feedstock, by wet mass."""

    material: Material
    wet_kg: float


@dataclass(frozen=True, slots=True)
class Mix:
    """What is heaped together. Masses in kg, volumes in m³.

    loose_m3    the volumes as tipped in, added up
    settled_m3  the volumes the same parts take wetted and packed
    """

    wet_kg: float
    water_kg: float
    carbon_kg: float
    nitrogen_kg: float
    volatile_kg: float
    fast_kg: float
    moderate_kg: float
    slow_kg: float
    loose_m3: float
    settled_m3: float

    @property
    def dry_kg(self) -> float:
        """Dry matter."""
        return self.wet_kg - self.water_kg

    @property
    def moisture(self) -> float:
        """Water by wet mass [kg/kg]. Source: [D]."""
        return self.water_kg / self.wet_kg

    @property
    def c_n(self) -> float:
        """Carbon to nitrogen [kg/kg]; infinite where nothing holds nitrogen. Source: [D]."""
        return self.carbon_kg / self.nitrogen_kg if self.nitrogen_kg > 0 else math.inf

    @property
    def organic(self) -> float:
        """Volatile solids by dry mass [kg/kg]."""
        return self.volatile_kg / self.dry_kg if self.dry_kg > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Band:
    """The middle 80 % of what a mix may really be, given how rough home volumes and tables are."""

    c_n_low: float
    c_n_high: float
    moisture_low: float
    moisture_high: float


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to add to a mix, loose volumes in litres, and the mix that it leads to.

    too_wet is set where browns alone do not bring the moisture down far enough.
    """

    browns_litres: float
    greens_litres: float
    water_litres: float
    mix: Mix
    too_wet: bool


def parts_of(ingredients: Sequence[Ingredient]) -> tuple[Part, ...]:
    """Loose volumes to wet masses. Raises OutOfRange for a volume below zero, UnknownMaterial for an id."""
    for ingredient in ingredients:
        if not 0 <= ingredient.volume_m3 < math.inf:
            raise OutOfRange(
                f"{ingredient.material}: a volume must be 0 or more, got {ingredient.volume_m3} m³"
            )
    return tuple(
        Part(feedstock := material(i.material), i.volume_m3 * feedstock.loose_kg_m3) for i in ingredients
    )


def blend(parts: Sequence[Part], water_kg: float = 0.0) -> Mix:
    """Add up the parts and some water. Raises OutOfRange where nothing weighs anything. Source: [D]."""
    wet_kg = sum(part.wet_kg for part in parts) + water_kg
    if wet_kg <= 0:
        raise OutOfRange(f"a mix must weigh more than 0 kg, got {wet_kg} kg")
    dry_kg = [part.wet_kg * (1 - part.material.moisture) for part in parts]
    pairs = [(part.material, dry) for part, dry in zip(parts, dry_kg, strict=True)]
    return Mix(
        wet_kg=wet_kg,
        water_kg=wet_kg - sum(dry_kg),
        carbon_kg=sum(m.carbon * dry for m, dry in pairs),
        nitrogen_kg=sum(m.nitrogen * dry for m, dry in pairs),
        volatile_kg=sum(m.volatile * dry for m, dry in pairs),
        fast_kg=sum(m.fast * m.volatile * dry for m, dry in pairs),
        moderate_kg=sum(m.moderate * m.volatile * dry for m, dry in pairs),
        slow_kg=sum(m.slow * m.volatile * dry for m, dry in pairs),
        loose_m3=sum(part.wet_kg / part.material.loose_kg_m3 for part in parts),
        settled_m3=sum(part.wet_kg / part.material.settled_kg_m3 for part in parts),
    )


def band(parts: Sequence[Part], water_kg: float = 0.0) -> Band:
    """How far C:N and moisture may be off: first-order spread of each part's volume, nitrogen and water."""
    mix = blend(parts, water_kg)
    c_n_variance = water_variance = 0.0
    for part in parts:
        dry_kg = part.wet_kg * (1 - part.material.moisture)
        carbon_share = part.material.carbon * dry_kg / mix.carbon_kg if mix.carbon_kg else 0.0
        nitrogen_share = part.material.nitrogen * dry_kg / mix.nitrogen_kg if mix.nitrogen_kg else 0.0
        water = part.material.moisture
        c_n_variance += ((carbon_share - nitrogen_share) * VOLUME_SPREAD) ** 2
        c_n_variance += (nitrogen_share * NITROGEN_SPREAD) ** 2
        water_variance += (part.wet_kg / mix.wet_kg * (water - mix.moisture) * VOLUME_SPREAD) ** 2
        water_variance += (part.wet_kg / mix.wet_kg * water * min(1.0, 2 * (1 - water)) * WATER_SPREAD) ** 2
    factor = math.exp(1.2816 * math.sqrt(c_n_variance))
    reach = 1.2816 * math.sqrt(water_variance)
    return Band(
        c_n_low=mix.c_n / factor,
        c_n_high=mix.c_n * factor,
        moisture_low=max(0.0, mix.moisture - reach),
        moisture_high=min(1.0, mix.moisture + reach),
    )


def free_air_space(bulk_kg_m3: float, moisture: float, organic: float) -> float:
    """Air by volume [m³/m³], below zero where the parts cannot be packed so densely.

    bulk_kg_m3 is wet; organic is the volatile share of dry mass.
    Source: Richard et al. 2004; Agnew and Leonard 2003.
    """
    dry_m3_kg = organic / ORGANIC_KG_M3 + (1 - organic) / MINERAL_KG_M3
    return 1 - bulk_kg_m3 * (moisture / WATER_KG_M3 + (1 - moisture) * dry_m3_kg)


def kg_for_c_n(mix: Mix, feedstock: Material, goal_c_n: float = GOAL_C_N) -> float:
    """Wet mass of a feedstock that brings the mix to a C:N. Raises Infeasible. Source: [D]."""
    gain = (1 - feedstock.moisture) * (goal_c_n * feedstock.nitrogen - feedstock.carbon)
    return _amount(mix.carbon_kg - goal_c_n * mix.nitrogen_kg, gain, f"C:N {goal_c_n:g}", feedstock.id)


def kg_for_moisture(mix: Mix, feedstock: Material, goal: float = GOAL_MOISTURE) -> float:
    """Wet mass of a feedstock that brings the mix to a moisture. Raises Infeasible. Source: [D]."""
    return _amount(
        goal * mix.wet_kg - mix.water_kg, feedstock.moisture - goal, f"{goal:.0%} moisture", feedstock.id
    )


def water_for_moisture(mix: Mix, goal: float = GOAL_MOISTURE) -> float:
    """Water that brings the mix to a moisture [kg, or litres]. Raises Infeasible where it is wetter."""
    return water_to_add_kg(mix.wet_kg, mix.moisture, goal)


def water_to_add_kg(wet_kg: float, moisture: float, goal: float) -> float:
    """Water that takes `wet_kg` from one moisture to a higher one. Raises Infeasible for a lower one."""
    if not 0 <= goal < 1:
        raise OutOfRange(f"a moisture goal must lie from 0 to below 1, got {goal}")
    return _amount(wet_kg * (goal - moisture), 1 - goal, f"{goal:.0%} moisture", "water")


def improve(parts: Sequence[Part], browns: Material, greens: Material) -> Remedy:
    """What to add to the parts: browns or greens towards C:N 30, then browns or water for the moisture.

    Stays inside what home volumes can tell: a mix within C:N 25-35 and 45-65 % moisture is left as it is.
    """
    mix = blend(parts)
    browns_kg = greens_kg = 0.0
    if mix.c_n > 35:
        greens_kg = _kg_of_greens(mix, greens)
    elif mix.c_n < 25 or mix.moisture > WET_LIMIT:
        browns_kg = _kg_of_browns(mix, browns)
    whole = [*parts, Part(browns, browns_kg), Part(greens, greens_kg)]
    dry = blend(whole)
    water_kg = water_for_moisture(dry) if dry.moisture < 0.45 else 0.0
    better = blend(whole, water_kg)
    return Remedy(
        browns_litres=browns_kg / browns.loose_kg_m3 * L_PER_M3,
        greens_litres=greens_kg / greens.loose_kg_m3 * L_PER_M3,
        water_litres=water_kg,
        mix=better,
        too_wet=better.moisture > WET_LIMIT,
    )


def _kg_of_greens(mix: Mix, greens: Material) -> float:
    """Greens towards C:N 30, stopping where the mix would get too wet."""
    for_ratio = kg_for_c_n(mix, greens)
    if greens.moisture <= NEARLY_WET:
        return for_ratio
    return min(for_ratio, kg_for_moisture(mix, greens, NEARLY_WET)) if mix.moisture < NEARLY_WET else 0.0


def _kg_of_browns(mix: Mix, browns: Material) -> float:
    """Browns to C:N 30 and to a moisture below the limit, stopping at C:N 50."""
    for_ratio = kg_for_c_n(mix, browns) if mix.c_n < GOAL_C_N else 0.0
    for_moisture = kg_for_moisture(mix, browns, NEARLY_WET) if mix.moisture > NEARLY_WET else 0.0
    return min(max(for_ratio, for_moisture), kg_for_c_n(mix, browns, 50.0))


def _amount(lacks: float, gain_per_kg: float, goal: str, what: str) -> float:
    """lacks / gain_per_kg, or Infeasible where no amount from zero up does it."""
    if lacks == 0:
        return 0.0
    if gain_per_kg == 0 or lacks / gain_per_kg < 0:
        raise Infeasible(f"no amount of {what} brings this mix to {goal}")
    return lacks / gain_per_kg
