"""The programme's local settings: one TOML file, each entry with a stated default.

`deploy/larkmoor.toml` shows every entry with a comment.
"""

import tomllib
import unicodedata
from datetime import time
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Self, TypeVar
from zoneinfo import available_timezones

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from bot.language.meaning import Language, Units
from shared.errors import BadInput
from shared.pile import Climate

File = TypeVar("File", bound=BaseModel)
Months = Annotated[tuple[float, ...], Field(min_length=12, max_length=12)]


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _known_zone(name: str) -> str:
    if name not in _zones():
        raise ValueError("not a time zone; use an IANA name such as America/Denver")
    return name


Zone = Annotated[str, AfterValidator(_known_zone)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Normals(_Section):
    """Monthly climate normals, January first: mean daily minimum and maximum [°C], rain sums [mm]."""

    min_c: Months
    max_c: Months
    rain_mm: Months


class Staff(_Section):
    """Who answers what the program cannot: a number or address, and when, in each language.

    alerts   where a danger or a call for a human is told at once, each as channel:address; where there is
             none, coordinators and educators are told of a danger in their own chats
    """

    contact: str | None = None
    alerts: tuple[Annotated[str, Field(pattern="^[a-z]+:.+$")], ...] = ()
    hours: dict[Language, str] = Field(default_factory=dict)


class Watering(_Section):
    """What the local water rules allow: hoses at all, and the rule in words, in each language."""

    hose: bool = True
    rule: dict[Language, str] = Field(default_factory=dict)


class Weather(_Section):
    """The open-data service that is asked for the days gone by; nobody is asked where `url` is None.

    longitude   degrees east
    days_back   how far back the service is asked
    """

    url: str | None = Field(default=None, pattern="^https?://.+")
    longitude: float | None = Field(default=None, ge=-180, le=180)
    days_back: int = Field(default=400, ge=1, le=2000)

    @model_validator(mode="after")
    def _placed(self) -> Self:
        if self.url is not None and self.longitude is None:
            raise ValueError("url needs a longitude beside it")
        return self


class Bin(_Section):
    """A bin that many keepers here have: what they call it, and its inner size [m]."""

    name: dict[Language, str]
    length_m: float = Field(gt=0, le=5)
    width_m: float = Field(gt=0, le=5)
    height_m: float = Field(gt=0, le=3)


class Profile(_Section):
    """Everything that differs from one programme to the next.

    languages         the first is spoken to whoever has not chosen
    zone              IANA zone of a person or pile that has named none
    latitude          degrees north; with `normals` it sets the weather that forecasts assume
    crisis_line       whom to call or text in a crisis of life
    poison_line       whom to call when somebody ate or drank of a pile (the US number, from memory)
    quiet_from, _to   local times between which nothing unprompted is sent
    keep_texts_days   texts older than that are blanked, unless a records request holds them
    keep_out          feedstock ids that local rules forbid in a backyard pile
    cents_per_text    what one part of a text costs the programme
    """

    programme: str = Field(default="Warmheap", min_length=1, max_length=40)
    languages: tuple[Language, ...] = Field(default=("en", "es"), min_length=1)
    units: Units = "f"
    zone: Zone = "America/Denver"
    latitude: float = Field(default=39.5, ge=-66, le=66)
    emergency_number: str = "911"
    crisis_line: str = "988"
    poison_line: str = "1-800-222-1222"
    quiet_from: time = time(20)
    quiet_to: time = time(9)
    keep_texts_days: int = Field(default=730, ge=30)
    keep_out: tuple[str, ...] = ("meat", "dairy", "fat", "pet_waste", "diseased_plants")
    cents_per_text: float = Field(default=1.0, ge=0, le=100)
    staff: Staff = Staff()
    watering: Watering = Watering()
    normals: Normals | None = None
    weather: Weather = Weather()
    bins: tuple[Bin, ...] = ()

    @property
    def climate(self) -> Climate | None:
        """The normals as the core takes them; None leaves the core's own assumption."""
        if self.normals is None:
            return None
        return Climate(self.normals.min_c, self.normals.max_c, self.normals.rain_mm)

    def bin_in(self, text: str) -> Bin | None:
        """The bin of this programme that a message names, in any of its languages."""
        said = plain(text)
        named = (one for one in self.bins if any(plain(name) in said for name in one.name.values()))
        return next(named, None)


def plain(text: str) -> str:
    """Small letters without accents, as people type."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return "".join(char for char in spread if not unicodedata.combining(char))


def read_profile(path: Path | None) -> Profile:
    """Read a profile file; the stated defaults where `path` is None.

    Raises BadInput with one line naming the file, the entry and the mend.
    """
    return Profile() if path is None else read_toml(Profile, "profile", path)


def read_toml(form: type[File], what: str, path: Path) -> File:
    """Read a settings file of the form given; `what` it is called, in its variable too.

    Raises BadInput with one line naming the file, the entry and the mend.
    """
    try:
        return form.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as trouble:
        raise BadInput(f"{what} {path}: {trouble.strerror}; check WARMHEAP_{what.upper()}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as trouble:
        raise BadInput(f"{what} {path}: not valid TOML: {trouble}") from None
    except ValidationError as trouble:
        raise BadInput(f"{what} {path}, {first_fault(trouble)}") from None


def first_fault(trouble: ValidationError) -> str:
    """The first thing that pydantic found, as `entry: what is wrong (got ...)` on one line."""
    fault: Any = trouble.errors()[0]
    where = ".".join(str(part) for part in fault["loc"])
    if fault["type"] == "extra_forbidden":
        return f"{where}: no such entry; check its spelling"
    what = fault["msg"].removeprefix("Value error, ")
    return f"{where}: {what} (got {fault['input']!r})"
