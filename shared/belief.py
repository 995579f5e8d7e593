"""What is believed of a pile: likely piles run up to today and weighed by its records, the best kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from shared import ensemble, evidence, tending, traces
from shared.ensemble import Array, Indices, Likely, Seen
from shared.evidence import Weighed
from shared.history import HORIZON_DAYS, History, read_history
from shared.pile import Pile, Record

AHEAD_DAYS = 120


@dataclass(frozen=True, slots=True)
class Habit:
    """What the keeper is taken to do from now on; days between turnings and waterings, None for never."""

    turn_every_days: float | None
    water_every_days: float | None


class Belief(NamedTuple):
    """One pile as far as its records tell: the members, what was seen of them, and which are kept."""

    pile: Pile
    history: History
    sky: traces.Sky
    likely: Likely
    seen: Seen
    weighed: Weighed
    kept: Indices


def believe(
    pile: Pile, records: Sequence[Record], as_of: date, seed: int, habit: Habit | None = None
) -> Belief:
    """Draw the members, run them up to today, weigh them, and settle what their keepers will do.

    Raises BadInput as `forecast` does.
    """
    history = read_history(pile, records, as_of)
    horizon = max(HORIZON_DAYS, history.today + 1 + AHEAD_DAYS)
    sky = traces.skies(pile, horizon, seed)
    likely = ensemble.draw(pile, history, float(sky.air_c[0]), seed)
    seen = ensemble.live_through(likely, history, sky)
    weighed = evidence.weigh(likely, history, seen, sky.air_c)
    kept = evidence.resample(weighed.log_weight)
    if habit is None:
        ensemble.settle_habit(likely, pile, history, sky.air_c)
    else:
        every = np.full(len(likely.traits), habit.turn_every_days or tending.FAR_DAYS)
        chance = np.full(len(likely.traits), 1.0 / (habit.water_every_days or tending.FAR_DAYS))
        ensemble.set_habit(likely, history, every, chance)
    return Belief(pile, history, sky, likely, seen, weighed, kept)


def ready_days(ended: npt.NDArray[np.void], horizon: int) -> Array:
    """Days from the build to `ready`, the last day of the horizon where it lies beyond."""
    days = np.nan_to_num(ended["ready_day"], nan=horizon)
    return np.asarray(np.minimum(days, HORIZON_DAYS), dtype=np.float64)


def dry_kg(piles: npt.NDArray[np.void]) -> Array:
    """Dry matter of members [kg]."""
    pools = ("fast_kg", "moderate_kg", "slow_kg", "ash_kg")
    return np.asarray(sum(piles[node][pool] for node in ("core", "shell") for pool in pools))
