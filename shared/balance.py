"""One pile, day by day: a warm core and a cooler shell that turning mixes, in heat, water, air and matter.

Compiled code over NumPy records, so that hundreds of likely piles can be run where a reply waits for them.
A `traits` record is what stays fixed for one likely pile, a `pile` record is what changes.
"""

from typing import Any

import numpy as np

from shared import decay, heat, moisture
from shared.compiled import compiled

NODE = np.dtype(
    [
        ("fast_kg", "f8"),  # volatile matter by pool: sugars, starch, protein
        ("moderate_kg", "f8"),  # cellulose and the like
        ("slow_kg", "f8"),  # lignin, wood
        ("ash_kg", "f8"),
        ("water_kg", "f8"),
        ("temp_c", "f8"),
        ("slowing", "f8"),  # product of the factors that change from day to day, not from hour to hour
    ]
)

PILE = np.dtype(
    [
        ("core", NODE),
        ("shell", NODE),
        ("activity", "f8"),  # start-up, 0.1 to 1
        ("days_since_turn", "f8"),
        ("ever_fast_kg", "f8"),  # all that was ever put in
        ("ever_moderate_kg", "f8"),
        ("ever_dry_kg", "f8"),
        ("filled_m3", "f8"),  # volume that all of it took up when it was put in
        ("free_air", "f8"),
        ("eaten_days", "f8"),  # days of decay at the optimum that the whole has had
        ("quiet_days", "f8"),  # days running on which it was done but for the rest
        ("ready_day", "f8"),  # day of `ready` since the build, NaN before
        ("next_turn", "f8"),  # day on which the keeper is taken to turn next
        ("drained_kg", "f8"),
        ("gained_kg", "f8"),  # water from rain, cans and additions, less what evaporated
        ("luck", "u8"),  # state of this member's own random numbers
    ]
)

TRAITS = np.dtype(
    [
        ("fast_per_day", "f8"),  # rates at the optimum
        ("moderate_per_day", "f8"),
        ("slow_per_day", "f8"),
        ("mild_peak", "f8"),  # height of the mild community's best, and where it wakes [°C]
        ("mild_low_c", "f8"),
        ("growth_per_day", "f8"),
        ("nitrogen_slowing", "f8"),  # factor of the mix's C:N
        ("heat_mj_per_kg", "f8"),
        ("conductivity", "f8"),  # W/m K
        ("film", "f8"),  # W/m² K
        ("draught", "f8"),  # natural draught over the usual
        ("shell_share", "f8"),  # of the volume
        ("mixing", "f8"),  # how far a turn evens core and shell out, 0 to 1
        ("turn_loss", "f8"),  # share of the rise over the air that a turn loses
        ("settling", "f8"),  # share of the air space that settling takes in the end
        ("settling_days", "f8"),
        ("reach_floor", "f8"),  # see decay.reach
        ("reach_days", "f8"),
        ("catch_share", "f8"),  # of the rain on the top
        ("et_share", "f8"),  # of reference evapotranspiration
        ("plan_m2", "f8"),
        ("holding_moisture", "f8"),
        ("creep_per_day", "f8"),  # water between core and shell
        ("turn_every_days", "f8"),  # the keeper's habit to come
        ("water_chance", "f8"),  # a day, when drier than water_below
        ("water_l", "f8"),
        ("water_below", "f8"),
    ]
)


COVERED_CATCH = 0.05  # of the rain; open tops catch at least 0.45 (common practice)
OPEN_CATCH = 0.45
DAMP = 0.45  # a top drier than this gives less to the air; assumed
DRY_TO_THE_AIR = 0.20  # moisture below which matter no longer saturates the air in it; assumed
WARMING_STEP_K = 5.0  # a step is so short that heat alone moves the core by less than this
LOOK_AHEAD_K = 10.0
MOST_STEPS = 12


@compiled
def dry_kg(node: Any) -> float:
    """Dry matter of a node [kg]."""
    total: float = node.fast_kg + node.moderate_kg + node.slow_kg + node.ash_kg
    return total


@compiled
def water_share(node: Any) -> float:
    """Moisture of a node, wet basis [kg/kg]."""
    return moisture.moisture_of(node.water_kg, dry_kg(node))


@compiled
def volume_m3(pile: Any) -> float:
    """Volume that shapes heat: 0.30 + 0.70 of the dry matter that is left, times what was filled [m³]."""
    left = (dry_kg(pile.core) + dry_kg(pile.shell)) / pile.ever_dry_kg
    volume: float = pile.filled_m3 * (0.30 + 0.70 * left)
    return volume


@compiled
def _slow_down(node: Any, node_m3: float, settled: float, nitrogen: float) -> float:
    """Set the node's day-long factors (dryness, air space, nitrogen); give its free air space [m³/m³]."""
    organic = node.fast_kg + node.moderate_kg + node.slow_kg
    free = settled * moisture.free_air_space(node_m3, node.water_kg, organic, node.ash_kg)
    node.slowing = decay.moisture_factor(water_share(node)) * decay.air_space_factor(free) * nitrogen
    return free


