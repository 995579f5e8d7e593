"""What acting now would gain, how much water it takes, and when a turning or a watering falls due."""

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from shared import ensemble
from shared.belief import Belief, dry_kg, ready_days
from shared.ensemble import Array, Plan, Seen

COMPARED = 64  # members on which acting now is compared with waiting
COMPARED_DAYS = 14
COMPARED_AHEAD_DAYS = 400  # a gain beyond is none that a keeper would wait for
GOAL_MOISTURE = 0.55
DUE_CORE_C = 43.0  # below 105-110 °F with food left a turn pays (common practice)
DUE_MOISTURE = 0.45
FOOD_LEFT = 0.05
FEWEST_DAYS_BETWEEN_TURNS = 3


def gains_days(belief: Belief, water_l: float) -> tuple[float, float]:
    """Median days won by turning now and by watering now, against leaving the pile alone for a fortnight."""
    alone = _ready_after(belief)
    turned = float(np.median(alone - _ready_after(belief, turned=True)))
    watered = float(np.median(alone - _ready_after(belief, water_l=water_l))) if water_l else 0.0
    return round(turned, 1), round(watered, 1)


def _ready_after(belief: Belief, *, turned: bool = False, water_l: float = 0.0) -> Array:
    """Days from the build to `ready` of some members, acted on now and then left alone for a fortnight."""
    some = belief.kept[:: max(1, len(belief.kept) // COMPARED)]
    plan = Plan(turned, water_l, COMPARED_DAYS, COMPARED_AHEAD_DAYS)
    ended = ensemble.live_on(belief.likely, some, belief.history, belief.sky, plan)
    return ready_days(ended, belief.history.today + 1 + COMPARED_AHEAD_DAYS)


def water_litres(belief: Belief) -> float:
    """Litres that bring the median member to 55 % [L]."""
    piles = belief.likely.piles[belief.kept]
    water = piles["core"]["water_kg"] + piles["shell"]["water_kg"]
    lacks = dry_kg(piles) * GOAL_MOISTURE / (1.0 - GOAL_MOISTURE) - water
    return max(0.0, round(float(np.median(lacks))))


def turn_due(belief: Belief, band: Seen) -> date | None:
    """First day, three after the last turn, on which the median core has lost its heat with food left."""
    cool = np.median(band[:, :, 0], axis=0) < DUE_CORE_C
    food = np.median(band[:, :, 4], axis=0) > FOOD_LEFT
    rested = max(belief.history.turned, default=0) + FEWEST_DAYS_BETWEEN_TURNS
    return _first_day(belief, max(belief.history.today, rested), cool & food)


def water_due(belief: Belief, band: Seen) -> date | None:
    """First day from today on which the median member is too dry."""
    return _first_day(belief, belief.history.today, np.median(band[:, :, 1], axis=0) < DUE_MOISTURE)


def _first_day(belief: Belief, start: int, due: npt.NDArray[np.bool_]) -> date | None:
    """The first due day from `start` on, None if not in sight."""
    hits = np.flatnonzero(due[start:])
    return belief.pile.built + timedelta(days=start + int(hits[0])) if hits.size else None
