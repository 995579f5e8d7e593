"""A scripted season on a simulated clock, through the same code as the real program.

    person ines zone=America/Denver language=en channel=sms units=f
    class FIG22 language=en zone=America/Denver seats=30
    2026-03-01 09:00 ines: temp 128, looks dry      # in her local time
    until 2026-07-01

The clock jumps from one event to the next: a line of the script, a message that falls due, a pile or a
person to be looked at. `$code` in a text is the last code that the program has shown anyone.
"""

import asyncio
import json
import re
import shlex
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from bot.channels.console import Console
from bot.channels.telegram import Telegram
from bot.conversation.respond import meet, tongue
from bot.language.understand import understand
from bot.profile import Profile
from scheduler.sender import Outcome, Rendered, Sent, Shows
from scheduler.times import local
from shared.errors import BadInput
from storage.classes import ClassRow
from storage.inbox import Incoming
from storage.outbox import OutRow
from storage.people import known_zone

if TYPE_CHECKING:
    from bot.app import Warmheap

US, PRACTISING = "warmheap", "practising"
SHOWN = {channel.name: channel.shows for channel in (Console, Telegram)}
"""What phones show; those of any other channel only plain words."""
SAID = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d) ([^\s:]+): ?(.*)")
COMMENT = re.compile(r"(^|\s)#(\s.*)?$")
SETTINGS: Mapping[str, frozenset[str]] = {
    "person": frozenset({"zone", "language", "channel", "units"}),
    "class": frozenset({"zone", "language", "seats"}),
}


@dataclass(frozen=True, slots=True)
class Message:
    """One line of the transcript. `at` is local to the person; `why` says why the program wrote."""

    at: datetime
    sender: str
    to: str
    channel: str
    text: str
    why: str | None = None

    def as_json(self) -> str:
        """The message as one JSON object."""
        return json.dumps(
            {
                "at": self.at.isoformat(timespec="minutes"),
                "from": self.sender,
                "to": self.to,
                "channel": self.channel,
                "text": self.text,
                "why": self.why,
            },
            ensure_ascii=False,
        )

    def as_text(self) -> str:
        """The message for reading: when, who to whom, and what."""
        head = f"{self.at:%a %Y-%m-%d %H:%M}  {self.sender} > {self.to}"
        body = "\n".join(f"    {line}" for line in self.text.splitlines())
        return f"{head}\n{body}"


@dataclass(slots=True)
class SimulatedClock:
    """A clock that stands still until it is set."""

    at: datetime

    def now(self) -> datetime:
        """The simulated moment, UTC."""
        return self.at


class Taken(NamedTuple):
    """A message that a channel was given, by the id of its outbox row."""

    row_id: int
    channel: str
    address: str
    message: Rendered


class Recorder:
    """A channel that reaches everybody and writes down what it is given."""

    addresses = None

    def __init__(self, name: str) -> None:
        self.name = name
        self.shows = SHOWN.get(name, Shows())
        self.taken: list[Taken] = []

    async def send(self, address: str, message: Rendered, reference: str) -> Outcome:
        """Write the message down."""
        self.taken.append(Taken(int(reference), self.name, address, message))
        return Sent(reference)


@dataclass(frozen=True, slots=True)
class Said:
    """A line of the script: who says what, and when [UTC]."""

    number: int
    at: datetime
    who: str
    text: str


@dataclass(slots=True)
class Script:
    """A season to run: who takes part with which settings, the classes, what is said, and the last moment."""

    name: str
    people: dict[str, dict[str, str]] = field(default_factory=dict)
    classes: list[ClassRow] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    until: datetime | None = None


