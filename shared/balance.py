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
        (name, "f8")
        for name in (
            "fast_per_day moderate_per_day slow_per_day mild_peak growth_per_day nitrogen_slowing "
            "heat_mj_per_kg conductivity film draught shell_share mixing turn_loss settling settling_days reach_floor reach_days "
            "catch_share et_share plan_m2 holding_moisture creep_per_day turn_every_days water_chance water_l "
            "water_below"
        ).split()
    ]
)

DONE_FAST = 0.03
DONE_MODERATE = 0.50
DONE_RISE_K = 8.0
DONE_DAYS = 5
REST_DAYS = 7

FAR_DAYS = 1e9
TIRING_DAYS = 300.0  # keepers turn half as often after so long; assumed
WARMING_STEP_K = 5.0  # a step is so short that heat alone moves the core by less than this
LOOK_AHEAD_K = 10.0
MOST_STEPS = 12
LATENT_MJ_PER_KG = 2.4


@compiled
def dry_kg(node: Any) -> float:
    """Dry matter of a node [kg]."""
    return node.fast_kg + node.moderate_kg + node.slow_kg + node.ash_kg


@compiled
def water_share(node: Any) -> float:
    """Moisture of a node, wet basis [kg/kg]."""
    return moisture.moisture_of(node.water_kg, dry_kg(node))


@compiled
def volume_m3(pile: Any) -> float:
    """Volume that shapes heat: 0.30 + 0.70 of the dry matter that is left, times what was filled [m³]."""
    left = (dry_kg(pile.core) + dry_kg(pile.shell)) / pile.ever_dry_kg
    return pile.filled_m3 * (0.30 + 0.70 * left)


