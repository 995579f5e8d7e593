"""How fast the matter of a pile is eaten: pools, their rates, and what slows them.

Base form dB/dt = -k f_T f_M f_FAS f_O2 f_CN B for each pool, first order (Mason 2006, Waste Management
26:3-21). Factors are 1 where nothing slows decay and 0 where it stops.
"""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from shared.compiled import compiled, exponential

# Rates at the optimum [1/day]; the moderate one lies inside 0.020-0.040 of Michel et al. 1993.
FAST_PER_DAY = 0.20
MODERATE_PER_DAY = 0.04
SLOW_PER_DAY = 0.003

# Start-up: activity from a tenth, growing as exp(6 f_T t), so that a fresh pile heats in about two days.
START_ACTIVITY = 0.1
GROWTH_PER_DAY = 6.0

HEAT_MJ_PER_KG = 17.5  # per kg of volatile matter oxidised; plant matter 17-19 (Cotera uses 17.5)
OXYGEN_KG_PER_KG = 1.3  # per kg of volatile matter; mixes 1.2-1.6
WATER_KG_PER_KG = 0.55  # formed per kg oxidised; stoichiometry 0.556 (cellulose) to 0.600 (glucose)
CARBON_SHARE = 1 / 1.8  # of volatile matter (New Zealand formula, NRAES-54)

AIR_OXYGEN_PCT = 20.9
AIR_OXYGEN_KG_PER_KG = 0.2314
OXYGEN_HALF_PCT = 2.0  # Haug 1993


@compiled
def cardinal(temp_c: float, low_c: float, best_c: float, high_c: float) -> tuple[float, float]:
    """Growth between cardinal temperatures, 1 at `best_c` [-], and its slope [1/K].

    Source: Rosso et al. 1993, CTMI.
    """
    above, beyond, span = temp_c - low_c, temp_c - high_c, best_c - low_c
    bend = span + 2.0 * (best_c - high_c)
    below = span * (temp_c - best_c) - (best_c - high_c) * (best_c + low_c - 2.0 * temp_c)
    growth = beyond * above * above / (span * below)
    slope = (above * (above + 2.0 * beyond) - growth * bend * span) / (span * below)
    grows = low_c < temp_c < high_c
    return (growth if grows else 0.0), (slope if grows else 0.0)


@compiled
def temperature_factor(temp_c: float, mild_peak: float, mild_low_c: float) -> tuple[float, float]:
    """Two communities, mild (best at 37 °C) and hot (best at 58 °C) [-], and the slope [1/K].

    The mild one reaches `mild_peak`, usually 0.7, and wakes at `mild_low_c`, about -5 °C. Published
    responses differ most in the cold: 0.02 to 0.33 at 10 °C.
    """
    mild, mild_slope = cardinal(temp_c, mild_low_c, 37.0, 52.0)
    hot, hot_slope = cardinal(temp_c, 20.0, 58.0, 75.0)
    mild *= mild_peak
    return max(mild, hot), (mild_peak * mild_slope if mild > hot else hot_slope)


@compiled
def moisture_factor(moisture: float) -> float:
    """Slowing by dryness, moisture in kg water/kg wet [-]. Source: Haug 1993."""
    return 1.0 / (exponential(-17.684 * moisture + 7.0622) + 1.0)


@compiled
def air_space_factor(free_air: float) -> float:
    """Slowing by too little free air space [m³/m³] [-]. Source: Haug 1993."""
    return 1.0 / (exponential(-23.675 * free_air + 3.4945) + 1.0)


@compiled
def oxygen_factor(oxygen_pct: float) -> float:
    """Slowing by little oxygen in the pores [volume %] [-]. Source: Haug 1993."""
    return oxygen_pct / (oxygen_pct + OXYGEN_HALF_PCT)


@compiled
def oxygen_drop_pct(demand_kg_per_day: float, air_kg_per_day: float) -> float:
    """What the oxygen in a flow of air falls by when `demand` is used from it [volume %]."""
    return AIR_OXYGEN_PCT / AIR_OXYGEN_KG_PER_KG * demand_kg_per_day / air_kg_per_day


@compiled
def oxygen_left_pct(drop_pct: float, inflow_pct: float) -> float:
    """Oxygen at which supply meets demand [volume %], where `drop_pct` is the drop at factor 1.

    Solves y = y_in - drop·y/(y + 2).
    """
    half = 0.5 * (inflow_pct - OXYGEN_HALF_PCT - drop_pct)
    root = sqrt(half * half + OXYGEN_HALF_PCT * inflow_pct)
    return half + root if half > 0.0 else OXYGEN_HALF_PCT * inflow_pct / (root - half)


@compiled
def oxygen_slope(left_pct: float, drop_pct: float) -> float:
    """How much more is used where a little more is asked for: less than `oxygen_factor`, as it runs short."""
    more = left_pct + OXYGEN_HALF_PCT
    return left_pct / (more + drop_pct * OXYGEN_HALF_PCT / more)


def nitrogen_factor(c_n: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slowing by too little nitrogen: 1 up to C:N 35, 0.5 at 60, 0.3 at 100 and more, linear between [-]."""
    return np.interp(c_n, (35.0, 60.0, 100.0), (1.0, 0.5, 0.3))


@compiled
def reach(matting_days: float, floor: float, reach_days: float) -> float:
    """Share of the matter that is in reach of air, water and microbes [-]: all of it when just turned, then
    less with each moist day as it mats and airs through channels; set so that an unturned pile needs over
    half a year where a weekly turned one needs 10-12 weeks (common practice)."""
    return floor + (1.0 - floor) * exponential(-matting_days / reach_days)


@compiled
def share_left(spent: float) -> float:
    """What a first-order loss leaves of a pool [-], e^-x to the third power; `spent` is rate times days."""
    return 1.0 - spent * (1.0 - spent * (0.5 - spent / 6.0))
