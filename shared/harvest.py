"""How much compost a pile gives, how far it goes, whether it is done, and for what it is fit.

[A] Rynk, On-Farm Composting Handbook, NRAES-54, 1992, from memory where nothing else is said.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from shared.errors import OutOfRange
from shared.units import KG_M3_PER_LB_YD3, M_PER_IN

FINISHED_KG_M3 = 1000 * KG_M3_PER_LB_YD3
"""1,000 lb/yd³; one lab report has 1,018, Massachusetts counts with 1,350."""
FINISHED_MOISTURE = 0.45
DRY_LOSS = 0.45
"""Share of the dry matter that goes (small-bin trials in Brazil: 37-61 %)."""
MONTH = timedelta(days=30)
RESTED_BELOW_C = 41.0
"""A finished pile stays under 105 °F, turned or not [A]."""

Use = Literal["new_bed", "vegetable_bed", "lawn", "mulch", "potting_mix"]


@dataclass(frozen=True, slots=True)
class UseRule:
    """Depth of compost [m], or for pots the largest share of the mix [m³/m³]; from producer and extension
    guidance, the mark as given. `mature`: wants a month more, or a passed test."""

    low_m: float
    high_m: float
    share: float
    mature: bool
    mark: str


USES: dict[Use, UseRule] = {
    "new_bed": UseRule(1 * M_PER_IN, 2 * M_PER_IN, 0.25, False, "read; worked in 6-8 in deep"),
    "vegetable_bed": UseRule(0.5 * M_PER_IN, 1 * M_PER_IN, 0.25, False, "common practice; once a year"),
    "lawn": UseRule(0.25 * M_PER_IN, 0.5 * M_PER_IN, 1.0, False, "read"),
    "mulch": UseRule(1 * M_PER_IN, 3 * M_PER_IN, 1.0, False, "common practice; clear of stems"),
    "potting_mix": UseRule(0.0, 0.0, 1 / 3, True, "common practice; screened to 1/4-1/2 in"),
}


def finished_kg(dry_kg: float, dry_loss: float = DRY_LOSS, moisture: float = FINISHED_MOISTURE) -> float:
    """Wet mass of the compost that `dry_kg` of dry matter gives. Raises OutOfRange for impossible shares."""
    if not (0 <= dry_loss < 1 and 0 <= moisture < 1):
        raise OutOfRange(f"loss and moisture must lie from 0 to below 1, got {dry_loss} and {moisture}")
    return dry_kg * (1 - dry_loss) / (1 - moisture)


def finished_m3(dry_kg: float, dry_loss: float = DRY_LOSS, moisture: float = FINISHED_MOISTURE) -> float:
    """Its volume, by mass balance: right for any filling, and far less than a third of a loose one."""
    return finished_kg(dry_kg, dry_loss, moisture) / FINISHED_KG_M3


def area_at_depth_m2(volume_m3: float, depth_m: float) -> float:
    """Area that a volume covers. Raises OutOfRange for a depth of zero or less."""
    if depth_m <= 0:
        raise OutOfRange(f"a depth must be more than 0 m, got {depth_m}")
    return volume_m3 / depth_m


def fit_from(use: Use, ready_on: date, *, test_passed: bool = False) -> date:
    """First day for a use: when ready; for seeds and pots a month later, or after a passed test."""
    return ready_on + MONTH if USES[use].mature and not test_passed else ready_on
