"""What members of staff do from their phone: sign in, today's class, who needs help, answering.

Only members' messages are read for these words, and only where the whole message is one of them; anything
else a member texts is a gardener's message like any other.
"""

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal, get_args
from zoneinfo import ZoneInfo

from bot.language.meaning import Language
from bot.profile import plain
from bot.staff.helping import LONGEST_WORDS, see_to, seen_piles, write
from shared.errors import BadInput
from storage.codes import DIGITS, LETTERS
from storage.helpdesk import Waiting
from storage.inbox import Incoming
from storage.outbox import Line
from storage.people import Person
from storage.staff import CODE_LASTS, INVITE_SIGNS, Member
from storage.work import Store, Work

if TYPE_CHECKING:
    from bot.conversation.respond import Desk

INVITATION = re.compile(rf"[{LETTERS}{DIGITS}]{{{INVITE_SIGNS}}}")
"""A code that makes whoever texts it a member; see `Staff.invite`."""
LISTED = 5
"""Rows of the list in one text."""
LONGEST_QUOTE = 60
WITH_NUMBER = re.compile(
    r"(?P<word>[^\W\d]+)\s+(?P<number>\d{1,2})\s*(?:[:.,-]\s*|\s+|$)(?P<rest>.*)", re.DOTALL
)
Wish = Literal["sign_in", "waiting", "today", "answer", "send", "done"]


@dataclass(frozen=True, slots=True)
class Word:
    """What a member wants; `number` and `rest` of "answer 2: ..."."""

    wish: Wish
    number: int = 0
    rest: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """A member's wish, and what answering it needs."""

    work: Work
    desk: "Desk"
    member: Member
    person: Person
    word: Word
    at: datetime


def heard(store: Store, desk: "Desk", incoming_id: int, incoming: Incoming, at: datetime) -> bool:
    """Handle a message to the office; False where it is none: it is then a gardener's message."""
    if incoming.form != "text":
        return False
    invitation = INVITATION.fullmatch(incoming.text.strip().upper())
    if invitation is not None and join(store, desk, incoming_id, incoming, invitation.group(), at):
        return True
    word = word_of(incoming.text)
    if word is None:
        return False
    with store.work(reading=True) as work:
        person = work.people.by_address(incoming.channel, incoming.address)
        member = work.staff.of_person(person.id) if person is not None else None
    if person is None or member is None:
        return False
    with store.work() as work:
        if work.inbox.handled(incoming_id, at):
            lines = DOES[word.wish](Asked(work, desk, member, person, word, at))
            _reply(work, person, lines, incoming_id, at)
            work.commit()
    return True


def join(store: Store, desk: "Desk", incoming_id: int, incoming: Incoming, code: str, at: datetime) -> bool:
    """Make whoever texts an invitation a member; False where the code is none, used or too old."""
    with store.work() as work:
        person = work.people.by_address(incoming.channel, incoming.address) or work.people.add(
            incoming.channel,
            incoming.address,
            incoming.name,
            desk.profile.languages[0],
            desk.profile.units,
            desk.profile.zone,
            at,
        )
        member = work.staff.join(code, person.id, at)
        if member is None or not work.inbox.handled(incoming_id, at):
            return False
        _reply(work, person, [Line(f"staff.welcome.{member.role}", {"name": member.name})], incoming_id, at)
        work.commit()
    return True


def word_of(text: str) -> Word | None:
    """What a member wants with a message, None where it is about nothing here."""
    said = plain(text).strip(" .?!¿¡\n")
    for wish, phrases in _phrases().items():
        if said in phrases and wish in ("sign_in", "waiting", "today"):
            return Word(wish)
    found = WITH_NUMBER.fullmatch(text.strip())
    if found is None:
        return None
    for wish in ("answer", "send", "done"):
        if plain(found["word"]) in _phrases()[wish]:
            return Word(wish, int(found["number"]), found["rest"].strip())
    return None


@cache
def _phrases() -> Mapping[Wish, frozenset[str]]:
    """The words of every language: staff may write in either."""
    read = [
        tomllib.loads((files("bot.language") / language / "staff.toml").read_text(encoding="utf-8"))
        for language in get_args(Language)
    ]
    return {
        wish: frozenset(plain(phrase) for each in read for phrase in each[wish]) for wish in get_args(Wish)
    }


def sign_in(asked: Asked) -> list[Line]:
    """Where the pages are, and a code for them."""
    if asked.desk.public_url is None:
        return [Line("staff.no_pages", {})]
    found = asked.work.staff.sign_in_code(asked.person.address, asked.at)
    if found is None:
        return [Line("staff.too_many_codes", {})]
    minutes = CODE_LASTS.seconds // 60
    return [
        Line("staff.sign_in_at", {"where": f"{asked.desk.public_url}/sign-in/code"}),
        Line("staff.sign_in_code", {"code": found[1], "minutes": minutes}),
    ]


