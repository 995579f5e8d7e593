"""Words for a message: its lines, each a catalogue key with values, in a person's language and units.

The catalogues (`en/messages.po`, `es/messages.po`) hold every sentence that can be sent. The end of a
value's name says how it is written out, so no caller ever formats a number or a date:

    core_c   a temperature, kept in °C        on_on    a date: "today", "Saturday", "June 3"
    rise_dc  a temperature difference         by_about a rough date: "late June"
    add_l    a volume of water or compost     feel_word  a word of its own key, here `feel.<value>`
    low_vol  a volume without its unit        some_bulk  a volume of material, in buckets where it fits
    top_m    a height or length               what_material  a feedstock's name
    bed_m2   an area                          hot_days, days_since_turn, cure_weeks  a count with its unit
    facts    (a list of lines)                joined by commas

On SMS the letters á í ó ú and typographic signs, which would force the wide alphabet and halve what a
segment holds, are written plain; é ñ ü ¿ ¡ are in the basic alphabet and stay.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from importlib.resources import files
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import format_date, format_skeleton, format_time
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from babel.numbers import format_decimal
from babel.units import format_unit

from bot.channels.sms_text import fold
from bot.language.meaning import Language, Units
from scheduler.sender import Rendered, Shows
from shared.materials import material
from shared.units import BUCKET_L, L_PER_GAL, M2_PER_FT2, M_PER_FT, f_from_c
from storage.outbox import Line, OutRow
from storage.people import Person

LOCALES: Mapping[Language, str] = {"en": "en_US", "es": "es_US"}
NUDGE = "nudge."
PLAIN = Shows()
FAR_APART_DAYS = 330
"""From here on two dates of one sentence may bear the same month's name."""


@cache
def catalogue(language: Language) -> Catalog:
    """The message catalogue of one language, read once."""
    path = files("bot.language") / language / "messages.po"
    with path.open("rb") as file:
        return read_po(file, locale=LOCALES[language], abort_invalid=True)


def commands(language: Language) -> dict[str, str]:
    """The commands that a menu shows, each with what it does."""
    return {name: str(catalogue(language)[f"command.{name}"].string) for name in ("start", "help")}


@dataclass(frozen=True, slots=True)
class Voice:
    """How one person is spoken to: language, units, and the day that "today" means."""

    language: Language
    units: Units
    today: date

    def say(self, lines: Sequence[Line], between: str = "\n") -> str:
        """The text of some lines."""
        return between.join(text[:1].upper() + text[1:] for line in lines if (text := self.line(line)))

    def line(self, line: Line) -> str:
        """One line. Raises KeyError where the catalogue lacks the key or the line a value."""
        entry = catalogue(self.language).get(line.key)
        template = None if entry is None else entry.string
        if not template:
            raise KeyError(f"{self.language}/messages.po has no message {line.key!r}")
        if not isinstance(template, str):
            one = Locale.parse(self.locale).plural_form(line.values["n"]) == "one"
            template = template[0 if one else 1]
        written = {name: self.value(name, value) for name, value in line.values.items()}
        return template.format_map(written | self._far_apart(line.values))

    def _far_apart(self, values: Mapping[str, Any]) -> dict[str, str]:
        """Rough dates with their years, where "early June to late June 2027" would leave one in doubt."""
        rough = {name: value for name, value in values.items() if name.endswith("_about")}
        days = [date.fromisoformat(iso) for iso in rough.values()]
        if not days or (max(days) - min(days)).days < FAR_APART_DAYS:
            return {}
        return {name: self.rough_day(name, iso, with_year=True) for name, iso in rough.items()}

    def value(self, name: str, value: Any) -> str:
        """One value, written out as the end of its name says."""
        if isinstance(value, (list, tuple)):
            phrases = [self.line(item if isinstance(item, Line) else Line(**item)) for item in value]
            return ", ".join(phrases)
        kind = "days" if name.startswith("days_") else name.rsplit("_", 1)[-1]
        write = _WRITERS.get(kind)
        if write is not None:
            return write(self, name, value)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return format_decimal(value, locale=self.locale)
        return str(value)

    @property
    def locale(self) -> str:
        """The CLDR locale of this person's language in the US."""
        return LOCALES[self.language]

    def counted(self, number: float, unit: str, decimals: int = 0) -> str:
        """A number with its unit in words, as CLDR has it: "4 gallons", "1 día"."""
        return format_unit(round(number, decimals) if decimals else round(number), unit, locale=self.locale)

    def temperature(self, _name: str, core_c: float) -> str:
        """ "128 F" or "53 C", without the degree sign, which would force the wide SMS alphabet."""
        return f"{f_from_c(core_c):.0f} F" if self.units == "f" else f"{core_c:.0f} C"

    def celsius(self, _name: str, core_c: float) -> str:
        """A temperature in the scale that it was told in, whatever the person's own."""
        return f"{core_c:.0f} C"

    def fahrenheit(self, _name: str, core_c: float) -> str:
        return f"{f_from_c(core_c):.0f} F"

    def difference(self, _name: str, rise_dc: float) -> str:
        return f"{1.8 * rise_dc:.0f} F" if self.units == "f" else f"{rise_dc:.0f} C"

    def volume(self, _name: str, litres: float) -> str:
        """Gallons or litres, as roughly as people measure."""
        amount = litres / L_PER_GAL if self.units == "f" else litres
        unit = "volume-gallon" if self.units == "f" else "volume-liter"
        if amount < 3 and abs(amount - round(amount)) > 0.15:
            return self.counted(round(amount * 2) / 2, unit, 1)
        return self.counted(amount, unit)

    def bare_volume(self, _name: str, litres: float) -> str:
        """The number of a volume, before another that brings the unit."""
        return f"{litres / L_PER_GAL if self.units == 'f' else litres:.0f}"

    def bulk(self, name: str, litres: float) -> str:
        """Five-gallon buckets, as people carry material, where they come out even; else a volume."""
        buckets = litres / BUCKET_L
        if buckets < 0.9 or abs(buckets - round(buckets)) > 0.1:
            return self.volume(name, litres)
        return self.line(Line("buckets", {"n": round(buckets)}))

    def length(self, _name: str, metres: float) -> str:
        if self.units == "f":
            feet = metres / M_PER_FT
            return self.counted(round(feet * 2) / 2, "length-foot", 1)
        if metres >= 0.95:
            return self.counted(metres, "length-meter", 1)
        return self.counted(metres * 100, "length-centimeter")

    def area(self, _name: str, area_m2: float) -> str:
        if self.units == "f":
            return self.counted(area_m2 / M2_PER_FT2, "area-square-foot")
        return self.counted(area_m2, "area-square-meter", 0 if area_m2 >= 10 else 1)

    def day(self, _name: str, iso: str) -> str:
        """A date as one says it: today, tomorrow, a weekday within six days, else month and day."""
        on = date.fromisoformat(iso)
        days = (on - self.today).days
        if days in (-1, 0, 1):
            return self.line(Line(("day.yesterday", "day.today", "day.tomorrow")[days + 1], {}))
        if abs(days) <= 6:
            return self.line(Line("day.weekday", {"weekday": format_date(on, "EEEE", locale=self.locale)}))
        skeleton = "MMMMd" if on.year == self.today.year or abs(days) < 90 else "yMMMMd"
        return self.line(Line("day.date", {"date": format_skeleton(skeleton, on, locale=self.locale)}))

    def rough_day(self, _name: str, iso: str, *, with_year: bool = False) -> str:
        """A date no finer than a third of a month: "late June"."""
        on = date.fromisoformat(iso)
        near = not with_year and (on.year == self.today.year or abs((on - self.today).days) < 90)
        month = (
            format_date(on, "LLLL", locale=self.locale)
            if near
            else format_skeleton("yMMMM", on, locale=self.locale)
        )
        part = "early" if on.day <= 10 else "mid" if on.day <= 20 else "late"
        return self.line(Line(f"month.{part}", {"month": month}))

    def clock_time(self, _name: str, iso: str) -> str:
        return format_time(
            datetime.fromisoformat(f"2000-01-01T{iso}").time(), "short", locale=self.locale
        ).replace("\u202f", " ")

    def word(self, name: str, value: str) -> str:
        return self.line(Line(f"{name.removesuffix('_word')}.{value}", {}))

    def feedstock(self, _name: str, value: str) -> str:
        """A feedstock by the first name that people here call it."""
        row = material(value)
        return (row.es if self.language == "es" else row.en)[0]