def read_script(text: str, name: str, profile: Profile) -> Script:
    """Read a script; raises BadInput naming the line and the mend."""
    script = Script(name)
    until: date | None = None
    for number, raw in enumerate(text.split("\n"), start=1):
        line = COMMENT.sub("", raw).strip()
        try:
            if spoken := SAID.fullmatch(line):
                script.said.append(_said(number, spoken, script, profile))
            elif line.startswith("until "):
                until = date.fromisoformat(line.removeprefix("until ").strip())
            elif line:
                _head(script, line, profile)
        except (ValueError, BadInput) as trouble:
            raise BadInput(f"{name}, line {number}: {trouble}") from None
    if not script.said:
        raise BadInput(f"{name}: nothing is said in it; add lines such as 2026-03-01 09:00 ines: hello")
    script.said.sort(key=lambda said: said.at)
    if until is not None:
        end = datetime.combine(until, time(23, 59, 59), ZoneInfo(_zone(script, script.said[0].who, profile)))
        script.until = end.astimezone(UTC)
    return script


def _said(number: int, spoken: re.Match[str], script: Script, profile: Profile) -> Said:
    day, hour, who, text = spoken.groups()
    local = datetime.fromisoformat(f"{day} {hour}").replace(tzinfo=ZoneInfo(_zone(script, who, profile)))
    return Said(number, local.astimezone(UTC), who, text)


def _zone(script: Script, who: str, profile: Profile) -> str:
    return script.people.get(who, {}).get("zone", profile.zone)


def _head(script: Script, line: str, profile: Profile) -> None:
    kind, *words = shlex.split(line)
    known = SETTINGS.get(kind)
    if known is None or not words:
        raise BadInput("neither a head line (person, class), nor until DATE, nor 2026-03-01 09:00 NAME: text")
    settings = dict(word.split("=", 1) for word in words[1:] if "=" in word)
    unknown = [word for word in words[1:] if word.partition("=")[0] not in known]
    if unknown:
        raise BadInput(f"{unknown[0]!r} is no setting of a {kind}; known are {', '.join(sorted(known))}")
    if "zone" in settings:
        known_zone(settings["zone"])
    for setting, values in (("language", profile.languages), ("units", ("f", "c"))):
        if settings.get(setting, values[0]) not in values:
            raise BadInput(f"{setting} must be one of {', '.join(values)}, not {settings[setting]!r}")
    if kind == "person":
        script.people[words[0]] = settings
    else:
        script.classes.append(_class(words[0], settings, profile))


def _class(code: str, settings: dict[str, str], profile: Profile) -> ClassRow:
    seats = settings.get("seats")
    language: Any = settings.get("language", profile.languages[0])
    return ClassRow(
        code, language, settings.get("zone", profile.zone), seats=None if seats is None else int(seats)
    )


def practice(taught: ClassRow, words: Sequence[str], at: datetime) -> Script:
    """What somebody new in a class would text within some minutes, as a script of its own."""
    script = Script(taught.code, {PRACTISING: {"zone": taught.zone, "language": taught.language}}, [taught])
    script.said = [
        Said(number, at + number * timedelta(minutes=1), PRACTISING, text)
        for number, text in enumerate(words)
    ]
    return script


def channels_of(script: Script, profile: Profile) -> list[Recorder]:
    """A recorder for each channel that the script's people and the programme's staff are reached by."""
    names = {_channel(script, said.who) for said in script.said}
    names |= {where.partition(":")[0] for where in profile.staff.alerts}
    return [Recorder(name) for name in sorted(names)]


def _channel(script: Script, who: str) -> str:
    return script.people.get(who, {}).get("channel", "sms")


