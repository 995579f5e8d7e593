"""The rules of care for danger: what a keeper does about heat, smoke and a burnt smell, before all else.

The alarm is read off the records alone (`cautions.py`); the forecast only adds whether it is dry or too rich.
"""

from shared.actions import TOO_RICH, Actions, act, more_browns, water
from shared.situation import Situation

DRY_FELT = 0.45
MIX_EVERY_DAYS = 7
FORGET_DANGER_DAYS = 14


def stay_back(now: Situation) -> Actions:
    """Smoke, flame, a burnt smell or 77 °C: stay back, and nothing else."""
    if now.alarm.level != "stay_back" or now.alarm.settled:
        return ()
    if now.alarm.cause == "smoke":
        return (act(now, "keep_away", "smoke"),)
    return (act(now, "keep_away", "danger_heat", core_c=now.alarm_c),)


def cool_down(now: Situation) -> Actions:
    """From 71 °C: water first where it is dry, turn, and look again in a day; never greens."""
    if now.alarm.level != "cool_down" or now.alarm.settled:
        return ()
    if now.turned_since_alarm:
        day = now.in_days(1) if now.turned_days_ago == 0 else None
        return (act(now, "measure", "recheck_heat", on=day, core_c=now.alarm_c),)
    job = act(now, "turn", "too_hot", core_c=now.alarm_c)
    recheck = act(now, "measure", "recheck_heat", on=now.in_days(1), core_c=now.alarm_c)
    if now.moisture < DRY_FELT:
        return (water(now, "too_hot_dry"), job, recheck)
    rich = "ammonia" if "ammonia" in now.told else "too_rich"
    more = more_browns(now, rich) if rich == "ammonia" or now.c_n < TOO_RICH else ()
    return (job, *more, recheck)


def after_danger(now: Situation) -> Actions:
    """A warning that neither a cooler reading nor the fork took back: look before anything is done."""
    grave = now.alarm.settled and now.alarm.level != "watch"
    if not grave or now.turned_since_alarm or now.days_since_danger > FORGET_DANGER_DAYS:
        return ()
    return (act(now, "measure", "after_danger"),)


def watch(now: Situation) -> Actions:
    """From 66 °C: look again in a day; turn where it has stood a week."""
    if now.alarm.level != "watch" or now.alarm.settled or now.core_c < 60:
        return ()
    look = act(now, "measure", "watch_heat", on=now.in_days(1) if now.days_since_danger == 0 else None)
    if now.moisture < DRY_FELT:
        return (water(now, "dry"), look)
    if now.rested_days >= MIX_EVERY_DAYS:
        return (act(now, "turn", "hot_mixing"), look)
    return (look,)
