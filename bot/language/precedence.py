"""Which of the asks found in a message hold, where they say the same or cannot all be meant."""

from collections.abc import Sequence
from datetime import datetime

from bot.language.dates import When
from bot.language.items import Item
from bot.language.meaning import Ask, AskKind, Fact

PROBLEMS = {
    ("smell", "ammonia"), ("smell", "rotten"), ("smell", "sour"), ("heat_feel", "cold"),
    ("moisture", "soggy"),
    ("moisture", "dry"), ("moisture", "bit_dry"), ("moisture", "bit_wet"), ("texture", "matted"),
    ("texture", "clumpy"), ("texture", "recognisable"),
}  # fmt: skip
APART = {
    ("when_ready", "may_add"),
    ("water_amount", "what_next"),
    ("what_next", "state"),
    ("safe_use", "when_ready"),
    ("harvest_amount", "when_ready"),
    ("mix", "when_ready"),
    ("when_ready", "state"),
    ("when_ready", "what_next"),
    ("may_add", "what_next"),
}
"""The first and the second may both be meant, where each is asked in a clause of its own."""
SPANS_OF_TIME = ("<days>", "<weeks>", "<months>", "long", "longer", "soon", "tiempo", "falta", "faltara")
SOCIAL = {"thanks", "greeting"}
SMALL_TALK = 3  # words beside a greeting that are still only a greeting
BESIDE_FIXED = (
    "what_next",
    "state",
    "safe_use",
    "may_add",
    "why",
    "help",
    "trouble",
    "how_turn",
    "how_build",
)
# the first kind that is there stands for the others
SILENCES: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "fire_risk",
        ("safe_use", "state", "trouble", "what_next", "what_if", "help", "may_add", "why", "how_measure"),
    ),
    (
        "how_ready",
        ("when_ready", "safe_use", "state", "trouble", "how_measure", "what_next", "help", "who_has_tool"),
    ),
    *((kind, BESIDE_FIXED) for kind in ("how_often", "tap_water", "shrinks", "weed_seeds", "start_over")),
    ("cold_start", (*BESIDE_FIXED, "decline")),
    ("can_turn", ("cannot_turn", "state", "what_next", "trouble", "hand_over", "decline")),
    (
        "health",
        (
            "safe_use",
            "state",
            "trouble",
            "help",
            "may_add",
            "what_next",
            "cannot_turn",
            "hand_over",
            "decline",
        ),
    ),
    ("how_measure", ("who_has_tool",)),
    ("new_calendar", ("calendar", "what_next", "schedule", "may_add")),
    ("calendar", ("may_add", "what_next", "share", "schedule", "picture", "later")),
    ("move", ("what_next", "how_build", "state", "when_ready", "share", "to_staff")),
    ("to_staff", ("what_next", "state", "may_add", "trouble", "later", "hand_over", "undo")),
    ("help", ("what_next", "state", "safe_use", "how_turn")),
    ("trouble", ("why", "help")),
    ("forget_me", ("undo", "my_data", "what_next", "hand_over", "schedule")),
    ("my_data", ("state", "picture", "privacy", "help", "what_next", "trouble")),
    (
        "person",
        (
            "hand_over",
            "share",
            "claim",
            "later",
            "help",
            "trouble",
            "what_next",
            "privacy",
            "state",
            "how_build",
            "may_add",
        ),
    ),
    ("join", ("start", "share", "what_next")),
    ("start", ("correction", "share", "hand_over", "resume", "claim", "later")),
    ("pause", ("later", "schedule", "hand_over", "resume", "claim", "not_before")),
    ("resume", ("start", "later", "schedule", "hand_over")),
    ("schedule", ("later", "not_before")),
    ("later", ("claim", "help", "decline", "schedule")),
    ("undo", ("trouble", "what_next")),
    ("share", ("what_next",)),
    ("language", ("resume", "start")),
    ("language", ("hand_over", "share", "schedule", "help", "later", "person", "what_next", "trouble")),
    ("to_staff", ("hand_over",)),
    ("when_ready", ("may_add", "pause")),
    ("mix", ("may_add",)),
    ("safe_use", ("may_add",)),
    ("harvest_amount", ("may_add",)),
    ("water_amount", ("harvest_amount", "may_add", "safe_use")),
    ("may_add", ("what_next", "how_build", "trouble", "help", "state", "how_turn", "share")),
    ("water_amount", ("what_next", "trouble", "mix", "how_turn", "state", "when_ready")),
    ("harvest_amount", ("when_ready", "safe_use", "what_next", "mix", "state", "trouble")),
    ("safe_use", ("when_ready", "what_next", "state", "harvest_amount", "trouble")),
    ("mix", ("what_next", "trouble", "state")),
    ("picture", ("my_data", "undo")),
    ("what_if", ("what_next", "trouble", "undo", "stop_adding", "water_amount", "mix")),
    ("who_has_tool", ("who_did", "person", "hand_over", "claim")),
    ("stop_adding", ("what_next",)),
    ("how_measure", ("trouble", "help", "what_next", "state")),
    ("how_turn", ("trouble", "help", "what_next")),
    ("how_build", ("trouble", "help", "what_next")),
    ("why", ("trouble", "help", "what_next", "hand_over", "later")),
    ("hand_over", ("who_did",)),
    ("who_did", ("what_next", "claim", "state")),
    ("who_has_tool", ("what_next",)),
    ("hand_over", ("claim", "share", "no", "decline", "what_next", "schedule")),
    ("when_ready", ("state", "what_next", "trouble")),
    ("trouble", ("what_next", "help", "state", "no")),
    ("what_next", ("help", "state")),
    ("state", ("help",)),
)


