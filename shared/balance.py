"""One pile, day by day: a warm core and a cooler shell that turning mixes, in heat, water, air and matter.

`lanes` is a record of piles side by side (`shared/lanes.py`), and `at` the lane of the one that is meant.
"""

from typing import Any

from shared import decay, heat, moisture
from shared.compiled import compiled, cube_root, exponential
from shared.weather import CATCH

COVERED_CATCH, OPEN_CATCH = CATCH["covered"], CATCH["domed"]
DAMP = 0.45  # a top drier than this gives less to the air; assumed
DRY_TO_THE_AIR = 0.20  # moisture below which matter no longer saturates the air in it; assumed
WARMING_STEP_K = 20.0  # a step is so short that heat alone moves no core by more; errs by 0.2 K
LOOK_AHEAD_K = 10.0
MOST_STEPS = 12


@compiled
def dry_kg(node: Any, at: int) -> float:
    """Dry matter of a node [kg]."""
    total: float = node.fast_kg[at] + node.moderate_kg[at] + node.slow_kg[at] + node.ash_kg[at]
    return total


@compiled
def water_share(node: Any, at: int) -> float:
    """Moisture of a node, wet basis [kg/kg]."""
    return moisture.moisture_of(node.water_kg[at], dry_kg(node, at))


@compiled
def volume_m3(pile: Any, at: int) -> float:
    """Volume that shapes heat: 0.30 + 0.70 of the dry matter that is left, times what was filled [m³]."""
    left = (dry_kg(pile.core, at) + dry_kg(pile.shell, at)) / pile.ever_dry_kg[at]
    volume: float = pile.filled_m3[at] * (0.30 + 0.70 * left)
    return volume


@compiled
def _hold(node: Any, held: Any, node_m3: float, settled: float, reached: float, at: int) -> float:
    """Set a node's day-long factors; give its free air space [m³/m³]."""
    organic = node.fast_kg[at] + node.moderate_kg[at] + node.slow_kg[at]
    free = settled * moisture.free_air_space(node_m3, node.water_kg[at], organic, node.ash_kg[at])
    wet = water_share(node, at)
    held.slowing[at] = reached * decay.moisture_factor(wet) * decay.air_space_factor(free)
    held.damp[at] = min(1.0, wet / DRY_TO_THE_AIR)
    return free


@compiled
def _wish(node: Any, own: Any, at: int) -> tuple[float, float]:
    """Volatile matter that would burn at factor 1 [kg/day], and how fast this fades at factor 1 [kg/day²]."""
    fast = own.fast_per_day[at] * node.fast_kg[at]
    moderate = own.moderate_per_day[at] * node.moderate_kg[at]
    slow = own.slow_per_day[at] * node.slow_kg[at]
    fading = own.fast_per_day[at] * fast + own.moderate_per_day[at] * moderate + own.slow_per_day[at] * slow
    return fast + moderate + slow, fading


@compiled
def dawn(lanes: Any, at: int) -> None:
    """Set what holds for the day: factors of decay, draught, conductances, and how restless it will be."""
    pile, own, day = lanes.pile, lanes.own, lanes.day
    volume, since = volume_m3(pile, at), pile.matting_days[at]
    side_m, outer = cube_root(volume), own.shell_share[at]
    settled = moisture.settled_air(1.0, own.settling[at], own.settling_days[at], since)
    reached = own.nitrogen_slowing[at] * decay.reach(since, own.reach_floor[at], own.reach_days[at])
    pile.free_air[at] = _hold(pile.core, day.core, volume * (1.0 - outer), settled, reached, at)
    _hold(pile.shell, day.shell, volume * outer, settled, reached, at)
    day.still_air[at] = own.draught[at] * heat.still_draught_kg_per_day(side_m, pile.free_air[at])
    inner, skin = heat.conductances_w_per_k(side_m, outer, own.conductivity[at], own.film[at])
    day.inner[at] = heat.MJ_PER_DAY_PER_W * inner
    day.outer[at] = heat.MJ_PER_DAY_PER_W * skin
    day.mean_c[at] = 0.0
    day.restless_k[at] = _restless_k(lanes, at)


@compiled
def _restless_k(lanes: Any, at: int) -> float:
    """What heat alone would add to the core in the day ahead, and half its distance from the shell [K]."""
    pile, own, core = lanes.pile, lanes.own, lanes.pile.core
    peak, low_c, core_c = own.mild_peak[at], own.mild_low_c[at], core.temp_c[at]
    factor = max(
        decay.temperature_factor(core_c, peak, low_c)[0],
        decay.temperature_factor(core_c + LOOK_AHEAD_K, peak, low_c)[0],
    )
    slowing = lanes.day.core.slowing[at]
    activity = min(1.0, pile.activity[at] * exponential(own.growth_per_day[at] * factor * slowing))
    made = own.heat_mj_per_kg[at] * factor * activity * slowing * _wish(core, own, at)[0]
    gain_k = made / heat.heat_capacity_mj_per_k(core.water_kg[at], dry_kg(core, at))
    restless_k: float = gain_k + 0.5 * abs(core_c - pile.shell.temp_c[at])
    return restless_k


