"""Times of day: "7:30 am", "at 6 in the evening", "a las seis y media"."""

from datetime import time

from bot.language.dates import When, parts_of_day
from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon

LATEST_BARE_PM = 5  # hours up to it are of the afternoon where nothing is said


MILITARY = 4  # digits of "1700"


def clock_time(items: list[Item], lex: Lexicon) -> list[Item]:
    """The items with each time of day ("7:30 am", "at 6 in the evening") labelled <clocktime>, a `time`."""
    if not any(item.number is not None or item.has("<clock>") for item in items):
        return items
    table, parts = lex.tables["clock"], parts_of_day(lex.language)
    at, morning, evening = (set(map(plain, table[k])) for k in ("at", "am", "pm"))
    for i, item in enumerate(items):
        hour, minute = _hour(item)
        given = i + 1 < len(items) and items[i + 1].key == "les"  # "a las dos les di vuelta"
        if hour is None or hour > 24 or item.has("<date>") or given:
            continue
        later = items[i + 1 : i + 6]
        words = " ".join(x.key for x in later)
        half = next((m for w, m in table["minutes"].items() if words.startswith(plain(w))), None)
        oclock = any(words.startswith(plain(w)) for w in table.get("oclock", ()))
        am = any(words.startswith(w) for w in morning)
        pm = any(words.startswith(w) for w in evening)
        part = next((h for w, h in parts.items() if words.startswith(w)), None) or next(
            (
                x.value.hour
                for x in [*later[:3], *reversed(items[max(0, i - 3) : i])]  # "en la noche a las nueve"
                if isinstance(x.value, When) and x.value.hour is not None
            ),
            None,
        )
        before = items[i - 1].key if i else ""
        two_before = f"{items[i - 2].key} {before}" if i > 1 else ""
        said_at = before in at or two_before in at
        if not (
            item.has("<clock>")
            or am
            or pm
            or (oclock and hour <= 12)
            or (said_at and (hour <= 12 or half or len(item.key) == MILITARY))
        ):
            continue
        if pm or (not am and part is not None and part >= 12):
            hour = hour if hour >= 12 or hour == 0 else hour + 12
        elif am and hour == 12:
            hour = 0
        elif said_at and not am and part is None and 1 <= hour <= LATEST_BARE_PM and not item.has("<clock>"):
            hour += 12  # "text me at 4"
        if half:
            minute = int(half)
        if hour < 24 and minute < 60:
            item.labels.add("<clocktime>")
            item.labels.discard("<number>")
            item.value = time(int(hour), minute)
            for x in later[: 1 if (am or pm) else 0]:
                x.labels.add("<clockword>")
    return items


def _hour(item: Item) -> tuple[float | None, int]:
    if item.has("<clock>"):
        hour, minute = item.key.split(":")
        return float(hour), int(minute)
    if item.number is not None and item.number == int(item.number):
        if (
            len(item.key) == MILITARY and item.number < 2400 and item.number % 100 in (0, 15, 30, 45)
        ):  # "1700"
            return item.number // 100, int(item.number % 100)
        if 100 <= item.number <= 1259 and item.number % 100 in (15, 30, 45) and item.heard:
            return item.number // 100, int(item.number % 100)
        return item.number, 0
    if item.number is not None and item.has("<small>") and item.number % 1 == 0.5:
        return item.number // 1, 30  # "a las 5 y media"
    return None, 0
