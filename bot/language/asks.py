"""From the items of a message to what it wants, to signs of danger, and to the end of contact."""

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from bot.language.dates import When
from bot.language.deeds import only_describes
from bot.language.facts import PROBLEMS
from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon
from bot.language.meaning import Ask, AskKind, Bare, Fact

QUESTIONS = {
    "when_ready", "what_next", "state", "mix", "water_amount", "harvest_amount", "safe_use", "trouble", "why",
    "how_measure", "how_turn", "how_build", "who_did", "who_has_tool", "tally", "privacy", "stop_adding",
}  # fmt: skip
OF_A_PILE = (QUESTIONS | {"picture"}) - {"privacy", "how_measure", "how_turn", "how_build", "who_has_tool"}
SPANS = {"<days>": 1, "<weeks>": 7, "<months>": 30.4}
WRONG = (
    "<heat.lost>",
    "<heat.cold>",
    "<pests>",
    "<growth>",
    "<smell.bad>",
    "<smell.rotten>",
    "<problem_word>",
    "<nuisance>",
)
SOCIAL = {"thanks", "greeting"}
SMALL_TALK = 3  # words beside a greeting that are still only a greeting
_CODE = re.compile(r"\s*([^\W\d_]{2,10}[0-9]{1,4})\b", re.IGNORECASE)
# the first kind that is there stands for the others
SILENCES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("new_calendar", ("calendar", "what_next", "schedule", "may_add")),
    ("calendar", ("may_add", "what_next", "share", "schedule", "picture", "later")),
    ("move", ("what_next", "how_build", "state", "when_ready", "share", "to_staff")),
    ("to_staff", ("what_next", "state", "may_add", "trouble", "later", "hand_over")),
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
    ("language", ("hand_over", "share", "schedule", "help", "later", "person", "what_next", "trouble")),
    ("to_staff", ("hand_over",)),
    ("when_ready", ("may_add",)),
    ("mix", ("may_add",)),
    ("safe_use", ("may_add",)),
    ("harvest_amount", ("may_add",)),
    ("water_amount", ("harvest_amount", "may_add")),
    ("may_add", ("what_next", "how_build", "trouble", "help", "state", "how_turn", "share")),
    ("water_amount", ("what_next", "trouble", "mix", "how_turn", "state", "when_ready")),
    ("harvest_amount", ("when_ready", "safe_use", "what_next", "mix", "state", "trouble")),
    ("safe_use", ("when_ready", "what_next", "state", "harvest_amount", "trouble")),
    ("mix", ("what_next", "trouble", "state")),
    ("picture", ("my_data",)),
    ("what_if", ("what_next", "trouble", "undo", "stop_adding", "water_amount", "mix")),
    ("who_has_tool", ("who_did", "person", "hand_over", "claim")),
    ("stop_adding", ("what_next",)),
    ("how_measure", ("trouble", "help", "what_next", "state")),
    ("how_turn", ("trouble", "help", "what_next")),
    ("how_build", ("trouble", "help", "what_next")),
    ("why", ("trouble", "help", "what_next")),
    ("hand_over", ("who_did",)),
    ("who_did", ("what_next", "claim", "state")),
    ("who_has_tool", ("what_next",)),
    ("hand_over", ("claim", "share", "no", "decline", "what_next", "schedule")),
    ("when_ready", ("state", "what_next", "trouble")),
    ("trouble", ("what_next", "help", "state", "no")),
    ("what_next", ("help", "state")),
    ("state", ("help",)),
)


def find_asks(items: list[Item], lex: Lexicon, facts: Sequence[Fact], now: datetime, text: str) -> list[Ask]:
    """Every ask of the message; what one ask already says, another does not say again."""
    if text.strip() and not text.strip(" ?¿"):
        return [Ask("help")]
    hits: dict[str, tuple[int, int]] = {}
    for prefix in ("ask.", "more."):
        for kind, span in lex.searches(items, prefix):
            if kind in QUESTIONS and (not _asked(items, span) or "weather" in items[span[0]].scope):
                continue
            hits.setdefault(kind, span)
    told = [x for x in items if not x.has("<filler>", "<polite>", "<end>")]
    if len(told) == 1 and told[0].has("<date>") and not told[0].has("<now>") and told[0].value.ahead:
        return [Ask("later", on=told[0].value.ahead)]  # only a day to come
    asks: list[Ask] = [Ask("what_if", topic=topic) for topic, _ in lex.searches(items, "more_if.")][:1]
    if code := _class_code(items, lex, text):
        asks.append(Ask("join", code=code))
    asks += _may_add(items, lex)
    asks += [
        replace(a, pile=_pile_of(items, span)) if a.kind in OF_A_PILE else a
        for kind, span in hits.items()
        if (a := _ask(kind, span, items, facts, now)) is not None
    ]
    return _settle(asks, items, facts, now, hits)


