"""Readings from a logger's CSV or XLSX file: when and how warm, thinned to what a forecast can use.

A logger writes every few minutes, a pile changes over hours: of each six hours the middle reading is kept.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Literal

from dateutil.parser import ParserError  # type: ignore[import-untyped]
from dateutil.parser import parse as parse_moment

from bot.language.meaning import Units
from bot.profile import plain
from bot.staff.roster_file import Grid, read_grid
from shared.errors import BadInput
from shared.units import c_from_f
from storage.logger_files import Reading

MOST_ROWS = 60_000
"""More than a year at ten minutes."""
EVERY_H = 6
LEAST_C, MOST_C = -40.0, 100.0
"""Outside of these no reading is possible (the project's safety lines)."""
Oddity = Literal["no_time", "no_number", "impossible", "later_than_now"]
HEADS: Mapping[str, tuple[str, ...]] = {
    "time": ("time", "timestamp", "datetime", "date", "fecha", "hora", "momento"),
    "temperature": ("temp", "temperature", "temperatura", "reading", "core", "probe", "centro", "lectura"),
    "unit": ("unit", "units", "unidad"),
}
UNIT = re.compile(r"(?:°|º|deg\w*|\(|\[|,|_|\s|^)\s*(f|c|fahrenheit|celsius)\b", re.IGNORECASE)
NUMBER = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*(?:°|º)?\s*(f|c)?\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Readings:
    """What a file holds: readings thinned, in order; how many rows were read, and how many were odd."""

    kept: tuple[Reading, ...]
    rows: int
    odd: Mapping[Oddity, int]


def read_logger(content: bytes, units: Units | None, now: datetime) -> Readings:
    """The readings of a file, on the pile's wall clock. `units`: what staff say, None: what the file says.

    Raises BadInput where times or temperatures cannot be found, or nobody says in which unit they are.
    """
    grid = read_grid(content, MOST_ROWS)
    places = _places(grid)
    unit = units or _unit_of(grid, places)
    moments = _moments([_joined(row, places["times"]) for row in grid])
    odd: Counter[Oddity] = Counter()
    found: list[Reading] = []
    started = False
    for row, moment in zip(grid, moments, strict=True):
        written = _at(row, places["temperature"][0])
        number = NUMBER.fullmatch(written)
        if not started and number is None:
            continue
        started = True
        if moment is None or number is None:
            odd["no_time" if moment is None else "no_number"] += 1
            continue
        own = number[2] or (_at(row, places["unit"][0])[:1] if places["unit"] else "")
        core = float(number[1].replace(",", "."))
        said = own.lower() or unit
        if said not in ("f", "c"):
            raise BadInput("the file does not say whether these are Fahrenheit or Celsius: choose the unit")
        core_c = c_from_f(core) if said == "f" else core
        if not LEAST_C <= core_c <= MOST_C:
            odd["impossible"] += 1
        elif moment > now:
            odd["later_than_now"] += 1
        else:
            found.append((moment, core_c))
    if not found and not odd:
        raise BadInput("no readings found: the file needs a column of times and one of temperatures")
    return Readings(thinned(found), len(found) + odd.total(), dict(odd))


def thinned(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Of each six hours the reading in the middle by warmth, in the order of time."""
    spans: defaultdict[tuple[object, int], list[Reading]] = defaultdict(list)
    for moment, core_c in readings:
        spans[moment.date(), moment.hour // EVERY_H].append((moment, core_c))
    middles = (sorted(span, key=lambda one: one[1])[(len(span) - 1) // 2] for span in spans.values())
    return tuple(sorted(middles))


def _places(grid: Grid) -> dict[str, list[int]]:
    """Columns of time (date and time may stand apart), temperature and unit: by heading, else by look."""
    for head in grid[:30]:
        times = _headed(head, "time")
        cores = [place for place in _headed(head, "temperature") if place not in times]
        if not times or not cores:
            continue
        return {  # of several probes the first
            "times": times[:2],
            "temperature": cores[:1],
            "unit": [place for place in _headed(head, "unit") if UNIT.search(head[place]) is None][:1],
        }
    body = grid[len(grid) // 2 : len(grid) // 2 + 20]
    width = max(len(row) for row in body)
    times = [place for place in range(width) if all(_is_moment(_at(row, place)) for row in body)]
    cores = [place for place in range(width) if all(NUMBER.fullmatch(_at(row, place)) for row in body)]
    if not times or not cores:
        raise BadInput("no readings found: the file needs a column of times and one of temperatures")
    return {"times": times[:1], "temperature": cores[-1:], "unit": []}


def _headed(row: Sequence[str], kind: str) -> list[int]:
    words = [re.split(r"[^a-z]+", plain(cell)) for cell in row]
    return [
        place
        for place, said in enumerate(words)
        if any(word.startswith(head) for word in said if word for head in HEADS[kind])
    ]


def _unit_of(grid: Grid, places: Mapping[str, Sequence[int]]) -> str:
    """The unit that a heading names, "" where none does."""
    for row in grid[:30]:
        found = UNIT.search(_at(row, places["temperature"][0]))
        if found is not None and NUMBER.fullmatch(_at(row, places["temperature"][0])) is None:
            return found[1][0].lower()
    return ""


def _moments(written: Sequence[str]) -> list[datetime | None]:
    """The times as months first or days first, whichever reads more of them and runs on in order."""

    def read(days_first: bool) -> tuple[int, int, list[datetime | None]]:
        moments = [_moment(text, days_first) for text in written]
        known = [moment for moment in moments if moment is not None]
        in_order = sum(one <= other for one, other in pairwise(known))
        return len(known), in_order, moments

    return max((read(False), read(True)), key=lambda found: found[:2])[2]


def _moment(text: str, days_first: bool) -> datetime | None:
    if not _is_moment(text):
        return None
    try:
        iso = text[:4].isdecimal()
        moment: datetime = parse_moment(text, dayfirst=days_first and not iso)
        return moment.replace(tzinfo=None)
    except (ParserError, OverflowError, ValueError):
        return None


def _is_moment(text: str) -> bool:
    return re.match(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", text) is not None and len(text) <= 40


def _joined(row: Sequence[str], places: Sequence[int]) -> str:
    return " ".join(_at(row, place) for place in places).strip()


def _at(row: Sequence[str], place: int) -> str:
    return row[place] if place < len(row) else ""
