"""The same laws as differential equations, for SciPy to integrate: what our steps are held against."""

from collections.abc import Collection
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from shared import balance, decay, heat, moisture, tending

POOLS = ("fast_kg", "moderate_kg", "slow_kg", "water_kg", "temp_c")
FIELDS = [(node, pool) for node in ("core", "shell") for pool in POOLS]
Floats = NDArray[np.float64]


def state_of(pile: Any) -> Floats:
    """What changes within a day: five of each node, start-up activity, and the core's warmth summed up."""
    fields = [float(getattr(getattr(pile, node), pool)[0]) for node, pool in FIELDS]
    return np.array([*fields, float(pile.activity[0]), 0.0])


def put(pile: Any, state: Floats) -> None:
    """Write a state back."""
    for (node, pool), value in zip(FIELDS, state, strict=False):
        getattr(getattr(pile, node), pool)[0] = value
    pile.activity[0] = min(1.0, state[10])


@njit(error_model="numpy")
def _humidity(temp_c: float, water_kg: float, dry_kg: float) -> float:
    """Humidity of the air that leaves a node [kg/kg]."""
    damp = min(1.0, moisture.moisture_of(water_kg, dry_kg) / balance.DRY_TO_THE_AIR)
    return heat.humidity(heat.saturation_kpa(temp_c) * damp)


@njit(error_model="numpy")
def slopes(_: float, y: Floats, lanes: Any) -> Floats:
    """The day's differential equations as SciPy wants them, from the same laws as `balance`."""
    own, day = lanes.own, lanes.day
    core, shell, active = y[:5], y[5:10], min(1.0, y[10])
    air_c, w_air = day.air_c[0], day.w_air[0]
    flow = day.still_air[0] * heat.draught_share(core[4] - air_c)
    work_core = active * day.core.slowing[0]
    work_core *= decay.temperature_factor(core[4], own.mild_peak[0], own.mild_low_c[0])[0]
    work_shell = active * day.shell.slowing[0]
    work_shell *= decay.temperature_factor(shell[4], own.mild_peak[0], own.mild_low_c[0])[0]
    rates = np.array([own.fast_per_day[0], own.moderate_per_day[0], own.slow_per_day[0]])
    drop = decay.oxygen_drop_pct(decay.OXYGEN_KG_PER_KG, flow)
    o2_shell = decay.oxygen_left_pct(drop * work_shell * np.sum(rates * shell[:3]), decay.AIR_OXYGEN_PCT)
    o2_core = decay.oxygen_left_pct(drop * work_core * np.sum(rates * core[:3]), o2_shell)
    pace_core = work_core * decay.oxygen_factor(o2_core)
    pace_shell = work_shell * decay.oxygen_factor(o2_shell)
    burn_core, burn_shell = pace_core * np.sum(rates * core[:3]), pace_shell * np.sum(rates * shell[:3])

    dry_core = core[0] + core[1] + core[2] + lanes.pile.core.ash_kg[0]
    dry_shell = shell[0] + shell[1] + shell[2] + lanes.pile.shell.ash_kg[0]
    w_core, w_shell = _humidity(core[4], core[3], dry_core), _humidity(shell[4], shell[3], dry_shell)
    h_core, h_shell = heat.enthalpy_mj(core[4], w_core), heat.enthalpy_mj(shell[4], w_shell)
    across = day.inner[0] * (core[4] - shell[4])
    gain_core = own.heat_mj_per_kg[0] * burn_core - across - flow * (h_core - h_shell)
    gain_shell = own.heat_mj_per_kg[0] * burn_shell + across - day.outer[0] * (shell[4] - air_c)
    gain_shell -= flow * (h_shell - heat.enthalpy_mj(air_c, w_air))

    out = np.empty(12)
    out[:3], out[5:8] = -pace_core * rates * core[:3], -pace_shell * rates * shell[:3]
    out[3] = decay.WATER_KG_PER_KG * burn_core - flow * (w_core - w_shell)
    out[8] = decay.WATER_KG_PER_KG * burn_shell - flow * (w_shell - w_air)
    out[4] = gain_core / heat.heat_capacity_mj_per_k(core[3], dry_core)
    out[9] = gain_shell / heat.heat_capacity_mj_per_k(shell[3], dry_shell)
    warmth = decay.temperature_factor(core[4], own.mild_peak[0], own.mild_low_c[0])[0]
    out[10] = own.growth_per_day[0] * warmth * day.core.slowing[0] * y[10]  # beyond 1 it counts as 1
    out[11] = core[4]
    return out


def by_scipy(lanes: Any, sky: Floats, turned: Collection[int], tolerance: float) -> Floats:
    """Run the member in lane 0 with `solve_ivp`, day by day under a sky [day, 4]; daily means of its core.

    Within a day heat and matter follow the equations; rain, drying and turns come at its end, as in `life`.
    """
    pile, day, means = lanes.pile, lanes.day, np.empty(len(sky))
    day.covered[0] = -1.0
    for number, above in enumerate(sky):
        day.air_c[0], day.w_air[0], day.rain_mm[0], day.et0_mm[0] = above
        balance.dawn(lanes, 0)
        found = solve_ivp(
            slopes, (0, 1), state_of(pile), "LSODA", args=(lanes,), rtol=tolerance, atol=tolerance
        )
        put(pile, found.y[:, -1])
        means[number] = found.y[11, -1]
        balance.dusk(lanes, 0)
        if number in turned:
            tending.turn(lanes, 0)
    return means
