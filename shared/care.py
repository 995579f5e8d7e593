"""What the pile needs next, the reason as a code with its numbers, and what it would gain.

Rules in order of urgency; the first that applies speaks, and covers or later jobs may follow it. All of them
are common practice of the trade (troubleshooting lists of Rynk 1992, chapter 6, and of extension services)
unless a line names another source. Nothing is asked for by the calendar alone.
"""

from collections.abc import Callable
from datetime import date

from shared.actions import (
    TOO_RICH,
    Actions,
    act,
    browns,
    cover_from_cold,
    cover_from_rain,
    cover_from_sun,
    more_browns,
    more_greens,
    turn,
    water,
)
from shared.actions import WHYS as WHYS
from shared.actions import Action as Action
from shared.actions import Do as Do
from shared.danger import DRY_FELT, MIX_EVERY_DAYS, after_danger, cool_down, stay_back, watch
from shared.forecast import Forecast
from shared.pile import Pile, Records
from shared.situation import SMALL_M3, TURN_REST_DAYS, Situation, situation

DRY = 0.43
"""Below 40-45 % decay slows (Cornell moisture notes): water before that by the forecast's middle."""
DRY_CURING = 0.35
SOGGY = 0.65
"""Above this most mixes lose their air (Rynk 1992, 2022)."""
HARVEST_REST_DAYS = 30
WORTH_DAYS, WORTH_DAYS_UNTURNED = 2.0, 7.0
"""Days by which `ready` must come sooner to be worth half an hour with the fork; more for a keeper who
never turns."""


def next_actions(pile: Pile, records: Records, outlook: Forecast) -> Actions:
    """What to do next, never empty, first things first."""
    now = situation(pile, records, outlook)
    return next(actions for rule in RULES if (actions := rule(now)))


def stop_adding_date(outlook: Forecast, use_on: date) -> date:
    """Last day for additions so that all is ready by `use_on` with a chance of nine in ten.

    A day before the outlook's means that it is too late for this pile.
    """
    return use_on - (outlook.ready.p90 - outlook.as_of)


# ---- the rules, first things first ----------------------------------------------------------------------


def just_harvested(now: Situation) -> Actions:
    """An emptied pile rests from advice for a month."""
    if now.outlook.stage != "ready" or now.pile.fed or now.harvested_days_ago is None:
        return ()
    left = HARVEST_REST_DAYS - now.harvested_days_ago
    return (act(now, "wait", "harvested", on=now.in_days(left)),) if left > 0 else ()


def frozen(now: Situation) -> Actions:
    """Frozen: neither turned nor watered until it thaws."""
    if not now.frozen:
        return ()
    return (act(now, "wait", "frozen", on=now.thaw_on),)


def ready(now: Situation) -> Actions:
    """Ready is harvested."""
    if now.outlook.stage != "ready":
        return ()
    if "recognisable" in now.told:
        return (act(now, "cure", "still_raw"),)
    return (act(now, "harvest", "ready"),)


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


def pests(now: Situation) -> Actions:
    """Rodents: no more food scraps. Flies and larvae: bury and cap. Ants mean a dry pile."""
    if "rodents" in now.told:
        return (act(now, "stop_adding", "rodents"), *((turn(now, "rodents"),) if now.may_turn else ()))
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


def resting(now: Situation) -> Actions:
    """Near the air with its food spent: it cures, and is left alone."""
    if now.outlook.stage != "curing" and not (now.outlook.stage == "cooling" and now.spent):
        return ()
    if now.pile.fed:
        return ()
    if now.heard_days_ago > 28:
        return (act(now, "cure", "food_spent"), act(now, "measure", "not_heard"))
    return (act(now, "cure", "food_spent"),)


def fed(now: Situation) -> Actions:
    """A pile that is added to: take the bottom when it is ready, stop when full; turn only out of need."""
    if not now.pile.fed:
        return ()
    if now.outlook.bottom_litres >= 40:
        return (act(now, "harvest", "bottom_ready"),)
    if now.full:
        return (act(now, "stop_adding", "full"),)
    if now.airless and now.may_turn and now.rested_days >= 14:
        return (turn(now, "airless"),)
    if now.outlook.turn_gain_days >= WORTH_DAYS_UNTURNED and now.rested_days >= 28 and not now.winter:
        return (turn(now, "food_left"),)
    return (act(now, "wait", "winter" if now.winter else "on_track", on=_next_look(now)),)


def just_turned(now: Situation) -> Actions:
    """After a turning it dips and recovers; look on the third day."""
    if now.turned_days_ago is None or now.turned_days_ago >= TURN_REST_DAYS:
        return ()
    look = now.in_days(TURN_REST_DAYS - now.turned_days_ago)
    return (act(now, "wait", "just_turned", on=look), act(now, "measure", "did_it_reheat", on=look))


def just_built(now: Situation) -> Actions:
    """The first days tell nothing; the first reading is due on day three."""
    if now.age_days >= 3 or now.turned_days_ago is not None:
        return ()
    if now.core_c >= 45:
        return ()
    look = now.in_days(3 - now.age_days)
    return (act(now, "wait", "just_built", on=look), act(now, "measure", "first_reading", on=look))


