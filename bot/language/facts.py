"""From the items of a message to its facts: what was done, seen and read, on which day, at which pile."""

import itertools
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from typing import Any, TypeVar

from bot.language.additions import find_added
from bot.language.dates import When
from bot.language.deeds import find_events
from bot.language.finding import EVENTS, UNREAL, Finding
from bot.language.items import Item
from bot.language.lexicon import Lexicon
from bot.language.meaning import Fact, Units
from bot.language.states import find_heights, find_states, find_temperatures
from shared.pile import Record

T = TypeVar("T")
READ = ("temperature", "moisture", "heat_feel", "height")  # of which a correction keeps the last
SAME_AS = {"bad": "rotten", "fresh": "earthy", "lost": "cold"}  # vaguer words, that give way to surer ones


def find_facts(items: list[Item], lex: Lexicon, now: datetime, units: Units) -> list[Fact]:
    """Every fact that the message reports, in the order of its words."""
    for label in ("harmless", "sure", "relative", "beasts"):
        for name, (first, last) in lex.searches(items, f"{label}."):
            for item in items[first:last]:
                item.labels |= {f"<{label}>", f"<{label}.{name}>"}
    found = [*find_events(items, lex), *find_added(items, lex), *find_states(items, lex)]
    found += [*find_temperatures(items, units), *find_heights(items)]
    found = _repeats(items, sorted(found, key=lambda f: f.at))
    _date(items, found, now.date())
    _place(items, found)
    found = _settle(items, _nameless(_once(found)), lex)
    facts = [fact for f in found if f.on is not None for fact in _facts(f, f.on)]
    return list(dict.fromkeys(facts))


def _facts(f: Finding, on: date) -> Iterator[Fact]:
    fields = dict(f.fields)
    buckets = fields.pop("buckets", None)
    record = Record(f.kind, on, hour=f.hour, **fields)
    for pile in (f.pile or "").split("&"):
        yield Fact(record, pile or None, f.doubt, buckets, f.units)


# --- on which day, at which pile ---------------------------------------------------------------------------


def _once(found: list[Finding]) -> list[Finding]:
    """Drop what is said twice of one day and pile."""
    kept: list[Finding] = []
    for f in found:
        twin = next(
            (k for k in kept if (k.kind, k.on, k.pile) == (f.kind, f.on, f.pile) and _same(k, f)), None
        )
        if twin is None:
            kept.append(f)
        elif f.kind in ("watered", "added") and twin.fields.get("litres") is None:
            twin.fields = f.fields
    return kept


def _nameless(found: list[Finding]) -> list[Finding]:
    """ "smoke!! smoke from the back pile": what is seen with a pile's name is not seen again without."""
    named = [f for f in found if f.pile is not None]
    return [
        f
        for f in found
        if f.pile is not None
        or f.kind in (*EVENTS, "added", "temperature")
        or not any((g.kind, g.on, g.fields) == (f.kind, f.on, f.fields) for g in named)
    ]


def _same(a: Finding, b: Finding) -> bool:
    fields_a, fields_b = dict(a.fields), dict(b.fields)
    if a.kind in ("watered", "harvested"):
        return not (b.at - a.at > 8 and fields_a.get("litres") and fields_b.get("litres"))
    if a.kind == "added" and fields_a["material"] == fields_b["material"]:
        return True
    return fields_a == fields_b