def problem(fact: Fact) -> bool:
    """Whether a fact is something to be put right."""
    record = fact.record
    return record.kind in ("pests", "smoke", "growth") or (record.kind, record.word) in PROBLEMS


def settle(
    asks: list[Ask],
    items: list[Item],
    facts: Sequence[Fact],
    now: datetime,
    spans: dict[str, list[tuple[int, int]]],
) -> list[Ask]:
    """The asks that stand; `spans` is where each kind was found. What one says, no other says again."""
    kinds = {ask.kind for ask in asks}
    if {"later", "schedule"} <= kinds:
        habit = any(
            x.has("<clocktime>", "<day_many>")
            or (x.has("<schedule_word>") and not (i and items[i - 1].has("<a>")))
            for i, x in enumerate(items)
        )
        kinds.discard("later" if habit else "schedule")
    if "claim" in kinds and all(a.weekday is None and a.at is None for a in asks if a.kind == "schedule"):
        kinds.discard("schedule")  # "put me down for this weekend"
    if "schedule" in kinds and any(x.has("<day_many>") for x in items):
        kinds.discard("pause")  # "stop the Sunday reminders, do Tuesdays"
    if any(x.has("<clocktime>") for x in items) and all(a.on is None for a in asks if a.kind == "pause"):
        kinds.discard("pause")  # "don't text me before 8"
    ahead = any(isinstance(x.value, When) and x.value.ahead and x.value.ahead > now.date() for x in items)
    if {"pause", "resume"} <= kinds and (any(x.has("<ends>") for x in items) or not ahead):
        kinds.discard("pause")  # "end the pause"; "gone 2 weeks, back now"
    reminded = any(x.has("<remind>", "<reminder>", "later", "snooze", "busy") for x in items)
    if (
        "later" in kinds
        and not reminded
        and all(a.on in (None, now.date()) for a in asks if a.kind == "later")
    ):
        kinds -= {"later"} if facts or "what_next" in kinds else set()  # "should I flip it or hold off?"
    if {"hand_over", "later"} <= kinds and all(a.on is None for a in asks if a.kind == "later"):
        kinds.discard("later")
    if any(f.record.kind == "not_turned" for f in facts) and not any(
        x.has("<helper>", "<relation>", "<name>", "<unable>", "can", "cant", "quien") for x in items
    ):
        kinds.discard("hand_over")  # "no le he dado vuelta porque me lastimé la cintura"
    away = any(x.has("<remind>", "<reminder>", "pause", "pausa") for x in items)
    if {"hand_over", "pause"} <= kinds and not away and any(x.has("<relation>", "<helper>") for x in items):
        kinds.discard("pause")  # "I'm away till Sunday, can my neighbour turn it"
    if {"hand_over", "share"} <= kinds and any(
        x.has("join", "invite", "share", "add", "include", "sign", "wants", "texts") for x in items
    ):
        kinds.discard("hand_over")  # "can somebody else join"
    if {"claim", "schedule"} <= kinds and not any(
        x.has("<remind>", "<reminder>", "<day_many>") for x in items
    ):
        kinds.discard("schedule")  # "I'll do it Saturday"
    if "stop_adding" in kinds and any(x.has("stop", "quit", "dejar", "parar") for x in items):
        kinds.discard("when_ready")
    told_off = any(x.has("<not>", "<body>") for x in items)
    if {"claim", "hand_over"} <= kinds and not told_off:
        kinds.discard("hand_over")  # "I got it today, tell Dad he can rest"
    if (
        "hand_over" in kinds
        and kinds & {"when_ready", "state", "harvest_amount", "safe_use"}
        and not told_off
    ):
        kinds.discard("hand_over")  # "the twins want to know when it's done"
    if {"my_data", "forget_me"} <= kinds and any(
        x.has("send", "export", "copy", "download", "give") for x in items
    ):
        kinds.discard("forget_me")  # "send a dump of all my data"
    if {"what_next", "hand_over"} <= kinds and any(x.has("<or>") and "ask" in x.scope for x in items):
        kinds.discard("hand_over")  # "do we let them turn it or leave it?"
    next_asked = any(x.has("next") and "ask" in x.scope for x in items)
    if "what_next" in kinds and next_asked and not any(x.has("<cure_word>") for x in items):
        kinds.discard("trouble")  # "it's cold inside, what is the next thing I do?"
    someone = any(x.has("<relation>", "<helper>", "<name>", "number", "person") for x in items)
    stuff_added = any(f.record.kind == "added" for f in facts) and not any(
        x.has("join", "invite", "share", "number", "<reminder>") for x in items
    )
    if "share" in kinds and facts and (stuff_added or not someone):
        kinds.discard("share")  # "raked leaves and put them all in", "added my neighbor's leaves too"
    kinds -= {kind for kind in SOCIAL if kind in kinds and _says_more(items, kind, spans)}
    if any(f.record.kind == "uncovered" for f in facts):
        kinds.discard("undo")  # "quite la tapa"
    if any(x.has("<of_else>") for x in items) and not any(x.has("<pile>", "<pilename>") for x in items):
        kinds.discard("state")  # "a cómo anda el kilo de frijol"
    if {"claim", "what_next"} <= kinds and not any(x.has("?", "<opener>") for x in items):
        kinds.discard("what_next")  # "yo me encargo de la que sigue"
    if "undo" in kinds and any(f.record.kind == "temperature" for f in facts):
        asks.append(Ask("correction"))  # "scratch that, it's 115"
        kinds.add("correction")
    if "correction" in kinds:
        meant = bool(facts) or any(x.has("<meant>") for x in items)
        kinds -= {"undo", "trouble"} if meant else {"correction"} if "undo" in kinds else set()
    if any(f.record.kind == "turned" for f in facts):
        kinds.discard("claim")  # "we turned it, my son and I"
    if {"when_ready", "harvest_amount"} <= kinds:  # "how many more weeks until I have compost"
        in_time = any(x.has(*SPANS_OF_TIME) for x in items)
        kinds.discard("harvest_amount" if in_time else "when_ready")
    spread = any(x.has("<done_compost>", "<veg>") for x in items)
    if {"water_amount", "harvest_amount"} <= kinds and spread:
        kinds.discard("water_amount")  # "is 5 gallons of compost enough"
    if {"when_ready", "safe_use"} <= kinds and any(
        x.has("when", "cuando", "long", "soon", "<season>") for x in items
    ):
        kinds.discard("safe_use")  # "when do I get to use it up?", "ready for my fall greens?"
    troubled = any(problem(f) for f in facts)
    stuff = any(a.kind == "may_add" and a.material not in ("finished_compost", "other") for a in asks)
    if stuff and not any(x.has("<veg>", "safe", "seguro", "segura") for x in items):
        kinds.discard("safe_use")  # "I have sawdust, may I use it?"
    if troubled and "trouble" in kinds:
        balanced = any(x.has("balance", "browns", "greens", "ratio", "mix", "blend") for x in items)
        kinds -= {
            "trouble" if balanced and "mix" in kinds else "mix",
            "how_build",
            "to_staff",
        }  # "the neighbours complain, it stinks, help me"
    if troubled and any(x.has("<cry>") for x in items):
        asks.append(Ask("trouble"))
        kinds.add("trouble")
    for kind, silenced in SILENCES:
        if kind in kinds:
            kinds -= {other for other in silenced if not _asked_apart(items, other, kind, spans)}
    if facts or kinds - SOCIAL - {"yes", "no"}:
        kinds -= SOCIAL | {"yes", "no"}
    if kinds - {"greeting"}:
        kinds.discard("greeting")
    if "thanks" in kinds and not _closes_with_thanks(kinds):
        kinds.discard("thanks")
    return list(dict.fromkeys(ask for ask in asks if ask.kind in kinds))


