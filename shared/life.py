"""A pile's life, day by day: the sky, the deeds, what can be seen of it, and whether it is done."""

from typing import Any

import numpy as np
import numpy.typing as npt

from shared import moisture
from shared.balance import dawn, dry_kg, dusk, step, steps, volume_m3
from shared.compiled import compiled
from shared.lanes import LANES, PILE_FIELDS, TRAITS_FIELDS, WIDTH
from shared.tending import add, keep, take, turn, water

# `ready`: five days running with less than this left of all that was ever put in, and near the air; then a
# week of rest. Wood and lignin do not count: they are screened out.
DONE_FAST = 0.03
DONE_MODERATE = 0.50
DONE_RISE_K = 8.0
DONE_DAYS = 5
REST_DAYS = 7

SEEN = ("core_c", "moisture", "volume_m3", "free_air", "fast_left", "moderate_left", "dry_left", "eaten_days")

STRIDE = 8  # lanes are worked on in runs of so many


@compiled
def _note(lanes: Any, at: int, seen: Any, member: int, number: int) -> None:
    """Write down what can be seen of a pile at the end of a day, in the order of SEEN."""
    pile = lanes.pile
    core, shell = pile.core, pile.shell
    dry = dry_kg(core, at) + dry_kg(shell, at)
    seen[member, number, 0] = lanes.day.mean_c[at]
    seen[member, number, 1] = moisture.moisture_of(core.water_kg[at] + shell.water_kg[at], dry)
    seen[member, number, 2] = volume_m3(pile, at)
    seen[member, number, 3] = pile.free_air[at]
    seen[member, number, 4] = (core.fast_kg[at] + shell.fast_kg[at]) / max(pile.ever_fast_kg[at], 1e-9)
    seen[member, number, 5] = (core.moderate_kg[at] + shell.moderate_kg[at]) / max(
        pile.ever_moderate_kg[at], 1e-9
    )
    seen[member, number, 6] = dry / pile.ever_dry_kg[at]
    seen[member, number, 7] = pile.eaten_days[at]


@compiled
def _spent(pile: Any, at: int) -> bool:
    """Whether as little is left as in a pile that is done."""
    fast = pile.core.fast_kg[at] + pile.shell.fast_kg[at]
    moderate = pile.core.moderate_kg[at] + pile.shell.moderate_kg[at]
    little: bool = fast < DONE_FAST * pile.ever_fast_kg[at]
    return little and moderate < DONE_MODERATE * pile.ever_moderate_kg[at]


@compiled
def watch(lanes: Any, at: int) -> None:
    """Note whether the pile is done: five such days running, then a week of rest."""
    pile, day = lanes.pile, lanes.day
    cool = day.mean_c[at] - day.air_c[at] < DONE_RISE_K
    pile.quiet_days[at] = pile.quiet_days[at] + 1.0 if cool and _spent(pile, at) else 0.0
    if pile.quiet_days[at] >= DONE_DAYS and np.isnan(pile.ready_day[at]):
        pile.ready_day[at] = day.number[at] + REST_DAYS


@compiled
def live_a_day(lanes: Any, count: int) -> None:
    """Run the first `count` lanes through their day, in steps that suit the most restless of them."""
    for at in range(count):
        dawn(lanes, at)
    in_day = steps(lanes.day, count)
    for _ in range(in_day):
        for at in range(count):
            step(lanes, at, 1.0 / in_day)
    for at in range(count):
        dusk(lanes, at)
        watch(lanes, at)


@compiled
def _look_up(day: Any, at: int, sky: Any, trace: int, deeds: Any) -> None:
    """See what the day's weather is, and whether the pile is covered."""
    number = int(day.number[at])
    day.air_c[at] = sky[trace, number, 0]
    day.w_air[at] = sky[trace, number, 1]
    day.rain_mm[at] = sky[trace, number, 2]
    day.et0_mm[at] = sky[trace, number, 3]
    day.covered[at] = deeds[number, 3]


