"""A transcript as text, and the stage on which it is played: real reader, conversation, core and database.

## A dry pile on day 3                         a situation begins
* pile 12 days; 4 days ago turned; asked turn  what is so: see SETTINGS
> temp 128, looks dry                          what the person texts
< read, step, range?                           the keys of the answer; * any word, ? may be missing,
                                               / one or the other, - no answer; `step` is a next step
                                               with its reason, water and caution, `range` a done date
[turned, not_turned]                           its quick answers, where they matter
= 128 F, moisture dry                          what is recorded, where it matters; = alone: nothing
! alert.smoke                                  what the staff are told
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from bot.conversation.respond import Desk, respond
from bot.language.wording import render
from scheduler.nudges import QUESTIONS
from shared.pile import Record
from shared.units import L_PER_GAL, c_from_f, f_from_c
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.work import Store, Work

ZONE = "America/Denver"
NOW = datetime(2026, 6, 10, 18, 0, tzinfo=ZoneInfo(ZONE))
"""A Wednesday evening in June, unless a situation names another day."""


@dataclass
class Turn:
    """One message of the person and what is expected of the answer; `lines` None where nothing was said."""

    text: str
    lines: str | None = None
    options: list[str] | None = None
    records: list[str] | None = None
    alerts: list[str] = field(default_factory=list)


@dataclass
class Scene:
    """One situation: `turns` are messages and, between them, settings that change what is so."""

    title: str
    turns: list[Turn | str] = field(default_factory=list)


def scenes(text: str) -> Iterator[Scene]:
    """The situations of a transcript file. Raises ValueError at a line that is none of the forms above."""
    scene = None
    for line in text.splitlines():
        mark, _, rest = line.partition(" ")
        if mark == "##":
            if scene is not None:
                yield scene
            scene = Scene(rest)
        elif line and not line.startswith("# "):
            assert scene is not None, line
            _take(scene, mark, rest, line)
    if scene is not None:
        yield scene


def _take(scene: Scene, mark: str, rest: str, line: str) -> None:
    """One line of a situation."""
    last = scene.turns[-1] if scene.turns else None
    if mark == "*":
        scene.turns += [setting.strip() for setting in rest.split(";")]
    elif mark == ">":
        scene.turns.append(Turn(rest))
    elif not isinstance(last, Turn):
        raise ValueError(f"answered before anything was said: {line}")
    elif mark == "<":
        last.lines = rest
    elif line.startswith("["):
        last.options = line.strip("[]").split(", ")
    elif mark == "=":
        last.records = rest.split(", ") if rest else []
    elif mark == "!":
        last.alerts = rest.split(", ")
    else:
        raise ValueError(f"not a line of a transcript: {line}")


def answers(expected: str, keys: list[str]) -> bool:
    """Whether the keys of an answer are those that a `<` line allows."""
    left = list(keys)
    for token in [] if expected == "-" else expected.split(", "):
        wanted = token.removesuffix("?")
        if left and any(fnmatchcase(left[0], SHORT.get(one, one)) for one in wanted.split("/")):
            left.pop(0)
            while wanted == "step" and left and left[0].startswith(WITH_A_STEP):
                left.pop(0)
        elif wanted == token:
            return False
    return not left


SHORT = {"step": "do.*", "range": "range.*"}
WITH_A_STEP = ("why.", "do.water.with_turn", "caution.")


def as_noted(record: Record, today: date) -> str:
    """A record in the words of a `=` line."""
    days = (today - record.on).days
    parts = [f"{days} days ago" if days else ""]
    if record.kind == "temperature":
        parts.append(f"{f_from_c(record.core_c or 0.0):.0f} F" + (" edge" if record.edge else ""))
    else:
        amount = f"{record.litres / L_PER_GAL:.0f} gal" if record.litres else ""
        parts += [record.kind, record.material or "", record.word or "", amount]
    return " ".join(part for part in parts if part)


def noted(words: str, today: date) -> Record:
    """A record from the words of a setting: "118 F", "turned", "watered 10 gal", "moisture dry"."""
    ago = re.match(r"(\d+) days ago (.+)", words)
    on, words = (today - timedelta(days=int(ago[1])), ago[2]) if ago else (today, words)
    if heat := re.fullmatch(r"(\d+) F", words):
        return Record("temperature", on, core_c=c_from_f(float(heat[1])))
    kind, *rest = words.split()
    amount = float(rest[-2]) * L_PER_GAL if rest[-1:] == ["gal"] else None
    word = rest[0] if rest and rest[-1] != "gal" else None
    if kind == "added":
        return Record("added", on, material=rest[0], litres=amount)
    return Record(kind, on, word=word, litres=amount)  # type: ignore[arg-type]


class Stage:
    """One person on one phone of a database that many situations share."""

    def __init__(self, store: Store, desk: Desk, phone: str, language: str) -> None:
        self.store, self.desk, self.phone, self.language = store, desk, phone, language
        self.now = NOW
        self.count = 0
        self.pile_id = 0

    def play(self, scene: Scene) -> Iterator[tuple[Turn, list[OutRow], list[Line], list[Record]]]:
        """Each message with the answer that was sent, what the staff were told, and what was recorded."""
        for turn in scene.turns:
            if isinstance(turn, str):
                with self.store.work() as work:
                    self.set(work, turn)
                    work.commit()
                continue
            before = self.told()
            rows, alerts = self.say(turn.text)
            yield turn, rows, alerts, [record for key, record in self.told().items() if key not in before]

    def set(self, work: Work, setting: str) -> None:
        """Make one setting so."""
        for pattern, make in SETTINGS.items():
            if match := re.fullmatch(pattern, setting):
                make(self, work, match)
                return
        raise ValueError(f"not a setting: {setting}")

    def person(self, work: Work) -> Person:
        """Who the phone belongs to; joined, where nobody has said otherwise."""
        person = work.people.by_address("sms", self.phone)
        if person is None:
            at = self.now - timedelta(days=400)
            person = work.people.add("sms", self.phone, None, self.language, "f", ZONE, at)  # type: ignore[arg-type]
            person = work.people.consent(person.id, True, "yes", self.language, "sms", None, "1", at)
            work.people.change(person.id, thermometer=True)
            person = work.people.get(person.id)
        return person

    def told(self) -> dict[int, Record]:
        """Every record that holds for this person's piles."""
        with self.store.work(reading=True) as work:
            person = work.people.by_address("sms", self.phone)
            piles = work.piles.of(person.id) if person else []
            return {told.id: told.record for pile in piles for told in work.piles.records(pile.id)}

    def say(self, text: str) -> tuple[list[OutRow], list[Line]]:
        """Text something; what came back, and what the staff were told."""
        self.count += 1
        self.now += timedelta(minutes=1)
        form = "photo" if text == "(photo)" else "voice" if text == "(voice)" else "text"
        words = "" if form != "text" else text
        incoming = Incoming("sms", self.phone, f"{self.phone}-{self.count}", words, self.now, form=form)  # type: ignore[arg-type]
        with self.store.work() as work:
            incoming_id = work.inbox.take(incoming)
            work.commit()
        assert incoming_id is not None
        respond(self.store, self.desk, incoming_id, incoming, self.now)
        with self.store.work() as work:
            rows = self.deliver(work, self.now)
            work.commit()
        mine = [row for row in rows if row.address == self.phone]
        return mine, [line for row in rows if row.kind == "alert" for line in row.lines]

    def deliver(self, work: Work, at: datetime) -> list[OutRow]:
        """Send what is due, as the sender would."""
        sent = []
        while rows := work.outbox.claim(at, "test", timedelta(minutes=5), 10):
            for row in rows:
                text = render(row, work.people.get(row.person_id), at).text
                work.outbox.starting(row.id, "test", at)
                work.outbox.sent(row.id, at, text, None)
                sent.append(replace(row, text=text))
                if row.opens is not None:
                    work.people.change(row.person_id, waiting_for=row.opens)
        return sent