def _pile_of(items: list[Item], span: tuple[int, int]) -> str | None:
    """The one pile that the sentence of a question names."""
    sentence = items[span[0]].sentence
    named = {str(x.value) for x in items if x.has("<pilename>") and x.sentence == sentence}
    return named.pop() if len(named) == 1 else None


def _asked(items: list[Item], span: tuple[int, int]) -> bool:
    return any("ask" in x.scope for x in items[span[0] : span[1]]) or any(x.has("<cry>") for x in items)


def _ask(
    kind: str, span: tuple[int, int], items: list[Item], facts: Sequence[Fact], now: datetime
) -> Ask | None:
    """The ask with its fields, None where something needed is missing."""
    today = now.date()
    if kind == "claim" and "hypo" in items[span[0]].scope:
        return None  # "if it drops below 110 I'll turn it"
    if kind == "later" and "not" in items[span[0]].scope and items[span[0]].has("<remind>"):
        return None  # "didn't check today"
    if kind in ("later", "stop_adding"):
        return Ask(kind, on=_remind_on(items, today))  # type: ignore[arg-type]
    if kind == "pause":
        return Ask("pause", on=_until(items, today))
    if kind == "schedule":
        return _schedule(items)
    if kind == "language":
        wanted = any(x.has("<tongue_en>") and "not" not in x.scope for x in items)
        return Ask("language", language="en" if wanted else "es")
    if kind == "units":
        return Ask("units", units="f" if any(x.has("<degreeword_f>") for x in items) else "c")
    if kind == "plants":
        told = _asked(items, span) or all(fact.record.kind == "harvested" for fact in facts)
        return Ask("trouble", topic="plants") if told else None
    if kind == "trouble":
        return Ask("trouble") if any(_problem(f) for f in facts) or _asks_cure(items) else None
    if kind == "only_about":
        return Ask(
            "only_about", topic="water" if any(x.has("<water>", "<water_word>") for x in items) else "turn"
        )
    if kind == "not_before":
        return Ask("not_before", at=_clock(items))
    if kind == "who_has_tool":
        tools = [x.key for x in items[span[0] : span[1]] if x.has("<tool>")]
        return Ask("who_has_tool", name=tools[0] if tools else None)
    if kind in ("rename", "hand_over"):
        return Ask(kind, name=_name(items, span, kind))  # type: ignore[arg-type]
    return Ask(kind)  # type: ignore[arg-type]


def _problem(fact: Fact) -> bool:
    record = fact.record
    return record.kind in ("pests", "smoke", "growth") or (record.kind, record.word) in PROBLEMS


def _asks_cure(items: list[Item]) -> bool:
    """Whether a question itself names what is wrong: "why isn't it heating"."""
    return any("ask" in x.scope and x.has(*WRONG) for x in items)


def _class_code(items: list[Item], lex: Lexicon, text: str) -> str | None:
    """ "JOIN plum42", or a message that starts with nothing but a code."""
    for _ in lex.searches(items, "join."):
        found = re.search(r"\b([^\W\d_]{2,10}[0-9]{1,4})\b", text)
        if found:
            return found[1].upper()
    found = _CODE.match(text)
    if not found:
        return None
    word = re.sub(r"[0-9]", "", plain(found[1]))
    alone = found.end() >= len(text.rstrip(" .!")) or any(x.has("<yesword>") for x in items)
    known = lex.unit(word) is not None or any(x.has("<pile>", "<temperature_word>") for x in items)
    return found[1].upper() if alone and not known else None


