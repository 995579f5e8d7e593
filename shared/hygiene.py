"""Time and heat: credit so far against published yardsticks, and the manure clock. Never a certificate.

All of it rests on readings of the core, and only between readings close enough to join; the cool shell counts
only after a turning has brought it in. Yardsticks made for sewage works and farms are used here as careful
measures of a home pile, which is not always sanitised even when stable.

[503] 40 CFR 503.32(a)(3) and Appendix B, US sewage-sludge rule (40 CFR 257 Appendix II has the same words)
[NOP] 7 CFR 205.203(c), US organic rule
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby, pairwise

from shared.pile import Record

HOT_C = 55.0
"""131 °F, the line of all the rules."""
ORGANIC_TOO_HOT_C = 77.0
JOIN_DAYS = 2.0
"""Readings further apart prove nothing about the time between them."""
HOT_SHARE = 0.5
"""Part of a pile that lies in the hot core between two turnings (common practice: about half)."""
SEED_DAYS = 3.0
SEED_SURVIVORS = 0.12
"""Of common seeds after 3 days moist at 55-60 °C: 85-90 % are killed (common practice, within Egley 1990)."""

DOSE_SOLIDS = 131_700_000.0
DOSE_THIN = 50_070_000.0
"""Constants of [503] for 7 % solids or more, and for less."""

RAW_MANURE_DAYS_TOUCHING = 120
RAW_MANURE_DAYS_CLEAR = 90


@dataclass(frozen=True, slots=True)
class Reading:
    """A core reading: `day` since the build, with its fraction, and degrees Celsius."""

    day: float
    core_c: float


@dataclass(frozen=True, slots=True)
class Credit:
    """What the readings show so far; shares [-], hours of the core.

    dose            sum of days / days required by [503]; the rule wants 1 or more in one unbroken period
    cycles          spells between turnings in which the core was hot for three days
    seeds_killed    of common weed seeds, with the share that was never hot
    never_hot       share of the pile that may never have lain in the hot core
    further, significant, organic   whether the core and the turnings so far look like the rule's pattern
    """

    hours_over_55c: float
    dose: float
    cycles: int
    never_hot: float
    seeds_killed: float
    further: bool
    significant: bool
    organic: bool


@dataclass(frozen=True, slots=True)
class SeedTrial:
    """A published trial: share of seeds alive, low to high, after `days` at `celsius`."""

    seeds: str
    celsius: float
    days: float
    alive_low: float
    alive_high: float
    source: str


_EGLEY = "Egley 1990, Weed Science 38:429"
SEED_TRIALS = (
    SeedTrial("cocklebur", 50, 3, 0.0, 0.0, _EGLEY),
    SeedTrial("prickly sida, cocklebur", 60, 0.5, 0.0, 0.0, _EGLEY),
    SeedTrial("velvetleaf, morningglory, purslane, redroot pigweed, johnsongrass", 60, 7, 0.04, 0.30, _EGLEY),
    SeedTrial("purslane, pigweed, johnsongrass, spurred anoda", 70, 3, 0.01, 0.12, _EGLEY),
    SeedTrial(
        "redroot pigweed, hardiest of twelve", 55, 14, 0.0, 0.035, "Compost Science & Utilization, Alberta"
    ),
    SeedTrial("twelve species of a windrow", 55, 28, 0.0, 0.0, "Compost Science & Utilization, Alberta"),
    SeedTrial("wattle", 55, 5.7, 0.08, 0.08, "California green-waste study"),
)
"""Trials at the core of a pile or in moist soil; dry seeds stand far more. The sources disagree: Dahlquist
2007 has six species dead within hours at 60 °C, Egley survivors after a week."""


def heard(records: Sequence[Record], built: date) -> tuple[list[Reading], list[float]]:
    """Core readings and days of turnings since the build; without an hour, in the order of the telling."""
    readings: list[Reading] = []
    turned: list[float] = []
    for on, of_day in groupby(sorted(records, key=lambda record: record.on), key=lambda record: record.on):
        today = list(of_day)
        for place, record in enumerate(today, start=1):
            part = place / (len(today) + 1) if record.hour is None else record.hour / 24
            day = (on - built).days + part
            if record.inner_c is not None:
                readings.append(Reading(day, record.inner_c))
            elif record.kind == "turned":
                turned.append(day)
    return readings, turned


def days_required(celsius: float, *, thin: bool = False) -> float:
    """Days at a steady temperature that [503] asks for, infinite below 50 °C. `thin`: under 7 % solids."""
    if celsius < 50:
        return math.inf
    constant = DOSE_THIN if thin else DOSE_SOLIDS
    return float(constant / 10 ** (0.1400 * celsius))


def dose(spells: Sequence[tuple[float, float]]) -> float:
    """Sum of days / days required over (days, °C); 1 and more meets [503].

    Adding up spells is a convention of engineers; the rule itself wants one unbroken period.
    """
    return sum(days / days_required(celsius) for days, celsius in spells)


def hours_over(readings: Sequence[Reading], celsius: float = HOT_C, ceiling_c: float = math.inf) -> float:
    """Hours of the core from `celsius` to `ceiling_c`, on lines between readings up to 2 days apart."""
    ordered = sorted(readings, key=lambda reading: reading.day)
    return 24 * sum(_days_within(one, two, celsius, ceiling_c) for one, two in pairwise(ordered))


def never_hot_share(cycles: int, hot_share: float = HOT_SHARE) -> float:
    """Part of a pile that no cycle has brought into the hot core: (1 - p) to the number of cycles."""
    return (1 - hot_share) ** cycles


def credit(readings: Sequence[Reading], turned_days: Sequence[float], c_n: float | None = None) -> Credit:
    """Credit so far from core readings and the days of the turnings; `c_n` of the mix at its start.

    Home piles are nearest to the rules' windrow: 55 °C for 15 days with five turnings in the hot time.
    """
    hours = hours_over(readings)
    spells = _spells(readings, turned_days)
    cycles = sum(hours_over(spell) >= 24 * SEED_DAYS for spell in spells)
    hot_turns = _turns_while_hot(readings, turned_days)
    organic_hours = hours_over(readings, HOT_C, ORGANIC_TOO_HOT_C)
    return Credit(
        hours_over_55c=hours,
        dose=dose(list(_steps(readings))),
        cycles=cycles,
        never_hot=never_hot_share(cycles),
        seeds_killed=seeds_killed(spells),
        further=hours >= 15 * 24 and hot_turns >= 5,
        significant=hours_over(readings, 40.0) >= 5 * 24 and hours >= 4,
        organic=organic_hours >= 15 * 24 and hot_turns >= 5 and c_n is not None and 25 <= c_n <= 40,
    )


def seeds_killed(spells: Sequence[Sequence[Reading]], hot_share: float = HOT_SHARE) -> float:
    """Share of common seeds killed [-] by the hot spells between turnings, each of which heats `hot_share`.

    In the core survivors fall to `SEED_SURVIVORS` with each three days at 55 °C; of hardy seeds more live on.
    """
    alive = 1.0
    for spell in spells:
        days = hours_over(spell) / 24
        alive *= 1 - hot_share + hot_share * SEED_SURVIVORS ** (days / SEED_DAYS)
    return 1 - alive


def harvest_from(mixed_in_on: date, *, touches_soil: bool) -> date:
    """First harvest of a food crop after raw or unproven manure was mixed into its soil. [NOP]

    The clock runs from the day on which it went into the soil, not from the day it went into the pile:
    120 days where the edible part touches soil, 90 where it does not.
    """
    return mixed_in_on + timedelta(days=RAW_MANURE_DAYS_TOUCHING if touches_soil else RAW_MANURE_DAYS_CLEAR)


def treat_as_raw(so_far: Credit) -> bool:
    """Whether compost with manure must be used like raw manure: unless the rule's pattern was shown. [NOP]"""
    return not so_far.organic


