"""Ready and stage as the project defines them, read off the true state of a simulated pile."""

import numpy as np
from numpy.typing import NDArray

from tests.simulator.state import Floats

HORIZON_D = 1096  # three years from the build
LETTERS = {"w": "warming", "h": "hot", "c": "cooling", "s": "stalled", "u": "curing", "r": "ready"}
NEAR_AIR_K = 8.0


def passes(fast_left: Floats, moderate_left: Floats, core_c: Floats, air_c: Floats) -> NDArray[np.bool_]:
    """Days that count: under 3 % fast and half of the moderate left, core less than 8 °C over the air."""
    return (fast_left < 0.03) & (moderate_left < 0.5) & (core_c - air_c < NEAR_AIR_K)


def ready_day(passing: NDArray[np.bool_]) -> int | None:
    """Days from the build to `ready`: five passing days running, then one more week; None if not seen."""
    run = 0
    for day, ok in enumerate(passing):
        run = run + 1 if ok else 0
        if run == 5:
            return day + 7
    return None


def stages(
    core_c: Floats,
    air_c: Floats,
    fast_left: Floats,
    moderate_left: Floats,
    turned: NDArray[np.bool_],
    ready: int | None,
) -> str:
    """One letter a day (see LETTERS), from daily means."""
    letters, hot, was_hot, last_turn = "", False, False, -99
    for day in range(len(core_c)):
        last_turn = day if turned[day] else last_turn
        hot = core_c[day] >= (43.0 if hot else 45.0)
        was_hot |= hot
        rise = core_c[day] - core_c[max(0, day - 2)]
        above = core_c[day] - air_c[day]
        if ready is not None and day >= ready:
            letters += "r"
        elif hot:
            letters += "h"
        elif day < 7 and not was_hot:
            letters += "w"
        elif above < NEAR_AIR_K:
            letters += "u" if fast_left[day] <= 0.15 and moderate_left[day] <= 0.70 else "s"
        elif rise >= (2.0 if was_hot else 1.0) and (not was_hot or day - last_turn <= 5):
            letters += "w"
        else:
            letters += "c"
    return letters