@compiled
def _do(lanes: Any, at: int, deeds: Any, number: int, loads: Any, member: int) -> None:
    """What was done at the end of a day."""
    if deeds[number, 2] >= 0.0:
        add(lanes, at, loads[member, int(deeds[number, 2])])
        if not _spent(lanes.pile, at):  # with so much fresh matter on it, it is no longer done
            lanes.pile.ready_day[at] = np.nan
    if deeds[number, 0] > 0.0:
        turn(lanes, at)
    if deeds[number, 1] > 0.0:
        water(lanes, at, deeds[number, 1])
    if deeds[number, 4] > 0.0:
        take(lanes, at, deeds[number, 4])


@compiled
def _settle(flat: Any, at: int, piles: Any, traits: Any, member: int) -> None:
    """Put a member into a lane."""
    for field in range(PILE_FIELDS):
        flat[field, at] = piles[member, field]
    for field in range(TRAITS_FIELDS):
        flat[PILE_FIELDS + field, at] = traits[member, field]


@compiled
def _leave(flat: Any, at: int, piles: Any, member: int, last: int) -> None:
    """Write a member's pile back from its lane, and let the last lane move up into it."""
    for field in range(PILE_FIELDS):
        piles[member, field] = flat[field, at]
    for field in range(flat.shape[0]):
        flat[field, at] = flat[field, last]


@compiled
def _live(
    lanes: Any,
    flat: Any,
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
    """As `run`; a lane whose member is through takes the next one in. `flat` is `lanes` [field, lane]."""
    pile, day = lanes.pile, lanes.day
    who = np.zeros(WIDTH, np.int64)
    for at in range(WIDTH):
        _settle(flat, at, piles, traits, 0)
    waiting, count = 0, 0
    while True:
        while count < WIDTH and waiting < len(piles):
            _settle(flat, count, piles, traits, waiting)
            day.number[count] = first
            who[count] = waiting
            waiting += 1
            if first < last and (first < least or np.isnan(pile.ready_day[count])):
                count += 1
        if count == 0:
            return
        for at in range(count):
            _look_up(day, at, sky, traces[who[at]], deeds)
        live_a_day(lanes, STRIDE * ((count + STRIDE - 1) // STRIDE))
        at = 0
        while at < count:
            member, number = who[at], int(day.number[at])
            if number < seen.shape[1]:
                _note(lanes, at, seen, member, number)
            if number >= by_habit_from:
                keep(lanes, at)
            else:
                _do(lanes, at, deeds, number, loads, member)
            day.number[at] = number + 1.0
            if number + 1 < last and (number + 1 < least or np.isnan(pile.ready_day[at])):
                at += 1
                continue
            count -= 1
            _leave(flat, at, piles, member, count)
            who[at] = who[count]


def run(
    piles: npt.NDArray[np.void],
    traits: npt.NDArray[np.void],
    traces: npt.NDArray[np.int64],
    sky: npt.NDArray[np.float64],
    deeds: npt.NDArray[np.float64],
    loads: npt.NDArray[np.float64],
    first: int,
    last: int,
    by_habit_from: int,
    least: int,
    seen: npt.NDArray[np.float32],
) -> None:
    """Run members from day `first` up to day `last`; from `by_habit_from` on the keeper's habit takes over.

    piles, traits   records [member], the piles changed in place
    traces          which weather a member meets [member]
    sky             air °C, humidity kg/kg, rain mm, ET0 mm [trace, day, 4]
    deeds           turnings, litres given, row of `loads` or -1, cover (1, 0, or -1 for unknown),
                    litres taken [day, 5]
    loads           what additions bring [member, row, 6]
    least           a member that is ready is run no further than this day
    seen            what can be seen of a member [member, day, SEEN], filled as far as it goes
    """
    lanes = np.zeros(1, LANES)
    _live(
        lanes.view(np.recarray)[0],
        lanes.view(np.float64).reshape(-1, WIDTH),
        piles.view(np.float64).reshape(len(piles), PILE_FIELDS),
        traits.view(np.float64).reshape(len(traits), TRAITS_FIELDS),
        traces,
        sky,
        deeds,
        loads,
        first,
        last,
        by_habit_from,
        least,
        seen,
    )
