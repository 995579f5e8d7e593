"""What the pile needs next, the reason as a code with its numbers, and what it would gain.

Rules in order of urgency; the first that applies speaks, and covers or later jobs may follow it. All of them
are common practice of the trade (troubleshooting lists of Rynk 1992, chapter 6, and of extension services)
unless a line names another source. Nothing is asked for by the calendar alone.
"""

from collections.abc import Callable
from datetime import date

from shared.actions import WHYS as WHYS
from shared.actions import Action as Action
from shared.actions import Actions, act, turn
from shared.actions import Do as Do
from shared.danger import after_danger, cool_down, stay_back, watch
from shared.forecast import Forecast
from shared.pile import Pile, Records
from shared.reheating import WORTH_DAYS_UNTURNED, just_built, just_turned, mix_hot, not_heating, reheat
from shared.situation import Situation, situation
from shared.troubles import dry, matted, pests, rodents, shelter, smells, soggy, unbalanced

HARVEST_REST_DAYS = 30


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


RULES: tuple[Callable[[Situation], Actions], ...] = (
    stay_back,
    cool_down,
    after_danger,
    just_harvested,
    frozen,
    smells,
    ready,
    watch,
    rodents,
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