_WRITERS: Mapping[str, Callable[[Voice, str, Any], str]] = {
    "c": Voice.temperature,
    "dc": Voice.difference,
    "celsius": Voice.celsius,
    "fahrenheit": Voice.fahrenheit,
    "l": Voice.volume,
    "vol": Voice.bare_volume,
    "bulk": Voice.bulk,
    "m": Voice.length,
    "m2": Voice.area,
    "on": Voice.day,
    "about": Voice.rough_day,
    "at": Voice.clock_time,
    "word": Voice.word,
    "material": Voice.feedstock,
    "days": lambda voice, _name, n: voice.counted(n, "duration-day"),
    "weeks": lambda voice, _name, n: (
        voice.counted(n, "duration-week") if n <= 8 else voice.counted(n * 7 / 30.4, "duration-month")
    ),
    "hours": lambda voice, _name, n: (
        voice.counted(n, "duration-hour") if n < 48 else voice.counted(n / 24, "duration-day")
    ),
    "minutes": lambda voice, _name, n: voice.counted(n, "duration-minute"),
    "pct": lambda _voice, _name, share: f"{100 * share:.0f} %",
}


def option_label(voice: Voice, option: str) -> str:
    """The label of a quick answer. "reading:53.3", "as_c:53", "pile:back", "answer:Yes" bring theirs."""
    key, _, value = option.partition(":")
    if key in ("pile", "answer"):
        return value
    names = ("core_c", "core_celsius", "core_fahrenheit") if value else ()
    return voice.line(Line(f"option.{key}", dict.fromkeys(names, float(value or 0))))


def spelt_out(labels: Sequence[str]) -> str:
    """Quick answers as digits; "1 = 142 F" where the label is a number itself."""
    pairs = enumerate(labels, 1)
    return ", ".join(f"{n} = {label}" if label[:1].isdigit() else f"{n} {label}" for n, label in pairs)


def render(row: OutRow, person: Person, at: datetime, shows: Shows = PLAIN) -> Rendered:
    """One outbox row as this person is to read it at that moment, on a phone that shows so much."""
    voice = Voice(person.language, person.units, at.astimezone(ZoneInfo(person.zone)).date())
    names = [
        Line("for_pile", line.values)
        for line in row.lines
        if line.key.startswith(NUDGE) and "pile" in line.values
    ]
    text = voice.say([*names, *row.lines], "\n" if shows.letters else " ")
    labels = [option_label(voice, option) for option in row.options]
    if labels and not shows.buttons:
        choices = voice.line(Line("options", {"choices": spelt_out(labels)}))
        text = f"{text}{chr(10) if shows.letters else ' '}{choices}"
    options = tuple((label, f"{row.id}:{number}") for number, label in enumerate(labels, 1))
    shown = text if shows.letters else fold(text)
    return Rendered(shown, options if shows.buttons else (), answers=row.reason.get("answers"))