def not_heating(now: Situation) -> Actions:
    """Cold though food is left: cheapest and likeliest cause first - season, size, greens, air."""
    cold = now.outlook.stage == "warming" and now.age_days >= 4 and now.core_c < now.air_c + 8
    if now.outlook.stage != "stalled" and not cold:
        return ()
    if now.winter:
        return (*cover_from_cold(now), act(now, "wait", "winter", on=now.thaw_on))
    if not now.ever_heard and now.age_days >= 3 and cold:
        return (act(now, "measure", "first_reading"),)
    if now.volume_m3 < SMALL_M3:
        return (act(now, "enlarge", "too_small"), *more_greens(now))
    if richer := more_greens(now):
        return (*richer, turn(now, "stalled_food_left"))
    if now.looks_done:
        return (act(now, "measure", "looks_done"),)
    if now.watered_days_ago is not None and now.watered_days_ago <= 3:
        return (act(now, "wait", "just_watered", on=now.in_days(3)),)
    rest = MIX_EVERY_DAYS - now.rested_days
    if now.turned_days_ago is not None and rest > 0:
        again = turn(now, "stalled_food_left", on=now.in_days(rest))
        return (act(now, "measure", "still_cold"), again)
    return (turn(now, "airless" if now.airless else "stalled_food_left"),)


def reheat(now: Situation) -> Actions:
    """Fallen from its heat with food left, below 50 °C and 8 °C down from its peak: a turning wakes it."""
    if now.outlook.stage not in ("hot", "cooling") or not now.may_turn or now.pile.fed or now.cold_out:
        return ()
    fallen = now.core_c < 50 and now.core_c < now.peak_c - 8 and now.outlook.trend_c_per_day < 1.0
    pause = 4 if now.food_left else 10
    lost = fallen and not now.spent and now.rested_days >= pause and now.outlook.turn_gain_days > -1.0
    gains = now.outlook.turn_gain_days >= _worth(now) and now.core_c < 50 and now.rested_days >= pause
    if now.pile.turning == "never" and not gains:
        return ()
    if not (lost or gains):
        return ()
    if richer := more_greens(now):
        return (*richer, turn(now, "cooling_food_left"))
    if now.unsure:
        return (act(now, "measure", "not_heard"), turn(now, "cooling_food_left", on=now.in_days(1)))
    return (turn(now, "cooling_food_left"), *_look_after_turn(now))


def mix_hot(now: Situation) -> Actions:
    """A week in the heat: turn the cool shell in, so that all of it is heated once."""
    rising = now.outlook.trend_c_per_day > 1.5 or now.outlook.turn_gain_days <= -1.0
    if now.outlook.stage != "hot" or rising or now.rested_days < MIX_EVERY_DAYS:
        return ()
    if now.pile.turning == "never" or now.pile.fed or now.cold_out:
        return ()
    return (turn(now, "hot_mixing"), *_look_after_turn(now))


def shelter(now: Situation) -> Actions:
    """An open pile that is wet and cool is covered from rain, one that dries in the heat from the sun."""
    if now.outlook.stage != "hot" and now.moisture >= SOGGY:
        return cover_from_rain(now)
    if now.moisture < 0.48 and now.air_c >= 25:
        return cover_from_sun(now)
    return ()


def not_heard(now: Situation) -> Actions:
    """Nothing heard for so long that a look would tell."""
    patience = {"warming": 3, "hot": 4, "cooling": 8, "stalled": 10}.get(now.outlook.stage, 28)
    if now.heard_days_ago < patience:
        return ()
    return (act(now, "measure", "not_heard" if now.ever_heard else "first_reading"), *_later(now))


def wait(now: Situation) -> Actions:
    """Nothing to do; say when there will be."""
    why = {"hot": "hot", "warming": "warming"}.get(now.outlook.stage, "winter" if now.winter else "on_track")
    return (act(now, "wait", why, on=_next_look(now)), *_later(now))


# ---- what goes along with a job ---------------------------------------------------------------------------


def _worth(now: Situation) -> float:
    return WORTH_DAYS_UNTURNED if now.pile.turning == "never" else WORTH_DAYS


def _next_look(now: Situation) -> date:
    """When there may be something to do: a job that comes due, else some days on, by stage."""
    usual = {"warming": 3, "hot": 3, "cooling": 5, "stalled": 7}.get(now.outlook.stage, 14)
    days = [now.turn_due, now.outlook.water_due, now.in_days(usual)]
    return min(day for day in days if day is not None and day > now.outlook.as_of)


def _later(now: Situation) -> Actions:
    """The next job in sight, with its day."""
    soon = now.in_days(14)
    jobs = []
    due = now.turn_due
    if due is not None and now.outlook.as_of < due <= soon:
        jobs.append((due, act(now, "turn", "food_left", on=due)))
    due = now.outlook.water_due
    if due is not None and now.outlook.as_of < due <= soon:
        jobs.append((due, act(now, "water", "drying", on=due)))
    return tuple(job for _, job in sorted(jobs, key=lambda job: job[0]))


def _look_after_turn(now: Situation) -> Actions:
    return (act(now, "measure", "did_it_reheat", on=now.in_days(TURN_REST_DAYS)),)


def _turn_with_water(now: Situation) -> Actions:
    """Water goes in best while turning, where the pile has rested and has something left."""
    if not now.may_turn or now.rested_days < 5 or now.spent or now.core_c >= 50 or now.pile.fed:
        return ()
    return (turn(now, "food_left"),)


RULES: tuple[Callable[[Situation], Actions], ...] = (
    stay_back,
    cool_down,
    after_danger,
    just_harvested,
    frozen,
    smells,
    ready,
    watch,
    soggy,
    pests,
    dry,
    matted,
    unbalanced,
    resting,
    fed,
    just_turned,
    just_built,
    not_heating,
    reheat,
    mix_hot,
    shelter,
    not_heard,
    wait,
)
