"""A pile's life, day by day: the sky, the deeds, what can be seen of it, and whether it is done."""

from typing import Any

import numpy as np

from shared import moisture
from shared.balance import dry_kg, live_a_day, meet_the_sky, volume_m3
from shared.compiled import compiled
from shared.tending import add, keep, take, turn, water

# `ready`: five days running with less than this left of all that was ever put in, and near the air; then a
# week of rest. Wood and lignin do not count: they are screened out.
DONE_FAST = 0.03
DONE_MODERATE = 0.50
DONE_RISE_K = 8.0
DONE_DAYS = 5
REST_DAYS = 7

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
def watch(pile: Any, day: float, rise_k: float) -> None:
    """Note whether the pile is done: five such days running, then a week of rest."""
    fast = pile.core.fast_kg + pile.shell.fast_kg
    moderate = pile.core.moderate_kg + pile.shell.moderate_kg
    spent = fast < DONE_FAST * pile.ever_fast_kg and moderate < DONE_MODERATE * pile.ever_moderate_kg
    pile.quiet_days = pile.quiet_days + 1.0 if spent and rise_k < DONE_RISE_K else 0.0
    if pile.quiet_days >= DONE_DAYS and np.isnan(pile.ready_day):
        pile.ready_day = day + REST_DAYS


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
    deeds           turnings, litres given, row of `loads` or -1, cover (1, 0, or -1 for unknown),
                    litres taken [day, 5]
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
            meet_the_sky(pile, own, rain_mm, et0_mm, deeds[day, 3])
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
                    water(pile, own, deeds[day, 1])
                if deeds[day, 4] > 0.0:
                    take(pile, deeds[day, 4])