class Season:
    """One run of a script through the program, on its simulated clock."""

    def __init__(
        self,
        script: Script,
        profile: Profile,
        warmheap: "Warmheap",
        clock: SimulatedClock,
        channels: list[Recorder],
    ) -> None:
        self._script = script
        self._profile = profile
        self._warmheap = warmheap
        self._clock = clock
        self._channels = channels
        self._said = deque(script.said)
        self._end = max(script.until or script.said[-1].at, script.said[-1].at)
        self._code: str | None = None
        self._who = {}
        for number, who in enumerate(dict.fromkeys(said.who for said in script.said)):
            self._who[_channel(script, who), _address(_channel(script, who), who, number)] = who
        self._address = {who: place for place, who in self._who.items()}

    def run(self) -> Iterator[Message]:
        """Every message of the season as it goes by. Raises BadInput at a line that cannot be played."""
        with self._warmheap.store.work() as work:
            for row in self._script.classes:
                work.classes.add(row)
            work.commit()
        moment: datetime | None = self._said[0].at
        with asyncio.Runner() as runner:
            while moment is not None:
                self._clock.at = moment
                while self._said and self._said[0].at <= moment:
                    incoming, message = self._next_said()
                    yield message
                    runner.run(self._warmheap.hear(incoming))
                    yield from self._heard()
                self._warmheap.plan(moment)
                self._warmheap.broadcast(moment)
                runner.run(self._warmheap.send())
                yield from self._heard()
                moment = self._next_moment()

    def _next_moment(self) -> datetime | None:
        """When something happens next, None where the season is over."""
        after = self._clock.at
        with self._warmheap.store.work(reading=True) as work:
            coming = [work.outbox.next_due(after), work.piles.next_look(after), work.people.next_look(after)]
        if self._said:
            coming.append(self._said[0].at)
        moment = min((moment for moment in coming if moment is not None), default=None)
        return moment if moment is not None and moment <= self._end else None

    def _next_said(self) -> tuple[Incoming, Message]:
        said = self._said.popleft()
        channel, address = self._address[said.who]
        if "$code" in said.text and self._code is None:
            raise BadInput(f"{self._script.name}, line {said.number}: $code, but no code was shown yet")
        text = said.text.replace("$code", self._code or "")
        name = said.who.capitalize() if channel in ("telegram", "console") else None
        incoming = Incoming(channel, address, f"line {said.number}", text, said.at, name)
        self._introduce(said.who, incoming)
        return incoming, Message(self._local(said.who), said.who, US, channel, text)

    def _introduce(self, who: str, incoming: Incoming) -> None:
        """Make a new person known with the settings that the script gives them, if it does."""
        settings: dict[str, Any] = {**self._script.people.get(who, {})}
        settings.pop("channel", None)
        if not settings:
            return
        units = settings.get("units", self._profile.units)
        spoken = understand(incoming.text, self._local(who).replace(tzinfo=None), units).language
        language = settings.get("language", tongue(self._profile, spoken))
        with self._warmheap.store.work() as work:
            if work.people.by_address(incoming.channel, incoming.address) is None:
                meet(work, self._profile, incoming, incoming.at, language, units, settings.get("zone"))
                work.commit()

    def _heard(self) -> Iterator[Message]:
        """What the program has just sent, as the transcript has it."""
        # several people are written to at once: by the order of the outbox each run is alike
        taken = sorted(one for channel in self._channels for one in channel.taken)
        for channel in self._channels:
            channel.taken.clear()
        for row_id, channel_name, address, message in taken:
            with self._warmheap.store.work(reading=True) as work:
                row = work.outbox.get(row_id)
            self._code = _code(row) or self._code
            buttons = "".join(f"\n[{label}]" for label, _ in message.options)
            who = self._who.get((channel_name, address), address)
            yield Message(self._local(who), US, who, channel_name, message.text + buttons, _why(row))

    def _local(self, who: str) -> datetime:
        return local(self._clock.at, _zone(self._script, who, self._profile))


def _address(channel: str, who: str, number: int) -> str:
    """An address of the channel's kind; the numbers are of the range kept for fiction."""
    if channel == "telegram":
        return str(1000 + number)
    return who.lower() if channel == "console" else f"+15055550{100 + number}"


def _code(row: OutRow) -> str | None:
    return next((line.values["code"] for line in row.lines if "code" in line.values), None)


def _why(row: OutRow) -> str:
    """The reason of a message on one line: the rule, then what it rested on."""
    rule = row.reason.get("why", row.kind)
    rest = [f"{name} {value}" for name, value in row.reason.items() if name != "why"]
    return f"{rule}: {', '.join(rest)}" if rest else str(rule)
