"""From the items of a message to what it wants, to signs of danger, and to the end of contact."""

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from bot.language.additions import only_describes
from bot.language.dates import When
from bot.language.items import Item, plain
from bot.language.lexicon import Lexicon
from bot.language.meaning import Ask, Bare, Fact
from bot.language.precedence import problem, settle

FIXED = ("how_often", "tap_water", "shrinks", "weed_seeds", "start_over", "cold_start")
"""What holds of every pile: the answer is the same for all."""
QUESTIONS = {
    "when_ready", "what_next", "state", "mix", "water_amount", "harvest_amount", "safe_use", "trouble", "why",
    "how_measure", "how_turn", "how_build", "who_did", "who_has_tool", "tally", "privacy", "stop_adding",
    "how_ready", "fire_risk", "health", *FIXED,
}  # fmt: skip
OF_NONE = {
    "privacy",
    "how_measure",
    "how_turn",
    "how_build",
    "who_has_tool",
    "how_ready",
    "fire_risk",
    "health",
    *FIXED,
}
OF_A_PILE = (QUESTIONS | {"picture"}) - OF_NONE
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
_CODE = re.compile(r"\s*([^\W\d_]{2,10}[0-9]{1,4})\b", re.IGNORECASE)


def find_asks(items: list[Item], lex: Lexicon, facts: Sequence[Fact], now: datetime, text: str) -> list[Ask]:
    """Every ask of the message; what one ask already says, another does not say again."""
    if text.strip() and not text.strip(" ?¿"):
        return [Ask("help")]
    hits: dict[str, list[tuple[int, int]]] = {}
    for prefix in ("ask.", "more."):
        for kind, span in lex.searches(items, prefix):
            of_weather = "weather" in items[span[0]].scope and kind != "cold_start"
            if kind in QUESTIONS and (not _asked(items, span) or of_weather):
                continue
            if kind == "pause" and "not" in items[span[0]].scope and not items[span[0]].has("<not>"):
                continue  # "don't stop these reminders"
            hits.setdefault(kind, []).append(span)
    told = [x for x in items if not x.has("<filler>", "<polite>", "<end>")]
    if len(told) == 1 and told[0].has("<date>") and not told[0].has("<now>", "hasta") and told[0].value.ahead:
        return [Ask("later", on=told[0].value.ahead)]  # only a day to come
    asks: list[Ask] = [Ask("what_if", topic=topic) for topic, _ in lex.searches(items, "more_if.")][:1]
    if code := _class_code(items, lex, text):
        asks.append(Ask("join", code=code))
    asks += _may_add(items, lex)
    asks += [
        replace(a, pile=_pile_of(items, spans[0])) if a.kind in OF_A_PILE else a
        for kind, spans in hits.items()
        if (a := next(filter(None, (_ask(kind, span, items, facts, now) for span in spans)), None))
        is not None
    ]
    hits["may_add"] = [span for _, span in lex.searches(items, "may_add.")]
    return settle(asks, items, facts, now, hits)


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
    if kind == "undo" and span[0] and items[span[0] - 1].has("le", "les") and items[span[0]].has("<take>"):
        return None  # "le quité la carne"
    if kind in ("later", "stop_adding"):
        return Ask(kind, on=_remind_on(items, today))  # type: ignore[arg-type]
    if kind == "pause" and any(x.has("<weekday>") and x.value.many for x in items):
        return None  # "don't text me on Sundays" is of a day of the week
    if kind == "pause":
        return Ask("pause", on=_until(items, today))
    if kind == "schedule":
        return _schedule_said(items, span)
    if kind == "language":
        wanted = any(x.has("<tongue_en>") and "not" not in x.scope for x in items)
        return Ask("language", language="en" if wanted else "es")
    if kind == "units":
        return Ask("units", units="f" if any(x.has("<degreeword_f>") for x in items) else "c")
    if kind == "can_turn" and "not" in items[span[1] - 1].scope and not items[span[0]].has("ya"):
        return Ask("cannot_turn")  # "my knee is not better"
    if kind == "cure":
        return Ask("trouble")
    if kind == "plants":
        told = _asked(items, span) or all(fact.record.kind == "harvested" for fact in facts)
        return Ask("trouble", topic="plants") if told else None
    if kind == "trouble":
        return Ask("trouble") if any(problem(f) for f in facts) or _asks_cure(items) else None
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
        if not materials:  # "el papel de las piñatas se puede echar?"
            materials = [x for x in sentence if x.has("<material>") and x.segment == items[first].segment]
        found += [Ask("may_add", material=str(x.value), name=x.written) for x in materials]
        grown = any(x.has("<growth>") for x in sentence)
        open_ended = grown or any(x.has("<wh>") for x in items[:last] if x in sentence)
        watery = any(x.has("<water_word>") for x in items[last : last + 2])  # "should I add water"
        if (
            not materials
            and not open_ended
            and not watery
            and any(x.has("<opener>") for x in items[first:last])
        ):
            words = [x.written for x in items[last : last + 4] if x.sentence == items[first].sentence]
            words = [w for w in words if w.isalpha() and plain(w) not in lex.tables["may_add"]["stray"]]
            if words:
                found.append(Ask("may_add", material="other", name=" ".join(words)))
                break
        if materials:
            seen.add(items[first].sentence)
    if not any(a.material != "other" for a in found) and (those := _pointed_at(items, lex)):
        found = those
    unique = {(a.material, a.name and plain(a.name)): a for a in reversed(found)}
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


