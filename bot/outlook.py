"""Where a pile stands: the forecast and what to do next, worked out once for the same knowledge."""

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache

from bot.profile import Profile
from bot.weather_service import WeatherService
from shared.care import Action, next_actions
from shared.forecast import Forecast, Habit, forecast
from shared.pile import Ingredient, Pile, Record
from storage.piles import PileRow, Piles

log = logging.getLogger(__name__)

REMEMBERED = 256
"""Forecasts kept in memory: a message is answered, and its pile planned anew, from the same one."""


class Outlooks:
    """Forecasts for the piles of one programme, by its climate and latitude and, where known, its weather."""

    def __init__(self, profile: Profile, weather: WeatherService | None = None) -> None:
        self._profile, self._weather = profile, weather
        self._work_out = lru_cache(REMEMBERED)(_work_out)

    def __call__(
        self, row: PileRow, records: Sequence[Record], as_of: date, habit: Habit | None = None
    ) -> tuple[Forecast, tuple[Action, ...]]:
        """The forecast of a pile and its next actions, from its set-up and what was told of it.

        Raises BadInput where the pile is not set up.
        """
        pile = Piles.pile(row, self._profile.climate, self._profile.latitude)
        if self._weather is not None:
            yesterday = as_of - timedelta(days=1)
            pile = replace(pile, weather=self._weather.daily(pile.built, yesterday))
        return self._work_out(pile, tuple(records), max(as_of, pile.built), habit)

    def warm_up(self) -> None:
        """Have the forecaster compiled before the first message comes; on a new machine it takes a while."""
        built = date(2026, 3, 1)
        mix = (Ingredient("dry_leaves", 0.5), Ingredient("grass_clippings", 0.5))
        readings = (Record("temperature", built + timedelta(days=3), core_c=55.0),)
        for fed in (False, True):
            pile = Pile("sample", built, 1.0, 1.0, 1.0, mix, climate=self._profile.climate, fed=fed)
            _work_out(pile, readings, readings[-1].on, None)
        log.info("action=ready part='forecaster'")


def _work_out(
    pile: Pile, records: tuple[Record, ...], as_of: date, habit: Habit | None
) -> tuple[Forecast, tuple[Action, ...]]:
    told = tuple(record for record in records if record.on <= as_of + timedelta(days=1))
    outlook = forecast(pile, told, as_of, habit=habit)
    return outlook, next_actions(pile, told, outlook)
