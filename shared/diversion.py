"""What did not go to the landfill: mass of what went in, low, middle and high, with the list that each uses.

Count wet mass as delivered. The lists disagree by up to four times for food, so a figure without its list
says nothing. A summer rate is no yearly one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shared.materials import material
from shared.pile import Ingredient
from shared.units import KG_M3_PER_LB_YD3, KG_PER_SHORT_TON

Group = Literal["food", "leaves", "grass", "yard", "paper", "cardboard", "chips", "manure", "none"]


@dataclass(frozen=True, slots=True)
class Factor:
    """Wet density as delivered [lb/yd³], and the list it comes from."""

    lb_yd3: float
    source: str

    @property
    def kg_m3(self) -> float:
        """The same in SI."""
        return self.lb_yd3 * KG_M3_PER_LB_YD3


EPA_2016 = "US EPA volume-to-weight list, April 2016"
EPA_1997 = "US EPA guide, 1997"
MASSACHUSETTS = "Massachusetts DEP factors"
OREGON = "Oregon DEQ survey factors, 2005"
HANDBOOK = "On-Farm Composting Handbook, Table A.1"
BRITISH_COLUMBIA = "North Shore, British Columbia, 2011"

FACTORS: dict[Group, tuple[Factor, Factor, Factor]] = {
    "food": (Factor(396, EPA_2016), Factor(600, BRITISH_COLUMBIA), Factor(1513, EPA_1997)),
    "leaves": (Factor(200, HANDBOOK), Factor(250, EPA_2016), Factor(400, MASSACHUSETTS)),
    "grass": (Factor(250, EPA_2016), Factor(350, HANDBOOK), Factor(667, MASSACHUSETTS)),
    "yard": (Factor(250, EPA_2016), Factor(350, BRITISH_COLUMBIA), Factor(500, MASSACHUSETTS)),
    "paper": (Factor(110, EPA_1997), Factor(245, EPA_2016), Factor(323, EPA_2016)),
    "cardboard": (Factor(50, EPA_1997), Factor(106, EPA_2016), Factor(150, EPA_1997)),
    "chips": (Factor(243, OREGON), Factor(473, OREGON), Factor(625, EPA_1997)),
    "manure": (Factor(1100, HANDBOOK), Factor(1379, HANDBOOK), Factor(1620, HANDBOOK)),
}
"""Low, middle and high of each group. The figures of the handbook are from memory."""

GROUPS: dict[str, Group] = {
    "dry_leaves": "leaves",
    "pine_needles": "leaves",
    "grass_clippings": "grass",
    "newspaper": "paper",
    "shredded_paper": "paper",
    "cardboard": "cardboard",
    "wood_chips": "chips",
    "sawdust": "chips",
    "vegetable_scraps": "food",
    "fruit_scraps": "food",
    "kitchen_scraps": "food",
    "coffee_grounds": "food",
    "tea": "food",
    "egg_shells": "food",
    "meat": "food",
    "dairy": "food",
    "fat": "food",
    "flowers": "yard",
    "garden_trimmings": "yard",
    "weeds": "yard",
    "twigs": "yard",
    "thorny_plants": "yard",
    "diseased_plants": "yard",
    "corn_stalks": "yard",
    "straw": "yard",
    "hay": "yard",
    "chicken_manure": "manure",
    "horse_manure": "manure",
    "cow_manure": "manure",
    "rabbit_manure": "manure",
}
"""By the id under which a material is recorded; what is not listed (soil, ash, compost) diverts nothing."""

FOOD_SAVING_TONNES_PER_SHORT_TON = (0.3, 0.7)
"""CO2-equivalent of composting food rather than landfilling it (EPA WARM, versions of 2016 to 2023, from
memory, low confidence). For leaves and grass the sign can flip: nothing is claimed."""


@dataclass(frozen=True, slots=True)
class Diverted:
    """Wet mass kept out of the landfill [kg], and the names of the lists behind each figure.

    spared_t   greenhouse gas that the food in it spares, low and high [t CO2-equivalent]
    """

    low_kg: float
    middle_kg: float
    high_kg: float
    spared_t: tuple[float, float]
    lists: tuple[str, ...]


def diverted(added: Sequence[Ingredient]) -> Diverted:
    """Mass of what was put in, by loose volumes. Raises UnknownMaterial."""
    low = middle = high = food_low = food_high = 0.0
    lists: set[str] = set()
    for ingredient in added:
        group = group_of(ingredient.material)
        if group == "none":
            continue
        factors = FACTORS[group]
        low += ingredient.volume_m3 * factors[0].kg_m3
        middle += ingredient.volume_m3 * factors[1].kg_m3
        high += ingredient.volume_m3 * factors[2].kg_m3
        if group == "food":
            food_low += ingredient.volume_m3 * factors[0].kg_m3
            food_high += ingredient.volume_m3 * factors[2].kg_m3
        lists.update(factor.source for factor in factors)
    spared_t = food_saving_tonnes(food_low)[0], food_saving_tonnes(food_high)[1]
    return Diverted(low, middle, high, spared_t, tuple(sorted(lists)))


def group_of(id: str) -> Group:
    """Group of a material, by the id under which it is recorded."""
    return GROUPS.get(material(id).record_id, "none")


def food_saving_tonnes(food_kg: float) -> tuple[float, float]:
    """CO2-equivalent spared by food not landfilled, low and high [t]. Never for leaves or grass."""
    low, high = FOOD_SAVING_TONNES_PER_SHORT_TON
    return food_kg / KG_PER_SHORT_TON * low, food_kg / KG_PER_SHORT_TON * high
