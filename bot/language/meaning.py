"""What one message means: frozen facts and asks, richer than the record form that `understand` prints.

The reader knows the text, the moment, the units in which this person gives a bare temperature,
and nothing else: no history and no database. What a bare "done" or "2" answers is for the conversation.
"""

from dataclasses import dataclass
from datetime import date, time
from typing import Literal

from shared.pile import Record, Shade

Language = Literal["en", "es"]
Units = Literal["f", "c"]

AskKind = Literal[
    # in the record form
    "when_ready",
    "what_next",
    "state",
    "picture",
    "may_add",
    "mix",
    "water_amount",
    "harvest_amount",
    "safe_use",
    "trouble",
    "later",
    "pause",
    "resume",
    "stop",
    "start",
    "help",
    "person",
    "language",
    "undo",
    "correction",
    "join",
    "share",
    "claim",
    "hand_over",
    "schedule",
    "forget_me",
    "my_data",
    "thanks",
    "greeting",
    "yes",
    "no",
    # beyond it: understood and answered, left out of the projection
    "why",
    "how_measure",
    "how_turn",
    "how_build",
    "what_if",
    "stop_adding",
    "units",
    "new_pile",
    "rename",
    "who_did",
    "who_has_tool",
    "tally",
    # among the keepers of one pile
    "whose_turn",
    "has_tool",
    "tool_back",
    "ask_holder",
    "tool_gone",
    "agree_share",
    "limit",
    "news",
    "no_news",
    "leave_pile",
    "my_name",
    "privacy",
    "how_hot",
    "how_ready",
    "fire_risk",
    "how_often",
    "tap_water",
    "shrinks",
    "weed_seeds",
    "start_over",
    "cold_start",
    "health",
    "what_browns",
    "worms",
    "decline",
    "cannot_turn",
    "can_turn",
    "only_about",
    "not_before",
    "unclear_stop",
    "to_staff",
    "move",
    "calendar",
    "new_calendar",
]

TOPICS: tuple[AskKind, ...] = (
    "when_ready",
    "what_next",
    "state",
    "may_add",
    "mix",
    "water_amount",
    "harvest_amount",
    "safe_use",
    "trouble",
    "person",
    "why",
    "what_if",
    "how_measure",
    "stop_adding",
    "how_turn",
    "how_build",
    "how_hot",
    "how_ready",
    "fire_risk",
    "how_often",
    "tap_water",
    "shrinks",
    "weed_seeds",
    "start_over",
    "cold_start",
    "health",
    "what_browns",
    "worms",
    "privacy",
    "help",
)
"""The asks that are questions about compost or about us; the others tell the program what to do."""

Danger = Literal[
    "smoke",
    "maybe_smoke",
    "injury",
    "breathing",
    "swallowed",
    "self_harm",
    "threat",
    "wrong_person",
    "animal",
]

Bare = Literal["done", "yes", "no", "not_yet", "dont_know", "skip", "ok", "other_one", "will_do"]


@dataclass(frozen=True, slots=True)
class Fact:
    """A record that the message reports.

    pile    what the writer calls the pile ("2", "back fence"), None where the message names none
    doubt   why the value may not be what was meant: "impossible", "digits", "unit", "surface", "heard";
            "vague" for a smell that is bad without a word for how, "ash" for a growth that may be real ash
    buckets how many buckets of unsaid size, where the amount was given so; the record has no litres then
    units   the scale that a reading is written in, None where it names none
    """

    record: Record
    pile: str | None = None
    doubt: Literal["impossible", "digits", "unit", "surface", "heard", "vague", "ash"] | None = None
    buckets: float | None = None
    units: Units | None = None


@dataclass(frozen=True, slots=True)
class Ask:
    """Something the message wants. Only the fields that its kind uses are set.

    material   `may_add`
    on         `later` (remind on), `pause` (until), `stop_adding` (wanted use date)
    weekday    `schedule`: "mon" to "sun"
    at         `schedule` (time of day), `not_before`; None: when is to be asked
    language   `language`
    units      `units`
    code       `join`: upper case
    name       `rename` (new name), `hand_over` (to whom), `who_has_tool` (which tool), `may_add` (as written)
    amount     `agree_share`: fraction or weight, as `topic` says; `limit`: turnings a month
    pile       what is asked about one pile (`when_ready`, `state`, `picture`...): what the writer calls it
    topic      `who_has_tool`, `has_tool` (`name`: who), `tool_back`: which tool;
               `what_if`: "no_turn", "turn_weekly", "no_water", "water_weekly", "no_add",
               none for nothing at all; `only_about`: "water" or "turn"; `trouble`: "plants" that it hurt
    """

    kind: AskKind
    material: str | None = None
    on: date | None = None
    weekday: str | None = None
    at: time | None = None
    language: Language | None = None
    units: Units | None = None
    code: str | None = None
    name: str | None = None
    topic: str | None = None
    amount: float | None = None
    pile: str | None = None


@dataclass(frozen=True, slots=True)
class Setup:
    """What the message says of how the pile is built; None where it says nothing.

    length_m, width_m, height_m   "3x3x3", "4 feet tall and wide", "a metre each way"
    volume_m3                     "about a cubic yard", "200 litre bin"
    """

    length_m: float | None = None
    width_m: float | None = None
    height_m: float | None = None
    volume_m3: float | None = None
    bin: bool | None = None
    fed: bool | None = None
    covered: bool | None = None
    shade: Shade | None = None
    thermometer: bool | None = None
    has_pile: bool | None = None


@dataclass(frozen=True, slots=True)
class Meaning:
    """One message, understood.

    bare      a short answer whose sense depends on what was asked last; "will_do" promises work to come
    number    the bare number that the message consists of ("2", "135"), where it is one
    speaker   the first word of "Ana: turned", as written
    lead      a short answer that a longer message opens with: "done. 128 now"
    on        the one day that the message names, as it answers "when was it?"; the last March for "in March"
    after     what follows smoke that was told of: it is "gone", was "steam", or came of "ashes"
    length_m  the one length that the message names, as it answers "how big?"
    units     the measures that it is written in: "c" for Celsius, metres and litres; None where it names none
    by        who did what is told, where that is not the writer alone: names, "me" for the writer
    danger    a fixed, careful answer is due; pile advice must not follow
    """

    language: Language
    facts: tuple[Fact, ...] = ()
    asks: tuple[Ask, ...] = ()
    bare: Bare | None = None
    number: float | None = None
    speaker: str | None = None
    setup: Setup | None = None
    danger: Danger | None = None
    by: tuple[str, ...] = ()
    lead: Bare | None = None
    on: date | None = None
    units: Units | None = None
    length_m: float | None = None
    after: frozenset[str] = frozenset()
