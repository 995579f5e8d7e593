"""When it happened or shall happen: date phrases of a message, read against the moment it was sent.

A day of the week or of the month may lie behind or ahead; each `When` keeps both, and what it dates decides.
Own rules read what people say; dateparser reads what is shaped like a calendar date.
"""

import calendar
import re
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Any

import dateparser  # type: ignore[import-untyped]

from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon, lexicon
from bot.language.meaning import Language

UNTIL = {"until", "till", "hasta", "through"}  # a date after it ends something
SINCE = ("since ", "desde ")
FEW_WORDS = 4  # in a longer message "may" is sooner a verb than a month
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class When:
    """A date phrase: the day if it lies behind (today included) and the day if it lies ahead, where it can.

    hour      hour of the day where one was said
    weekday   "mon" to "sun" where a weekday was said
    many      a habit ("Sundays", "every Sunday")
    span      a length of time ("for two weeks"), which dates nothing that was done
    loose     today only where no other day is named beside it ("at dusk", "before lunch")
    """

    past: date | None = None
    ahead: date | None = None
    hour: float | None = None
    weekday: str | None = None
    many: bool = False
    span: bool = False
    loose: bool = False


@dataclass(frozen=True)
class _Grammar:
    spans: tuple[tuple[str, re.Pattern[str]], ...]
    offsets: dict[str, int]
    loose: frozenset[str]
    weekdays: dict[str, int]
    months: dict[str, int]
    parts: dict[str, float]
    counts: dict[str, float]
    holidays: dict[str, str]
    ordinals: dict[str, int]


def _any(words: Any) -> str:
    return "|".join(sorted((re.escape(plain(w)) for w in words), key=len, reverse=True))


@lru_cache
def _grammar(language: Language) -> _Grammar:
    table = lexicon(language).tables["dates"]
    weekdays = {plain(w): WEEKDAYS.index(day) for day, words in table["weekdays"].items() for w in words}
    months = {plain(w): i for i, words in enumerate(table["months"], 1) for w in words}
    offsets = {plain(w): int(days) for days, words in table["offsets"].items() for w in words}
    loose = frozenset(plain(w) for w in table.get("loose", ()))
    offsets |= dict.fromkeys(loose, 0)
    holidays = {plain(w): day for day, words in table.get("holidays", {}).items() for w in words}
    ordinals = {plain(w): int(day) for day, words in table.get("ordinals", {}).items() for w in words}
    parts = {plain(w): float(hour) for hour, words in table["parts"].items() for w in words}
    counts = {
        plain(w): float(n)
        for n, words in ((1, table["one"]), (2, table["couple"]), (3, table["few"]))
        for w in words
    }
    names = {
        "OFFSET": _any(offsets), "WEEKDAY": _any(weekdays), "MONTH": _any(months), "PART": _any(parts),
        "HOLIDAY": _any(holidays), "ORDINAL": _any(ordinals),
        "COUNT": r"[0-9]{1,3}|" + _any(counts),
        "UNIT": _any(w for words in table["units"].values() for w in words),
    }  # fmt: skip
    spans = []
    for kind, texts in table["spans"].items():
        for text in texts:
            for name, words in names.items():
                text = text.replace(name, f"(?P<{name.lower()}>{words})")
            text = re.sub(r"\(\?! \(\?:([^()]*)\)\)", r"(?! (?:\1)\\b)", text)  # whole words, not beginnings
            spans.append((kind, re.compile(rf"(?<![\w]){text}(?![\w])")))
    return _Grammar(tuple(spans), offsets, loose, weekdays, months, parts, counts, holidays, ordinals)


def parts_of_day(language: Language) -> dict[str, float]:
    """Words for a part of the day, each with its hour."""
    return _grammar(language).parts


def find_dates(items: list[Item], lex: Lexicon, now: datetime) -> list[Item]:
    """The items with each date phrase folded into one item labelled <date> (and <weekday>, <clocktime>)."""
    text, starts = _joined(items)
    for kind, pattern in _grammar(lex.language).spans:
        folded = False
        for found in reversed(list(pattern.finditer(text))):
            if found.start() not in starts:
                continue
            first = starts[found.start()]
            last = max(i for at, i in starts.items() if at < found.end())
            if any(item.has("<date>") for item in items[first : last + 1]) and kind not in ("part", "clock"):
                continue
            when = _read(kind, found, lex, now)
            if when is not None and text[found.start() :].startswith(SINCE):
                when = replace(when, span=True, weekday=None)  # it has been so ever since
            if when is not None:
                items[first : last + 1] = [_fold(items[first : last + 1], when)]
                items[first].labels -= _grammar(
                    lex.language
                ).months.keys()  # "the ninth of may" allows nothing
                folded = True
        if folded:
            text, starts = _joined(items)
    return _join_neighbours(items)