def _may_add(items: list[Item], lex: Lexicon) -> list[Ask]:
    """Each material that a "may I add" names; one that is not in the data is "other", as written."""
    found: list[Ask] = []
    seen: set[int] = set()
    for _, (first, last) in lex.searches(items, "may_add."):
        sentence = [x for x in items if x.sentence == items[first].sentence]
        if items[first].sentence in seen or not any("ask" in x.scope for x in items[first:last]):
            continue
        materials = [
            x
            for i, x in enumerate(sentence)
            if x.has("<material>")
            and "ask" in x.scope
            and not x.has("<growth>")
            and not only_describes(sentence, i, len(sentence))
            and not (i and sentence[i - 1].has("from"))
        ]
        found += [Ask("may_add", material=str(x.value), name=x.written) for x in materials]
        grown = any(x.has("<growth>") for x in sentence)
        if not materials and not grown and any(x.has("<opener>") for x in items[first:last]):
            words = [x.written for x in items[last : last + 4] if x.sentence == items[first].sentence]
            words = [w for w in words if w.isalpha() and plain(w) not in lex.tables["may_add"]["stray"]]
            if words:
                found.append(Ask("may_add", material="other", name=" ".join(words)))
                break
        if materials:
            seen.add(items[first].sentence)
    if not any(a.material != "other" for a in found) and (those := _pointed_at(items, lex)):
        found = those
    unique = {a.material: a for a in reversed(found)}
    return list(reversed(unique.values()))


def _pointed_at(items: list[Item], lex: Lexicon) -> list[Ask]:
    """ "I have leaves and hay. Can I put them in?": what the sentence before the question named.

    "it" and "that" point at the last of several.
    """
    for _, (first, last) in lex.searches(items, "may_add_that."):
        asked = any("ask" in x.scope for x in items[first:last]) and not any(
            x.has("<veg>", "<material>") for x in items[first : last + 3]
        )
        named = [x for x in items[:first] if x.has("<material>") and x.value != "finished_compost"]
        added = any(x.has("<add.done>") and not x.scope for x in items[:first])
        if asked and named and not added:
            several = any(x.has("<those>") for x in items[first:last])
            those = [x for x in named if x.sentence == named[-1].sentence] if several else named[-1:]
            return [Ask("may_add", material=str(x.value), name=x.written) for x in those]
    return []


def _remind_on(items: list[Item], today: date) -> date | None:
    """The first day after today that is named, else today where "tonight" is."""
    days = [
        x.value.ahead
        for x in items
        if isinstance(x.value, When) and x.value.ahead is not None and "not" not in x.scope
    ]
    named = next((day for day in days if day > today), days[0] if days else None)
    return named or next((d for i in range(len(items)) if (d := _so_long(items, i, today))), None)


def _until(items: list[Item], today: date) -> date | None:
    """The last day ahead that is named; "for two weeks" counts from today."""
    days = [x.value.ahead for x in items if isinstance(x.value, When) and x.value.ahead is not None]
    named = next((day for day in reversed(days) if day > today), None)
    return named or next(
        (d for i, x in enumerate(items) if (d := _so_long(items, i, today)) is not None), None
    )


def _so_long(items: list[Item], at: int, today: date) -> date | None:
    """ "a break, 2 weeks": a bare span of time counts from today."""
    number = items[at].number or (1.0 if items[at].has("a", "one", "another", "un", "una", "otra") else None)
    after = next((x for x in items[at + 1 : at + 3] if not x.has("<size>", "<more_than>")), None)
    days = next((n for label, n in SPANS.items() if after is not None and after.has(label)), None)
    return (
        today + timedelta(days=round(number * days)) if number is not None and days and number < 200 else None
    )


def _clock(items: list[Item], *, wanted: bool = False) -> time | None:
    """The last time of day that is named: "not at 6, 8:30 is better"; `wanted` leaves out the denied ones."""
    named = [x for x in reversed(items) if x.has("<clocktime>") and not (wanted and "not" in x.scope)]
    busy = {x.segment for x in items if x.has("<busy>")}  # "at 8, at 6 I am asleep"
    return min(named, key=lambda x: x.segment in busy).value if named else None


def _schedule(items: list[Item]) -> Ask | None:
    named = [
        (
            x.value.weekday,
            bool(i) and items[i - 1].has("<instead>", "not", "from", "no", "than", "skip", "que"),
            "not" in x.scope,
        )
        for i, x in enumerate(items)
        if x.has("<weekday>")
    ]
    weekday = min(reversed(named), key=lambda day: day[1:], default=(None,))[0]  # the last that is wanted
    noon = time(12) if any(isinstance(x.value, When) and x.value.hour == 12 for x in items) else None
    at = _clock(items, wanted=True) or noon
    names_time = weekday or at or any(x.has("<partday>", "<date>", "<timeword>") for x in items)
    names_time = names_time or any(
        x.has("<day_many>") and y.has("<number>", "other", "<days>", "<weeks>")
        for x, y in itertools.pairwise(items)
    )
    return Ask("schedule", weekday=weekday, at=at) if names_time else None


