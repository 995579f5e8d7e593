"""What goes into the simulated piles: the simulator's own reading of the literature, one row a material."""

from dataclasses import dataclass, fields

import numpy as np

# Sources: Rynk 1992 (NRAES-54) table A.1 for C:N, nitrogen, moisture and density; lignin after Chandler
# et al. 1980 for the pools; state agencies' volume factors for loose densities. Woody and kitchen rows,
# `pace`, `hold` and `press` are partly from memory.
#  id               n_pct   c_n moisture density   vs  fast  mod  pace   hold  press
_ROWS = """
dry_leaves          0.9    54   0.30    100   0.90  0.10  0.40  0.75   2.6   1.9
straw               0.7    80   0.12    100   0.92  0.08  0.50  0.90   2.8   1.6
hay                 1.4    30   0.12    130   0.92  0.15  0.48  1.00   2.8   1.6
sawdust             0.24  440   0.30    230   0.98  0.02  0.17  0.60   2.4   1.1
wood_chips          0.2   250   0.35    270   0.97  0.02  0.15  0.45   1.6   1.0
cardboard           0.1   500   0.08     70   0.94  0.02  0.47  0.90   2.6   2.0
newspaper           0.1   500   0.07    110   0.98  0.02  0.22  0.90   2.4   1.7
shredded_paper      0.2   220   0.06     90   0.93  0.03  0.75  1.10   2.6   1.9
pine_needles        0.7    80   0.22     70   0.96  0.07  0.28  0.50   1.8   1.4
twigs               0.6    85   0.38    170   0.96  0.03  0.28  0.40   1.5   1.1
corn_stalks         0.7    65   0.20     60   0.93  0.09  0.48  0.80   2.4   1.6
grass_clippings     3.2    17   0.79    220   0.86  0.40  0.35  1.20   2.6   2.0
vegetable_scraps    2.7    17   0.87    480   0.90  0.56  0.27  1.30   2.4   1.3
fruit_scraps        1.4    35   0.82    520   0.94  0.58  0.25  1.25   2.2   1.2
kitchen_scraps      2.4    16   0.70    450   0.88  0.55  0.27  1.25   2.3   1.2
coffee_grounds      2.2    20   0.62    450   0.98  0.27  0.30  0.90   2.3   1.0
garden_trimmings    2.2    22   0.70    180   0.88  0.33  0.35  1.05   2.3   1.6
weeds               2.4    20   0.78    190   0.86  0.38  0.35  1.10   2.5   1.8
flowers             2.2    23   0.78    170   0.88  0.38  0.36  1.10   2.5   1.8
chicken_manure      3.4    13   0.40    490   0.78  0.28  0.36  1.10   2.0   1.1
horse_manure        1.6    30   0.68    600   0.80  0.18  0.37  0.95   2.6   1.2
cow_manure          2.2    19   0.79    800   0.80  0.18  0.33  0.90   2.6   1.1
rabbit_manure       2.8    13   0.58    480   0.82  0.24  0.36  1.00   2.4   1.1
soil                0.2    11   0.15   1200   0.05  0.00  0.10  0.50   0.4   1.0
finished_compost    1.4    15   0.45    600   0.48  0.02  0.12  0.50   1.6   1.0
"""


@dataclass(frozen=True, slots=True)
class Material:
    """nitrogen [% of dry], carbon to nitrogen [-], moisture [wet basis], loose density [kg/m³], volatile
    share of dry, fast and moderate share of volatile, pace against the mean, water it can hold [kg/kg dry],
    and by how much its loose volume packs when a pile is built."""

    n_pct: float
    c_n: float
    moisture: float
    density: float
    vs: float
    fast: float
    mod: float
    pace: float
    hold: float
    press: float


MATERIALS = {
    cells[0]: Material(*map(float, cells[1:]))
    for cells in (row.split() for row in _ROWS.strip().splitlines())
}
IDS = tuple(MATERIALS)
TABLE = {f.name: np.array([getattr(m, f.name) for m in MATERIALS.values()]) for f in fields(Material)}

# (weight, browns with their shares, greens with their shares, brown parts to one green part: low and high)
RECIPES = (
    (22, {"dry_leaves": 1.0}, {"grass_clippings": 1.0}, 0.6, 2.5),
    (14, {"dry_leaves": 0.9, "cardboard": 0.1}, {"kitchen_scraps": 0.7, "coffee_grounds": 0.3}, 2.0, 5.0),
    (10, {"dry_leaves": 0.8, "twigs": 0.2}, {"garden_trimmings": 0.6, "weeds": 0.4}, 0.4, 1.5),
    (7, {"straw": 1.0}, {"chicken_manure": 1.0}, 3.0, 8.0),
    (7, {"straw": 0.6, "dry_leaves": 0.4}, {"horse_manure": 0.7, "kitchen_scraps": 0.3}, 0.8, 2.5),
    (6, {"wood_chips": 0.6, "dry_leaves": 0.4}, {"grass_clippings": 0.7, "coffee_grounds": 0.3}, 0.7, 2.0),
    (6, {"shredded_paper": 0.5, "cardboard": 0.5}, {"vegetable_scraps": 0.6, "fruit_scraps": 0.4}, 2.0, 5.0),
    (6, {"dry_leaves": 1.0}, {"vegetable_scraps": 0.5, "grass_clippings": 0.5}, 1.2, 3.5),
    (6, {"hay": 0.7, "corn_stalks": 0.3}, {"cow_manure": 0.6, "weeds": 0.4}, 1.5, 4.0),
    (5, {"dry_leaves": 0.7, "pine_needles": 0.3}, {"coffee_grounds": 0.5, "grass_clippings": 0.5}, 1.0, 4.0),
    (5, {"dry_leaves": 0.95, "soil": 0.05}, {"grass_clippings": 1.0}, 5.0, 20.0),
    (3, {"twigs": 0.6, "wood_chips": 0.4}, {"garden_trimmings": 1.0}, 0.5, 1.5),
    (3, {"sawdust": 0.5, "straw": 0.5}, {"rabbit_manure": 0.6, "grass_clippings": 0.4}, 0.8, 2.5),
    (2, {"newspaper": 0.6, "dry_leaves": 0.4}, {"flowers": 0.5, "garden_trimmings": 0.5}, 0.5, 1.5),
)