def trials_matched(readings: Sequence[Reading]) -> tuple[SeedTrial, ...]:
    """Published trials whose time and temperature the core has reached."""
    return tuple(trial for trial in SEED_TRIALS if hours_over(readings, trial.celsius) >= 24 * trial.days)


def _days_within(one: Reading, two: Reading, low_c: float, high_c: float) -> float:
    """Days between two readings during which the line between them lies from low_c to high_c."""
    days = two.day - one.day
    if not 0 < days <= JOIN_DAYS:
        return 0.0
    coolest, hottest = sorted((one.core_c, two.core_c))
    if coolest == hottest:
        return days if low_c <= coolest <= high_c else 0.0
    inside = min(hottest, high_c) - max(coolest, low_c)
    return days * max(0.0, inside) / (hottest - coolest)


def _steps(readings: Sequence[Reading]) -> Iterator[tuple[float, float]]:
    """Days between readings that may be joined, at the cooler of the two."""
    for one, two in pairwise(sorted(readings, key=lambda reading: reading.day)):
        if two.day - one.day <= JOIN_DAYS:
            yield two.day - one.day, min(one.core_c, two.core_c)


def _spells(readings: Sequence[Reading], turned_days: Sequence[float]) -> list[list[Reading]]:
    """The readings between one turning and the next."""
    edges = [-math.inf, *sorted(turned_days), math.inf]
    return [[r for r in readings if start <= r.day < end] for start, end in pairwise(edges)]


def _turns_while_hot(readings: Sequence[Reading], turned_days: Sequence[float]) -> int:
    """Turnings in the hot time: the last reading before them, at most 2 days old, at 55 °C or more."""
    hot = 0
    for turned in turned_days:
        before = [r for r in readings if turned - JOIN_DAYS <= r.day <= turned]
        hot += bool(before) and max(before, key=lambda r: r.day).core_c >= HOT_C
    return hot
