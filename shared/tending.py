"""What a keeper does to a pile: turning, watering, adding, taking out, and the habit that goes on."""

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
    core.slow_kg, core.ash_kg = slow - shell.slow_kg, ash - shell.ash_kg
    core.water_kg = water - shell.water_kg
    keep = 1.0 - traits.turn_loss
    lost_mj = traits.turn_loss * max(0.0, mean_c - air_c) * (c_core + c_shell)
    for node in (core, shell):
        blended = node.temp_c + mixing * (mean_c - node.temp_c)
        node.temp_c = air_c + keep * (blended - air_c)
    carry_off(pile, core, 0.5 * lost_mj / LATENT_MJ_PER_KG * (1.0 - outer))
    carry_off(pile, shell, 0.5 * lost_mj / LATENT_MJ_PER_KG * outer)
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
def water(pile: Any, traits: Any, litres: float) -> None:
    """Water given from a can, spread over the whole pile; what it cannot hold drains off."""
    pile.core.water_kg += litres * (1.0 - traits.shell_share)
    pile.shell.water_kg += litres * traits.shell_share
    pile.gained_kg += litres
    drain(pile, traits)


@compiled
def _chance(pile: Any) -> float:
    """A random number in [0, 1): xorshift64*, so that a member's future is its own on every machine."""
    bits = pile.luck
    bits ^= bits >> np.uint64(12)
    bits ^= bits << np.uint64(25)
    bits ^= bits >> np.uint64(27)
    pile.luck = bits
    drawn: float = ((bits * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0
    return drawn


@compiled
def keep(pile: Any, traits: Any, day: float, air_c: float) -> None:
    """What the keeper is taken to do at the end of a day to come."""
    if air_c < WORKABLE_C:
        return
    if day >= pile.next_turn:
        turn(pile, traits, air_c)
        pile.next_turn = day + traits.turn_every_days * (0.5 + _chance(pile)) * (1.0 + day / TIRING_DAYS)
    if _chance(pile) < traits.water_chance:
        both = pile.core.water_kg + pile.shell.water_kg
        if moisture.moisture_of(both, dry_kg(pile.core) + dry_kg(pile.shell)) < traits.water_below:
            water(pile, traits, traits.water_l)