@compiled
def steps(day: Any, count: int) -> int:
    """Steps that the most restless of so many lanes needs for its day: many while heat comes fast."""
    restless_k = 0.0
    for at in range(count):
        restless_k = max(restless_k, day.restless_k[at])
    return 1 + int(min(restless_k / WARMING_STEP_K, MOST_STEPS - 1.0))


@compiled
def _lateness(damping: float) -> float:
    """Where in a step its mean lies: in the middle of a short one, near the end where it comes to rest [-].

    `damping` is the step in time constants x; (1 + x)/(2 + x) leaves 1/(1 + x + x²/2) of a start that fades.
    """
    x = max(0.0, damping)
    return (1.0 + x) / (2.0 + x)


@compiled
def _grow(lanes: Any, at: int, factor: float, days: float) -> float:
    """Let the start-up activity grow through a step; its value halfway [-]."""
    pile, own = lanes.pile, lanes.own
    grown = exponential(0.5 * days * own.growth_per_day[at] * factor * lanes.day.core.slowing[at])
    halfway: float = min(1.0, pile.activity[at] * grown)
    pile.activity[at] = min(1.0, pile.activity[at] * grown * grown)
    return halfway


@compiled
def _paces(lanes: Any, at: int, flow: float, days: float) -> tuple[float, float, float, float]:
    """Pace of decay [-] of core and shell at the start of a step, then how it rises with warmth [1/K].

    Air comes to the core through the shell, which uses up some of its oxygen.
    """
    own, core, shell, day = lanes.own, lanes.pile.core, lanes.pile.shell, lanes.day
    f_core, rise_core = decay.temperature_factor(core.temp_c[at], own.mild_peak[at], own.mild_low_c[at])
    f_shell, rise_shell = decay.temperature_factor(shell.temp_c[at], own.mild_peak[at], own.mild_low_c[at])
    active = _grow(lanes, at, f_core, days)
    work_core, work_shell = active * day.core.slowing[at], active * day.shell.slowing[at]
    drop = decay.oxygen_drop_pct(decay.OXYGEN_KG_PER_KG, flow)
    drop_shell = drop * work_shell * f_shell * _wish(shell, own, at)[0]
    o2_shell = decay.oxygen_left_pct(drop_shell, decay.AIR_OXYGEN_PCT)
    drop_core = drop * work_core * f_core * _wish(core, own, at)[0]
    o2_core = decay.oxygen_left_pct(drop_core, o2_shell)
    return (
        work_core * f_core * decay.oxygen_factor(o2_core),
        work_shell * f_shell * decay.oxygen_factor(o2_shell),
        work_core * rise_core * decay.oxygen_slope(o2_core, drop_core),
        work_shell * rise_shell * decay.oxygen_slope(o2_shell, drop_shell),
    )


