"""What one message has to go on (`Known`), and what comes of it (`Outcome`): values, no input or output."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, Literal, Protocol
from zoneinfo import ZoneInfo

from bot.language.meaning import Meaning
from bot.profile import Profile
from scheduler.turns import Deed, Group, deeds, once
from shared.care import Action
from shared.forecast import Forecast, Habit
from shared.pile import Record
from storage.outbox import Line, OutRow
from storage.people import Person
from storage.piles import PileRow, Told


class Look(Protocol):
    """Where a pile stands, from its set-up and what was told of it."""

    def __call__(
        self, row: PileRow, records: Sequence[Record], as_of: date, habit: Habit | None = None
    ) -> tuple[Forecast, tuple[Action, ...]]: ...


NOBODY = Group((), {})


@dataclass(frozen=True, slots=True)
class KnownPile:
    """A pile as this keeper knows it."""

    row: PileRow
    told: tuple[Told, ...]
    keeping: Group = NOBODY

    @property
    def built(self) -> date:
        """The day on which it was built."""
        return date.fromisoformat(self.row.setup["built"])

    @property
    def called(self) -> str:
        """Its name, or its number for this keeper."""
        return self.row.name or str(self.row.number)

    @property
    def names(self) -> Mapping[int, str | None]:
        """What each of its keepers is called."""
        return {person.id: person.name for person in self.keeping.members}

    @property
    def records(self) -> tuple[Record, ...]:
        return once(self.told)

    @property
    def deeds(self) -> list[Deed]:
        """What was done and seen, each with everybody who had a hand in it."""
        return deeds(self.told)

    @property
    def group(self) -> Group:
        """Its keepers, and what has passed among them."""
        return replace(self.keeping, told=self.told)


@dataclass(frozen=True, slots=True)
class Known:
    """Everything that a message is answered from.

    local      the moment in the person's zone
    piles      those the person keeps, in the order of their numbers
    asked      the row whose open question a short answer belongs to, None where nothing is open
    last       the last message sent unprompted, for "why?"
    held       the last one kept back within a week, likewise
    look       forecasts a pile
    waited     what was said before the open question and waits for its answer, None where nothing does
    with_staff   ids of the piles that a human has in hand
    public_url   where browsers reach us, None where the web part is off
    """

    person: Person
    profile: Profile
    local: datetime
    piles: tuple[KnownPile, ...]
    look: Look
    last: OutRow | None = None
    with_staff: frozenset[int] = frozenset()
    public_url: str | None = None
    waited: Meaning | None = None
    held: OutRow | None = None

    @property
    def at(self) -> datetime:
        """The moment, aware of the person's zone."""
        return self.local.replace(tzinfo=ZoneInfo(self.person.zone))

    @property
    def today(self) -> date:
        return self.local.date()

    @property
    def waiting(self) -> Mapping[str, Any]:
        """The open question: {"ask": key, "pile": id or None, ...}; empty where nothing is open."""
        return self.person.waiting_for


@dataclass(slots=True)
class Outcome:
    """What a message leads to; `respond` carries it out in one transaction.

    records      (pile id, record, id of the told record that it replaces or None); pile id 0 is the new pile
    set_up       pile id to the set-up values that were said
    done_by      who did what is recorded, where not the person alone: ids, or names new on this phone
    notes        what keepers agree among themselves: pile id, about, whom, values; see `storage.piles.Note`
    relays       what another keeper is told: pile id, person id, line
    undo         ids of told records to take back
    changes      fields of the person
    opens        the question that is open from now on; None leaves it as it is, {} closes it
    advised      the question about the work that the reply asks for today: a short answer belongs to it
                 where nothing else is asked
    holds        whether the message waits, with what waited before it, for the answer to what it opens
    closes       ids of piles that were emptied into the garden
    alerts       lines for the staff, sent at once
    asked_staff  whether something was asked that a human has in hand
    consent      whether the person consented (True) or opted out (False) with this message
    survey       survey, question and answer by their places; the answer None where it was skipped
    moves        the person wants a code for a new phone
    calendar     the address of their calendar goes with the reply, the same as before or a new one
    picture_of   the pile whose picture goes with the reply, where the channel shows pictures
    place        channel and address of the group that hears the reply; None: the person alone
    answers      by the channel's own id, the message of the group that is answered
    """

    lines: list[Line] = field(default_factory=list)
    options: tuple[str, ...] = ()
    opens: dict[str, Any] | None = None
    advised: dict[str, Any] | None = None
    holds: bool = False
    records: list[tuple[int, Record, int | None]] = field(default_factory=list)
    set_up: dict[int, dict[str, Any]] = field(default_factory=dict)
    done_by: tuple[int | str, ...] = ()
    notes: list[tuple[int, str, int | None, dict[str, Any]]] = field(default_factory=list)
    relays: list[tuple[int, int, Line]] = field(default_factory=list)
    leaves: int | None = None
    undo: list[tuple[int, int]] = field(default_factory=list)
    changes: dict[str, Any] = field(default_factory=dict)
    alerts: list[Line] = field(default_factory=list)
    asked_staff: bool = False
    consent: bool | None = None
    new_pile: bool = False
    told_ready: dict[int, tuple[date, date]] = field(default_factory=dict)
    renames: dict[int, str] = field(default_factory=dict)
    invite_to: int | None = None
    joins_pile: int | None = None
    moves: bool = False
    calendar: Literal["link", "new"] | None = None
    closes: list[int] = field(default_factory=list)
    erase: bool = False
    export: bool = False
    confirmation: bool = False
    class_code: str | None = None
    picture_of: int | None = None
    place: tuple[str, str] | None = None
    answers: str | None = None
    survey: tuple[int, int, int | None] | None = None

    @property
    def says_a_code(self) -> bool:
        """Whether the answer is a code or a secret address, which is made when it is stored."""
        return self.invite_to is not None or self.moves or self.calendar is not None

    def say(self, key: str, **values: Any) -> None:
        """Add one line to the reply."""
        self.lines.append(Line(key, values))

    def note(self, pile_id: int, about: str, who: int | None, **values: Any) -> None:
        """Keep what the keepers of a pile agree among themselves."""
        self.notes.append((pile_id, about, who, values))

    def ask(self, question: str, *options: str, **more: Any) -> None:
        """Open a question; its options are answered by digits. The last one asked stands."""
        self.options = options
        self.opens = {"ask": question, "options": list(options), **more}