@compiled
def _burning(node: Any, traits: Any, factor: float) -> float:
    """Volatile matter that would burn at this factor [kg/day]."""
    wish: float = traits.fast_per_day * node.fast_kg
    wish += traits.moderate_per_day * node.moderate_kg
    wish += traits.slow_per_day * node.slow_kg
    return factor * wish


@compiled
def _burn(node: Any, traits: Any, factor: float, days: float) -> None:
    """Take what burns in a step out of the pools and put the water that it forms in."""
    before = node.fast_kg + node.moderate_kg + node.slow_kg
    node.fast_kg *= decay.share_left(traits.fast_per_day * factor, days)
    node.moderate_kg *= decay.share_left(traits.moderate_per_day * factor, days)
    node.slow_kg *= decay.share_left(traits.slow_per_day * factor, days)
    burnt = before - (node.fast_kg + node.moderate_kg + node.slow_kg)
    node.water_kg += decay.WATER_KG_PER_KG * burnt


@compiled
def _outlet_humidity(temp_c: float, wetness: float) -> float:
    """Humidity of air that leaves a node: saturated, less where the matter is dry [kg/kg]."""
    return heat.humidity(heat.saturation_kpa(temp_c) * min(1.0, wetness / DRY_TO_THE_AIR))


@compiled
def _step(
    pile: Any,
    traits: Any,
    air_c: float,
    w_air: float,
    still_air: float,
    inner: float,
    outer: float,
    days: float,
) -> None:
    """One step of heat, matter and the water that the draught carries off.

    Air enters through the shell and leaves through the core. Temperatures: one linearly implicit step
    (the slope of biological heat counts where it damps). `still_air` is the draught without a rise
    [kg/day], `inner` and `outer` are conductances [MJ/day K].
    """
    core, shell = pile.core, pile.shell
    flow = still_air * heat.draught_share(core.temp_c - air_c)

    f_shell = decay.temperature_factor(shell.temp_c, traits.mild_peak, traits.mild_low_c)
    f_core = decay.temperature_factor(core.temp_c, traits.mild_peak, traits.mild_low_c)
    wish_shell = _burning(shell, traits, shell.slowing * pile.activity)
    wish_core = _burning(core, traits, core.slowing * pile.activity)
    oxygen_kg = decay.OXYGEN_KG_PER_KG
    o2_shell = decay.oxygen_left_pct(wish_shell * f_shell * oxygen_kg, flow, decay.AIR_OXYGEN_PCT)
    o2_core = decay.oxygen_left_pct(wish_core * f_core * oxygen_kg, flow, o2_shell)
    breath_shell, breath_core = decay.oxygen_factor(o2_shell), decay.oxygen_factor(o2_core)
    wish_shell *= breath_shell
    wish_core *= breath_core

    wet_shell, wet_core = water_share(shell), water_share(core)
    w_shell, w_core = _outlet_humidity(shell.temp_c, wet_shell), _outlet_humidity(core.temp_c, wet_core)
    h_air = heat.enthalpy_mj(air_c, w_air)
    h_shell, h_core = heat.enthalpy_mj(shell.temp_c, w_shell), heat.enthalpy_mj(core.temp_c, w_core)
    slope_shell = heat.enthalpy_slope_mj_per_k(shell.temp_c, w_shell)
    slope_core = heat.enthalpy_slope_mj_per_k(core.temp_c, w_core)

    c_core = heat.heat_capacity_mj_per_k(core.water_kg, dry_kg(core))
    c_shell = heat.heat_capacity_mj_per_k(shell.water_kg, dry_kg(shell))
    made = traits.heat_mj_per_kg
    across = inner * (core.temp_c - shell.temp_c)
    rate_core = (made * wish_core * f_core - across - flow * (h_core - h_shell)) / c_core
    rate_shell = (
        made * wish_shell * f_shell + across - outer * (shell.temp_c - air_c) - flow * (h_shell - h_air)
    ) / c_shell

    damp_core = decay.temperature_damping(core.temp_c, f_core, traits.mild_peak, traits.mild_low_c)
    damp_shell = decay.temperature_damping(shell.temp_c, f_shell, traits.mild_peak, traits.mild_low_c)
    a = 1.0 - days * (made * wish_core * damp_core - inner - flow * slope_core) / c_core
    b = -days * (inner + flow * slope_shell) / c_core
    c = -days * inner / c_shell
    d = 1.0 - days * (made * wish_shell * damp_shell - inner - outer - flow * slope_shell) / c_shell
    det = a * d - b * c
    core.temp_c += days * (d * rate_core - b * rate_shell) / det
    shell.temp_c += days * (a * rate_shell - c * rate_core) / det

    factor_shell = pile.activity * shell.slowing * f_shell * breath_shell
    factor_core = pile.activity * core.slowing * f_core * breath_core
    outer_share = traits.shell_share
    pile.eaten_days += days * (outer_share * factor_shell + (1.0 - outer_share) * factor_core)
    _burn(shell, traits, factor_shell, days)
    _burn(core, traits, factor_core, days)
    carry_off(pile, shell, days * flow * (w_shell - w_air))
    carry_off(pile, core, days * flow * (w_core - w_shell))
    if pile.activity < 1.0:
        grown = pile.activity * np.exp(traits.growth_per_day * f_core * core.slowing * days)
        pile.activity = min(1.0, grown)


