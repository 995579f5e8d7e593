"""A message with the picture of its pile where phones show one, else with its address; words stand alone."""

import logging
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.conversation.talk import Look
from bot.language.wording import PLAIN, Voice, render
from scheduler.sender import Rendered, Shows
from shared.errors import WarmheapError
from storage.outbox import OutRow
from storage.people import Person
from storage.work import Store, Work

log = logging.getLogger(__name__)

LINK = "picture.link"
LONGEST_CAPTION = 1024
"""Telegram's limit for the words under a picture."""


def rendering(
    store: Store, look: Look, shown: Mapping[str, Shows]
) -> Callable[[OutRow, Person, datetime], Rendered]:
    """How a row is worded, and drawn where it asks for a picture.

    shown   what the phones of each channel show
    """

    def message(row: OutRow, person: Person, at: datetime) -> Rendered:
        shows = shown.get(row.channel or person.channel, PLAIN)
        pile_id = row.reason.get("picture")
        if pile_id is not None and shows.pictures:
            unlinked = replace(row, lines=tuple(line for line in row.lines if line.key != LINK))
            words = render(unlinked, person, at, shows)
            if len(words.text) <= LONGEST_CAPTION:
                try:
                    return replace(words, picture=_draw(store, look, pile_id, person, at))
                except WarmheapError as trouble:
                    log.warning("action=draw pile=%s trouble=%s", pile_id, trouble)
        return render(row, person, at, shows)

    return message


def _draw(store: Store, look: Look, pile_id: int, person: Person, at: datetime) -> bytes:
    with store.work(reading=True) as work:
        return pile_picture(work, look, pile_id, person, at)


def pile_picture(work: Work, look: Look, pile_id: int, person: Person, at: datetime) -> bytes:
    """The picture of a pile as this person reads it, as a PNG. Raises BadInput where it is not set up."""
    from bot.chart import draw  # the drawing library is loaded with the first picture

    row = work.piles.get(pile_id)
    records = [told.record for told in work.piles.records(pile_id)]
    today = at.astimezone(ZoneInfo(person.zone)).date()
    outlook, _ = look(row, records, today)
    voice = Voice(person.language, person.units, today)
    return draw(outlook, records, today, voice, fed=bool(row.setup.get("fed")))
