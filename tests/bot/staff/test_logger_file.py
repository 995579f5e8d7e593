"""Logger files: times and temperatures found, units told or asked for, thinned to four a day."""

from datetime import datetime, timedelta

import pytest

from bot.staff.logger_file import read_logger
from shared.errors import BadInput

NOW = datetime(2026, 4, 1, 12)
ONE = (datetime(2026, 3, 25, 10), 50.0)


@pytest.mark.parametrize(
    "text",
    [
        "Time,Temp (F)\n2026-03-25 10:00,122\n",
        "fecha;temperatura ºC\n25/03/2026 10:00;50,0\n",
        "Date,Time,Probe 1 (°F),Probe 2 (°F)\n03/25/2026,10:00,122,99\n",
        "Site: Old Mill\nSerial: 12\n\nTimestamp\tCore temperature\tUnit\n2026-03-25T10:00:00\t50\tC\n",
        "2026-03-25 10:00,50 C\n",
        "when,temperature_fahrenheit\n3/25/26 10:00 AM,122.0\n".replace("when", "date time"),
    ],
    ids=["iso", "spanish", "two columns", "a title", "no heading", "twelve hours"],
)
def test_the_same_reading_however_it_is_written(text: str) -> None:
    """50 °C on the 25th of March at ten."""
    found = read_logger(text.encode(), None, NOW)

    assert [(moment, round(core_c, 6)) for moment, core_c in found.kept] == [ONE]
    assert found.odd == {}


def test_days_first_and_months_first_are_told_apart_by_their_order() -> None:
    """03/04, 04/04, 05/04 run on as days of April, not as one day of three months."""
    text = "time,temp c\n" + "".join(f"{day:02}/04/2025 10:00,50\n" for day in range(3, 30))

    kept = read_logger(text.encode(), None, NOW).kept

    assert [moment.date().isoformat() for moment, _ in kept[:2]] == ["2025-04-03", "2025-04-04"]


def test_of_six_hours_the_middle_reading_is_kept() -> None:
    """36 readings of six hours become one, which a jump of the probe does not move."""
    start = datetime(2026, 3, 25, 6)
    rows = [(start + timedelta(minutes=10 * n), 95.0 if n == 7 else 40.0 + n / 10) for n in range(36)]
    text = "time,temp c\n" + "".join(f"{moment},{core_c}\n" for moment, core_c in rows)

    found = read_logger(text.encode(), None, NOW)

    assert [core_c for _, core_c in found.kept] == [41.8]
    assert found.rows == 36


def test_what_cannot_be_is_counted_and_left_out() -> None:
    """Impossible, in the future, without a time, without a number: one each."""
    text = (
        "time,temp c\n2026-03-25 10:00,50\n2026-03-25 11:00,250\n2026-05-01 10:00,50\nsoon,50\n"
        "2026-03-25 12:00,--\n"
    )

    found = read_logger(text.encode(), None, NOW)

    assert found.kept == (ONE,)
    assert found.odd == {"impossible": 1, "later_than_now": 1, "no_time": 1, "no_number": 1}


def test_without_a_unit_somebody_has_to_say() -> None:
    """122 may be either; nobody guesses."""
    content = b"time,temp\n2026-03-25 10:00,50\n"

    with pytest.raises(BadInput, match="choose the unit"):
        read_logger(content, None, NOW)
    assert read_logger(content, "c", NOW).kept == (ONE,)


@pytest.mark.parametrize("content", [b"hello,world\nfoo,bar\n", b"1,2,3\n4,5,6\n"])
def test_a_file_without_readings_is_refused(content: bytes) -> None:
    """One line says what the file needs."""
    with pytest.raises(BadInput, match="a column of times"):
        read_logger(content, "f", NOW)
