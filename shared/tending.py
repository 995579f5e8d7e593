"""What a keeper does to a pile: turning, watering, adding, taking out, and the habit that goes on.

`lanes` is a record of piles side by side (`shared/lanes.py`), and `at` the lane of the one that is meant.
"""

from typing import Any

import numpy as np

from shared import heat, moisture
from shared.balance import carry_off, drain, dry_kg, volume_m3
from shared.compiled import compiled

FAR_DAYS = 1e9
WORKABLE_C = 1.0  # daily mean below which a pile is left alone; assumed
TIRING_DAYS = 300.0  # keepers turn half as often after so long; assumed
LATENT_MJ_PER_KG = 2.4


@compiled
def _even_out(core: Any, shell: Any, outer: float, mixing: float, at: int) -> None:
    """Bring one kind of matter nearer to an even spread, none of it lost."""
    both = core[at] + shell[at]
    shell[at] += mixing * (both * outer - shell[at])
    core[at] = both - shell[at]


@compiled
def turn(lanes: Any, at: int) -> None:
    """Mix shell and core, open the pores, lose some warmth and the water that carries it."""
    pile, own, air_c = lanes.pile, lanes.own, lanes.day.air_c[at]
    core, shell = pile.core, pile.shell
    c_core = heat.heat_capacity_mj_per_k(core.water_kg[at], dry_kg(core, at))
    c_shell = heat.heat_capacity_mj_per_k(shell.water_kg[at], dry_kg(shell, at))
    mean_c = (c_core * core.temp_c[at] + c_shell * shell.temp_c[at]) / (c_core + c_shell)
    mixing, outer = own.mixing[at], own.shell_share[at]
    _even_out(core.fast_kg, shell.fast_kg, outer, mixing, at)
    _even_out(core.moderate_kg, shell.moderate_kg, outer, mixing, at)
    _even_out(core.slow_kg, shell.slow_kg, outer, mixing, at)
    _even_out(core.ash_kg, shell.ash_kg, outer, mixing, at)
    _even_out(core.water_kg, shell.water_kg, outer, mixing, at)
    keep = 1.0 - own.turn_loss[at]
    lost_mj = own.turn_loss[at] * max(0.0, mean_c - air_c) * (c_core + c_shell)
    for node in (core, shell):
        blended = node.temp_c[at] + mixing * (mean_c - node.temp_c[at])
        node.temp_c[at] = air_c + keep * (blended - air_c)
    carry_off(pile, core, 0.5 * lost_mj / LATENT_MJ_PER_KG * (1.0 - outer), at)
    carry_off(pile, shell, 0.5 * lost_mj / LATENT_MJ_PER_KG * outer, at)
    pile.matting_days[at] = 0.0


@compiled
def add(lanes: Any, at: int, load: Any) -> None:
    """Put fresh matter on (fast, moderate, slow, ash, water [kg], volume [m³]), shared out by volume."""
    pile, outer = lanes.pile, lanes.own.shell_share[at]
    for node, share in ((pile.core, 1.0 - outer), (pile.shell, outer)):
        node.fast_kg[at] += share * load[0]
        node.moderate_kg[at] += share * load[1]
        node.slow_kg[at] += share * load[2]
        node.ash_kg[at] += share * load[3]
        node.water_kg[at] += share * load[4]
    pile.ever_fast_kg[at] += load[0]
    pile.ever_moderate_kg[at] += load[1]
    pile.ever_dry_kg[at] += load[0] + load[1] + load[2] + load[3]
    pile.filled_m3[at] += load[5]
    pile.gained_kg[at] += load[4]


@compiled
def take(lanes: Any, at: int, litres: float) -> None:
    """Take finished stuff out: a like share of everything, never more than nine tenths."""
    pile = lanes.pile
    keep = 1.0 - min(0.9, litres / 1000.0 / volume_m3(pile, at))
    for node in (pile.core, pile.shell):
        pile.gained_kg[at] -= (1.0 - keep) * node.water_kg[at]
        node.fast_kg[at] *= keep
        node.moderate_kg[at] *= keep
        node.slow_kg[at] *= keep
        node.ash_kg[at] *= keep
        node.water_kg[at] *= keep
    pile.ever_fast_kg[at] *= keep
    pile.ever_moderate_kg[at] *= keep
    pile.ever_dry_kg[at] *= keep
    pile.filled_m3[at] *= keep


@compiled
def water(lanes: Any, at: int, litres: float) -> None:
    """Water given from a can, spread over the whole pile; what it cannot hold drains off."""
    pile, outer = lanes.pile, lanes.own.shell_share[at]
    pile.core.water_kg[at] += litres * (1.0 - outer)
    pile.shell.water_kg[at] += litres * outer
    pile.gained_kg[at] += litres
    drain(pile, lanes.own, at)


@compiled
def _chance(pile: Any, at: int) -> float:
    """A random number in [0, 1): xorshift64*, so that a member's future is its own on every machine."""
    bits = pile.luck[at]
    bits ^= bits >> np.uint64(12)
    bits ^= bits << np.uint64(25)
    bits ^= bits >> np.uint64(27)
    pile.luck[at] = bits
    drawn: float = ((bits * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0
    return drawn


@compiled
def keep(lanes: Any, at: int) -> None:
    """What the keeper is taken to do at the end of a day to come."""
    pile, own, number = lanes.pile, lanes.own, lanes.day.number[at]
    if lanes.day.air_c[at] < WORKABLE_C:
        return
    if number >= pile.next_turn[at]:
        turn(lanes, at)
        wait = own.turn_every_days[at] * (0.5 + _chance(pile, at)) * (1.0 + number / TIRING_DAYS)
        pile.next_turn[at] = number + wait
    if _chance(pile, at) < own.water_chance[at]:
        both = pile.core.water_kg[at] + pile.shell.water_kg[at]
        if moisture.moisture_of(both, dry_kg(pile.core, at) + dry_kg(pile.shell, at)) < own.water_below[at]:
            water(lanes, at, own.water_l[at])
