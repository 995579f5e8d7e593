"""A pile's situation: what care looks at, boiled down from the records and the forecast.

What a keeper felt or read in the last days counts for more than what the forecast believes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from shared import signs
from shared.cautions import Alarm, alarm
from shared.forecast import Forecast
from shared.pile import Kind, Pile, Record
from shared.units import L_PER_M3

SMALL_M3 = 0.5
"""Two thirds of a 3 ft cube: below it a pile hardly heats (Royal Horticultural Society and Maine trials)."""
AIRLESS = 0.20
"""Air below a fifth of the volume starves decay (Haug's air-space factor falls off below 0.2 to 0.3)."""
SOAKING_MM = 10.0
FULL_LOOSE = 3.0
"""Loose volumes that a bin takes in before it is full, as they settle to about a third (common practice)."""
SEEN: frozenset[Kind] = frozenset(
    {"temperature", "heat_feel", "moisture", "smell", "texture", "height", "turned"}
)
"""Records that show that somebody has looked at the inside."""


@dataclass(frozen=True, slots=True)
class Situation:
    """Everything the rules of care ask about. Days are whole days up to `as_of`.

    rested_days       since the last turning, else since the build
    turned_days_ago   since the last turning, None where there was none
    heard_days_ago    since the last record that shows the inside, else since the build
    watered_days_ago  None where never
    peak_c            warmest the core was in the last three weeks
    rising            whether the last two readings go up
    known_warmer      whether it was ever found warmer than now
    read_since_turn_c  warmest reading since the last turning, None before the fourth day tells
    moisture_felt     whether `moisture` is a fresh squeeze rather than the forecast's
    height_told_m     last height told, 0 where none was; additions: what was told as added
    told              fresh words, such as "ammonia", "flies", "browned", not yet answered by work
    """

    pile: Pile
    outlook: Forecast
    alarm: Alarm
    core_c: float
    peak_c: float
    rising: bool
    known_warmer: bool
    read_since_turn_c: float | None
    moisture: float
    moisture_felt: bool
    volume_m3: float
    height_told_m: float
    additions: tuple[Record, ...]
    covered: bool
    age_days: int
    rested_days: int
    turned_days_ago: int | None
    heard_days_ago: int
    watered_days_ago: int | None
    harvested_days_ago: int | None
    ever_heard: bool
    told: frozenset[str]

    @property
    def air_c(self) -> float:
        """Daily mean of the air."""
        return self.outlook.air_c

    @property
    def alarm_c(self) -> float:
        """The reading that gave the alarm; the core now where there was none."""
        return self.core_c if self.alarm.core_c is None else self.alarm.core_c

    @property
    def days_since_danger(self) -> int:
        """Since the reading or the smoke that gave the alarm; 0 where there was none."""
        return 0 if self.alarm.on is None else (self.outlook.as_of - self.alarm.on).days

    @property
    def c_n(self) -> float:
        """C:N of all that went in as told."""
        return self.outlook.mix_c_n

    @property
    def turn_due(self) -> date | None:
        """When the forecast sees a turning coming, not before the pile has rested."""
        due = self.outlook.turn_due
        if due is None or self.pile.turning == "never":
            return None
        return max(due, self.in_days(signs.TURN_REST_DAYS + 1 - self.rested_days))

    @property
    def looks_done(self) -> bool:
        """Near the air after six weeks, and crumbly or not warmed by the last turn at good moisture."""
        if self.age_days < 42 or self.core_c >= self.air_c + 8:
            return False
        if self.read_since_turn_c is None or self.moisture < 0.45:
            return "crumbly" in self.told
        return "crumbly" in self.told or self.read_since_turn_c < self.air_c + 10

    @property
    def full(self) -> bool:
        """Told to stand as high as it can, or fed three times what it holds loose."""
        poured = sum(ingredient.volume_m3 for ingredient in self.pile.ingredients)
        poured += sum(record.litres or 0.0 for record in self.additions) / L_PER_M3
        box_m3 = self.pile.length_m * self.pile.width_m * self.pile.height_m
        return self.height_told_m >= 0.9 * self.pile.height_m or poured >= FULL_LOOSE * box_m3

    @property
    def frozen(self) -> bool:
        """Frozen through, or nearly."""
        return self.air_c <= 0 and self.core_c <= 3

    @property
    def winter(self) -> bool:
        """Too cold outside for a cool pile to wake: sleep below about 4 °C (40 °F), common practice."""
        return self.air_c < 4 and self.core_c < 15

    @property
    def cold_out(self) -> bool:
        """Too cold outside to open a pile that is merely cooling: it would lose more than it gains."""
        return self.winter or self.air_c <= -2

    @property
    def airless(self) -> bool:
        """Less air than decay needs."""
        return self.outlook.free_air.p50 < AIRLESS

    @property
    def may_turn(self) -> bool:
        """Rested since the last turning."""
        return self.turned_days_ago is None or self.turned_days_ago >= signs.TURN_REST_DAYS

    @property
    def turned_since_alarm(self) -> bool:
        """Whether a warning was answered with the fork."""
        if self.alarm.on is None or self.turned_days_ago is None:
            return False
        return self.in_days(-self.turned_days_ago) >= self.alarm.on

    @property
    def watered_lately(self) -> bool:
        """Today or yesterday."""
        return self.watered_days_ago is not None and self.watered_days_ago <= 1

    @property
    def rained(self) -> bool:
        """A soaking rain on an open pile in the last two days, where the weather is known."""
        known = self.pile.weather
        if known is None or self.covered:
            return False
        last = (self.outlook.as_of - known.start).days
        return sum(known.rain_mm[max(0, last - 1) : max(0, last + 1)]) >= SOAKING_MM

    @property
    def unsure(self) -> bool:
        """Not looked at for a week, and the forecast does not know whether it is hot or cool."""
        core = self.outlook.core_c
        return self.heard_days_ago >= 7 and core.p90 >= 52 and core.p90 - core.p10 > 12

    @property
    def thaw_on(self) -> date:
        """First day whose mean air is expected at 8 °C or more, within what is in sight."""
        later = (day.on for day in self.outlook.days if day.on > self.outlook.as_of and day.air_c >= 8)
        return next(later, self.in_days(60 if self.winter else 14))

    def in_days(self, days: int) -> date:
        """So many days after the outlook's."""
        return self.outlook.as_of + timedelta(days=days)

    @property
    def food_left(self) -> bool:
        """Enough readily decomposed matter to heat again."""
        return self.outlook.fast_left.p50 >= 0.10

    @property
    def spent(self) -> bool:
        """Little left that turning could wake; cellulose-like matter goes by itself."""
        return self.outlook.fast_left.p50 < 0.03 and self.outlook.moderate_left.p50 < 0.5


def situation(pile: Pile, records: Sequence[Record], outlook: Forecast) -> Situation:
    """Boil down what is known on the day of the outlook; later records are left out."""
    known = [record for record in records if record.on <= outlook.as_of]
    age = max(0, (outlook.as_of - pile.built).days)
    turned = signs.days_ago(known, {"turned"}, outlook.as_of)
    heard = signs.days_ago(known, SEEN, outlook.as_of)
    felt = signs.felt_moisture(known, outlook.as_of)
    core_c = signs.core_c(known, outlook)
    heights = [record.height_m for record in known if record.kind == "height" and record.height_m is not None]
    height_m = heights[-1] if heights else None
    return Situation(
        pile=pile,
        outlook=outlook,
        alarm=alarm(known, outlook.as_of),
        core_c=core_c,
        peak_c=max(core_c, signs.peak_c(known, outlook)),
        rising=signs.rising(known, outlook.as_of),
        known_warmer=signs.known_warmer(known, core_c),
        read_since_turn_c=signs.read_since_turn_c(known),
        moisture=outlook.moisture.p50 if felt is None else felt,
        moisture_felt=felt is not None,
        volume_m3=signs.volume_m3(pile, height_m),
        height_told_m=height_m or 0.0,
        additions=tuple(record for record in known if record.kind == "added"),
        covered=signs.covered(pile, known),
        age_days=age,
        rested_days=age if turned is None else turned,
        turned_days_ago=turned,
        heard_days_ago=age if heard is None else heard,
        watered_days_ago=signs.days_ago(known, {"watered"}, outlook.as_of),
        harvested_days_ago=signs.days_ago(known, {"harvested"}, outlook.as_of),
        ever_heard=heard is not None,
        told=signs.told(known, outlook.as_of),
    )