def _asked_apart(items: list[Item], kind: str, louder: str, spans: dict[str, list[tuple[int, int]]]) -> bool:
    """Whether each has a question of its own: "when will it be ready and can I add leaves"."""
    if (louder, kind) not in APART:
        return False
    clauses = [
        {items[a].segment for a, b in spans.get(name, ()) if items[a].segment == items[b - 1].segment}
        for name in (kind, louder)
    ]
    opened = {x.segment for x in items if x.has("<wh>", "<opener>")}
    return bool((clauses[0] & opened) - clauses[1]) and bool(clauses[1] - clauses[0])


def _says_more(items: list[Item], kind: str, spans: dict[str, list[tuple[int, int]]]) -> bool:
    """Whether a greeting, or what comes before a word of thanks, holds something else."""
    if kind not in spans:
        return False
    first, last = min(a for a, _ in spans[kind]), max(b for _, b in spans[kind])
    rest = [*items[:first], *(items[last:] if kind == "greeting" else [])]
    said = [x for x in rest if x.key[:1].isalnum() and not x.has("<filler>", "<polite>", "<emoji>")]
    return len(said) > SMALL_TALK


def _closes_with_thanks(kinds: set[AskKind]) -> bool:
    return not kinds - SOCIAL - {"yes", "no"}
