"""Danger and doubt: rules on what a keeper reports, never on what a model believes.

Limits: 66 °C (150 °F) watch, 71 °C (160 °F) cool it down, 77 °C (170 °F), smoke or flame stay back. Common
practice, inside the spread of NRCS Practice 317 (watch above 74, act above 85 °C) and of fire services (70 to
80 °C is danger). Biology alone reaches 70 to 80 °C (Naylor 2004). Defer to local rules and the fire service.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from shared.pile import Pile, Record
from shared.units import c_from_f

Level = Literal["none", "watch", "cool_down", "stay_back"]
Cause = Literal["none", "heat", "smoke"]
Doubt = Literal["impossible", "digits", "unit", "surface"]
Caution = Literal["lift", "dust", "steam", "rodent_dust", "breath", "manure", "herbicide", "wash_hands"]

WATCH_C = c_from_f(150)
COOL_DOWN_C = 71.0
STAY_BACK_C = c_from_f(170)
"""The lines as they stand in both scales, the lower of the two where rounding parts them."""
LOWEST_C, HIGHEST_C = -40.0, 100.0

LEVELS: tuple[Level, ...] = ("none", "watch", "cool_down", "stay_back")
DANGER_FADES_DAYS = 3
"""A warning nobody has answered by a cooler reading stands so long; then the pile is to be looked at."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """How dangerous a pile is by what was told, and since when.

    settled is set where a danger has merely grown old: no cooler reading has taken it back.
    """

    level: Level = "none"
    cause: Cause = "none"
    on: date | None = None
    core_c: float | None = None
    settled: bool = False


def danger(core_c: float | None, *, smoke: bool = False) -> Level:
    """Level of one reading [°C], or of smoke, flame or a burnt smell, which count at any temperature."""
    if smoke or (core_c is not None and core_c >= STAY_BACK_C):
        return "stay_back"
    if core_c is not None and core_c >= COOL_DOWN_C:
        return "cool_down"
    return "watch" if core_c is not None and core_c >= WATCH_C else "none"


def alarm(records: Sequence[Record], as_of: date) -> Alarm:
    """What the records up to `as_of` amount to. A later core reading below 66 °C takes a warning back,
    and so does a cold or warm hand on a later day; what bids to stay back stands for its day. A graver one
    replaces a lesser one."""
    standing = Alarm()
    for record in records:
        if record.on > as_of:
            continue
        level = _level(record)
        if level == "none" and _cooler(record, standing) and not _stands_today(record, standing):
            standing = Alarm()
        elif level != "none" and (
            LEVELS.index(level) >= LEVELS.index(standing.level)
            or (standing.cause == "heat" and record.on > (standing.on or record.on))
        ):
            cause: Cause = "smoke" if record.kind == "smoke" else "heat"
            standing = Alarm(level, cause, record.on, record.core_c)
    if standing.on is not None and as_of - standing.on > timedelta(days=DANGER_FADES_DAYS):
        return Alarm(standing.level, standing.cause, standing.on, standing.core_c, settled=True)
    return standing


def _stands_today(record: Record, standing: Alarm) -> bool:
    """Whether the record is of the day of a stay-back: what smoulders flares up again when it is opened."""
    return standing.level == "stay_back" and record.on == standing.on


def possible(core_c: float) -> bool:
    """Whether a pile can read so: -40 to 100 °C."""
    return LOWEST_C <= core_c <= HIGHEST_C


def doubt(
    number: float, units: Literal["f", "c"], expected_c: float | None = None, air_c: float | None = None
) -> Doubt | None:
    """Why a bare reading may not be what was meant, None where it can stand.

    number, units   as said, in the person's usual unit
    expected_c      what the core should read, air_c the day's mean air; None where nothing is known
    """
    core_c = c_from_f(number) if units == "f" else number
    other_c = number if units == "f" else c_from_f(number)
    if units == "c" and HIGHEST_C < number <= 212:
        return "unit"
    if not possible(core_c):
        return "impossible"
    if _digits_missing(number, core_c, units, expected_c, air_c):
        return "digits"
    if _other_unit(core_c, other_c, units, expected_c):
        return "unit"
    if expected_c is not None and air_c is not None and expected_c - air_c >= 20 and abs(core_c - air_c) <= 3:
        return "surface"
    return None


def cautions_for(
    do: str, pile: Pile, records: Sequence[Record], core_c: float, moisture: float
) -> tuple[Caution, ...]:
    """Which of the usual cautions goes with a piece of work, the graver first. Common practice; dust:
    Aspergillus and Legionella, after the Queensland work-safety page on compost."""
    if do not in ("turn", "water", "harvest", "add_browns"):
        return ()
    found: list[Caution] = []
    if any(record.kind == "pests" and record.word == "rodents" for record in records):
        found.append("rodent_dust")
    if do in ("turn", "harvest") and moisture < 0.40:
        found.append("dust")
    if do == "turn" and core_c >= 60:
        found.append("steam")
    if do in ("turn", "harvest"):
        found.append("lift")
    if do == "harvest":
        if holds_manure(pile, records):
            found.append("manure")
        if _holds(pile, records, ("hay", "straw", "horse_manure", "cow_manure")):
            found.append("herbicide")
        found.append("wash_hands")
    return tuple(found)


def holds_manure(pile: Pile, records: Sequence[Record]) -> bool:
    """Whether manure or pet waste is known to have gone in."""
    return _holds(pile, records, ("manure", "_litter", "pet_waste", "human_waste", "pet_bedding"))


def _holds(pile: Pile, records: Sequence[Record], endings: tuple[str, ...]) -> bool:
    added = [record.material or "" for record in records if record.kind == "added"]
    names = [ingredient.material for ingredient in pile.ingredients] + added
    return any(ending in name for name in names for ending in endings)


def _level(record: Record) -> Level:
    if record.kind == "smoke":
        return danger(None, smoke=True)
    if record.kind == "temperature" and record.core_c is not None and possible(record.core_c):
        return danger(record.core_c)
    return "none"


def _cooler(record: Record, standing: Alarm) -> bool:
    if record.kind == "heat_feel":
        return record.word in ("cold", "warm") and standing.on is not None and record.on > standing.on
    return record.kind == "temperature" and not record.edge


def _digits_missing(
    number: float, core_c: float, units: str, expected_c: float | None, air_c: float | None
) -> bool:
    """13 for 113 or 130: colder than the air lets a pile be, or one figure where two are due."""
    if air_c is not None and abs(core_c - air_c) <= 8:
        return False
    if units == "f":
        return number < 30
    return number < 10 and expected_c is not None and expected_c >= 30


def _other_unit(core_c: float, other_c: float, units: str, expected_c: float | None) -> bool:
    """55 from a Fahrenheit person whose pile should be near 55 °C, 95 from a Celsius person."""
    if units == "c" and core_c >= 82 and (expected_c is None or expected_c < WATCH_C):
        return True
    if expected_c is None or not possible(other_c):
        return False
    return abs(core_c - expected_c) > 20 and abs(other_c - expected_c) <= 12