def _schedule_said(items: list[Item], span: tuple[int, int]) -> Ask | None:
    """The day and time of the sentence that asks for it, where it names as much as the whole message does."""
    here = _schedule([x for x in items if x.sentence == items[span[0]].sentence])
    whole = _schedule(items)
    told = [0 if ask is None else (ask.weekday is not None) + (ask.at is not None) for ask in (here, whole)]
    return here if here is not None and told[0] >= told[1] else whole


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
    if named and all(denied for _, _, denied in named):
        return Ask("not_before")  # "don't text me on Sundays": which day, is asked
    weekday = min(reversed(named), key=lambda day: day[1:], default=(None,))[0]  # the last that is wanted
    noon = (
        time(12)
        if any(x.has("noon") or (isinstance(x.value, When) and x.value.hour == 12) for x in items)
        else None
    )
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


# --- short answers -----------------------------------------------------------------------------------------


def opening_answer(items: Sequence[Item], lex: Lexicon) -> Bare | None:
    """The short answer that a message opens with: "done. 128 now", "not yet but it smells"."""
    end = next((i for i, x in enumerate(items) if x.has("<end>", "<break>", "<but>", "<and>")), 0)
    return bare_answer(items[:end], lex) if end else None


def bare_answer(items: Sequence[Item], lex: Lexicon) -> Bare | None:
    """The short answer that the whole message is, politeness aside."""
    kept = lex.tables["bare_words"]["keep"]
    said = {
        " ".join(plain(x.raw) for x in items),
        " ".join(plain(x.raw) for x in items if not x.has("<polite>") or plain(x.raw) in kept),
        " ".join(plain(x.raw) for x in items if not x.has("<end>", "<break>", "<emoji>")),
    }
    whole = next((lex.bare[words] for words in said if words in lex.bare), None)
    return whole or _twice(items, lex)


def _twice(items: Sequence[Item], lex: Lexicon) -> Bare | None:
    """ "listo, hecho", "para nada, no": two short answers that say the same."""
    comma = next((i for i, x in enumerate(items) if x.key == ","), 0)
    halves = (items[:comma], [x for x in items[comma + 1 :] if not x.has("<end>", "<emoji>")])
    told = {lex.bare.get(" ".join(plain(x.raw) for x in half)) for half in halves}
    return told.pop() if comma and len(told) == 1 else None