def _joined(items: list[Item]) -> tuple[str, dict[int, int]]:
    starts, text = {}, ""
    for i, item in enumerate(items):
        starts[len(text)] = i
        text += ("~" if item.has("<date>", "<small>") else item.key.replace(" ", "_")) + " "
    return text, starts


def _fold(run: list[Item], when: When) -> Item:
    written = " ".join(item.written for item in run)
    labels = {
        run[-1].key,
        *({run[0].key} & UNTIL),
    }  # "now", "morning", "wednesday" stay words that a pattern can name
    if when.past or when.ahead or when.many:
        labels.add("<date>")
    if when.weekday:
        labels.add("<weekday>")
    if when.many:
        labels.add("<day_many>")
    if run[0].key in ("de", "del"):
        labels.add("<of_day>")
    if run[0].key in ("since", "desde"):
        labels.add("<since>")
    if len(run) == 1:
        labels |= run[0].labels & {"<now>"}
    if when.ahead and not when.past:
        labels.add("<ahead>")
    if when.hour is not None:
        labels.add("<partday>")
    return Item(plain(written), written.lower(), written, labels, run[0].glued, value=when)


def _join_neighbours(items: list[Item]) -> list[Item]:
    """ "Sunday" "in the evening" is one date phrase."""
    joined: list[Item] = []
    for item in items:
        before = joined[-1] if joined else None
        if (
            before is not None
            and isinstance(item.value, When)
            and isinstance(before.value, When)
            and not (item.value.weekday and before.value.weekday)
            and (_only_hour(item.value) or _only_hour(before.value))
        ):
            a, b = before.value, item.value
            keep, hour = (b, a) if _only_hour(a) else (a, b)
            merged = When(keep.past, keep.ahead, hour.hour or keep.hour, keep.weekday, keep.many)
            joined[-1] = _fold([before, item], merged)
            joined[-1].labels |= before.labels | item.labels
            continue
        joined.append(item)
    return joined


def _only_hour(when: When) -> bool:
    """ "in the evening", or a time of today ("at dusk") that the day beside it corrects."""
    return not when.many and (
        (when.hour is not None and (when.past is None or when.past == when.ahead)) or when.loose
    )


def _read(kind: str, found: re.Match[str], lex: Lexicon, now: datetime) -> When | None:
    grammar, today, got = _grammar(lex.language), now.date(), found.groupdict()
    part = got.get("part")
    hour = grammar.parts[part] if part else None
    if kind == "offset":
        day = today + timedelta(days=grammar.offsets[got["offset"]])
        loose = day == today and got["offset"] in grammar.loose
        return When(day if day <= today else None, day if day >= today else None, hour, loose=loose)
    if kind == "part":
        return When(hour=hour)
    if kind == "today_part":
        return When(today, today, hour)
    if kind in ("weekday", "weekday_last", "weekday_next", "weekday_many"):
        return _weekday(kind, grammar.weekdays[got["weekday"]], today, hour)
    if kind in ("ago", "ahead", "span"):
        return _distance(kind, got, grammar, lex, now)
    if kind == "month_day":
        number = "1" if got["day"] == "primero" else got["day"]
        return _calendar(f"{grammar.months[got['month']]}/{number}" + _year(got.get("year")), now, hour)
    if kind == "holiday":
        return _holiday(grammar.holidays[got["holiday"]], now, hour)
    if kind == "ordinal" and got.get("month"):
        return _calendar(f"{grammar.months[got['month']]}/{grammar.ordinals[got['ordinal']]}", now, hour)
    if kind == "ordinal":
        return _day_of_month(grammar.ordinals[got["ordinal"]], today, hour)
    if kind == "month":
        first = _calendar(f"{grammar.months[got['month']]}/1", now, None)
        return first and When(None, first.ahead)
    if kind == "slash":
        return _calendar(got["day"], now, hour)
    if kind == "day":
        return _day_of_month(int(got["day"]), today, hour)
    if kind == "weekend_last":
        sunday = today - timedelta(days=(today.weekday() + 1) % 7)
        return When(sunday, None, hour)
    if kind == "weekend_next":
        ahead = today if today.weekday() >= 5 else today + timedelta(days=5 - today.weekday())
        return When(today if today.weekday() >= 5 else None, ahead, hour)
    return None


def _weekday(kind: str, day: int, today: date, hour: float | None) -> When:
    name = WEEKDAYS[day]
    if kind == "weekday_many":
        return When(weekday=name, many=True, hour=hour)
    back = (today.weekday() - day) % 7
    past = today - timedelta(days=back)
    ahead = today + timedelta(days=(day - today.weekday()) % 7 or 7)
    if kind == "weekday_last":
        return When(past if back else today - timedelta(days=7), None, hour, name)
    return When(None if kind == "weekday_next" else past, ahead, hour, name)


