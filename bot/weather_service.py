"""Known weather from an open-data service. Never needed: where none comes, forecasts go on with normals.

The service asked is told where the programme is, never where a person is.
"""

import logging
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from threading import Lock
from typing import Annotated, Literal, NamedTuple, Protocol

import httpx
from pydantic import BaseModel, Field

from bot.profile import Profile
from scheduler.times import Clock
from shared.pile import DailyWeather

log = logging.getLogger(__name__)

TIMEOUT_S = 3.0
"""Longest time that an answer to a keeper waits for the weather, once a day. [s]"""
PAUSE = timedelta(hours=1)
"""After trouble the service is left alone for so long."""
A_DAY = timedelta(days=1)

Celsius = Annotated[float, Field(ge=-90, le=60, allow_inf_nan=False)]
Millimetres = Annotated[float, Field(ge=0, le=2000, allow_inf_nan=False)]


class WeatherService(Protocol):
    """Who knows the weather of the programme's place."""

    def daily(self, start: date, end: date) -> DailyWeather | None:
        """The days known from `start` to `end`, both included; None where none are. Raises nothing."""


class _Day(NamedTuple):
    min_c: float
    max_c: float
    rain_mm: float


class _Units(BaseModel):
    temperature_2m_min: Literal["°C"]
    temperature_2m_max: Literal["°C"]
    precipitation_sum: Literal["mm"]


class _Daily(BaseModel):
    time: list[date]
    temperature_2m_min: list[Celsius | None]
    temperature_2m_max: list[Celsius | None]
    precipitation_sum: list[Millimetres | None]


class _Answer(BaseModel):
    """A service's JSON: columns of equal length, null where a day's value is not known."""

    daily_units: _Units
    daily: _Daily

    def days(self) -> dict[date, _Day]:
        """The days of which all three values are known. Raises ValueError for days that cannot be."""
        daily, days = self.daily, {}
        columns = (daily.temperature_2m_min, daily.temperature_2m_max, daily.precipitation_sum)
        for on, low, high, rain in zip(daily.time, *columns, strict=True):
            if low is None or high is None or rain is None:
                continue
            if low > high:
                raise ValueError(f"{on}: the minimum lies above the maximum")
            days[on] = _Day(low, high, rain)
        return days


class OpenMeteo:
    """The daily JSON of Open-Meteo's archive and forecast APIs, as their documentation describes it.

    url           address of the API, with whatever query the service wants besides
    days_back     how far back it is asked
    timeout_s     longest wait for a whole answer
    Asked once for each new day; what it told before holds while it cannot be reached.
    """

    def __init__(
        self,
        url: str,
        latitude: float,
        longitude: float,
        clock: Clock,
        days_back: int = 400,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._url, self._place = url, {"latitude": latitude, "longitude": longitude}
        self._clock, self._days_back, self._timeout_s = clock, timedelta(days=days_back), timeout_s
        self._days: dict[date, _Day] = {}
        self._asked_from = self._asked_to = date.min
        self._not_before: datetime | None = None
        self._one_at_a_time = Lock()

    def daily(self, start: date, end: date) -> DailyWeather | None:
        """The days known from `start` to `end`, without a gap; None where none are. Raises nothing.

        A single missing day is given the mean of the days on either side; at a longer gap the series ends.
        """
        if start > end:
            return None
        with self._one_at_a_time:
            if end > self._asked_to and not self._resting():
                self._ask(end)
            return _unbroken(self._days, max(start, self._asked_from), end)

    def _resting(self) -> bool:
        return self._not_before is not None and self._clock.now() < self._not_before

    def _ask(self, end: date) -> None:
        """Ask in a thread of its own: that bounds the whole wait, looking up the name included."""
        pool = ThreadPoolExecutor(1)
        try:
            self._days = pool.submit(self._fetch, end).result(self._timeout_s)
            self._asked_from, self._asked_to = end - self._days_back, end
        except (httpx.HTTPError, httpx.InvalidURL, ValueError, OSError) as trouble:
            self._not_before = self._clock.now() + PAUSE
            log.warning("action=weather trouble=%s: going on with normals", type(trouble).__name__)
        finally:
            pool.shutdown(wait=False)

    def _fetch(self, end: date) -> dict[date, _Day]:
        asked = self._place | {
            "start_date": (end - self._days_back).isoformat(),
            "end_date": end.isoformat(),
            "daily": "temperature_2m_min,temperature_2m_max,precipitation_sum",
            "timezone": "auto",
        }
        answer = httpx.get(httpx.URL(self._url).copy_merge_params(asked), timeout=self._timeout_s)
        answer.raise_for_status()
        return _Answer.model_validate_json(answer.content).days()


def weather_service(profile: Profile, clock: Clock) -> WeatherService | None:
    """The service that the profile names; None where it names none."""
    weather = profile.weather
    if weather.url is None or weather.longitude is None:
        return None
    return OpenMeteo(weather.url, profile.latitude, weather.longitude, clock, weather.days_back)


def _unbroken(days: dict[date, _Day], start: date, end: date) -> DailyWeather | None:
    series: list[_Day] = []
    while (on := start + len(series) * A_DAY) <= end and (day := days.get(on) or _between(days, on)):
        series.append(day)
    if not series:
        return None
    low, high, rain = zip(*series, strict=True)
    return DailyWeather(start, low, high, rain)


def _between(days: dict[date, _Day], on: date) -> _Day | None:
    before, after = days.get(on - A_DAY), days.get(on + A_DAY)
    if before is None or after is None:
        return None
    return _Day(*((one + other) / 2 for one, other in zip(before, after, strict=True)))
