"""One pile at one moment: what was told, forecast and said, and the questions that the agenda asks of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from scheduler.times import local, on_wall
from shared.care import Action
from shared.forecast import Forecast
from shared.pile import Kind
from storage.piles import PileRow, Told

SLEEP_AIR_C, SLEEP_CORE_C, WAKE_AIR_C = 4.4, 10.0, 10.0
"""Weekly means of 40 and 50 °F, core under 50 °F (common practice thresholds)."""
AWAKE_CORE_C = 20.0
START_UP_DAYS = 14
"""A pile built in the cold may take so long to warm up (common practice)."""


@dataclass(frozen=True, slots=True)
class Said:
    """A nudge about the pile that was sent, or waits to be: its key without "nudge.", and when."""

    key: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Due:
    """Something to say about a pile.

    key        "turn" for the message `nudge.turn`
    due_at     from when on it makes sense
    values     what the wording may use: always core_c, days_since_turn, first_on and last_on (as days),
               first_about and last_about (roughly); gain_days, water_l, harvest_l where they matter
    reason     the code `why` and the numbers that led here
    gain_days  how much sooner the pile would be ready
    urgent     a matter of safety: goes through at any hour, over any budget
    """

    key: str
    due_at: datetime
    values: dict[str, Any]
    reason: dict[str, Any]
    gain_days: float | None = None
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """One set-up pile at one moment, with the questions that the rules ask of it.

    told   what holds of the pile's records, in the order told
    said   the nudges about this pile so far, to any of its keepers
    at     the moment, UTC; the pile's day is `outlook.as_of`
    """

    row: PileRow
    told: Sequence[Told]
    outlook: Forecast
    actions: Sequence[Action]
    said: Sequence[Said]
    at: datetime

    @property
    def built(self) -> date:
        """The day of the build."""
        return date.fromisoformat(self.row.setup["built"])

    @property
    def founded(self) -> date:
        """The pile's day on which we were told of it."""
        return local(self.row.created_at, self.row.zone).date()

    @property
    def today(self) -> date:
        """The pile's day."""
        return self.outlook.as_of

    @property
    def age_days(self) -> int:
        """Whole days since the build."""
        return (self.today - self.built).days

    @property
    def fed(self) -> bool:
        """Added to as its keepers go."""
        return bool(self.row.setup.get("fed"))

    @property
    def never_turned(self) -> bool:
        """The keepers do not mean to turn it."""
        return self.row.setup.get("turning") == "never"

    @property
    def harvested(self) -> bool:
        """A batch that was taken out at its end: nothing more to do for it."""
        ended = self.outlook.stage in ("curing", "ready")
        return ended and not self.fed and self.last("harvested") is not None

    @property
    def week_air_c(self) -> float:
        """Mean of the air over the last seven days."""
        week = [day.air_c for day in self.outlook.days if 0 <= (self.today - day.on).days < 7]
        return sum(week) / len(week) if week else self.outlook.air_c

    @property
    def asleep(self) -> bool:
        """Winter: too cold for anything to be worth doing, until the air is mild for a week."""
        if self.outlook.stage == "ready" or self.age_days < START_UP_DAYS:
            return False
        if self.told_to_sleep:
            return self.week_air_c < WAKE_AIR_C
        return self.week_air_c < SLEEP_AIR_C and self.outlook.core_c.p50 < SLEEP_CORE_C

    @property
    def told_to_sleep(self) -> bool:
        """Whether the last word about winter was that the pile sleeps, and nobody has woken it since."""
        slept, woke = self.last_said("sleep"), self.last_said("wake")
        if slept is None or (woke is not None and woke > slept):
            return False
        since = [each.record for each in self.told if each.said_at > slept]
        return not any(record.kind == "turned" or (record.core_c or 0.0) >= AWAKE_CORE_C for record in since)

    @property
    def last_word(self) -> date | None:
        """The pile's day on which anything was told of it last."""
        return max((local(each.said_at, self.row.zone).date() for each in self.told), default=None)

    def last(self, *kinds: Kind) -> date | None:
        """The last day on which any of this was told to have happened; a reading near the surface is none."""
        days = [each.record.on for each in self.told if each.record.kind in kinds and not each.record.edge]
        return max(days, default=None)

    def days_since(self, *kinds: Kind) -> int:
        """Days since then, or since the build."""
        return (self.today - (self.last(*kinds) or self.built)).days

    def last_said(self, *keys: str) -> datetime | None:
        """When any of this was said last."""
        return max((each.at for each in self.said if each.key in keys), default=None)

    def said_within(self, days: int, *keys: str) -> bool:
        """Whether any of this was said in the last days."""
        last = self.last_said(*keys)
        return last is not None and (self.today - local(last, self.row.zone).date()).days < days

    def due(
        self,
        key: str,
        why: str,
        on: date | None = None,
        numbers: Mapping[str, float] | None = None,
        **values: Any,
    ) -> Due:
        """Something due from a day on, or now: the values for its wording, the reason and its numbers."""
        ready = self.outlook.ready
        core_c = round(self.outlook.core_c.p50, 1)
        common = {
            "core_c": core_c,
            "days_since_turn": self.days_since("turned"),
            "first_on": ready.p10.isoformat(),
            "last_on": ready.p90.isoformat(),
            "first_about": ready.p10.isoformat(),
            "last_about": ready.p90.isoformat(),
        }
        ahead = on is not None and on > self.today
        return Due(
            key=key,
            due_at=on_wall(on, time.min, self.row.zone) if ahead and on else self.at,
            values=common | values,
            reason={"why": why, **({"core_c": core_c} if numbers is None else numbers)},
            gain_days=values.get("gain_days"),
        )
