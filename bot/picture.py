"""A message with the picture of its pile where the channel can show one; the words always stand alone too."""

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.conversation.talk import Look
from bot.language.wording import Voice, render
from scheduler.sender import Rendered
from shared.errors import WarmheapError
from storage.outbox import OutRow
from storage.people import Person
from storage.work import Store, Work

log = logging.getLogger(__name__)

SHOW_PICTURES = frozenset({"telegram"})
LONGEST_CAPTION = 1024
"""Telegram's limit for the words under a picture."""


def rendering(store: Store, look: Look) -> Callable[[OutRow, Person, datetime], Rendered]:
    """How a row is worded, and drawn where it asks for a picture that its channel can show."""

    def message(row: OutRow, person: Person, at: datetime) -> Rendered:
        words = render(row, person, at)
        pile_id = row.reason.get("picture")
        shows = (row.channel or person.channel) in SHOW_PICTURES and len(words.text) <= LONGEST_CAPTION
        if pile_id is None or not shows:
            return words
        try:
            return replace(words, picture=_draw(store, look, pile_id, person, at))
        except WarmheapError as trouble:
            log.warning("action=draw pile=%s trouble=%s", pile_id, trouble)
            return words

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
