"""What the pile needs next, the reason as a code with its numbers, and what it would gain."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from shared.forecast import Forecast
from shared.pile import Pile, Record

Do = Literal[
    "turn",
    "water",
    "add_browns",
    "add_greens",
    "cover",
    "wait",
    "measure",
    "stop_adding",
    "cure",
    "harvest",
    "keep_away",
    "enlarge",
]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do, in the order of doing. `on` is None where it is due now.

    why       a code, such as "cooling_food_left", worded elsewhere
    numbers   what the reason rests on, unit in each name: {"core_c": 41.0, "days_since_turn": 9}
    """

    do: Do
    why: str
    on: date | None = None
    litres: float | None = None
    gain_days: float | None = None
    numbers: Mapping[str, float] = ()  # type: ignore[assignment]


def next_actions(pile: Pile, records: Sequence[Record], outlook: Forecast) -> tuple[Action, ...]:
    """What to do next, never empty, first things first. Source of each rule beside it."""
    raise NotImplementedError
