"""What the compiled core works on: likely piles side by side, each in a lane of its own.

A compiled loop over lanes works on several piles at once, so that hundreds of likely piles are run where a
reply waits for them. All numbers take eight bytes, so a record can be read as plain rows of them.
"""

from typing import Any

import numpy as np

NODE = np.dtype(
    [
        ("fast_kg", "f8"),  # volatile matter by pool: sugars, starch, protein
        ("moderate_kg", "f8"),  # cellulose and the like
        ("slow_kg", "f8"),  # lignin, wood
        ("ash_kg", "f8"),
        ("water_kg", "f8"),
        ("temp_c", "f8"),
    ]
)

PILE = np.dtype(
    [
        ("core", NODE),
        ("shell", NODE),
        ("activity", "f8"),  # start-up, 0.1 to 1
        ("matting_days", "f8"),  # moist days since the last turn: dry matter does not mat
        ("ever_fast_kg", "f8"),  # all that was ever put in
        ("ever_moderate_kg", "f8"),
        ("ever_dry_kg", "f8"),
        ("filled_m3", "f8"),  # volume that all of it took up when it was put in
        ("free_air", "f8"),
        ("eaten_days", "f8"),  # days of decay at the optimum that the whole has had
        ("quiet_days", "f8"),  # days running on which it was done but for the rest
        ("ready_day", "f8"),  # day of `ready` since the build, NaN before
        ("next_turn", "f8"),  # day on which the keeper is taken to turn next
        ("drained_kg", "f8"),
        ("gained_kg", "f8"),  # water from rain, cans and additions, less what evaporated
        ("luck", "u8"),  # state of this member's own random numbers
    ]
)

TRAITS = np.dtype(
    [
        ("fast_per_day", "f8"),  # rates at the optimum
        ("moderate_per_day", "f8"),
        ("slow_per_day", "f8"),
        ("mild_peak", "f8"),  # height of the mild community's best, and where it wakes [°C]
        ("mild_low_c", "f8"),
        ("growth_per_day", "f8"),
        ("nitrogen_slowing", "f8"),  # factor of the mix's C:N
        ("heat_mj_per_kg", "f8"),
        ("conductivity", "f8"),  # W/m K
        ("film", "f8"),  # W/m² K
        ("draught", "f8"),  # natural draught over the usual
        ("shell_share", "f8"),  # of the volume
        ("mixing", "f8"),  # how far a turn evens core and shell out, 0 to 1
        ("turn_loss", "f8"),  # share of the rise over the air that a turn loses
        ("settling", "f8"),  # share of the air space that settling takes in the end
        ("settling_days", "f8"),
        ("reach_floor", "f8"),  # see decay.reach
        ("reach_days", "f8"),
        ("catch_share", "f8"),  # of the rain on the top
        ("et_share", "f8"),  # of reference evapotranspiration
        ("plan_m2", "f8"),
        ("holding_moisture", "f8"),
        ("creep_per_day", "f8"),  # water between core and shell
        ("turn_every_days", "f8"),  # the keeper's habit to come
        ("water_chance", "f8"),  # a day, when drier than water_below
        ("water_l", "f8"),
        ("water_below", "f8"),
    ]
)


HOLDING = np.dtype(
    [
        ("slowing", "f8"),  # product of the factors that change from day to day, not from hour to hour
        ("damp", "f8"),  # how near to saturation it brings the air in it
    ]
)

DAY = np.dtype(
    [
        ("number", "f8"),  # days since the build
        ("air_c", "f8"),
        ("w_air", "f8"),  # kg/kg
        ("rain_mm", "f8"),
        ("et0_mm", "f8"),
        ("covered", "f8"),  # 1, 0, or -1 for unknown
        ("core", HOLDING),
        ("shell", HOLDING),
        ("still_air", "f8"),  # draught without a rise [kg/day]
        ("inner", "f8"),  # conductances [MJ/day K]
        ("outer", "f8"),
        ("restless_k", "f8"),
        ("mean_c", "f8"),  # of the core
    ]
)

WIDTH = 16  # lanes; twice the widest that today's machines work on at once


def _wide(kind: np.dtype[Any]) -> np.dtype[Any]:
    """The same fields with a lane for each of `WIDTH` piles."""
    fields = [(name, kind[name]) for name in kind.names or ()]
    return np.dtype([(name, _wide(one)) if one.names else (name, one, (WIDTH,)) for name, one in fields])


LANES = np.dtype([("pile", _wide(PILE)), ("own", _wide(TRAITS)), ("day", _wide(DAY))])
"""`pile`, `own` traits and `day`; each field holds one number for each lane."""
PILE_FIELDS, TRAITS_FIELDS = PILE.itemsize // 8, TRAITS.itemsize // 8
