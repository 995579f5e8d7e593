"""The rules of care for heat: what a pile wants that is young, just turned, cold, or falling from its heat.

Common practice of the trade, as the rest of care (`care.py`).
"""

from shared.actions import Actions, act, cover_from_cold, more_greens, turn
from shared.danger import MIX_EVERY_DAYS
from shared.signs import TURN_REST_DAYS
from shared.situation import SMALL_M3, Situation

WORTH_DAYS, WORTH_DAYS_UNTURNED = 2.0, 7.0
"""Days by which `ready` must come sooner to be worth half an hour with the fork; more for a keeper who
never turns."""


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
    if now.rising or (now.pile.turning == "never" and not gains):
        return ()
    if not (lost or gains):
        return ()
    why = "cooling_food_left" if now.known_warmer else "food_left"
    if richer := more_greens(now):
        return (*richer, turn(now, why))
    if now.unsure:
        return (act(now, "measure", "not_heard"), turn(now, why, on=now.in_days(1)))
    return (turn(now, why), *_look_after_turn(now))


def mix_hot(now: Situation) -> Actions:
    """A week in the heat: turn the cool shell in, so that all of it is heated once."""
    rising = now.rising or now.outlook.trend_c_per_day > 1.5 or now.outlook.turn_gain_days <= -1.0
    if now.outlook.stage != "hot" or rising or now.rested_days < MIX_EVERY_DAYS:
        return ()
    if now.pile.turning == "never" or now.pile.fed or now.cold_out:
        return ()
    return (turn(now, "hot_mixing"), *_look_after_turn(now))


def _worth(now: Situation) -> float:
    return WORTH_DAYS_UNTURNED if now.pile.turning == "never" else WORTH_DAYS


def _look_after_turn(now: Situation) -> Actions:
    return (act(now, "measure", "did_it_reheat", on=now.in_days(TURN_REST_DAYS)),)