def _pile(stage: Stage, work: Work, match: re.Match[str]) -> None:
    """A pile of leaves and grass, built some days ago: a metre each way, or half of that."""
    person = stage.person(work)
    built = stage.now - timedelta(days=int(match["days"]))
    side = 0.5 if match["small"] else 1.0
    stage.pile_id = work.piles.found(person.id, ZONE, built, match["name"]).id
    setup = {
        "built": built.date().isoformat(),
        **dict.fromkeys(("length_m", "width_m", "height_m"), side),
        "ingredients": [["dry_leaves", 600.0 * side], [match["what"] or "grass_clippings", 600.0 * side]],
        "bin": True,
        "fed": bool(match["fed"]),
        "assumed": [],
    }
    work.piles.set_up(stage.pile_id, person.id, setup, built, None)


def _told(stage: Stage, work: Work, match: re.Match[str]) -> None:
    record = noted(match[0], stage.now.date())
    at = stage.now - (stage.now.date() - record.on) - timedelta(hours=1)
    work.piles.record(stage.pile_id, stage.person(work).id, record, at, None, None)


def _asked(stage: Stage, work: Work, match: re.Match[str]) -> None:
    """A nudge went out this morning and waits for its answer."""
    key, why = match["key"], match["why"] or "forecast"
    ask, options = QUESTIONS[key]
    if match["feel"]:
        options = ("heat.cold", "heat.warm", "heat.hot")
    values = {"gain_days": 5, "water_l": 20.0, "core_c": 45.0, "harvest_l": 200.0}
    work.outbox.add(
        stage.person(work).id,
        "nudge",
        [Line(f"nudge.{key}", values)],
        due_at=stage.now - timedelta(hours=9),
        unique_key=f"{stage.phone}-{key}",
        reason={"why": why, "core_c": 45.0, "days_since_turn": 9.0},
        pile_id=stage.pile_id,
        options=options,
        opens={"ask": ask, "options": list(options), "pile": stage.pile_id},
    )
    stage.deliver(work, stage.now - timedelta(hours=9))


