"""How long people keep going: the share still active by time, with its band, and honest bounds on shares.

Silence is not success: whoever was last heard of on a day is known to have gone on until then, and no
longer. Kaplan and Meier's estimate counts those whose time is not yet up as they were last seen.

[1] E. L. Kaplan, P. Meier, "Nonparametric Estimation from Incomplete Observations", J. Am. Stat. Assoc.
    53 (1958) 457-481.
[2] J. D. Kalbfleisch, R. L. Prentice, The Statistical Analysis of Failure Time Data, 1980: the band on the
    scale of log(-log S), from memory.
[3] E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212: the interval of a share.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from shared.errors import OutOfRange

Z_95 = 1.959963984540054
"""Standard normal quantile of 97.5 %."""


@dataclass(frozen=True, slots=True)
class Spell:
    """How long one household was seen to go on [d], and whether it is known to have ended there."""

    days: float
    ended: bool


@dataclass(frozen=True, slots=True)
class Share:
    """A share with the band that holds it 19 times of 20, and the number of households behind it."""

    value: float
    low: float
    high: float
    of: int


def still_going(spells: Sequence[Spell], day: float) -> Share | None:
    """Share still going after `day` days [1], its band [2]; None where nobody has been followed that long.

    `of` counts those who were followed to that day or ended before. Raises OutOfRange for a spell or a
    day below zero.
    """
    if day < 0 or any(spell.days < 0 for spell in spells):
        raise OutOfRange("days to follow somebody must be 0 or more")
    if not any(spell.days >= day for spell in spells):
        return None
    going, variance = 1.0, 0.0
    for end in sorted({spell.days for spell in spells if spell.ended and spell.days <= day}):
        at_risk = sum(1 for spell in spells if spell.days >= end)
        ended = sum(1 for spell in spells if spell.ended and spell.days == end)
        going *= 1 - ended / at_risk
        if at_risk > ended:
            variance += ended / (at_risk * (at_risk - ended))
    followed = sum(1 for spell in spells if spell.ended or spell.days >= day)
    if going in (0.0, 1.0):
        return Share(going, going, going, followed)
    spread = Z_95 * sqrt(variance) / log(going)
    low, high = sorted((going ** exp(spread), going ** exp(-spread)))
    return Share(going, low, high, followed)


def wilson(hits: int, of: int) -> Share:
    """A share of a sample and its 95 % interval [3]. Raises OutOfRange unless 0 <= hits <= of, of > 0."""
    if not 0 <= hits <= of or of == 0:
        raise OutOfRange(f"hits must lie between 0 and the number asked, got {hits} of {of}")
    share, spread = hits / of, Z_95**2 / of
    middle = (share + spread / 2) / (1 + spread)
    half = Z_95 / (1 + spread) * sqrt(share * (1 - share) / of + spread / (4 * of))
    return Share(share, max(0.0, middle - half), min(1.0, middle + half), of)


def bounds(yes: int, answered: int, invited: int) -> tuple[float, float]:
    """Least and largest true share when the silent may all be no, or all yes.

    Raises OutOfRange unless 0 <= yes <= answered <= invited, invited > 0.
    """
    if not 0 <= yes <= answered <= invited or invited == 0:
        raise OutOfRange(f"yes, answered, invited must rise, got {yes}, {answered}, {invited}")
    return yes / invited, (yes + invited - answered) / invited
