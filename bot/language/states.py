"""What was seen, felt and read: moisture, smell, pests, growth, texture, warmth; temperatures and heights."""

from collections.abc import Iterator

from bot.language.finding import UNREAL, Finding, near, tense_at
from bot.language.items import Item
from bot.language.lexicon import Lexicon
from bot.language.meaning import Units
from bot.language.quantities import HOTTEST_C, Degrees, doubt_of
from shared.pile import Kind

KINDS: dict[str, Kind] = {
    "moisture": "moisture", "texture": "texture", "heat": "heat_feel", "smell": "smell", "growth": "growth",
}  # fmt: skip


SMALLEST_PILE_M = 0.3  # a length alone that may be a pile's height


def find_states(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    told: set[tuple[str, int]] = set()  # what a pattern reads as a whole, its words do not say again
    for name, (first, last) in lex.searches(items, "state."):
        scope = set().union(*(x.scope for x in items[first:last]))
        denied = "not" in items[first].scope and not items[first].has("<not>")
        if name == "texture.recognisable" and any(
            x.has("<smoke>", "<pests>", "<growth>") for x in items[first:last]
        ):
            continue  # "I can see smoke"
        if (
            name == "texture.recognisable"
            and items[first].has("can", "could")
            and items[first + 1].has("<not>")
        ):
            continue  # "can't find the fork"
        read = any(x.has("<temperature>") and x.sentence == items[first].sentence for x in items)
        if name == "texture.recognisable" and read and any(x.has("changed") for x in items[first:last]):
            continue  # "it was 98 on Friday, hasn't changed much"
        of_soil = name == "texture.crumbly" and near(items, first, "<smelling>", back=4)
        if name in ("texture.matted", "texture.clumpy"):
            for item in items[first:last]:
                item.labels.add("<of_lumps>")  # "wet layers" tells of the layers
        concept, word = name.split(".")
        if not (scope & UNREAL or denied or of_soil or items[first].has(*_harmless(items[first], concept))):
            fields = {} if word == "seen" else {"word": word}
            if concept != "smell":  # "stinks like ammonia bad"
                told |= {(concept, at) for at in range(first, last)}
            yield Finding(KINDS[concept], first, tense_at(items, first), fields)
    for i, item in enumerate(items):
        if item.scope & UNREAL or not item.has("<concept>"):
            continue
        if i + 1 < len(items) and items[i + 1].glued and items[i + 1].number is not None:
            continue  # "LODO9" is a code
        tense = tense_at(items, i)
        denied = "not" in item.scope
        for label in item.labels:
            if not label.startswith("<") or "." not in label:
                continue
            concept, value = label[1:-1].split(".")
            if item.has(*_harmless(item, concept)) or (concept, i) in told or _left_behind(items, i, concept):
                continue
            if concept in ("smell", "growth", "pests") and _of_what_was_added(items, i):
                continue
            found = _state(items, i, concept, value, denied)
            if found is not None:
                kind, seen = found
                fields = {} if seen is None else {"word": seen}
                yield Finding(kind, i, tense, fields)


def _of_what_was_added(items: list[Item], at: int) -> bool:
    """ "eché queso con hongo", "tiró frijoles acedos": it went in like that."""
    linked = at > 1 and items[at - 1].has("con", "de", "with")
    head = items[at - 2] if linked else items[at - 1] if at else None
    return head is not None and head.has("<material>") and near(items, at, "<add.done>", back=9)


def _left_behind(items: list[Item], at: int, concept: str) -> bool:
    """ "went from sour to earthy": the first is over."""
    gone = at > 0 and any(x.has("<falling>") for x in items[max(0, at - 2) : at])
    return (
        gone
        and any(x.has("to", "a") for x in items[at + 1 : at + 3])
        and near(items, at, f"<{concept}>", back=0, ahead=4)
    )


def _harmless(item: Item, concept: str) -> tuple[str, ...]:
    """What only sounds like it: a cigarette's smoke, the heat of the day, flies that have gone.

    Smoke from elsewhere is none of the pile's, unless the pile is named beside it.
    """
    if concept == "smoke":
        return (
            ("<harmless.smoke>",)
            if item.has("<sure.smoke>")
            else ("<harmless.smoke>", "<harmless.far_smoke>")
        )
    return ("<harmless.heat>", "<harmless.other>", "<harmless.gone>", "<harmless.deed>")


def _state(
    items: list[Item], at: int, concept: str, value: str, denied: bool
) -> tuple[Kind, str | None] | None:
    item = items[at]
    if concept == "moisture":
        word = _moisture(items, at, value)
        return None if denied or word is None else ("moisture", word)
    if concept == "smell":
        return _smell(items, at, value, denied)
    if concept == "pests" and item.has("<moisture>") and near(items, at, "<is>", "<was>", "puso", back=2):
        return None  # "está babosa"
    if concept == "pests" and not denied:
        heads = value == "other" and any(x.has(":") for x in items[at + 1 : at + 2])  # "bugs: some flies"
        named = heads or _is_name(items, at) or (at and items[at - 1].has("<material>") and item.has("bugs"))
        return None if named else ("pests", value)
    if concept == "growth" and not denied:
        spoiled = near(items, at, "<add.done>", back=9) and near(items, at, "<material>", back=0, ahead=2)
        if at + 1 < len(items) and items[at + 1].has("<material>"):
            return None  # "moldy strawberries"
        if near(items, at, "<smelling>", back=4):
            return None  # "smells of leaf mould"
        grows = _sees(items, at) or near(items, at, "<growing>", back=3, ahead=4)
        return None if spoiled or (item.has("<material>") and not grows) else ("growth", None)
    if concept == "texture" and not denied:
        named = item.has("<material>") and not near(items, at, "like", "como", back=2)
        return None if named or any(x.has("than") for x in items[max(0, at - 3) : at]) else ("texture", value)
    if concept == "heat":
        return _heat(items, at, value, denied)
    if concept == "smoke" and not denied:
        return "smoke", None
    return None


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
    acts = after is not None and after.has("it", "them", "out", "up", "down", "<article>", "<pile>")
    asked = at > 0 and items[at - 1].has("<sub>") and "ask" in items[at - 1].scope
    if (after is not None and after.has(":")) or (acts and at and (asked or items[at - 1].has("to"))):
        return None  # "moist: dry", "to dry it out", "how do I dry it out"
    if after is not None and (after.has("<texture.matted>") or {"<of_lumps>"} <= item.labels & after.labels):
        return None
    if at and items[at - 1].has("less"):
        return None  # "less soggy"
    compares = item.key.endswith((" than", " like"))
    if after is not None and after.has("<material>") and not item.has("<firm>") and not compares:
        return None
    before = at - 1 - (at > 1 and items[at - 1].has("<now>", "<degree.very>", "<all_of>"))
    told_of = at and items[before].has("<material>") and not near(items, at, "<is>", "<was>", back=2)
    put_in = near(items, at, "<add.done>", "<give.done>", "<build.done>", back=8)
    if told_of and (put_in or item.has("<adjective_only>")):
        return None
    if item.has("<material>") and not near(items, at, "<is>", "<was>", "like", "como", back=3):
        return None  # "soup" is food, "it's basically soup" is not
    if item.has("<water_thing>") and at and items[at - 1].has("<a>", "la"):
        return None  # "le di una mojadita"
    if (
        item.has("<water.part>")
        and at > 1
        and items[at - 1].has("<and>")
        and items[at - 2].has("<turn.part>")
    ):
        return None  # "volteada y mojada"
    soaks = item.has("<water.done>", "<water.base>") and not near(items, at, "<is>", "<was>", back=3)
    if soaks and (
        near(items, at, "<sub>", back=3)
        or (
            after is not None
            and after.has(
                "<it>", "<article>", "<pile>", "<material>", "down", "<a>", "<amount>", "each", "every", "all"
            )
        )
    ):
        return None  # "soaked it"
    if at and items[at - 1].has("<smell.earthy>") and item.has("<adjective_only>"):
        return None  # "huele a tierra del monte mojada"
    nose = any(x.has("<smelling>") and x.segment == item.segment for x in items[max(0, at - 5) : at])
    if nose and any(x.has("like", "of", "como", "a") for x in items[max(0, at - 3) : at]):
        return None  # "smells of wet earth", "smells like a wet dog"
    if after is not None and after.has("stuff", "things", "material", "materials", "matter"):
        return None  # "what dry stuff do I mix in?"
    degree = _degree(items, at)
    if value == "dry":
        return "bit_dry" if degree == "little" else "dry"
    if value in ("wet", "soggy"):
        return "bit_wet" if degree == "little" else "soggy"
    if value == "right" and (
        (after is not None and after.has("<excess>"))
        or (
            degree == "very"
            and any(x.has("too", "demasiado", "demasiada") for x in items[max(0, at - 2) : at])
        )
        or (degree == "little" and any("too" in x.key.split() for x in items[max(0, at - 3) : at]))
    ):
        return "bit_wet"
    return value


def _smell(items: list[Item], at: int, value: str, denied: bool) -> tuple[Kind, str] | None:
    item = items[at]
    if value == "none":
        return "smell", "none"
    likened = item.key.startswith("a ")  # "se parece a tierra"
    if (likened or item.has("<material>", "<pests>")) and not near(
        items, at, "<smelling>", "<smell>", back=7, ahead=2
    ):
        return None
    alone = all(
        x is item or x.has("<break>", "<end>", "<filler>") for x in items if x.segment == item.segment
    )
    if (
        item.has("<needs_nose>")
        and not (alone and at and value == "sour")
        and not near(items, at, "<smelling>", "<smell>", back=6, ahead=2)
    ):
        return None
    return None if denied else ("smell", value)


def _sees(items: list[Item], at: int) -> bool:
    return near(items, at, "like", "looks", "como", "parece", "<see>", "<is>", back=5)


def _is_name(items: list[Item], at: int) -> bool:
    """ "like a bear", "dog days": the animal is only a figure of speech."""
    return near(items, at, "like", back=2) and not near(items, at, "looks", "seems", back=4)


def _heat(items: list[Item], at: int, value: str, denied: bool) -> tuple[Kind, str] | None:
    item, after = items[at], items[at + 1] if at + 1 < len(items) else None
    if "weather" in item.scope or item.has("<material>"):
        return None
    if after is not None and after.has("<material>", "<water_word>", "<not_pile>"):
        return None
    told = [
        x
        for x in items[:at]
        if x.sentence == item.sentence and x.has("<wood_ash>", "<it>", "<pile>", "<core>")
    ]
    if told and told[-1].has("<wood_ash>"):
        return None  # "ash from the stove, cold"
    if denied and near(items, at, "nor", "neither", "ni", back=4, ahead=2):
        return None
    if denied:
        return (
            ("heat_feel", "lost")
            if value in ("warm", "hot") and item.has("hot", "warm", "caliente", "tibia")
            else None
        )
    if value == "hot" and _degree(items, at) == "little":
        return "heat_feel", "warm"
    return "heat_feel", value


def find_temperatures(items: list[Item], units: Units) -> Iterator[Finding]:
    readings = []
    for i, item in enumerate(items):
        if not item.has("<temperature>") or item.scope & UNREAL or "weather" in item.scope:
            continue
        if item.has("<denied>", "<past_reading>") or _is_change(items, i) or _never_reached(items, i):
            continue
        reading: Degrees = item.value
        edge = _at_edge(items, i)
        doubt = doubt_of(reading, units, edge)
        fields = {"core_c": reading.celsius, "edge": edge}
        readings.append(
            Finding("temperature", i, tense_at(items, i), fields, doubt, units=scale_of(reading, units))
        )
    yield from readings


def scale_of(reading: Degrees, units: Units) -> Units | None:
    """The scale that a reading is written in; 130 can only be Fahrenheit, whatever the person's own is."""
    return reading.unit or ("f" if units == "c" and reading.written > HOTTEST_C else None)


def _never_reached(items: list[Item], at: int) -> bool:
    """ "never hit 140", "didn't get above 120": what it was not."""
    if "not" not in items[at].scope:
        return False
    before = [x for x in items[max(0, at - 6) : at] if "not" in x.scope and x.segment == items[at].segment]
    return any(x.has("<hit>", "<see>", "<move>") and x.has("<verb>") for x in before)


def _is_change(items: list[Item], at: int) -> bool:
    """ "dropped 20 degrees": by how much, not how hot."""
    written: Degrees = items[at].value
    before = at - 1
    while before > 0 and items[before].has("como", "unos", "casi", "about", "like"):
        before -= 1
    if any(x.has("<by_degrees>") for x in items[at + 1 : at + 2]):
        return True  # "ten degrees cooler"
    return at > 0 and items[before].has("<shift>") and written.written <= 60


def _at_edge(items: list[Item], at: int) -> bool:
    """Whether the words around a reading place it near the surface: "31 edge", "95 on the outside"."""
    before = at - 1
    while before > 0 and items[before].has("<marks>", "<is>", "<was>", "<more_than>", ":"):
        before -= 1
    sentence = [
        x for x in items if x.sentence == items[at].sentence and x.has("<core>", "<edge>", "<temperature>")
    ]
    heads = sentence[0].has("<core>", "<edge>") and not sentence[0].has("<temperature>")
    if heads and before >= 0 and items[before].has("<core>", "<edge>"):
        return not items[before].has("<core>")  # "core 128 edges 100"
    for i in [*range(at + 1, min(at + 5, len(items)))]:
        if items[i].has("<edge>"):
            return not items[i].has("top") or not near(items, i, "over", "it", back=1)
        if items[i].has("<core>", "<temperature>", "<number>", "<end>", "<break>", "<and>", "<but>"):
            break
    for i in range(at - 1, max(at - 4, -1), -1):
        if items[i].has("<edge>"):
            return True
        if items[i].has(
            "<core>", "<temperature>", "<number>", "<end>", "<break>", "<and>", "<but>", "<verb>"
        ):
            break
    return False


def _said_alone(items: list[Item], at: int) -> bool:
    """Whether a clause is no more than a length: "barely warm, 30 inches", "north pile 36 in"."""
    clause = [x for x in items if x.segment == items[at].segment and x is not items[at]]
    plainly = (
        "<pilename>",
        "<pile>",
        "<it>",
        "<is>",
        "<was>",
        "<more_than>",
        "<now>",
        "<date>",
        "<filler>",
        "<place>",
    )
    added = any(x.has("<add.done>", "<material>", "<amount>", "<take.done>", "<move.done>") for x in items)
    return not added and all(x.has(*plainly) or not x.key[:1].isalnum() for x in clause)


def find_heights(items: list[Item]) -> Iterator[Finding]:
    for i, item in enumerate(items):
        after = items[i + 1] if i + 1 < len(items) else None
        if not item.has("<length>") or item.scope & (UNREAL | {"not"}):
            continue
        before = next((x for x in reversed(items[:i]) if not x.has("<more_than>") or x.has("<shrank>")), None)
        to = i > 0 and items[i - 1].has("a", "hasta")  # "bajó a 60 cm"
        if (after is not None and after.has("<across>")) or (
            before is not None and before.has("<shrank>", "by") and not to
        ):
            continue  # "3 ft wide", "shrunk a foot"
        tall = near(items, i, "<tall>", back=4, ahead=3)
        sunk = near(items, i, "<shrunk>", back=5) and not near(items, i, "<across>", back=2, ahead=2)
        sized = near(items, i, "<measured>", back=4) and not near(items, i, "<across>", back=2, ahead=2)
        stands = (
            i > 1
            and items[i - 1].has("<is>", "<was>", "<more_than>")
            and near(items, i, "<pile>", "<pilename>", back=3)
        )
        told = next((x for x in reversed(items[max(0, i - 4) : i]) if not x.has("<more_than>")), None)
        stands = stands or (told is not None and told.has("<is>", "<was>") and near(items, i, "<it>", back=5))
        stands = stands or (item.value >= SMALLEST_PILE_M and _said_alone(items, i))
        stands = stands and not near(items, i, "<across>", back=0, ahead=3)
        alone = all(x is item or x.has("<end>", "<filler>", "<more_than>") for x in items)
        if (
            (tall or sunk or sized or stands or alone)
            and 0.05 <= item.value <= 5
            and not item.has("<size_of_box>")
        ):
            yield Finding("height", i, tense_at(items, i), {"height_m": item.value})
