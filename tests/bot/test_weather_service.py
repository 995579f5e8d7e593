"""Known weather comes from a service, where one is named, and trouble with it changes nothing else.

The answers have the form of the daily JSON in Open-Meteo's documentation (from memory): columns under
`daily`, units under `daily_units`, null for a value that is not known, an error as status 400 with a reason.
"""

import json
import logging
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from bot.app import running
from bot.outlook import Outlooks
from bot.profile import Profile, Weather, read_profile
from bot.settings import Settings
from bot.weather_service import OpenMeteo, weather_service
from shared.errors import BadInput
from shared.pile import DailyWeather
from storage.piles import PileRow

BUILT, YESTERDAY = date(2026, 3, 1), date(2026, 3, 10)
NOON = datetime(2026, 3, 11, 19, tzinfo=UTC)
ROW = PileRow(
    id=1,
    name=None,
    zone="America/Denver",
    founder_id=1,
    setup={
        "built": BUILT.isoformat(),
        "length_m": 1.0,
        "width_m": 1.0,
        "height_m": 1.0,
        "ingredients": [["dry_leaves", 600.0], ["grass_clippings", 600.0]],
    },
    created_at=NOON,
)


class Hand:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.at = NOON

    def now(self) -> datetime:
        return self.at


class Station:
    """A weather service on a real socket: every day -12 to -4 °C with 2 mm, unless told otherwise."""

    def __init__(self) -> None:
        self.asked: list[dict[str, str]] = []
        self.status = 200
        self.body: bytes | None = None
        self.missing: set[date] = set()
        self.changes: dict[str, Any] = {}
        self.units = {"temperature_2m_min": "°C", "temperature_2m_max": "°C", "precipitation_sum": "mm"}
        self.cut = False
        self.released = threading.Event()
        self.released.set()
        station = self

        class Door(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                query = {key: values[0] for key, values in parse_qs(urlsplit(self.path).query).items()}
                station.asked.append(query)
                station.released.wait(30)
                body = station.body or station.answer(query)
                self.send_response(station.status)
                self.send_header("Content-Length", str(len(body) + (100 if station.cut else 0)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                """Nothing on the screen of the tests."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Door)
        self.url = f"http://127.0.0.1:{self.server.server_port}/v1/archive?key=pear"

    def answer(self, query: dict[str, str]) -> bytes:
        start, end = date.fromisoformat(query["start_date"]), date.fromisoformat(query["end_date"])
        days = [start + timedelta(days=number) for number in range((end - start).days + 1)]
        usual = {"temperature_2m_min": -12.0, "temperature_2m_max": -4.0, "precipitation_sum": 2.0}
        daily: dict[str, list[Any]] = {"time": [day.isoformat() for day in days]}
        for name, value in usual.items():
            daily[name] = [None if day in self.missing else value + (day == YESTERDAY) for day in days]
        return json.dumps({"daily_units": self.units, "daily": daily | self.changes}).encode()


@pytest.fixture
def station(monkeypatch: pytest.MonkeyPatch) -> Iterator[Station]:
    """A running station."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    station = Station()
    thread = threading.Thread(target=station.server.serve_forever, args=(0.01,))
    thread.start()
    yield station
    station.released.set()
    station.server.shutdown()
    thread.join()
    station.server.server_close()


@pytest.fixture
def clock() -> Hand:
    return Hand()


@pytest.fixture
def service(station: Station, clock: Hand) -> OpenMeteo:
    """What asks the station."""
    return OpenMeteo(station.url, 34.9, -106.9, clock, days_back=30)


def days_known(weather: DailyWeather | None) -> int:
    return 0 if weather is None else len(weather.min_c)


def test_the_days_asked_for_come_out(service: OpenMeteo) -> None:
    """From the build to yesterday, with the minimum, the maximum and the rain of each day in its place."""
    weather = service.daily(BUILT, YESTERDAY)

    assert weather == DailyWeather(BUILT, (-12.0,) * 9 + (-11.0,), (-4.0,) * 9 + (-3.0,), (2.0,) * 9 + (3.0,))


def test_the_service_is_told_the_place_and_days_and_nothing_else(
    service: OpenMeteo, station: Station
) -> None:
    """The parameters of the documented API, and what stood in the address already."""
    service.daily(BUILT, YESTERDAY)

    assert station.asked == [
        {
            "key": "pear",
            "latitude": "34.9",
            "longitude": "-106.9",
            "start_date": "2026-02-08",
            "end_date": "2026-03-10",
            "daily": "temperature_2m_min,temperature_2m_max,precipitation_sum",
            "timezone": "auto",
        }
    ]


def test_one_question_a_day_serves_every_pile(service: OpenMeteo, station: Station) -> None:
    """Older piles and younger ones are served from the same answer, until a day has passed."""
    assert days_known(service.daily(BUILT, YESTERDAY)) == 10
    assert days_known(service.daily(YESTERDAY, YESTERDAY)) == 1
    assert days_known(service.daily(date(2026, 2, 20), YESTERDAY - timedelta(days=1))) == 18
    assert len(station.asked) == 1

    assert days_known(service.daily(BUILT, YESTERDAY + timedelta(days=1))) == 11
    assert len(station.asked) == 2


def test_a_pile_older_than_the_answer_gets_the_days_there_are(service: OpenMeteo) -> None:
    """The series begins on the first day that the service was asked for."""
    weather = service.daily(date(2025, 10, 1), YESTERDAY)

    assert weather is not None
    assert (weather.start, days_known(weather)) == (date(2026, 2, 8), 31)


def test_a_pile_built_today_has_no_days_to_ask_for(service: OpenMeteo, station: Station) -> None:
    """Nothing is asked where no day has gone by."""
    assert service.daily(YESTERDAY + timedelta(days=1), YESTERDAY) is None
    assert station.asked == []


@pytest.mark.parametrize(
    "trouble",
    [
        {"status": 500},
        {"status": 400, "body": b'{"error": true, "reason": "out of allowed range"}'},
        {"cut": True},
        {"body": b"<html>"},
        {"body": b"{}"},
        {"body": b"\xff\xfe"},
        {"changes": {"temperature_2m_max": [1.0]}},
        {"changes": {"time": ["soon"] * 31}},
        {"changes": {"temperature_2m_max": [-40.0] * 31}},
        {"changes": {"temperature_2m_max": [400.0] * 31}},
        {"changes": {"precipitation_sum": [-1.0] * 31}},
        {"units": {"temperature_2m_min": "°F", "temperature_2m_max": "°F", "precipitation_sum": "inch"}},
    ],
    ids=str,
)
def test_trouble_means_normals_and_one_line_in_the_log(
    service: OpenMeteo,
    station: Station,
    trouble: dict[str, Any],
    caplog: pytest.LogCaptureFixture,
) -> None:
    """An error, a cut connection or an answer that cannot be gives None; the line tells no place, no key."""
    vars(station).update(trouble)

    with caplog.at_level(logging.WARNING):
        assert service.daily(BUILT, YESTERDAY) is None

    assert len(caplog.messages) == 1
    assert "action=weather" in caplog.text
    assert not any(told in caplog.text for told in ("pear", "34.9", "106.9", "127.0.0.1"))


def test_a_slow_service_is_not_waited_for(station: Station, clock: Hand) -> None:
    """When the time is up there is None, though the service has not answered yet."""
    station.released.clear()
    service = OpenMeteo(station.url, 34.9, -106.9, clock, timeout_s=0.05)

    assert service.daily(BUILT, YESTERDAY) is None
    assert not station.released.is_set()


def test_nobody_there_means_normals(clock: Hand, station: Station) -> None:
    """A port on which nothing listens gives None."""
    closed = ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler)
    port = closed.server_port
    closed.server_close()

    assert OpenMeteo(f"http://127.0.0.1:{port}/", 34.9, -106.9, clock).daily(BUILT, YESTERDAY) is None
    assert station.asked == []


def test_after_trouble_the_service_is_left_alone_for_an_hour(
    service: OpenMeteo, station: Station, clock: Hand
) -> None:
    """It is asked again once the hour is over, and then serves."""
    station.status = 500
    service.daily(BUILT, YESTERDAY)
    station.status = 200

    clock.at += timedelta(minutes=59)
    assert service.daily(BUILT, YESTERDAY) is None
    assert len(station.asked) == 1

    clock.at += timedelta(minutes=1)
    assert days_known(service.daily(BUILT, YESTERDAY)) == 10


def test_what_was_told_holds_through_trouble(service: OpenMeteo, station: Station) -> None:
    """Days known from an earlier answer stay known while the service is away."""
    service.daily(BUILT, YESTERDAY)
    station.status = 500

    assert days_known(service.daily(BUILT, YESTERDAY + timedelta(days=1))) == 10


def test_a_single_missing_day_takes_the_mean_of_its_neighbours(service: OpenMeteo, station: Station) -> None:
    """The ninth lies between -12 and -11 °C, -4 and -3 °C, 2 and 3 mm."""
    station.missing = {date(2026, 3, 9)}

    weather = service.daily(BUILT, YESTERDAY)

    assert weather is not None
    assert (weather.min_c[8], weather.max_c[8], weather.rain_mm[8]) == (-11.5, -3.5, 2.5)
    assert days_known(weather) == 10


@pytest.mark.parametrize(
    ("first", "gone", "known"),
    [(date(2026, 3, 5), 2, 4), (date(2026, 3, 8), 3, 7), (YESTERDAY, 1, 9), (BUILT, 2, 0)],
)
def test_the_series_ends_where_more_is_missing(
    service: OpenMeteo, station: Station, first: date, gone: int, known: int
) -> None:
    """Two days missing, or the last of all, are not guessed."""
    station.missing = {first + timedelta(days=number) for number in range(gone)}

    assert days_known(service.daily(BUILT, YESTERDAY)) == known


def test_a_forecast_heeds_the_weather_there_was(service: OpenMeteo) -> None:
    """Ten days of hard frost on a pile whose normals are mild make for a cooler core today."""
    profile = Profile()
    by_normals, _ = Outlooks(profile)(ROW, (), NOON.date())

    known, _ = Outlooks(profile, service)(ROW, (), NOON.date())

    assert known.core_c.p50 < by_normals.core_c.p50


def test_a_forecast_in_trouble_is_that_with_normals(service: OpenMeteo, station: Station) -> None:
    """A service that fails leaves the very forecast that there would be without it."""
    station.status = 500

    assert Outlooks(Profile(), service)(ROW, (), NOON.date()) == Outlooks(Profile())(ROW, (), NOON.date())


def test_nobody_is_asked_where_no_service_is_named(clock: Hand) -> None:
    """A profile without an address has no service, and neither has the example that is shipped."""
    example = Path(__file__).parents[2] / "deploy" / "larkmoor.toml"

    assert weather_service(Profile(), clock) is None
    assert weather_service(read_profile(example), clock) is None
    assert weather_service(Profile(weather=Weather(longitude=-106.9)), clock) is None


def test_a_named_service_reaches_the_forecasts_of_the_running_program(
    station: Station, clock: Hand, tmp_path: Path
) -> None:
    """From the profile's `[weather]` to the question asked: planning a pile asks the station."""
    path = tmp_path / "profile.toml"
    path.write_text(
        f"latitude = 34.9\n[weather]\nurl = '{station.url}'\nlongitude = -106.9\ndays_back = 30\n"
    )
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'w.sqlite'}", profile=path)

    with running(settings, [], clock) as warmheap:
        with warmheap.store.work() as work:
            ana = work.people.add("console", "ana", "Ana", "en", "f", "America/Denver", NOON)
            work.people.consent(ana.id, True, "words", "en", "console", None, "1", NOON)
            pile = work.piles.found(ana.id, "America/Denver", NOON)
            work.piles.set_up(pile.id, ana.id, ROW.setup, NOON)
            work.commit()
        warmheap.plan(NOON + timedelta(days=1))

    assert [query["longitude"] for query in station.asked] == ["-106.9"]


def test_an_address_needs_a_longitude(tmp_path: Path) -> None:
    """A service without a place to ask for is refused in one line."""
    path = tmp_path / "profile.toml"
    path.write_text("[weather]\nurl = 'https://weather.example/v1/archive'\n")

    with pytest.raises(BadInput, match="weather: url needs a longitude"):
        read_profile(path)