def _settle(items: list[Item], found: list[Finding], lex: Lexicon) -> list[Finding]:
    """Of findings that cannot both hold, keep the surer: "sour, gross" is sour; "not hot, warm" is warm."""
    words: dict[tuple[Any, ...], list[Finding]] = {}
    for f in found:
        words.setdefault((f.kind, f.on, f.pile), []).append(f)
    dropped: set[int] = set()
    for (kind, *_), group in words.items():
        if kind == "smell" and len(group) > 1:
            surer = [f for f in group if f.fields.get("word") not in ("bad", "fresh")]
            dropped |= {id(f) for f in group if surer and f.fields.get("word") in ("bad", "fresh")}
            if any(f.fields.get("word") == "earthy" for f in group):  # "no bad smell, earthy"
                dropped |= {id(f) for f in group if f.fields.get("word") == "none"}
        if kind == "heat_feel" and any(
            g.kind == "temperature" and not g.fields["edge"] and g.pile == group[0].pile for g in found
        ):
            dropped |= {id(f) for f in group}
        if kind == "moisture" and any(f.fields.get("word") == "soggy" for f in group):
            dropped |= {id(f) for f in group if f.fields.get("word") == "right"}  # "damp stuff, it drips"
        if kind == "moisture":  # "crispy dry", "soaking wet": one feel, its last word the plain one
            dropped |= {
                id(a)
                for a, b in itertools.pairwise(group)
                if b.at - a.at == 1 or (b.at - a.at == 2 and items[a.at + 1].has("like", "como"))
            }
        if kind == "pests" and len(group) > 1:  # "little animals, ants I think"
            vague = [f for f in group if items[f.at].has("<vague_pest>")]
            dropped |= {id(f) for f in vague if len(vague) < len(group)}
        if kind == "heat_feel" and len(group) > 1:
            surer = [f for f in group if f.fields["word"] != "lost" and "not" not in items[f.at].scope]
            dropped |= {id(f) for f in group if surer and f not in surer}
    spread = {items[f.at].segment for f in found if f.kind == "harvested"}
    for f in found:
        if f.kind == "added" and items[f.at].segment in spread:
            dropped.add(id(f))
        if (
            f.kind == "watered"
            and items[f.at].has("<amount>")
            and any(g.kind == "harvested" and items[g.at].sentence == items[f.at].sentence for g in found)
        ):
            dropped.add(id(f))  # "used it all, 10 gallons"
        same = [g for g in found if g.kind == "texture" and items[g.at].sentence == items[f.at].sentence]
        put = any(x.has("<add.done>") and x.sentence == items[f.at].sentence for x in items[: f.at])
        if f.kind == "added" and not put and _shows(f, same):
            dropped.add(
                id(f)
            )  # "I can still see whole leaves, how they went in", "the grass is stuck in mats"
        laid = items[f.at].has("<cover_thing>") and f.fields.get("material") == "other"
        if f.kind == "added" and laid and any(g.kind == "covered" for g in found):
            dropped.add(id(f))  # "put the plastic over it"
        if f.kind == "smell" and f.fields["word"] == "bad":
            f.doubt = "vague"
        if f.kind == "growth" and _like_ash(items, f, lex):
            f.doubt = "ash"
        if "word" in f.fields:
            f.fields["word"] = SAME_AS.get(f.fields["word"], f.fields["word"])
    return _corrected(items, [f for f in found if id(f) not in dropped], lex)


def _like_ash(items: list[Item], growth: Finding, lex: Lexicon) -> bool:
    """Whether a growth is told by its likeness to ash: only asking tells whether something burns."""
    here = items[growth.at].sentence
    said = {word for x in items if x.sentence == here for word in x.key.split()}
    return not said.isdisjoint(lex.tables["like_ash"]["words"])


def _shows(added: Finding, textures: list[Finding]) -> bool:
    """Whether a material is named only to say what the pile looks like."""
    words = {(g.fields["word"], g.at < added.at) for g in textures}
    return bool(words & {("recognisable", True), ("matted", False), ("clumpy", False)})


def _corrected(items: list[Item], found: list[Finding], lex: Lexicon) -> list[Finding]:
    """A correction inside one message keeps the last value of a kind."""
    read = [f.kind for f in found if f.kind in READ]
    if len(read) == len(set(read)) or not any(True for _ in lex.searches(items, "ask.correction")):
        return found
    kept = []
    for f in found:
        later = [
            g
            for g in found
            if g.kind == f.kind
            and g.pile == f.pile
            and g.on == f.on
            and g.at > f.at
            and g.doubt != "impossible"
        ]
        if f.kind in READ and any(g.fields.get("edge") == f.fields.get("edge") for g in later):
            continue
        kept.append(f)
    return kept


