"""The pile-file form: one JSON object a line in, one forecast a line out."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from math import isfinite
from typing import Any, get_args

from shared.care import next_actions
from shared.errors import BadInput, UnknownMaterial
from shared.forecast import Forecast, Range
from shared.materials import material
from shared.pile import Climate, DailyWeather, Ingredient, Kind, Pieces, Pile, Record, Shade, Turning
from shared.units import c_from_f, f_from_c

LARGEST_CM = 3000.0
LARGEST_LITRES = 1_000_000.0


def read_line(text: str, default_as_of: date | None = None) -> tuple[Pile, tuple[Record, ...], date]:
    """Read one pile file: the pile, its records up to `as_of` in their order, and `as_of`.

    `as_of` is the line's own, else `default_as_of`, else the day of its last record, else the build.
    Raises BadInput with one line that names the place and the mend.
    """
    try:
        given = json.loads(text)
    except ValueError as trouble:
        raise BadInput(f"not JSON ({trouble}); give one object a line") from trouble
    if not isinstance(given, dict):
        raise BadInput("not a JSON object; give one object a line")
    pile = _pile(given)
    rows = _list(given.get("records", []), "records")
    records = [_record(row, f"records[{at}]") for at, row in enumerate(rows)]
    last = max((record.on for record in records), default=pile.built)
    as_of = _day(given["as_of"], "as_of") if given.get("as_of") is not None else default_as_of or last
    if as_of < pile.built:
        raise BadInput(f"as_of: {as_of} lies before the build on {pile.built}; give a later day")
    known = replace(pile, weather=_until(pile.weather, as_of))
    return known, tuple(record for record in records if record.on <= as_of), as_of


def _until(weather: DailyWeather | None, as_of: date) -> DailyWeather | None:
    """The weather that was known by the end of `as_of`."""
    if weather is None:
        return None
    days = max(0, (as_of - weather.start).days + 1)
    return DailyWeather(weather.start, weather.min_c[:days], weather.max_c[:days], weather.rain_mm[:days])


def name_of(text: str) -> Any:
    """The pile's name in a line that may be broken, None where it cannot be read."""
    try:
        return json.loads(text).get("pile")
    except (ValueError, AttributeError):
        return None


def forecast_line(pile: Pile, records: Sequence[Record], outlook: Forecast) -> dict[str, Any]:
    """One forecast in the fixed output form, ready for `json.dumps`."""
    return {
        "pile": outlook.pile_id,
        "as_of": outlook.as_of.isoformat(),
        "stage": outlook.stage,
        "ready": {
            "p10": outlook.ready.p10.isoformat(),
            "p50": outlook.ready.p50.isoformat(),
            "p90": outlook.ready.p90.isoformat(),
            **({"open": True} if outlook.ready.open else {}),
        },
        "core_f": _range(outlook.core_c, f_from_c, 0),
        "moisture_pct": _range(outlook.moisture, _percent, 0),
        "mix": {"c_n": round(outlook.mix_c_n, 1), "moisture_pct": round(100.0 * outlook.mix_moisture, 1)},
        "hygiene": {
            "hours_over_131f": round(outlook.credit.hours_over_55c),
            "weed_seed_kill_pct": round(100.0 * outlook.credit.seeds_killed),
        },
        "harvest_litres": _range(outlook.harvest_litres, float, 0),
        "next": [_action(action) for action in next_actions(pile, records, outlook)],
        "assumed": [code.replace("_", " ") for code in outlook.assumed],
    }


def _action(action: Any) -> dict[str, Any]:
    """An action; one without a day is due now."""
    given: dict[str, Any] = {"do": action.do}
    if action.on is not None:
        given["on"] = action.on.isoformat()
    if action.litres is not None:
        given["litres"] = round(action.litres)
    given["why"] = action.why.replace("_", " ")
    if action.gain_days is not None:
        given["gain_days"] = round(action.gain_days)
    return given


def _percent(share: float) -> float:
    return 100.0 * share


def _range(values: Range, unit: Any, digits: int) -> dict[str, float]:
    return {
        "p10": round(unit(values.p10), digits or None),
        "p50": round(unit(values.p50), digits or None),
        "p90": round(unit(values.p90), digits or None),
    }


def _pile(given: Mapping[str, Any]) -> Pile:
    for name in ("pile", "built", "size_cm", "ingredients"):
        if given.get(name) is None:
            raise BadInput(f"{name}: missing; a pile file needs pile, built, size_cm and ingredients")
    size = _list(given["size_cm"], "size_cm")
    if len(size) != 3:
        raise BadInput("size_cm: give three lengths in cm, as [100, 100, 100]")
    length, width, height = (_number(side, "size_cm", 1.0, LARGEST_CM) / 100.0 for side in size)
    parts = []
    for at, part in enumerate(_list(given["ingredients"], "ingredients")):
        place = f"ingredients[{at}]"
        if not isinstance(part, dict):
            raise BadInput(f'{place}: give an object as {{"material": "dry_leaves", "litres": 650}}')
        litres = _number(part.get("litres"), f"{place}.litres", 0.0, LARGEST_LITRES)
        parts.append(Ingredient(_material(part.get("material"), place), litres / 1000.0))
    if not any(part.volume_m3 > 0.0 for part in parts):
        raise BadInput("ingredients: none with a volume; name at least one material and its litres")
    return Pile(
        id=str(given["pile"]),
        built=_day(given["built"], "built"),
        length_m=length,
        width_m=width,
        height_m=height,
        ingredients=tuple(parts),
        pieces=_choice(given, "pieces", get_args(Pieces)),
        climate=_climate(given.get("climate")),
        turning=_choice(given, "turning", get_args(Turning)),
        bin=_flag(given, "bin"),
        covered=_flag(given, "covered"),
        shade=_choice(given, "shade", get_args(Shade)),
        latitude=_maybe(given, "latitude", -90.0, 90.0),
        weather=_weather(given.get("weather")),
        fed=bool(_flag(given, "fed")),
    )