@compiled
def carry_off(pile: Any, node: Any, water_kg: float) -> None:
    """Evaporate (or, below 0, condense) water, never more than half of what is there."""
    gone = min(water_kg, 0.5 * node.water_kg)
    node.water_kg -= gone
    pile.gained_kg -= gone


@compiled
def drain(pile: Any, traits: Any) -> None:
    """What the shell cannot hold seeps into the core; what the core cannot hold drains away."""
    shell, core = pile.shell, pile.core
    over = max(0.0, shell.water_kg - moisture.holding_kg(dry_kg(shell), traits.holding_moisture))
    shell.water_kg -= over
    core.water_kg += over
    over = max(0.0, core.water_kg - moisture.holding_kg(dry_kg(core), traits.holding_moisture))
    core.water_kg -= over
    pile.drained_kg += over


@compiled
def meet_the_sky(pile: Any, traits: Any, rain_mm: float, et0_mm: float, covered: float) -> None:
    """A day of rain and drying at the surface, and water creeping between shell and core."""
    open_share = traits.catch_share
    if covered == 1.0:
        open_share = COVERED_CATCH
    elif covered == 0.0:
        open_share = max(OPEN_CATCH, traits.catch_share)
    caught = rain_mm * traits.plan_m2 * open_share
    pile.shell.water_kg += caught
    pile.gained_kg += caught
    bare = min(1.0, open_share / OPEN_CATCH)
    wetness = min(1.0, water_share(pile.shell) / DAMP)
    carry_off(pile, pile.shell, et0_mm * traits.et_share * traits.plan_m2 * bare * wetness)
    core_dry, shell_dry = dry_kg(pile.core), dry_kg(pile.shell)
    even = (pile.core.water_kg + pile.shell.water_kg) / (core_dry + shell_dry)
    creep = traits.creep_per_day * (even * shell_dry - pile.shell.water_kg)
    pile.shell.water_kg += creep
    pile.core.water_kg -= creep
    drain(pile, traits)


@compiled
def _steps(pile: Any, traits: Any) -> int:
    """Steps for a day: many while heat comes fast, one when nothing much happens."""
    core = pile.core
    warmer_c = core.temp_c + LOOK_AHEAD_K
    f_core = decay.temperature_factor(core.temp_c, traits.mild_peak, traits.mild_low_c)
    f_core = max(f_core, decay.temperature_factor(warmer_c, traits.mild_peak, traits.mild_low_c))
    activity = min(1.0, pile.activity * np.exp(traits.growth_per_day * f_core * core.slowing))
    made = traits.heat_mj_per_kg * f_core * _burning(core, traits, core.slowing * activity)
    gain_k = made / heat.heat_capacity_mj_per_k(core.water_kg, dry_kg(core))
    restless = gain_k + 0.5 * abs(core.temp_c - pile.shell.temp_c)
    return min(MOST_STEPS, 1 + int(restless / WARMING_STEP_K))


@compiled
def live_a_day(pile: Any, traits: Any, air_c: float, w_air: float) -> float:
    """Run one day of heat and decay; gives the core's mean over it [°C]."""
    volume = volume_m3(pile)
    settled = moisture.settled_air(1.0, traits.settling, traits.settling_days, pile.days_since_turn)
    outer = traits.shell_share
    pile.free_air = _slow_down(pile.core, volume * (1.0 - outer), settled, traits.nitrogen_slowing)
    _slow_down(pile.shell, volume * outer, settled, traits.nitrogen_slowing)
    reach = decay.reach(pile.days_since_turn, traits.reach_floor, traits.reach_days)
    pile.core.slowing *= reach
    pile.shell.slowing *= reach
    steps = _steps(pile, traits)
    still_air = traits.draught * heat.still_draught_kg_per_day(volume, pile.free_air)
    inner = heat.core_conductance_w_per_k(volume, outer, traits.conductivity) * heat.MJ_PER_DAY_PER_W
    skin = heat.shell_conductance_w_per_k(volume, outer, traits.conductivity, traits.film)
    skin *= heat.MJ_PER_DAY_PER_W
    total = 0.0
    for _ in range(steps):
        before = pile.core.temp_c
        _step(pile, traits, air_c, w_air, still_air, inner, skin, 1.0 / steps)
        total += 0.5 * (before + pile.core.temp_c)
    pile.days_since_turn += 1.0
    return total / steps