def _name(items: list[Item], span: tuple[int, int], kind: str) -> str | None:
    if kind == "rename":
        named = [
            x.written
            for x in items[span[1] - 1 :]
            if x.sentence == items[span[0]].sentence and x.key.isalnum()
        ]
        return " ".join(named) or None
    return next((x.written for x in items if x.has("<name>")), None)


def _settle(
    asks: list[Ask],
    items: list[Item],
    facts: Sequence[Fact],
    now: datetime,
    spans: dict[str, tuple[int, int]],
) -> list[Ask]:
    kinds = {ask.kind for ask in asks}
    if {"later", "schedule"} <= kinds:
        habit = any(x.has("<clocktime>", "<day_many>", "<schedule_word>") for x in items)
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
    if (
        "share" in kinds
        and any(f.record.kind == "added" for f in facts)
        and not any(x.has("<relation>", "<helper>", "number", "person") for x in items)
    ):
        kinds.discard("share")  # "raked leaves and put them all in"
    kinds -= {kind for kind in SOCIAL if kind in kinds and _says_more(items, kind, spans)}
    if "undo" in kinds and any(f.record.kind == "temperature" for f in facts):
        asks.append(Ask("correction"))  # "scratch that, it's 115"
        kinds.add("correction")
    if "correction" in kinds:
        meant = bool(facts) or any(x.has("<meant>") for x in items)
        kinds -= {"undo", "trouble"} if meant else {"correction"} if "undo" in kinds else set()
    if any(f.record.kind == "turned" for f in facts):
        kinds.discard("claim")  # "we turned it, my son and I"
    if {"when_ready", "harvest_amount"} <= kinds:  # "how many more weeks until I have compost"
        in_time = any(x.has(*SPANS, "long", "longer", "soon") for x in items)
        kinds.discard("harvest_amount" if in_time else "when_ready")
    problem = any(_problem(f) for f in facts)
    stuff = any(a.kind == "may_add" and a.material not in ("finished_compost", "other") for a in asks)
    if stuff and not any(x.has("<veg>") for x in items):
        kinds.discard("safe_use")  # "I have sawdust, may I use it?"
    if problem and "trouble" in kinds:
        kinds.discard("mix")
    if problem and any(x.has("<cry>") for x in items):
        asks.append(Ask("trouble"))
        kinds.add("trouble")
    for kind, silenced in SILENCES:
        if kind in kinds:
            kinds -= set(silenced)
    if facts or kinds - SOCIAL - {"yes", "no"}:
        kinds -= SOCIAL | {"yes", "no"}
    if kinds - {"greeting"}:
        kinds.discard("greeting")
    if "thanks" in kinds and not _closes_with_thanks(kinds):
        kinds.discard("thanks")
    return list(dict.fromkeys(ask for ask in asks if ask.kind in kinds))


def _says_more(items: list[Item], kind: str, spans: dict[str, tuple[int, int]]) -> bool:
    """Whether a greeting, or what comes before a word of thanks, holds something else."""
    if kind not in spans:
        return False
    first, last = spans[kind]
    rest = [*items[:first], *(items[last:] if kind == "greeting" else [])]
    said = [x for x in rest if x.key[:1].isalnum() and not x.has("<filler>", "<polite>", "<emoji>")]
    return len(said) > SMALL_TALK


def _closes_with_thanks(kinds: set[AskKind]) -> bool:
    return not kinds - SOCIAL - {"yes", "no"}


# --- short answers -----------------------------------------------------------------------------------------


def bare_answer(items: Sequence[Item], lex: Lexicon) -> Bare | None:
    """The short answer that the whole message is, politeness aside."""
    kept = lex.tables["bare_words"]["keep"]
    said = {
        " ".join(plain(x.raw) for x in items),
        " ".join(plain(x.raw) for x in items if not x.has("<polite>") or plain(x.raw) in kept),
        " ".join(plain(x.raw) for x in items if not x.has("<end>", "<break>", "<emoji>")),
    }
    return next((lex.bare[words] for words in said if words in lex.bare), None)