def _shared(stage: Stage, work: Work, match: re.Match[str]) -> None:
    other = work.people.add("sms", stage.phone + "9", match["who"], "en", "f", ZONE, stage.now)
    work.piles.join(stage.pile_id, other.id, stage.now)
    for words in (match["did"] or "").split(" and "):
        if words:
            at = stage.now - timedelta(hours=2)
            work.piles.record(stage.pile_id, other.id, noted(words, stage.now.date()), at, None, None)


def _now(stage: Stage, _work: Work, match: re.Match[str]) -> None:
    stage.now = datetime.fromisoformat(match["at"]).replace(tzinfo=ZoneInfo(ZONE))


def _later(stage: Stage, _work: Work, match: re.Match[str]) -> None:
    stage.now += timedelta(days=int(match["days"]))


def _is(**changes: Any) -> Callable[[Stage, Work, re.Match[str]], None]:
    """Something about the person."""

    def make(stage: Stage, work: Work, _match: re.Match[str]) -> None:
        work.people.change(stage.person(work).id, **changes)

    return make


def _stopped(stage: Stage, work: Work, _match: re.Match[str]) -> None:
    work.people.consent(stage.person(work).id, False, "stop", "en", "sms", None, "1", stage.now)


def _class(_stage: Stage, work: Work, match: re.Match[str]) -> None:
    if work.classes.get(match["code"]) is None:
        work.classes.add(ClassRow(match["code"], match["language"], ZONE))  # type: ignore[arg-type]


PILE = (
    r"pile (?P<days>\d+) days(?P<fed> fed)?(?P<small> small)?(?: of (?P<what>\w+))?(?: called (?P<name>.+))?"
)
SETTINGS: dict[str, Callable[[Stage, Work, re.Match[str]], None]] = {
    r"nobody": lambda *_: None,
    r"joined": lambda stage, work, _: stage.person(work) and None,
    PILE: _pile,
    r"\d+ days ago .+|\d+ F": _told,
    r"asked (?P<key>\w+)(?P<feel> by hand)?(?: because (?P<why>\w+))?": _asked,
    r"shared with (?P<who>\w+)(?: who told (?P<did>.+))?": _shared,
    r"now (?P<at>.+)": _now,
    r"(?P<days>\d+) days later": _later,
    r"no thermometer": _is(thermometer=False),
    r"named (?P<name>\w+)": lambda stage, work, match: _is(name=match["name"])(stage, work, match),
    r"celsius": _is(units="c"),
    r"stopped": _stopped,
    r"class (?P<code>\w+) in (?P<language>\w+)": _class,
}
"""What may be so before a message, by the form of the words: nobody has ever written; joined without a pile;
a pile, and what was told of it; a nudge that waits for its answer; the moment; the person."""


def read(path: Path) -> list[Scene]:
    """The situations of one file."""
    return list(scenes(path.read_text(encoding="utf-8")))