def _repeats(items: list[Item], found: list[Finding]) -> list[Finding]:
    """ "turned it on march 28 and again on april 4" is two turnings."""
    more = []
    for i, item in enumerate(items):
        if not item.has("<date>") or item.scope & UNREAL:
            continue
        alone = not any(items[f.at].segment == item.segment for f in found)
        alone = alone or (i > 1 and items[i - 1].has("or") and items[i - 2].has("<date>"))
        alone = alone or (
            i > 1 and items[i - 1].key == "ni" and items[i - 2].has("<date>")
        )  # "ni ayer ni hoy"
        listed = i > 1 and items[i - 1].key == "," and items[i - 2].has("<date>")  # "Mon, Wed and Fri"
        last = next((f for f in reversed(found) if f.at < i and items[f.at].sentence == item.sentence), None)
        links = (
            "<and>",
            "<again>",
            "<amount>",
            "more",
            *(("or", "ni") if last and last.kind == "not_turned" else ()),
        )
        joined = i and any(x.has(*links) for x in items[max(0, i - 3) : i])
        after = items[i + 1 : i + 3]
        if alone and last and last.kind == "not_turned" and any(x.has("<yesword>", "did") for x in after):
            more.append(replace(last, kind="turned", at=i))  # "no la volteé el domingo pero hoy sí"
            continue
        dated = last is not None and any(x.has("<date>") and x.sentence == item.sentence for x in items[:i])
        denied = any(x.has("<not>") and x.segment == item.segment for x in items)
        if denied and last is not None and last.kind not in EVENTS:
            continue  # "145 ayer y hoy no la he medido"
        if any(x.has("<remind>") and x.segment == item.segment for x in items):
            continue  # "120 today, remind me again on Saturday"
        several = len({f.at for f in found if f.kind == "temperature"}) > 1
        if several and last is not None and last.kind == "temperature":
            continue  # "135, 141: that's Monday and today"
        follows = items[i + 1 : i + 3]
        if (
            alone
            and last is None
            and len(follows) == 2
            and follows[0].has("<and>")
            and follows[1].has("<date>")
        ):
            more += [replace(f, at=i) for f in found if items[f.at].segment == follows[1].segment]
            continue  # "el sábado y el domingo la regué"
        if alone and (joined or listed) and last is not None and dated:
            more.append(replace(last, at=i, fields=dict(last.fields) | _another_amount(items, i, last)))
    return sorted(found + more, key=lambda f: f.at)


def _another_amount(items: list[Item], at: int, last: Finding) -> dict[str, Any]:
    """ "3 gallons Monday, 2 more yesterday", "3 galones ayer y 2 hoy": each day has its own amount."""
    here = [x for x in items if x.segment == items[at].segment]
    told = next((x.value for x in here if x.has("<amount>")), None)
    if told is None and (count := next((x.number for x in here if x.has("<number>")), None)):
        before = next((x.value for x in reversed(items[:at]) if x.has("<amount>")), None)
        told = before.of(count) if before is not None and before.count else None
    return {"litres": told.litres} if told is not None and "litres" in last.fields else {}


def _date(items: list[Item], found: list[Finding], today: date) -> None:
    """Give each finding its day; one that can only lie ahead keeps None and is no fact."""
    dates = [
        (i, x.value)
        for i, x in enumerate(items)
        if isinstance(x.value, When)
        and x.has("<date>")
        and not x.value.span
        and not (i and items[i - 1].has("<compare>"))  # "hotter than yesterday"
        and not (
            i and x.has("<of_day>") and items[i - 1].has("<material>", "<dated_thing>")
        )  # "lluvia de ayer"
    ]
    hours = [
        (i, item.value.hour)
        for i, item in enumerate(items)
        if isinstance(item.value, When) and item.value.hour
    ]
    paired = _paired(found, dates)
    for f in found:
        here = items[f.at]
        when = paired.get(f.at) or _when(items, found, f, dates)
        f.on = today if when is None or (when.past is None and f.tense == "past") else when.past
        f.hour = next((h for i, h in hours if items[i].segment == here.segment), None)


