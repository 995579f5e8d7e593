"""From the items of a message to its facts: what was seen, done and read, on which day, at which pile."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from bot.language import quantities
from bot.language.clauses import sentences
from bot.language.dates import When
from bot.language.lexicon import Item, Lexicon
from bot.language.meaning import Fact, Units
from bot.language.quantities import Amount, Degrees
from shared.pile import Kind, Record

EVENTS: tuple[Kind, ...] = ("turned", "not_turned", "watered", "covered", "uncovered", "built", "harvested")
UNREAL = {"plan", "hypo", "ask"}
KINDS: dict[str, Kind] = {"moisture": "moisture", "texture": "texture", "heat": "heat_feel", "smell": "smell"}
SAME_AS = {"bad": "rotten", "fresh": "earthy", "lost": "cold"}  # vaguer words, that give way to surer ones
PROBLEMS = {
    ("smell", "ammonia"), ("smell", "rotten"), ("smell", "sour"), ("heat_feel", "cold"), ("moisture", "soggy"),
    ("moisture", "dry"), ("moisture", "bit_dry"), ("moisture", "bit_wet"), ("texture", "matted"),
    ("texture", "clumpy"), ("texture", "recognisable"),
}  # fmt: skip


@dataclass(slots=True)
class Finding:
    """A fact at its place in the message, before day and pile are known. tense: "past", "present" or ""."""

    kind: Kind
    at: int
    tense: str = ""
    fields: dict[str, Any] = field(default_factory=dict)
    doubt: quantities.Doubt | None = None
    on: date | None = None
    hour: float | None = None
    pile: str | None = None


def find_facts(items: list[Item], lex: Lexicon, now: datetime, units: Units) -> list[Fact]:
    """Every fact that the message reports, in the order of its words."""
    for _, (first, last) in lex.searches(items, "harmless."):
        for item in items[first:last]:
            item.labels.add("<harmless>")
    found = [*_events(items, lex), *_added(items, lex), *_states(items, lex), *_temperatures(items, units)]
    found += _heights(items)
    found = _repeats(items, sorted(found, key=lambda f: f.at))
    _date(items, found, now.date())
    _place(items, found)
    found = _settle(items, _once(found), lex)
    facts = [fact for f in found if f.on is not None for fact in _facts(f, f.on)]
    return list(dict.fromkeys(facts))


def _facts(f: Finding, on: date) -> Iterator[Fact]:
    record = Record(f.kind, on, hour=f.hour, **f.fields)
    for pile in (f.pile or "").split("&"):
        yield Fact(record, pile or None, f.doubt)


# --- what was done -------------------------------------------------------------------------------------------


def _events(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    for name, (first, last) in lex.searches(items, "fact."):
        if name not in EVENTS:
            continue
        kind: Kind = name
        scope = set().union(*(x.scope for x in items[first:last] if x.segment == items[first].segment))
        if scope & UNREAL and not (kind == "not_turned" and not scope & {"ask", "hypo"}):
            continue
        if "not" in scope and kind != "not_turned":
            continue
        if kind == "not_turned" and any(x.has("<unable>") for x in items[max(0, first - 1) : last]):
            continue
        yield Finding(kind, first, "past", _amount_of(items, first, kind))


def _amount_of(items: list[Item], at: int, kind: Kind) -> dict[str, Any]:
    """What an event carries: litres given (none of it added material) or taken out."""
    if kind not in ("watered", "harvested"):
        return {}
    nearby = [
        i
        for i, item in enumerate(items)
        if item.has("<amount>") and (item.segment == items[at].segment or _in_brackets(items, i, at))
    ]
    if kind == "harvested":
        nearby = [i for i, x in enumerate(items) if x.sentence == items[at].sentence and x.has("<amount>") and i > at - 4]
    litres = next((items[i].value.litres for i in nearby if items[i].value.litres is not None), None)
    return {"litres": litres}


def _in_brackets(items: list[Item], at: int, event: int) -> bool:
    """ "watered (4 gal)"."""
    return at > 0 and items[at - 1].key == "(" and 0 < at - event <= 4


def _added(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    """Materials and water after a verb of adding, up to the next verb; "just leaves" after "no meat" as well."""
    put_in = {first: last for _, (first, last) in lex.searches(items, "fact.put_in")}
    before_active = False
    for start, end in sentences(items):
        active = before_active and _goes_on(items, start, end)
        active = active or _bare_list(items, start, end, listed=before_active)
        began = start
        denied = False
        waiting: list[int] = []  # materials named before "put it in"
        for i in range(start, end):
            item = items[i]
            verb = item.has("<add.done>", "<build.done>") or (item.has("<give.done>") and not _received(items, i))
            if item.has("<but>", "<only>") and (denied or _denied_before(items, start, i)):
                active, denied = True, False
            if i in put_in and not item.scope & UNREAL and "not" not in item.scope:
                yield from (Finding("added", m, "past", _added_fields(items, m, end)) for m in waiting)
                waiting = []
                active = True
                named = range(i, min(put_in[i], end))
                yield from (Finding("added", m, "past", _added_fields(items, m, end)) for m in named if items[m].has("<material>"))
            keeps = item.has("<add.ing>") and i > 0 and items[i - 1].has("<keep>") or _just_done(items, i)
            if verb or keeps or (item.has("<add>") and item.scope & (UNREAL | {"not"})):
                done = (verb or keeps) and not item.scope & UNREAL
                denied = "not" in item.scope and not item.scope & UNREAL
                if active and not verb and item.has("<use>"):
                    continue
                active, began = done and not denied, i
                given = next((x for x in items[max(start, i - 4) : i] if x.has("<amount>")), None)
                if active and item.has("<give.done>") and given is not None and given.value.litres and not waiting:
                    yield Finding("watered", i, "past", {"litres": given.value.litres})
                if active and not item.has("<build.done>") and _puts_it(items, i, end):
                    yield from (Finding("added", m, "past", _added_fields(items, m, end)) for m in waiting)
                    waiting = []
            elif item.has("<verb>") and not item.has("<is>", "<material>", "<moisture>", "<water_word>") and active:
                if not (item.has("<see>", "<harvest.done>", "<take>", "<use>", "<heat>") and not item.has("<sub>")):
                    active = False
                elif items[i].has("<is>", "<have>"):
                    active = False
            if item.has("<material>") and not _only_describes(items, i, end):
                if active and "not" not in item.scope and not item.scope & UNREAL and not _is_subject(items, i, end):
                    yield Finding("added", i, "past", _added_fields(items, i, end))
                elif not item.scope:
                    waiting.append(i)
            if active and item.has("<water_word>") and "not" not in item.scope and not item.scope & UNREAL:
                yield Finding("watered", i, "past", {"litres": _litres_before(items, i, began)})
            elif active and _bare_litres(items, i, start, end) and not item.scope:
                yield Finding("watered", i, "past", {"litres": item.value.litres})
        before_active = active


def _just_done(items: list[Item], at: int) -> bool:
    """ "acabo de echarle agua": an infinitive that was done."""
    return at > 1 and items[at].has("<add.base>") and items[at - 1].has("de") and items[at - 2].has("<just_done>")


def _denied_before(items: list[Item], start: int, at: int) -> bool:
    """ "no meat, just lettuce": a material was denied earlier in the sentence."""
    return any(x.has("<material>") and "not" in x.scope for x in items[start:at]) and not _has_verb(items[start:at])


def _goes_on(items: list[Item], start: int, end: int) -> bool:
    """A sentence without a verb of its own carries on what the last one did."""
    sentence = items[start:end]
    return any(x.has("<also>", "<only>", "<amount>") for x in sentence[:2]) and not _has_verb(sentence)


def _bare_list(items: list[Item], start: int, end: int, *, listed: bool) -> bool:
    """ "2 buckets of leaves and a bag of grass" stands for what was put in; after "we built it" amounts may lack."""
    acts = next((i for i in range(start, end) if _has_verb(items[i : i + 1])), end)
    while acts < end and acts > start and items[acts - 1].segment == items[acts].segment:
        acts -= 1
    sentence = items[start:acts]
    if any(x.scope & (UNREAL | {"not"}) for x in sentence):
        return False
    materials = [x for x in sentence if x.has("<material>", "<water_word>")]
    amounts = [x for x in sentence if x.has("<amount>")]
    known = sum(
        x.has("<material>", "<amount>", "<and>", "<break>", "<end>", "<a>", "<filler>", "<date>", "<link_of>", "<size>", "<water_word>",
              "of", "de", "+", "<also>", "<only>", "in", "<pile>", "<pilename>", "the", "la", "el", "<moisture>")
        for x in sentence
    )  # fmt: skip
    return bool(materials and (amounts or listed)) and known >= (0.6 if amounts else 0.8) * len(sentence)


def _has_verb(sentence: Sequence[Item]) -> bool:
    nouns = ("<material>", "<amount>", "<moisture>", "<water_word>", "<pile>")
    return any(
        x.has("<verb>", "<is>", "<was>") and not x.has(*nouns) and not any(n.endswith(".part>") for n in x.labels)
        for x in sentence
    )


def _received(items: list[Item], at: int) -> bool:
    """ "gave me", "me dio": it was given to a person."""
    after = items[at + 1] if at + 1 < len(items) else None
    before = items[at - 1] if at else None
    return (after is not None and after.has("me", "us", "him", "her", "them")) or (
        before is not None and before.has("me", "nos", "gave_me")
    )


def _puts_it(items: list[Item], at: int, end: int) -> bool:
    following = items[at + 1 : min(at + 3, end)]
    return bool(following) and following[0].has("it", "them", "that", "those", "all") or (
        items[at - 1].has("lo", "la", "los", "las") if at else False
    )


def _only_describes(items: list[Item], at: int, end: int) -> bool:
    """ "leftover meatloaf": the vaguer word says nothing of its own."""
    after = items[at + 1] if at + 1 < end else None
    return items[at].value == "kitchen_scraps" and after is not None and after.has("<material>", "<water_word>")


def _is_subject(items: list[Item], at: int, end: int) -> bool:
    """ "added water, the leaves were dry": the leaves are talked about, not added."""
    after = items[at + 1] if at + 1 < end else None
    return after is not None and after.has("<is>", "<was>") and not after.has("has", "have", "had")


def _added_fields(items: list[Item], at: int, end: int) -> dict[str, Any]:
    return {"material": items[at].value, "litres": _litres_of(items, at, end)}


def _litres_of(items: list[Item], at: int, end: int) -> float | None:
    for i in range(at - 1, max(at - 7, -1), -1):
        if items[i].has("<amount>"):
            return _litres(items[i])
        if items[i].has("<material>", "<water_word>", "<end>", "<break>", "<verb>", "<and>"):
            break
    for i in range(at + 1, min(at + 10, end)):
        if items[i].has("<amount>"):
            later = next((x for x in items[i + 1 : min(i + 5, end)] if not x.has("of", "de", "<size>", "the")), None)
            return None if later is not None and later.has("<material>", "<water_word>") else _litres(items[i])
        if items[i].has("<material>", "<water_word>", "<add.done>", "<and>", "<turn.done>", "<water.done>", "<give.done>"):
            break
    return None


def _litres(item: Item) -> float | None:
    amount: Amount = item.value
    return amount.litres


def _litres_before(items: list[Item], at: int, began: int) -> float | None:
    """The amount that goes with water: before it, else shortly after."""
    for span in (range(at - 1, began - 1, -1), range(at + 1, min(at + 6, len(items)))):
        for i in span:
            if items[i].has("<amount>"):
                return _litres(items[i])
            if items[i].has("<material>", "<end>"):
                break
    return None


def _bare_litres(items: list[Item], at: int, start: int, end: int) -> bool:
    """ "added like 4 gal": litres of nothing named are water."""
    item = items[at]
    if not item.has("<amount>") or item.value.litres is None or item.value.litres > 200:
        return False
    rest = [x for x in items[at + 1 : end] if x.segment == item.segment]
    named = any(x.has("<material>", "<water_word>", "of", "de") for x in rest[:5])
    return not named and not any(x.has("<material>", "<water_word>") for x in items[start:at])


# --- what was seen -------------------------------------------------------------------------------------------


def _states(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    for name, (first, last) in lex.searches(items, "state."):
        scope = set().union(*(x.scope for x in items[first:last]))
        denied = "not" in items[first].scope and not items[first].has("<not>")
        if not (scope & UNREAL or denied or items[first].has("<harmless>")):
            concept, word = name.split(".")
            yield Finding(KINDS[concept], first, _tense(items, first), {"word": word})
    for i, item in enumerate(items):
        if item.scope & UNREAL or item.has("<harmless>") or not item.has("<concept>"):
            continue
        tense = _tense(items, i)
        denied = "not" in item.scope
        for label in item.labels:
            if not label.startswith("<") or "." not in label:
                continue
            concept, value = label[1:-1].split(".")
            found = _state(items, i, concept, value, denied, lex)
            if found is not None:
                kind, seen = found
                fields = {} if seen is None else {"word": seen}
                yield Finding(kind, i, tense, fields)


def _state(
    items: list[Item], at: int, concept: str, value: str, denied: bool, lex: Lexicon
) -> tuple[Kind, str | None] | None:
    item = items[at]
    if concept == "moisture":
        word = _moisture(items, at, value)
        return None if denied or word is None else ("moisture", word)
    if concept == "smell":
        return _smell(items, at, value, denied)
    if concept == "pests" and not denied:
        named = _is_name(items, at) or (at and items[at - 1].has("<material>") and item.has("bugs"))
        return None if named else ("pests", value)
    if concept == "growth" and not denied:
        spoiled = _near(items, at, "<add.done>", back=4) and _near(items, at, "<material>", back=0, ahead=3)
        return None if spoiled or (item.has("<material>") and not _sees(items, at)) else ("growth", None)
    if concept == "texture" and not denied:
        return "texture", value
    if concept == "heat":
        return _heat(items, at, value, denied)
    if concept == "smoke" and not denied:
        return "smoke", None
    return None


def _near(items: list[Item], at: int, *labels: str, back: int = 4, ahead: int = 0) -> bool:
    span = [*items[max(0, at - back) : at], *items[at + 1 : at + 1 + ahead]]
    return any(x.has(*labels) for x in span if x.sentence == items[at].sentence)


def _degree(items: list[Item], at: int) -> str:
    """ "little", "very" or "": the word of degree right before."""
    grade = ""
    for i in range(at - 1, max(at - 4, -1), -1):
        if items[i].has("<degree.little>"):
            return "little"
        if items[i].has("<degree.very>"):
            grade = "very"
        elif not items[i].has("<more_than>", "of", "on", "the", "side"):
            break
    after = items[at + 1] if at + 1 < len(items) else None
    if not grade and after is not None and after.has("<degree_after>", "<degree.little>"):
        return "little"
    return grade


def _moisture(items: list[Item], at: int, value: str) -> str | None:
    item, after = items[at], items[at + 1] if at + 1 < len(items) else None
    if after is not None and after.has("<texture.matted>"):
        return None
    if after is not None and after.has("<material>") and not item.has("<firm>"):
        return None
    if at and items[at - 1].has("<material>") and not _near(items, at, "<is>", "<was>", back=2):
        if _near(items, at, "<add.done>", "<give.done>", "<build.done>", back=8) or item.has("<adjective_only>"):
            return None
    if item.has("<material>") and item.has("<moisture>"):
        return None
    if item.has("<water.done>") and after is not None and not after.has("<end>", "<break>", "<and>", "<but>"):
        if not _near(items, at, "<is>", "<was>", back=3):
            return None  # "soaked it"
    degree = _degree(items, at)
    if value == "dry":
        return "bit_dry" if degree == "little" else "dry"
    if value in ("wet", "soggy"):
        return "bit_wet" if degree == "little" else "soggy"
    if value == "right" and degree == "very" and any(x.has("too", "demasiado", "demasiada") for x in items[max(0, at - 2) : at]):
        return "bit_wet"
    return value


def _smell(items: list[Item], at: int, value: str, denied: bool) -> tuple[Kind, str] | None:
    item = items[at]
    if value == "none":
        return "smell", "none"
    if item.has("<material>", "<pests>") and not _near(items, at, "<smelling>", back=5, ahead=2):
        return None
    if item.has("<needs_nose>") and not _near(items, at, "<smelling>", "<smell>", back=6, ahead=2):
        return None
    return None if denied else ("smell", value)


def _sees(items: list[Item], at: int) -> bool:
    return _near(items, at, "like", "looks", "como", "parece", "<see>", "<is>", back=5)


def _is_name(items: list[Item], at: int) -> bool:
    """ "like a bear", "dog days": the animal is only a figure of speech."""
    return _near(items, at, "like", back=2) and not _near(items, at, "looks", "seems", back=4)


def _heat(items: list[Item], at: int, value: str, denied: bool) -> tuple[Kind, str] | None:
    item, after = items[at], items[at + 1] if at + 1 < len(items) else None
    if "weather" in item.scope or item.has("<material>"):
        return None
    if after is not None and after.has("<material>", "<water_word>", "<not_pile>"):
        return None
    if denied and _near(items, at, "nor", "neither", "ni", back=4, ahead=2):
        return None
    if denied:
        return ("heat_feel", "lost") if value in ("warm", "hot") and item.has("hot", "warm", "caliente", "tibia") else None
    if value == "hot" and _degree(items, at) == "little":
        return "heat_feel", "warm"
    return "heat_feel", value


def _tense(items: list[Item], at: int) -> str:
    """Of the nearest verb before it in its clause, or of the one it holds itself."""
    for i in range(at, -1, -1):
        if items[i].sentence != items[at].sentence or (i < at and items[i].has("<date>") and items[i + 1].has("<break>")):
            break
        if items[i].has("<was>"):
            return "past"
        if items[i].has("<is>") or any(label.endswith((".now>", ".ing>")) for label in items[i].labels):
            return "present"
    return ""


# --- what was measured ---------------------------------------------------------------------------------------


def _temperatures(items: list[Item], units: Units) -> Iterator[Finding]:
    readings = []
    for i, item in enumerate(items):
        if not item.has("<temperature>") or item.scope & UNREAL or "weather" in item.scope:
            continue
        if item.has("<denied>", "<past_reading>") or _is_change(items, i):
            continue
        reading: Degrees = item.value
        edge = _at_edge(items, i)
        doubt = quantities.doubt_of(reading, units, edge)
        fields = {"core_c": reading.celsius, "edge": edge}
        readings.append(Finding("temperature", i, _tense(items, i), fields, doubt))
    yield from readings


def _is_change(items: list[Item], at: int) -> bool:
    """ "dropped 20 degrees": by how much, not how hot."""
    return at > 0 and items[at - 1].has("<shift>") and items[at].number is not None and items[at].number <= 60


def _at_edge(items: list[Item], at: int) -> bool:
    """Whether the words around a reading place it near the surface: "31 edge", "95 on the outside"."""
    for i in [*range(at + 1, min(at + 5, len(items)))]:
        if items[i].has("<edge>"):
            return not items[i].has("top") or not _near(items, i, "over", "it", back=1)
        if items[i].has("<core>", "<temperature>", "<number>", "<end>", "<break>", "<and>", "<but>"):
            break
    for i in range(at - 1, max(at - 4, -1), -1):
        if items[i].has("<edge>"):
            return True
        if items[i].has("<core>", "<temperature>", "<number>", "<end>", "<break>", "<and>", "<but>", "<verb>"):
            break
    return False


def _heights(items: list[Item]) -> Iterator[Finding]:
    for i, item in enumerate(items):
        if not item.has("<length>") or item.scope & (UNREAL | {"not"}):
            continue
        tall = _near(items, i, "<tall>", back=4, ahead=3)
        sunk = _near(items, i, "<shrunk>", back=5) and not _near(items, i, "<across>", back=2, ahead=2)
        alone = all(x is item or x.has("<end>", "<filler>", "<more_than>") for x in items)
        if (tall or sunk or alone) and 0.05 <= item.value <= 5 and not item.has("<size_of_box>"):
            yield Finding("height", i, _tense(items, i), {"height_m": item.value})


# --- on which day, at which pile ---------------------------------------------------------------------------


def _once(found: list[Finding]) -> list[Finding]:
    """Drop what is said twice of one day and pile."""
    kept: list[Finding] = []
    for f in found:
        twin = next((k for k in kept if (k.kind, k.on, k.pile) == (f.kind, f.on, f.pile) and _same(k, f)), None)
        if twin is None:
            kept.append(f)
        elif f.kind == "watered" and twin.fields.get("litres") is None:
            twin.fields = f.fields
    return kept


def _same(a: Finding, b: Finding) -> bool:
    fields_a, fields_b = dict(a.fields), dict(b.fields)
    if a.kind in ("watered", "harvested"):
        return not (b.at - a.at > 8 and fields_a.get("litres") and fields_b.get("litres"))
    if a.kind == "added" and fields_a["material"] == fields_b["material"]:
        return True
    return fields_a == fields_b


def _settle(items: list[Item], found: list[Finding], lex: Lexicon) -> list[Finding]:
    """Of findings that cannot both hold, keep the surer: "sour, gross" is sour; "not hot, just warm" is warm."""
    words: dict[tuple[Any, ...], list[Finding]] = {}
    for f in found:
        words.setdefault((f.kind, f.on, f.pile), []).append(f)
    dropped: set[int] = set()
    for (kind, *_), group in words.items():
        if kind == "smell" and len(group) > 1:
            surer = [f for f in group if f.fields.get("word") not in ("bad", "fresh")]
            dropped |= {id(f) for f in group if surer and f.fields.get("word") in ("bad", "fresh")}
        if kind == "heat_feel" and any(g.kind == "temperature" and not g.fields["edge"] and g.pile == group[0].pile for g in found):
            dropped |= {id(f) for f in group}
        if kind == "heat_feel" and len(group) > 1:
            surer = [f for f in group if f.fields["word"] != "lost" and "not" not in items[f.at].scope]
            dropped |= {id(f) for f in group if surer and f not in surer}
    spread = {items[f.at].segment for f in found if f.kind == "harvested"}
    for f in found:
        if f.kind == "added" and f.fields["material"] == "finished_compost" and items[f.at].segment in spread:
            dropped.add(id(f))
        if "word" in f.fields:
            f.fields["word"] = SAME_AS.get(f.fields["word"], f.fields["word"])
    return _corrected(items, [f for f in found if id(f) not in dropped], lex)


def _corrected(items: list[Item], found: list[Finding], lex: Lexicon) -> list[Finding]:
    """A correction inside one message keeps the last value of a kind."""
    if not any(name == "correction" for name, _ in lex.searches(items, "ask.")):
        return found
    kept = []
    for f in found:
        later = [g for g in found if g.kind == f.kind and g.pile == f.pile and g.on == f.on and g.at > f.at]
        if f.kind in ("temperature", "moisture", "heat_feel", "height") and any(g.fields.get("edge") == f.fields.get("edge") for g in later):
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
        joined = i and any(x.has("<and>", "<again>") for x in items[max(0, i - 3) : i])
        last = next((f for f in reversed(found) if f.at < i and items[f.at].sentence == item.sentence), None)
        dated = last is not None and any(
            x.has("<date>") and x.sentence == item.sentence for x in items[:i]
        )
        if alone and joined and last is not None and dated:
            more.append(replace(last, at=i, fields=dict(last.fields)))
    return sorted(found + more, key=lambda f: f.at)


def _date(items: list[Item], found: list[Finding], today: date) -> None:
    """Give each finding its day; one that can only lie ahead keeps None and is no fact."""
    dates = [(i, x.value) for i, x in enumerate(items) if isinstance(x.value, When) and x.has("<date>") and not x.value.span]
    hours = [(i, item.value.hour) for i, item in enumerate(items) if isinstance(item.value, When) and item.value.hour]
    for f in found:
        here = items[f.at]
        when = _when(items, found, f, dates)
        f.on = today if when is None or (when.past is None and f.tense == "past") else when.past
        f.hour = next((h for i, h in hours if items[i].segment == here.segment), None)


def _when(items: list[Item], found: list[Finding], f: Finding, dates: list[tuple[int, When]]) -> When | None:
    here = items[f.at]
    same = [(i, w) for i, w in dates if items[i].segment == here.segment]
    if same:
        return min(same, key=lambda entry: abs(entry[0] - f.at))[1]
    before = [(i, w) for i, w in dates if i < f.at and items[i].sentence == here.sentence]
    if before:
        at, when = before[-1]
        if f.tense == "present" and not _topic(items, at):
            return None
        return when if when.past is not None else None
    after = [(i, w) for i, w in dates if i > f.at and items[i].sentence == here.sentence]
    if after and f.tense == "past" and _trails(items, found, f, after[0][0]):
        return after[0][1]
    earlier = [(i, w) for i, w in dates if i < f.at]
    if earlier:
        at, when = earlier[-1]
        topic = not any(items[g.at].sentence == items[at].sentence for g in found) or _label(items, at)
        past_state = f.tense == "past" and f.kind not in EVENTS and f.kind != "added"
        if when.past is not None and f.tense != "present" and (topic or past_state):
            return when
    return None


def _topic(items: list[Item], at: int) -> bool:
    return _label(items, at)


def _label(items: list[Item], at: int) -> bool:
    """ "Dec 30: turned it" heads all that follows."""
    return at + 1 < len(items) and items[at + 1].key in (":", "-")


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
    names = {name for _, name in named}
    for f in found:
        here = items[f.at]
        same = [(i, n) for i, n in named if items[i].segment == here.segment]
        before = [(i, n) for i, n in named if i < f.at]
        after = [(i, n) for i, n in named if i > f.at and items[i].sentence == here.sentence]
        if same:
            f.pile = min(same, key=lambda entry: abs(entry[0] - f.at))[1]
        elif before:
            f.pile = before[-1][1]
        elif after and len(names) == 1:
            f.pile = after[0][1]
        elif len(names) == 1 and not _has_facts(items, found, named[-1][0]):
            f.pile = named[-1][1]
        if len(names) == 2 and not same and any(x.has("<both>") and x.segment == here.segment for x in items):
            f.pile = "&".join(sorted(names))
    _join_piles(items, found, named)


def _has_facts(items: list[Item], found: list[Finding], at: int) -> bool:
    """ "3 gal leaves. all in the front pile": a sentence with only a pile's name speaks of what was said before."""
    return any(items[f.at].sentence == items[at].sentence for f in found)


def _join_piles(items: list[Item], found: list[Finding], named: list[tuple[int, str]]) -> None:
    """ "turned pile 1 and pile 2": the second name has no fact of its own and shares the first one's."""
    for (first, name), (second, other) in zip(named, named[1:], strict=False):
        near = all(x.has("<and>", ",", "<article>", "<pilename>") for x in items[first + 1 : second])
        if not near:
            continue
        for f in found:
            if f.pile == name and items[f.at].sentence == items[first].sentence and f.at < second:
                f.pile = f"{name}&{other}"
            elif f.pile == other and f.at > second and items[f.at].sentence == items[first].sentence:
                f.pile = f"{name}&{other}"