def _climate(given: Any) -> Climate | None:
    if given is None:
        return None
    rows = {}
    for name, low, high in (("min_c", -80.0, 60.0), ("max_c", -80.0, 60.0), ("rain_mm", 0.0, 5000.0)):
        values = _list(given.get(name) if isinstance(given, dict) else None, f"climate.{name}")
        if len(values) != 12:
            raise BadInput(f"climate.{name}: give 12 monthly values, January first")
        rows[name] = tuple(_number(value, f"climate.{name}", low, high) for value in values)
    return Climate(**rows)


def _weather(given: Any) -> DailyWeather | None:
    if given is None:
        return None
    if not isinstance(given, dict):
        raise BadInput("weather: give an object with start, min_c, max_c and rain_mm")
    rows = {}
    for name, low, high in (("min_c", -80.0, 60.0), ("max_c", -80.0, 60.0), ("rain_mm", 0.0, 2000.0)):
        values = _list(given.get(name), f"weather.{name}")
        rows[name] = tuple(_number(value, f"weather.{name}", low, high) for value in values)
    if len({len(values) for values in rows.values()}) != 1:
        raise BadInput("weather: min_c, max_c and rain_mm must have as many days each")
    return DailyWeather(start=_day(given.get("start"), "weather.start"), **rows)


# The field that carries the word of a kind, and the words that it may be.
WORDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "moisture": ("feel", ("dry", "bit_dry", "right", "bit_wet", "soggy")),
    "smell": ("smell", ("earthy", "ammonia", "rotten", "sour", "none")),
    "texture": ("texture", ("crumbly", "clumpy", "matted", "recognisable")),
    "heat_feel": ("feel", ("cold", "warm", "hot")),
    "pests": ("pest", ("flies", "rodents", "ants", "larvae", "other")),
}


def _record(given: Any, place: str) -> Record:
    if not isinstance(given, dict):
        raise BadInput(f"{place}: give an object with kind and on")
    kind: Any = given.get("kind")
    if kind not in get_args(Kind):
        raise BadInput(f"{place}.kind: {kind!r} is not known; use one of {', '.join(get_args(Kind))}")
    on, hour = _moment(given.get("on"), f"{place}.on")
    core_c = None
    if kind == "temperature":
        core_c = c_from_f(_number(given.get("f"), f"{place}.f", -1000.0, 10000.0))
    litres = given.get("litres")
    height = given.get("cm")
    return Record(
        kind=kind,
        on=on,
        hour=hour,
        core_c=core_c,
        litres=None if litres is None else _number(litres, f"{place}.litres", 0.0, LARGEST_LITRES),
        height_m=None if height is None else _number(height, f"{place}.cm", 0.0, LARGEST_CM) / 100.0,
        material=_material(given.get("material"), place) if kind == "added" else None,
        word=_word(given, kind, place),
        edge=bool(given.get("edge", False)),
    )


def _word(given: Mapping[str, Any], kind: str, place: str) -> str | None:
    if kind not in WORDS:
        return None
    field, words = WORDS[kind]
    word = given.get(field)
    if word not in words:
        raise BadInput(f"{place}.{field}: {word!r} is not known; use one of {', '.join(words)}")
    return str(word)


def _material(given: Any, place: str) -> str:
    try:
        return material(str(given)).id
    except UnknownMaterial as trouble:
        raise BadInput(f"{place}.material: {given!r} is not known; use a known id, or other") from trouble


def _list(given: Any, place: str) -> list[Any]:
    if not isinstance(given, list):
        raise BadInput(f"{place}: give a list")
    return given


def _number(given: Any, place: str, low: float, high: float) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not isfinite(given):
        raise BadInput(f"{place}: {given!r} is not a number")
    if not low <= given <= high:
        raise BadInput(f"{place}: {given} lies outside {low:g} to {high:g}")
    return float(given)


def _maybe(given: Mapping[str, Any], name: str, low: float, high: float) -> float | None:
    value = given.get(name)
    return None if value is None else _number(value, name, low, high)


def _choice(given: Mapping[str, Any], name: str, choices: tuple[str, ...]) -> Any:
    value = given.get(name)
    if value is not None and value not in choices:
        raise BadInput(f"{name}: {value!r} is not known; use one of {', '.join(choices)}")
    return value


def _flag(given: Mapping[str, Any], name: str) -> bool | None:
    value = given.get(name)
    if value is not None and not isinstance(value, bool):
        raise BadInput(f"{name}: {value!r}; give true or false")
    return value


def _day(given: Any, place: str) -> date:
    return _moment(given, place)[0]


def _moment(given: Any, place: str) -> tuple[date, float | None]:
    """A day, and the hour where a time of day is said."""
    try:
        if len(given) == 10:
            return date.fromisoformat(given), None
        moment = datetime.fromisoformat(given)
    except (TypeError, ValueError) as trouble:
        raise BadInput(f"{place}: {given!r} is no date; give YYYY-MM-DD, or YYYY-MM-DDTHH:MM") from trouble
    return moment.date(), moment.hour + moment.minute / 60.0