def waiting(asked: Asked) -> list[Line]:
    """Who needs a human, by numbers that "answer" takes."""
    piles = seen_piles(asked.work, asked.member)
    rows = asked.work.helpdesk.waiting(LISTED, piles)
    if not rows:
        return [Line("staff.nobody", {})]
    for row in rows:
        asked.work.staff.looked(asked.member.id, row.person_id, "thread", asked.at)
    asked.work.people.change(asked.person.id, waiting_for={"ask": "staff", "rows": [row.id for row in rows]})
    lines = [Line(f"staff.row.{row.cause}", _row(number, row)) for number, row in enumerate(rows, 1)]
    more = asked.work.helpdesk.how_many(piles) - len(rows)
    if more > 0:
        lines.append(Line("staff.more", {"more": more}))
    return [*lines, Line("staff.how_to_answer", {})]


def _row(number: int, row: Waiting) -> dict[str, str | int]:
    quote = " ".join(row.words.split())
    if len(quote) > LONGEST_QUOTE:
        quote = quote[: LONGEST_QUOTE - 3] + "..."
    return {"number": number, "name": row.name or f"#{row.person_id}", "words": quote}


def today(asked: Asked) -> list[Line]:
    """The class of the day, or the last one: seats, who joined, who started."""
    if asked.member.role == "volunteer":
        return [Line("staff.not_for_role", {})]
    day = asked.at.astimezone(ZoneInfo(asked.desk.profile.zone)).date()
    taught = asked.work.classes.nearest(day)
    if taught is None:
        return [Line("staff.no_class", {})]
    counts = asked.work.classes.counts(taught.code, asked.at)
    names = [each.name for each in asked.work.classes.people(taught.code) if each.joined_at and each.name]
    values = {"code": taught.code, "seats": taught.seats or "?", "joined": counts.joined}
    lines = [Line("staff.class", values | {"started": counts.started, "going": counts.going})]
    if names:
        lines.append(Line("staff.class.names", {"names": ", ".join(names)}))
    return lines


def answer(asked: Asked) -> list[Line]:
    """The member's own words into the thread of a row that was listed."""
    row = _listed(asked)
    if row is None:
        return [Line("staff.which_row", {})]
    if not asked.word.rest or len(asked.word.rest) > LONGEST_WORDS:
        return [Line("staff.how_to_answer", {})]
    try:
        write(
            asked.work,
            asked.member,
            asked.work.people.get(row.person_id),
            asked.word.rest,
            asked.at,
            row.pile_id,
        )
    except BadInput:
        return [Line("staff.cannot_write", {})]
    return [Line("staff.answered", {"name": row.name or f"#{row.person_id}"})]


def send(asked: Asked) -> list[Line]:
    """An approved text into the thread of a row that was listed."""
    row = _listed(asked)
    if row is None:
        return [Line("staff.which_row", {})]
    texts = {plain(each.topic): each for each in asked.work.approved.current()}
    chosen = texts.get(plain(asked.word.rest))
    if chosen is None:
        known = ", ".join(each.topic for each in texts.values())
        return [Line("staff.topics", {"topics": known}) if known else Line("staff.no_topics", {})]
    to = asked.work.people.get(row.person_id)
    try:
        write(asked.work, asked.member, to, chosen.text(to.language), asked.at, row.pile_id, chosen)
    except BadInput:
        return [Line("staff.cannot_write", {})]
    return [Line("staff.answered", {"name": row.name or f"#{row.person_id}"})]


def done(asked: Asked) -> list[Line]:
    """A row is seen to without a text."""
    row = _listed(asked)
    if row is None:
        return [Line("staff.which_row", {})]
    see_to(asked.work, asked.member, row.person_id, "closed", asked.at)
    return [Line("staff.closed", {"name": row.name or f"#{row.person_id}"})]


def _listed(asked: Asked) -> Waiting | None:
    """The row of that number in the list that this member got last, if it is theirs to see."""
    open_list = asked.person.waiting_for
    rows = open_list.get("rows", ()) if open_list.get("ask") == "staff" else ()
    if not 1 <= asked.word.number <= len(rows):
        return None
    row = asked.work.helpdesk.get(rows[asked.word.number - 1])
    seen = seen_piles(asked.work, asked.member)
    return row if seen is None or row.pile_id in seen else None


def _reply(work: Work, person: Person, lines: list[Line], incoming_id: int, at: datetime) -> None:
    work.people.change(person.id, last_heard_at=at, unanswered=0)
    work.outbox.add(
        person.id,
        "reply",
        lines,
        due_at=at,
        unique_key=f"reply:{incoming_id}",
        reason={"why": "asked"},
        incoming_id=incoming_id,
    )


DOES: Mapping[Wish, Callable[[Asked], list[Line]]] = {
    "sign_in": sign_in,
    "waiting": waiting,
    "today": today,
    "answer": answer,
    "send": send,
    "done": done,
}