def _paired(found: list[Finding], dates: list[tuple[int, When]]) -> dict[int, When]:
    """ "135, 141, 138: that's Monday, Wednesday and today": as many days in a row as readings in a row."""
    readings = [f.at for f in found if f.kind == "temperature"]
    days = [at for at, _ in dates]
    apart = bool(readings and days) and (readings[-1] < days[0] or days[-1] < readings[0])
    if len(readings) != len(days) or len(days) < 2 or not apart:
        return {}
    return {reading: when for reading, (_, when) in zip(readings, dates, strict=True)}


def _when(items: list[Item], found: list[Finding], f: Finding, dates: list[tuple[int, When]]) -> When | None:
    here = items[f.at]
    if here.has("<date>"):
        day: When = here.value
        return day
    own = [(i, w) for i, w in dates if items[i].has("<of_day>") and items[i - 1].has("<temperature>")]
    if own and any(f.at == i - 1 for i, _ in own):
        return next(w for i, w in own if f.at == i - 1)
    dates = [entry for entry in dates if entry not in own]  # "bajó a 98 desde 131 del martes"
    same = [(i, w) for i, w in dates if items[i].segment == here.segment]
    if same:
        return _nearest(same, f.at, min(g.at for g in found if items[g.at].segment == here.segment))
    before = [(i, w) for i, w in dates if i < f.at and items[i].sentence == here.sentence]
    if before:
        at, when = before[-1]
        if f.tense == "present" and not _topic(items, at):
            return None
        return when if when.past is not None else None
    after = [(i, w) for i, w in dates if i > f.at and items[i].sentence == here.sentence]
    if after and f.tense == "past" and _trails(items, found, f, after[0][0]):
        return after[0][1]
    if (
        after
        and f.tense == "past"
        and all(g.at <= f.at or g.at > after[0][0] for g in found)
        and not any(_tells(items, i) for i in range(f.at + 1, after[0][0]))
    ):
        return after[0][1]
    told_next = _told_next(items, found, f, dates)
    if told_next is not None:
        return told_next
    earlier = [
        (i, w) for i, w in dates if i < f.at and not items[i].raw.startswith(("by ", "until ", "till "))
    ]
    if earlier:
        at, when = earlier[-1]
        topic = not any(items[g.at].sentence == items[at].sentence for g in found) or _label(items, at)
        past_state = f.tense == "past" and f.kind not in EVENTS and f.kind != "added"
        carried = items[at].sentence >= here.sentence - 2 and (f.kind in EVENTS or f.kind == "added")
        if when.past is not None and f.tense != "present" and (topic or past_state or carried):
            return when
    return None


def _tells(items: list[Item], at: int) -> bool:
    """Whether a clause of its own begins; "water, 9 gal, applied yesterday" is one."""
    done = any(label.endswith(".done>") for label in items[at].labels) and items[at - 1].has("<break>")
    return items[at].has("<verb>", "<is>", "<was>", "<but>") and not done


def _told_next(
    items: list[Item], found: list[Finding], f: Finding, dates: list[tuple[int, When]]
) -> When | None:
    """ "my wife added milk. yesterday that was": a sentence that tells nothing else dates the one before."""
    following = items[f.at].sentence + 1
    if any(x.sentence == following and x.has("<remind>", "<reminder>", "<will>") for x in items):
        return None  # "turned it, 137. Remind me Sunday"
    others = [g.kind for g in found if items[g.at].sentence == following]
    of_build = f.kind == "added" and set(others) == {"built"}  # "straw, leaves, manure. Built it Wednesday"
    if f.tense == "present" or (others and not of_build):
        return None
    return next(
        (w for i, w in dates if items[i].sentence == following and w.past is not None and not items[i].scope),
        None,
    )


