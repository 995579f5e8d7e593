"""A copy of messages for a records request, its personal parts blanked: names, numbers, addresses, codes."""

import csv
import io
import json
import re
from collections.abc import Collection, Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.staff.report_files import harmless
from storage.privacy import Message

BLANK = "[...]"
REACH = re.compile(
    r"[\w.+-]+@[\w-]+\.[\w.-]+"  # an e-mail address
    r"|@\w{3,}"  # a name in a chat
    r"|https?://\S+"
    r"|\+?\(?\d(?:[\s().-]{0,2}\d){6,}"  # seven digits and more: a phone number, not a reading
    r"|\b\d{1,5}\s+(?:[NSEW]\.?\s+)?(?:\w+\s){1,2}(?:street|st|avenue|ave|road|rd|drive|dr|lane|ln|court|ct)\b"
    r"|\b(?:calle|avenida|camino)\s+\w+(?:\s+\w+)?\s+\d{1,5}\b",
    re.IGNORECASE,
)
"""What leads to a person's door or phone. What else a text gives away, whoever hands it out must read."""
FIELDS = ("at", "person", "by", "channel", "text")


class Blanker:
    """Blanks every name that is given, and whatever leads to a person."""

    def __init__(self, names: Collection[str]) -> None:
        words = {part for name in names for part in (name, *name.split()) if len(part) > 1}
        longest_first = sorted(words, key=lambda word: (-len(word), word))
        either = "|".join(re.escape(word) for word in longest_first)
        self._names = re.compile(rf"(?<!\w)(?:{either})(?!\w)", re.IGNORECASE) if either else None

    def __call__(self, text: str) -> str:
        """The text without them."""
        blanked = REACH.sub(BLANK, text)
        return self._names.sub(BLANK, blanked) if self._names else blanked


def rows(messages: Iterable[Message], names: Collection[str], zone: str) -> list[dict[str, str]]:
    """The messages as they may be handed out; a person is a number that says nothing."""
    blank = Blanker(names)
    return [
        {
            "at": _local(message.at, zone),
            "person": str(message.person_id),
            "by": message.by,
            "channel": message.channel,
            "text": blank(message.text),
        }
        for message in messages
    ]


def as_csv(copied: Iterable[dict[str, str]]) -> bytes:
    """As a table that a spreadsheet opens; no cell of it can be taken for a formula."""
    out = io.StringIO()
    writer = csv.DictWriter(out, FIELDS)
    writer.writeheader()
    writer.writerows({name: harmless(cell) for name, cell in row.items()} for row in copied)
    return out.getvalue().encode("utf-8-sig")


def as_json(copied: Iterable[dict[str, str]]) -> bytes:
    """As a list of objects."""
    return json.dumps(list(copied), ensure_ascii=False, indent=1).encode()


def _local(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).isoformat(timespec="minutes")