def _distance(kind: str, got: dict[str, Any], grammar: _Grammar, lex: Lexicon, now: datetime) -> When | None:
    count = grammar.counts.get(got["count"])
    number = count if count is not None else float(got["count"])
    unit = next(
        u for u, words in lex.tables["dates"]["units"].items() if plain(got["unit"]) in map(plain, words)
    )
    hours = {"minute": 1 / 60, "hour": 1.0, "day": 24.0, "week": 168.0, "month": 730.0, "year": 8766.0}[unit]
    if number * hours > 24 * 1500:
        return None
    span = timedelta(hours=number * hours)
    if unit == "month":
        span = timedelta(days=round(number * 30.4))
    moment = now - span if kind == "ago" else now + span
    return When(moment.date(), None) if kind == "ago" else When(None, moment.date(), span=kind == "span")


def day_named(items: list[Item], lex: Lexicon, now: datetime) -> date | None:
    """The one day that a message names, as it answers "when was it?"; None where it names none or several.

    "three weeks old" is so long ago, "in March" the middle of the last one.
    """
    grammar, words = _grammar(lex.language), [item.key for item in items]
    days = {
        when.past for item in items if isinstance(when := item.value, When) and not (when.loose or when.many)
    }
    if days:
        return days.pop() if len(days) == 1 else None
    units = {plain(word) for names in lex.tables["dates"]["units"].values() for word in names}
    for count, unit in pairwise(words):
        if unit in units and (count.isdigit() or count in grammar.counts):
            found = _distance("ago", {"count": count, "unit": unit}, grammar, lex, now)
            return None if found is None else found.past
    since = {second for first, second in pairwise(words) if f"{first} " in SINCE}
    for i, (first, second) in enumerate(pairwise(words)):  # "a bin that I started in november"
        if first in ("in", "en") and any(x.has("<build.done>") for x in items[max(0, i - 3) : i]):
            since.add(second)
    said = words if len(words) <= FEW_WORDS else since
    month = next((grammar.months[word] for word in said if word in grammar.months), None)
    if month is None:
        return None
    middle = date(now.year, month, 15)
    return middle if middle <= now.date() else middle.replace(year=now.year - 1)


def _year(said: str | None) -> str:
    return f"/{said}" if said else ""


@lru_cache(maxsize=512)
def _parsed(text: str, year: int, order: str) -> date | None:
    found: datetime | None = dateparser.parse(
        text,
        languages=["en"],
        settings={
            "DATE_ORDER": order,
            "RELATIVE_BASE": datetime(year, 1, 1),
            "REQUIRE_PARTS": ["day", "month"],
        },
    )
    return found.date() if found else None


def _calendar(text: str, now: datetime, hour: float | None) -> When | None:
    """A day of the calendar written month first, as in the US; without a year both neighbours are kept."""
    today = now.date()
    if text.count("/") == 2 or "-" in text:
        day = _parsed(text, now.year, "MDY")
        if day is None or abs((day - today).days) > 1500:
            return None
        return When(day if day <= today else None, day if day >= today else None, hour)
    days = [
        d for year in (now.year - 1, now.year, now.year + 1) if (d := _parsed(f"{text}/{year}", year, "MDY"))
    ]
    past = max((d for d in days if d <= today), default=None)
    ahead = min((d for d in days if d >= today), default=None)
    return When(past, ahead, hour) if days else None


def _holiday(day: str, now: datetime, hour: float | None) -> When | None:
    """A fixed one as "7/4", the first Monday of September as "9/mon/1", the last one of May as "5/mon/-1"."""
    month, weekday, *nth = day.split("/")
    if not nth:
        return _calendar(day, now, hour)
    today = now.date()
    days = []
    for year in (now.year - 1, now.year, now.year + 1):
        week = [w for w in calendar.monthcalendar(year, int(month)) if w[WEEKDAYS.index(weekday)]]
        at = int(nth[0])
        days.append(date(year, int(month), week[at - 1 if at > 0 else at][WEEKDAYS.index(weekday)]))
    return When(max(d for d in days if d <= today), min(d for d in days if d >= today), hour)


def _day_of_month(day: int, today: date, hour: float | None) -> When | None:
    days = []
    for step in range(-2, 3):
        month = today.year * 12 + today.month - 1 + step
        try:
            days.append(date(month // 12, month % 12 + 1, day))
        except ValueError:
            continue
    past = max((d for d in days if d <= today), default=None)
    return When(past, min((d for d in days if d >= today), default=None), hour) if days else None
