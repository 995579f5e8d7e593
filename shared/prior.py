"""What nobody knows of a pile and its keepers: how far each unknown may lie, and draws of them all."""

from collections.abc import Mapping
from functools import cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from shared import decay, heat, moisture

Array = npt.NDArray[np.float64]

# What differs from member to member: median and spread, "log" as the standard deviation of the logarithm.
# Medians follow the published values that `decay`, `heat` and `moisture` name; three lie a bit below, which
# fits the peaks of measured piles. How far and how fast an unturned pile slips out of reach is set so that it
# takes more than half a year, often a whole one, and a weekly turned one 10-12 weeks (common practice).
# Spreads are published ranges, read as 80 % of the cases.
PRIOR: Mapping[str, tuple[str, float, float]] = {
    "fast_per_day": ("log", 0.176, 0.23),
    "moderate_per_day": ("log", 0.0345, 0.23),
    "slow_per_day": ("log", decay.SLOW_PER_DAY, 0.30),
    "mild_peak": ("log", 0.70, 0.15),
    "mild_low_c": ("even", -5.0, 5.0),
    "growth_per_day": ("log", decay.GROWTH_PER_DAY, 0.30),
    "heat_mj_per_kg": ("log", decay.HEAT_MJ_PER_KG, 0.06),
    "conductivity": ("log", 0.38, 0.25),
    "film": ("log", heat.FILM_W_PER_M2_K, 0.30),
    "draught": ("log", 1.0, 0.40),
    "shell_share": ("even", 0.33, 0.05),
    "mixing": ("even", 0.80, 0.10),
    "turn_loss": ("even", 0.40, 0.10),
    "settling": ("even", 0.50, 0.12),
    "settling_days": ("log", 20.0, 0.40),
    "reach_floor": ("log", 0.18, 0.30),
    "reach_days": ("log", 22.0, 0.30),
    "catch_share": ("log", 0.45, 0.35),
    "et_share": ("log", moisture.ET_FACTOR, 0.40),
    "holding_moisture": ("even", moisture.HOLDING_MOISTURE, 0.03),
    "creep_per_day": ("log", moisture.SHELL_EXCHANGE_PER_DAY, 0.50),
    "water_l": ("log", 1.0, 0.30),
    # of the mix and of the one who tells us
    "mass": ("log", 1.0, 0.20),
    "fast_share": ("log", 1.0, 0.20),
    "moderate_share": ("log", 1.0, 0.15),
    "c_n": ("log", 1.0, 0.15),
    "nitrogen_need": ("even", 0.35, 0.35),
    "wetter": ("even", 0.0, 0.08),
    "pieces": ("log", 1.0, 0.12),
    "probe_gain": ("log", 0.93, 0.08),  # the tip seldom reaches the very middle
    "hand_bias": ("even", 0.0, 0.04),
    "turn_habit": ("even", 0.0, 1.0),
    "water_habit": ("even", 0.0, 1.0),
    "overdue": ("even", 0.5, 0.3),
}
INGREDIENT_SPREAD = 0.40  # home volumes are told ±30 %, and densities differ as much
INGREDIENTS = 8  # more than so many share their luck
BOUNDS = {
    "shell_share": (0.2, 0.45),
    "mixing": (0.5, 1.0),
    "turn_loss": (0.1, 0.6),
    "settling": (0.1, 0.85),
    "reach_floor": (0.05, 1.0),
    "nitrogen_need": (0.0, 1.5),
    "catch_share": (0.02, 1.0),
    "holding_moisture": (0.6, 0.78),
    "overdue": (0.0, 1.0),
}


def drawn(members: int, seed: int) -> tuple[Mapping[str, Array], Array]:
    """Each unknown by its name [member], and the luck of each ingredient as standard normal numbers."""
    z = _draws(members, seed)
    return {name: _spread(name, z[row]) for row, name in enumerate(PRIOR)}, z[len(PRIOR) :]


@cache
def _draws(members: int, seed: int) -> Array:
    """Standard normal numbers spread evenly over each dimension (Latin hypercube) [dimension, member]."""
    rng = np.random.default_rng(seed)
    normal = NormalDist()
    levels = np.array([normal.inv_cdf((rank + 0.5) / members) for rank in range(members)])
    return np.array([rng.permutation(levels) for _ in range(len(PRIOR) + INGREDIENTS)])


def _spread(name: str, z: Array) -> Array:
    """Values of one unknown from standard normal numbers."""
    kind, middle, spread = PRIOR[name]
    values = middle * np.exp(spread * z) if kind == "log" else middle + spread * z
    return np.clip(values, *BOUNDS[name]) if name in BOUNDS else np.asarray(values)
