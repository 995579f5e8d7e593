"""The rules of care for trouble: smell, too wet, too dry, pests, mats, a mix far from balance.

Common practice of the trade, as the rest of care (`care.py`), unless a line names another source.
"""

from shared.actions import (
    TOO_RICH,
    Actions,
    act,
    browns,
    cover_from_rain,
    cover_from_sun,
    more_browns,
    more_greens,
    turn,
    water,
)
from shared.danger import DRY_FELT
from shared.reheating import reheat
from shared.situation import Situation

DRY = 0.43
"""Below 40-45 % decay slows (Cornell moisture notes): water before that by the forecast's middle."""
DRY_CURING = 0.35
SOGGY = 0.65
"""Above this most mixes lose their air (Rynk 1992, 2022)."""


def smells(now: Situation) -> Actions:
    """Ammonia wants browns; rot and sourness want air first, and browns to hold it open."""
    if "ammonia" in now.told:
        return (*more_browns(now, "ammonia"), turn(now, "ammonia"))
    for smell in ("rotten", "sour"):
        if smell in now.told:
            more, air = more_browns(now, smell), (turn(now, smell),)
            return (*(air + more if now.may_turn else more + air), *cover_from_rain(now))
    return ()


def soggy(now: Situation) -> Actions:
    """Too wet: dry browns forked in, and a cover; never water."""
    wet = now.moisture > SOGGY if now.moisture_felt else now.moisture > SOGGY + 0.05 and now.airless
    if not wet:
        return ()
    if now.winter:
        return (*cover_from_rain(now), act(now, "wait", "winter", on=now.thaw_on))
    if now.outlook.stage == "curing":
        return (act(now, "cover", "rain"), turn(now, "soggy")) if not now.covered else (turn(now, "soggy"),)
    return (*more_browns(now, "soggy"), turn(now, "soggy"), *cover_from_rain(now))


def rodents(now: Situation) -> Actions:
    """Rodents come for food scraps: no more of those first, then what else is wrong with the pile."""
    if "rodents" not in now.told:
        return ()
    opened = (turn(now, "rodents"),) if now.may_turn else ()
    return (act(now, "stop_adding", "rodents"), *(soggy(now) or opened))


def pests(now: Situation) -> Actions:
    """Flies and larvae: bury and cap. Ants mean a dry pile."""
    for pest in ("flies", "larvae"):
        if pest in now.told and "browned" not in now.told:
            return (browns(now, pest), *reheat(now))
    if "ants" in now.told and now.moisture < 0.50 and not now.watered_lately:
        return (water(now, "ants"), *_turn_with_water(now))
    return ()


def dry(now: Situation) -> Actions:
    """Water before it is too dry, at a turn where one is due; none in frost, after rain or after watering."""
    if now.winter:
        return ()
    limit = DRY_FELT if now.moisture_felt else DRY
    if now.outlook.stage == "curing":
        limit = DRY_CURING if now.moisture_felt else DRY_CURING - 0.05
    if "powdery" in now.told and now.moisture < 0.47:
        limit = 0.47
    if now.moisture >= limit or (now.rained and not now.moisture_felt):
        return ()
    if now.watered_lately and not now.moisture_felt:
        return ()
    if now.outlook.stage == "curing":
        return (water(now, "dry_curing"), act(now, "cure", "resting"))
    why = "powdery" if "powdery" in now.told else "dry"
    return (water(now, why), *more_greens(now), *_turn_with_water(now), *cover_from_sun(now))


def matted(now: Situation) -> Actions:
    """Mats are forked apart, and wet clumps."""
    clumps = "clumpy" in now.told and now.moisture >= 0.55
    if not ("matted" in now.told or clumps) or now.outlook.stage in ("ready", "curing"):
        return ()
    return (turn(now, "matted"),)


def unbalanced(now: Situation) -> Actions:
    """A mix far too rich is put right in its first week, before it smells; a fed one at any time."""
    if now.c_n < TOO_RICH and (now.age_days <= 7 or now.pile.fed) and now.food_left:
        return more_browns(now, "too_rich")
    return ()


def shelter(now: Situation) -> Actions:
    """An open pile that is wet and cool is covered from rain, one that dries in the heat from the sun."""
    if now.outlook.stage != "hot" and now.moisture >= SOGGY:
        return cover_from_rain(now)
    if now.moisture < 0.48 and now.air_c >= 25:
        return cover_from_sun(now)
    return ()


def _turn_with_water(now: Situation) -> Actions:
    """Water goes in best while turning, where the pile has rested and has something left."""
    if not now.may_turn or now.rested_days < 5 or now.spent or now.core_c >= 50 or now.pile.fed:
        return ()
    return (turn(now, "food_left"),)
