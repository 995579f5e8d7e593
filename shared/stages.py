"""The stage of a pile, worked out for each likely pile and put to the vote."""

from collections import Counter

import numpy as np

from shared.ensemble import Array, Seen
from shared.history import HOT_C
from shared.pile import Stage

LEAVES_HOT_C = 43.0
LINGERS_DAYS = 3
NEAR_AIR_K = 8.0
FIRST_WEEK_DAYS = 7
RISING_K = 2.0  # in two days; the air alone seldom moves a core by more (assumed)
SECOND_RISE_DAYS = 5  # after a turn, water or fresh matter; later the weather is likelier (assumed)
UNTOLD_RISE_K = 6.0  # in two days: as from a turn, though none was told (assumed)
CURING_FAST = 0.15
CURING_MODERATE = 0.70


def likeliest(
    seen: Seen, air_c: float, ready_day: Array, hot_seen: bool, rested_days: float = np.inf
) -> Stage:
    """The stage that most members are in today.

    seen        of the members up to today, the core as the readings have it [member, day, SEEN]
    ready_day   of each member, NaN where it lies beyond the horizon
    hot_seen    a reading has shown it hot
    rested_days since it was last turned, watered or fed
    """
    ready = ready_day <= seen.shape[1] - 1
    votes = Counter(
        stage(one, air_c, bool(done), hot_seen, rested_days) for one, done in zip(seen, ready, strict=True)
    )
    return votes.most_common(1)[0][0]


def stage(
    seen: Seen, air_c: float, ready: bool, hot_seen: bool = False, rested_days: float = np.inf
) -> Stage:
    """The stage of one pile on the last day of `seen` [day, SEEN]."""
    today = len(seen) - 1
    past, core_c = seen[:today, 0], float(seen[today, 0])
    if ready:
        return "ready"
    if core_c >= HOT_C or (core_c >= LEAVES_HOT_C and today > 0 and past[-LINGERS_DAYS:].max() >= HOT_C):
        return "hot"
    was_hot = hot_seen or bool(today > 0 and past.max() >= HOT_C)
    rise_k = float(seen[today, 0] - seen[today - 2, 0]) if today >= 2 else 0.0
    stirred = not was_hot or rested_days <= SECOND_RISE_DAYS
    if not was_hot and today < FIRST_WEEK_DAYS:
        return "warming"
    if core_c - air_c > NEAR_AIR_K:
        return "warming" if rise_k > (RISING_K if stirred else UNTOLD_RISE_K) else "cooling"
    spent = seen[today, 4] <= CURING_FAST and seen[today, 5] <= CURING_MODERATE
    return "curing" if spent else "stalled"