@compiled
def step(lanes: Any, at: int, days: float) -> None:
    """One step of heat, matter and the water that the draught carries off.

    Air enters through the shell and leaves through the core. Temperatures: a linearly implicit step with the
    slopes of decay, draught and evaporation, near second order; matter goes by the step's mean warmth.
    """
    pile, own, day = lanes.pile, lanes.own, lanes.day
    core, shell = pile.core, pile.shell
    core_c, shell_c, air_c = core.temp_c[at], shell.temp_c[at], day.air_c[at]
    flow = day.still_air[at] * heat.draught_share(core_c - air_c)
    more_flow = day.still_air[at] * heat.DRAUGHT_SLOPE_PER_K if core_c > air_c else 0.0
    pace_core, pace_shell, quicker_core, quicker_shell = _paces(lanes, at, flow, days)
    wish_core, fading_core = _wish(core, own, at)
    wish_shell, fading_shell = _wish(shell, own, at)
    w_core, h_core, slope_core = heat.air_leaving(core_c, day.core.damp[at])
    w_shell, h_shell, slope_shell = heat.air_leaving(shell_c, day.shell.damp[at])
    h_air = heat.enthalpy_mj(air_c, day.w_air[at])

    made, inner, outer = own.heat_mj_per_kg[at], day.inner[at], day.outer[at]
    across = inner * (core_c - shell_c)
    gain_core = made * pace_core * (wish_core - 0.5 * days * pace_core * fading_core)
    gain_core -= across + flow * (h_core - h_shell)
    gain_shell = made * pace_shell * (wish_shell - 0.5 * days * pace_shell * fading_shell)
    gain_shell += across - outer * (shell_c - air_c) - flow * (h_shell - h_air)

    # (a b; c d) is the heat capacity plus the step times how the gains fall with warmth
    c_core = heat.heat_capacity_mj_per_k(core.water_kg[at], dry_kg(core, at))
    c_shell = heat.heat_capacity_mj_per_k(shell.water_kg[at], dry_kg(shell, at))
    a = days * (inner + flow * slope_core + more_flow * (h_core - h_shell) - made * wish_core * quicker_core)
    b = -days * (inner + flow * slope_shell)
    c = days * (more_flow * (h_shell - h_air) - inner)
    d = days * (inner + outer + flow * slope_shell - made * wish_shell * quicker_shell)
    late_core, late_shell = _lateness(a / c_core), _lateness(d / c_shell)
    a, b = max(0.5 * c_core, c_core + late_core * a), late_core * b
    c, d = late_shell * c, max(0.5 * c_shell, c_shell + late_shell * d)
    per = days / (a * d - b * c)
    warmer_core = per * (d * gain_core - b * gain_shell)
    warmer_shell = per * (a * gain_shell - c * gain_core)
    core.temp_c[at], shell.temp_c[at] = core_c + warmer_core, shell_c + warmer_shell
    day.mean_c[at] += days * (core_c + late_core * warmer_core)

    spent_core = days * max(0.0, pace_core + late_core * quicker_core * warmer_core)
    spent_shell = days * max(0.0, pace_shell + late_shell * quicker_shell * warmer_shell)
    outer_share = own.shell_share[at]
    pile.eaten_days[at] += outer_share * spent_shell + (1.0 - outer_share) * spent_core
    _burn(core, own, spent_core, at)
    _burn(shell, own, spent_shell, at)
    carry_off(pile, core, days * flow * (w_core - w_shell), at)
    carry_off(pile, shell, days * flow * (w_shell - day.w_air[at]), at)


@compiled
def _burn(node: Any, own: Any, days: float, at: int) -> None:
    """Take what burns in so many days at the optimum out of the pools, put the water that it forms in."""
    fast = node.fast_kg[at] * decay.share_left(own.fast_per_day[at] * days)
    moderate = node.moderate_kg[at] * decay.share_left(own.moderate_per_day[at] * days)
    slow = node.slow_kg[at] * decay.share_left(own.slow_per_day[at] * days)
    burnt = node.fast_kg[at] - fast + (node.moderate_kg[at] - moderate) + (node.slow_kg[at] - slow)
    node.fast_kg[at], node.moderate_kg[at], node.slow_kg[at] = fast, moderate, slow
    node.water_kg[at] += decay.WATER_KG_PER_KG * burnt


@compiled
def carry_off(pile: Any, node: Any, water_kg: float, at: int) -> None:
    """Evaporate (or, below 0, condense) water, never more than half of what is there."""
    gone = min(water_kg, 0.5 * node.water_kg[at])
    node.water_kg[at] -= gone
    pile.gained_kg[at] -= gone


@compiled
def drain(pile: Any, own: Any, at: int) -> None:
    """What the shell cannot hold seeps into the core; what the core cannot hold drains away."""
    shell, core, most = pile.shell, pile.core, own.holding_moisture[at]
    over = max(0.0, shell.water_kg[at] - moisture.holding_kg(dry_kg(shell, at), most))
    shell.water_kg[at] -= over
    core.water_kg[at] += over
    over = max(0.0, core.water_kg[at] - moisture.holding_kg(dry_kg(core, at), most))
    core.water_kg[at] -= over
    pile.drained_kg[at] += over


@compiled
def dusk(lanes: Any, at: int) -> None:
    """The day's rain and drying at the surface, and water creeping between shell and core."""
    pile, own, day = lanes.pile, lanes.own, lanes.day
    core, shell = pile.core, pile.shell
    open_share = own.catch_share[at]
    if day.covered[at] == 0.0:
        open_share = max(OPEN_CATCH, open_share)
    if day.covered[at] == 1.0:
        open_share = COVERED_CATCH
    caught = day.rain_mm[at] * own.plan_m2[at] * open_share
    shell.water_kg[at] += caught
    pile.gained_kg[at] += caught
    bare = min(1.0, open_share / OPEN_CATCH)
    wetness = min(1.0, water_share(shell, at) / DAMP)
    carry_off(pile, shell, day.et0_mm[at] * own.et_share[at] * own.plan_m2[at] * bare * wetness, at)
    core_dry, shell_dry = dry_kg(core, at), dry_kg(shell, at)
    even = (core.water_kg[at] + shell.water_kg[at]) / (core_dry + shell_dry)
    creep = own.creep_per_day[at] * (even * shell_dry - shell.water_kg[at])
    shell.water_kg[at] += creep
    core.water_kg[at] -= creep
    drain(pile, own, at)
    pile.matting_days[at] += decay.moisture_factor(water_share(core, at))