def _nearest(entries: list[tuple[int, T]], at: int, first: int) -> T:
    """What stands nearest; in a row of pairs on the side where the first pair has it: "Mon 130 Tue 138"."""
    heads = entries[0][0] < first
    sided = [entry for entry in entries if (entry[0] < at) == heads]
    return min(sided or entries, key=lambda entry: abs(entry[0] - at))[1]


def _topic(items: list[Item], at: int) -> bool:
    return _label(items, at)


def _label(items: list[Item], at: int) -> bool:
    """ "Dec 30: turned it", "yesterday's reading: 55": it heads all that follows."""
    return at + 1 < len(items) and items[at + 1].key in (":", "-", "s")


def _trails(items: list[Item], found: list[Finding], f: Finding, at: int) -> bool:
    """ "turned it and watered it yesterday": one day for both, if all between was done as well."""
    between = [g for g in found if f.at < g.at < at]
    if not between or any(g.tense != "past" for g in between):
        return False
    joins = [x for x in items[f.at : at] if x.has("<break>", "<but>", "<and>")]
    return all(x.has("<and>", ",") for x in joins) and between[-1].at < at


def _place(items: list[Item], found: list[Finding]) -> None:
    """Give each finding the pile of its clause, else the last one named, else the only one named."""
    named = [(i, str(item.value)) for i, item in enumerate(items) if item.has("<pilename>")]
    named = [(i, name) for i, name in named if not items[i].scope & {"hypo"}]
    meant = [(i, name) for i, name in named if not (i and items[i - 1].has("not", "no"))]
    named = meant or named  # "pile 1, not pile 2"
    names = {name for _, name in named}
    for f in found:
        here = items[f.at]
        same = [(i, n) for i, n in named if items[i].segment == here.segment]
        before = [(i, n) for i, n in named if i < f.at]
        after = [(i, n) for i, n in named if i > f.at and items[i].sentence == here.sentence]
        if same:
            f.pile = _nearest(same, f.at, min(g.at for g in found if items[g.at].segment == here.segment))
        elif before:
            f.pile = before[-1][1]
        elif after and len(names) == 1:
            f.pile = after[0][1]
        elif len(names) == 1 and not _has_facts(items, found, named[-1][0]):
            f.pile = named[-1][1]
        both = not same and any(x.has("<both>") and x.segment == here.segment for x in items)
        if len(names) == 2 and (both or any(x.has("<both>") for x in items[f.at + 1 : f.at + 3])):
            f.pile = "&".join(sorted(names))
    _join_piles(items, found, named)


def _has_facts(items: list[Item], found: list[Finding], at: int) -> bool:
    """ "3 gal leaves. all in the front pile": a sentence of only a pile's name speaks of what came before."""
    return any(items[f.at].sentence == items[at].sentence for f in found)


def _join_piles(items: list[Item], found: list[Finding], named: list[tuple[int, str]]) -> None:
    """ "turned pile 1, 2 and 3": names in a row share what stands beside any of them."""
    runs: list[list[tuple[int, str]]] = []
    for at, name in named:
        last = runs[-1][-1][0] if runs else None
        if last is not None and all(x.has("<and>", ",", "<article>") for x in items[last + 1 : at]):
            runs[-1].append((at, name))
        else:
            runs.append([(at, name)])
    for run in runs:
        (first, _), (last, _), names = run[0], run[-1], [name for _, name in run]
        told = items[last + 1 : last + 2]
        if len(run) < 2 or any(x.has("<is>", "<was>", "<verb>", "<now>") for x in told):
            continue
        for f in found:
            if f.pile in names and items[f.at].sentence == items[first].sentence:
                f.pile = "&".join(names)