@compiled
def _chance(pile: Any) -> float:
    """A random number in [0, 1): xorshift64*, so that a member's future is its own on every machine."""
    bits = pile.luck
    bits ^= bits >> np.uint64(12)
    bits ^= bits << np.uint64(25)
    bits ^= bits >> np.uint64(27)
    pile.luck = bits
    return ((bits * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@compiled
def _slow_down(node: Any, node_m3: float, settled: float, nitrogen: float) -> float:
    """Set the node's day-long factors (dryness, air space, nitrogen); give its free air space [m³/m³]."""
    organic = node.fast_kg + node.moderate_kg + node.slow_kg
    free = settled * moisture.free_air_space(node_m3, node.water_kg, organic, node.ash_kg)
    node.slowing = (
        decay.moisture_factor(water_share(node)) * decay.air_space_factor(free) * nitrogen
    )
    return free


@compiled
def _burning(node: Any, traits: Any, factor: float) -> float:
    """Volatile matter that would burn at this factor [kg/day]."""
    return factor * (
        traits.fast_per_day * node.fast_kg
        + traits.moderate_per_day * node.moderate_kg
        + traits.slow_per_day * node.slow_kg
    )


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
    return heat.humidity(heat.saturation_kpa(temp_c) * min(1.0, wetness / 0.20))


@compiled
def _step(
    pile: Any, traits: Any, air_c: float, w_air: float, still_air: float, inner: float, outer: float, days: float
) -> None:
    """One step of heat, matter and the water that the draught carries off.

    Air enters through the shell and leaves through the core. Temperatures: one linearly implicit step
    (the slope of biological heat counts where it damps). `still_air` is the draught without a rise
    [kg/day], `inner` and `outer` are conductances [MJ/day K].
    """
    core, shell = pile.core, pile.shell
    flow = still_air * heat.draught_share(core.temp_c - air_c)

    f_shell = decay.temperature_factor(shell.temp_c, traits.mild_peak)
    f_core = decay.temperature_factor(core.temp_c, traits.mild_peak)
    wish_shell = _burning(shell, traits, shell.slowing * pile.activity)
    wish_core = _burning(core, traits, core.slowing * pile.activity)
    oxygen_kg = decay.OXYGEN_KG_PER_KG
    o2_shell = decay.oxygen_left_pct(wish_shell * f_shell * oxygen_kg, flow, decay.AIR_OXYGEN_PCT)
    o2_core = decay.oxygen_left_pct(wish_core * f_core * oxygen_kg, flow, o2_shell)
    wish_shell *= decay.oxygen_factor(o2_shell)
    wish_core *= decay.oxygen_factor(o2_core)

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

    damp_core = decay.temperature_damping(core.temp_c, f_core, traits.mild_peak)
    damp_shell = decay.temperature_damping(shell.temp_c, f_shell, traits.mild_peak)
    a = 1.0 - days * (made * wish_core * damp_core - inner - flow * slope_core) / c_core
    b = -days * (inner + flow * slope_shell) / c_core
    c = -days * inner / c_shell
    d = 1.0 - days * (made * wish_shell * damp_shell - inner - outer - flow * slope_shell) / c_shell
    det = a * d - b * c
    core.temp_c += days * (d * rate_core - b * rate_shell) / det
    shell.temp_c += days * (a * rate_shell - c * rate_core) / det

    factor_shell = pile.activity * shell.slowing * f_shell * decay.oxygen_factor(o2_shell)
    factor_core = pile.activity * core.slowing * f_core * decay.oxygen_factor(o2_core)
    outer_share = traits.shell_share
    pile.eaten_days += days * (outer_share * factor_shell + (1.0 - outer_share) * factor_core)
    _burn(shell, traits, factor_shell, days)
    _burn(core, traits, factor_core, days)
    _carry_off(pile, shell, days * flow * (w_shell - w_air))
    _carry_off(pile, core, days * flow * (w_core - w_shell))
    pile.activity = min(1.0, pile.activity * np.exp(traits.growth_per_day * f_core * core.slowing * days))


@compiled
def _carry_off(pile: Any, node: Any, water_kg: float) -> None:
    """Evaporate (or, below 0, condense) water, never more than half of what is there."""
    gone = min(water_kg, 0.5 * node.water_kg)
    node.water_kg -= gone
    pile.gained_kg -= gone


@compiled
def _share_out(pile: Any, traits: Any, litres: float) -> None:
    """Water given from a can, spread over the whole pile; what it cannot hold drains off."""
    pile.core.water_kg += litres * (1.0 - traits.shell_share)
    pile.shell.water_kg += litres * traits.shell_share
    pile.gained_kg += litres
    _drain(pile, traits)


@compiled
def _drain(pile: Any, traits: Any) -> None:
    """What the shell cannot hold seeps into the core; what the core cannot hold drains away."""
    shell, core = pile.shell, pile.core
    over = max(0.0, shell.water_kg - moisture.holding_kg(dry_kg(shell), traits.holding_moisture))
    shell.water_kg -= over
    core.water_kg += over
    over = max(0.0, core.water_kg - moisture.holding_kg(dry_kg(core), traits.holding_moisture))
    core.water_kg -= over
    pile.drained_kg += over


@compiled
def _sky(pile: Any, traits: Any, rain_mm: float, et0_mm: float, covered: float) -> None:
    """A day of rain and drying at the surface, and water creeping between shell and core."""
    open_share = traits.catch_share if covered < 0.0 else (0.05 if covered > 0.5 else max(0.45, traits.catch_share))
    caught = rain_mm * traits.plan_m2 * open_share
    pile.shell.water_kg += caught
    pile.gained_kg += caught
    bare = min(1.0, open_share / 0.45)
    wetness = min(1.0, water_share(pile.shell) / 0.45)
    _carry_off(pile, pile.shell, et0_mm * traits.et_share * traits.plan_m2 * bare * wetness)
    core_dry, shell_dry = dry_kg(pile.core), dry_kg(pile.shell)
    even = (pile.core.water_kg + pile.shell.water_kg) / (core_dry + shell_dry)
    creep = traits.creep_per_day * (even * shell_dry - pile.shell.water_kg)
    pile.shell.water_kg += creep
    pile.core.water_kg -= creep
    _drain(pile, traits)


@compiled
def _blend(mine: float, both: float, share: float, mixing: float) -> float:
    return mine + mixing * (both * share - mine)


@compiled
def turn(pile: Any, traits: Any, air_c: float) -> None:
    """Mix shell and core, open the pores, lose some warmth and the water that carries it."""
    core, shell = pile.core, pile.shell
    c_core = heat.heat_capacity_mj_per_k(core.water_kg, dry_kg(core))
    c_shell = heat.heat_capacity_mj_per_k(shell.water_kg, dry_kg(shell))
    mean_c = (c_core * core.temp_c + c_shell * shell.temp_c) / (c_core + c_shell)
    mixing, outer = traits.mixing, traits.shell_share
    fast, moderate = core.fast_kg + shell.fast_kg, core.moderate_kg + shell.moderate_kg
    slow, ash = core.slow_kg + shell.slow_kg, core.ash_kg + shell.ash_kg
    water = core.water_kg + shell.water_kg
    shell.fast_kg = _blend(shell.fast_kg, fast, outer, mixing)
    shell.moderate_kg = _blend(shell.moderate_kg, moderate, outer, mixing)
    shell.slow_kg = _blend(shell.slow_kg, slow, outer, mixing)
    shell.ash_kg = _blend(shell.ash_kg, ash, outer, mixing)
    shell.water_kg = _blend(shell.water_kg, water, outer, mixing)
    core.fast_kg, core.moderate_kg = fast - shell.fast_kg, moderate - shell.moderate_kg
    core.slow_kg, core.ash_kg, core.water_kg = slow - shell.slow_kg, ash - shell.ash_kg, water - shell.water_kg
    keep = 1.0 - traits.turn_loss
    lost_mj = traits.turn_loss * max(0.0, mean_c - air_c) * (c_core + c_shell)
    for node in (core, shell):
        blended = node.temp_c + mixing * (mean_c - node.temp_c)
        node.temp_c = air_c + keep * (blended - air_c)
    _carry_off(pile, core, 0.5 * lost_mj / LATENT_MJ_PER_KG * (1.0 - outer))
    _carry_off(pile, shell, 0.5 * lost_mj / LATENT_MJ_PER_KG * outer)
    pile.days_since_turn = 0.0


@compiled
def add(pile: Any, traits: Any, load: Any) -> None:
    """Put fresh matter on (fast, moderate, slow, ash, water [kg], volume [m³]), shared out by volume."""
    outer = traits.shell_share
    for node, share in ((pile.core, 1.0 - outer), (pile.shell, outer)):
        node.fast_kg += share * load[0]
        node.moderate_kg += share * load[1]
        node.slow_kg += share * load[2]
        node.ash_kg += share * load[3]
        node.water_kg += share * load[4]
    pile.ever_fast_kg += load[0]
    pile.ever_moderate_kg += load[1]
    pile.ever_dry_kg += load[0] + load[1] + load[2] + load[3]
    pile.filled_m3 += load[5]
    pile.gained_kg += load[4]


@compiled
def take(pile: Any, litres: float) -> None:
    """Take finished stuff out: a like share of everything, never more than nine tenths."""
    keep = 1.0 - min(0.9, litres / 1000.0 / volume_m3(pile))
    for node in (pile.core, pile.shell):
        pile.gained_kg -= (1.0 - keep) * node.water_kg
        node.fast_kg *= keep
        node.moderate_kg *= keep
        node.slow_kg *= keep
        node.ash_kg *= keep
        node.water_kg *= keep
    pile.ever_fast_kg *= keep
    pile.ever_moderate_kg *= keep
    pile.ever_dry_kg *= keep
    pile.filled_m3 *= keep


@compiled
def _steps(pile: Any, traits: Any) -> int:
    """Steps for a day: many while heat comes fast, one when nothing much happens."""
    core = pile.core
    warmer_c = core.temp_c + LOOK_AHEAD_K
    f_core = max(
        decay.temperature_factor(core.temp_c, traits.mild_peak), decay.temperature_factor(warmer_c, traits.mild_peak)
    )
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
    skin = heat.shell_conductance_w_per_k(volume, outer, traits.conductivity, traits.film) * heat.MJ_PER_DAY_PER_W
    total = 0.0
    for _ in range(steps):
        before = pile.core.temp_c
        _step(pile, traits, air_c, w_air, still_air, inner, skin, 1.0 / steps)
        total += 0.5 * (before + pile.core.temp_c)
    pile.days_since_turn += 1.0
    return total / steps


@compiled
def watch(pile: Any, day: float, rise_k: float) -> None:
    """Note whether the pile is done: five such days running, then a week of rest."""
    fast = pile.core.fast_kg + pile.shell.fast_kg
    moderate = pile.core.moderate_kg + pile.shell.moderate_kg
    spent = fast < DONE_FAST * pile.ever_fast_kg and moderate < DONE_MODERATE * pile.ever_moderate_kg
    pile.quiet_days = pile.quiet_days + 1.0 if spent and rise_k < DONE_RISE_K else 0.0
    if pile.quiet_days >= DONE_DAYS and np.isnan(pile.ready_day):
        pile.ready_day = day + REST_DAYS


@compiled
def keep(pile: Any, traits: Any, day: float, air_c: float) -> None:
    """What the keeper is taken to do at the end of a day to come."""
    if day >= pile.next_turn:
        turn(pile, traits, air_c)
        pile.next_turn = day + traits.turn_every_days * (0.5 + _chance(pile)) * (1.0 + day / TIRING_DAYS)
    if air_c > 0.0 and _chance(pile) < traits.water_chance:
        both = pile.core.water_kg + pile.shell.water_kg
        if moisture.moisture_of(both, dry_kg(pile.core) + dry_kg(pile.shell)) < traits.water_below:
            _share_out(pile, traits, traits.water_l)


SEEN = ("core_c", "moisture", "volume_m3", "free_air", "fast_left", "moderate_left", "dry_left", "eaten_days")


@compiled
def _note(pile: Any, mean_c: float, row: Any) -> None:
    """Write down what can be seen of a pile at the end of a day, in the order of SEEN."""
    core, shell = pile.core, pile.shell
    dry = dry_kg(core) + dry_kg(shell)
    row[0] = mean_c
    row[1] = moisture.moisture_of(core.water_kg + shell.water_kg, dry)
    row[2] = volume_m3(pile)
    row[3] = pile.free_air
    row[4] = (core.fast_kg + shell.fast_kg) / max(pile.ever_fast_kg, 1e-9)
    row[5] = (core.moderate_kg + shell.moderate_kg) / max(pile.ever_moderate_kg, 1e-9)
    row[6] = dry / pile.ever_dry_kg
    row[7] = pile.eaten_days


@compiled
def run(
    piles: Any,
    traits: Any,
    traces: Any,
    sky: Any,
    deeds: Any,
    loads: Any,
    first: int,
    last: int,
    by_habit_from: int,
    least: int,
    seen: Any,
) -> None:
    """Run members from day `first` up to day `last`; from `by_habit_from` on the keeper's habit takes over.

    piles, traits   records [member], changed in place
    traces          which weather a member meets [member]
    sky             air °C, humidity kg/kg, rain mm, ET0 mm [trace, day, 4]
    deeds           turnings, litres given, row of `loads` or -1, cover (1, 0, -1 unknown), litres taken [day, 5]
    loads           what additions bring [member, row, 6]
    least           a member that is ready is run no further than this day
    seen            what can be seen of a member [member, day, SEEN], filled as far as it goes
    """
    for m in range(piles.shape[0]):
        pile, own = piles[m], traits[m]
        for day in range(first, last):
            if day >= least and not np.isnan(pile.ready_day):
                break
            air_c, w_air, rain_mm, et0_mm = sky[traces[m], day]
            mean_c = live_a_day(pile, own, air_c, w_air)
            _sky(pile, own, rain_mm, et0_mm, deeds[day, 3])
            watch(pile, day, mean_c - air_c)
            if day < seen.shape[1]:
                _note(pile, mean_c, seen[m, day])
            if day >= by_habit_from:
                keep(pile, own, day, air_c)
            else:
                if deeds[day, 2] >= 0.0:
                    add(pile, own, loads[m, int(deeds[day, 2])])
                if deeds[day, 0] > 0.0:
                    turn(pile, own, air_c)
                if deeds[day, 1] > 0.0:
                    _share_out(pile, own, deeds[day, 1])
                if deeds[day, 4] > 0.0:
                    take(pile, deeds[day, 4])
