"""Bare numbers that are readings, and readings that no longer hold: a past peak, a slip, a denied one."""

import itertools

from bot.language.items import Item
from bot.language.lexicon import Lexicon
from bot.language.meaning import Units
from bot.language.quantities import degrees_item
from bot.language.weather import mark_weather

LIKELY = {"f": (33.0, 212.0), "c": (5.0, 212.0)}  # a bare number that nothing else calls a temperature
HOT = {"f": (85.0, 180.0), "c": (45.0, 80.0)}  # one that says so by itself at the end of a sentence
SAME_READING_K = 1.5  # two figures in the two scales this close are one reading
MOST_RELATIVES = 20
NO_WIDTH = (
    "<core>", "<edge>", "<more_than>", "<place>", "<falling>", "<to_reading>", "<temperature_word>", "<name>"
)  # fmt: skip
LIKELY_RANGE = 45.0  # "130-135": two numbers this close are one reading


def read_bare(items: list[Item], lex: Lexicon, units: Units) -> list[Item]:
    """The items with each number that stands for a reading folded into a <temperature>."""
    items = _ranges(_digit_by_digit(items), units)
    mark_weather(items)
    read = [_degrees(items, i, _unit_before(items, i) or units) for i in range(len(items))]
    _give_unit(read, lex, units)
    _mark_changes(read)
    return read


def _digit_by_digit(items: list[Item]) -> list[Item]:
    """ "temp 1 3 6": three single digits with only spaces between are one number."""
    folded: list[Item] = []
    at = 0
    while at < len(items):
        run = items[at : at + 3]
        digits = [x.key for x in run if len(x.key) == 1 and x.key.isdigit() and x.has("<number>")]
        before = items[at - 1] if at else None
        after = items[at + 3] if at + 3 < len(items) else None
        opens = before is None or before.has(
            "<temperature_word>", "<marks>", "<is>", "<was>", "<end>", "<break>"
        )
        if len(digits) == 3 and digits[0] in "12" and opens and (after is None or after.number is None):
            run[0].number, run[0].key = float("".join(digits)), "".join(digits)
            folded.append(run[0])
            at += 3
        else:
            folded.append(items[at])
            at += 1
    return folded


def _give_unit(items: list[Item], lex: Lexicon, units: Units) -> None:
    """ "33 yesterday, that's Celsius": a unit that stands alone is the unit of the readings without one."""
    for i, item in enumerate(items):
        told = len(item.key) > 2 or (i and items[i - 1].has("in", "en"))
        kind = lex.unit(item.key) if told and not item.scope else None
        unit: Units | None = "c" if kind == "celsius" else "f" if kind == "fahrenheit" else None
        bare = [x for x in items if x.has("<temperature>") and x.value.unit is None] if unit else []
        if not bare:
            continue
        for x in bare:
            x.value = degrees_item([x], x.value.written, unit, units).value
        item.labels = {"<temperature_word>"}


def _unit_before(items: list[Item], at: int) -> Units | None:
    """ "65 C today, 61 yesterday": a bare reading takes the unit of the one before it."""
    for x in reversed(items[:at] if items[at].number is not None else []):
        if x.has("<temperature>") and "weather" not in x.scope:
            unit: Units | None = x.value.unit
            return unit
    return None


def _degrees(items: list[Item], at: int, units: Units) -> Item:
    item = items[at]
    if item.number is None or item.has("<temperature>") or not item.has("<number>") or item.has("<small>"):
        return item
    if not _stands_for_reading(items, at, units):
        return item
    made = degrees_item([item], item.number, None, units)
    made.sentence, made.segment, made.scope = item.sentence, item.segment, item.scope
    return made


def _stands_for_reading(items: list[Item], at: int, units: Units) -> bool:
    item = items[at]
    number = item.number or 0.0
    if at > 1 and items[at - 1].has("<turn>") and items[at - 2].has("<sub>"):
        return False  # "I turned 70"
    if at > 1 and items[at - 1].has("am", "m") and items[at - 2].has("i"):
        return False  # "I'm 62"
    if item.has("<clocktime>", "<pilename>") or _counts_something(items, at) or _is_code(items, at):
        return False
    before = _before(items, at)
    if before is not None and before.has("not", "no") and _sized(items, at):
        return False  # "thirty inches tall, not forty"
    called = before is not None and (
        before.has("<temperature_word>") or (before.has("<marks>") and not 0 <= number < 10)
    )
    low, high = LIKELY[units]
    others = any(x.number is not None and x.number >= low for x in items if x is not item)
    if called and others and number < 10 and not item.has("<spoken>"):
        return False  # "reading 2 after lunch: 121"
    if any(x.has("<meant>") and x.segment == item.segment for x in items[max(0, at - 3) : at]):
        return low <= number <= high
    if called or _names_temperature(items, at):
        return -100 <= number <= 2000
    alone = all(x is item or x.has("<end>", "<filler>", "<polite>", "<break>") for x in items)
    if alone:
        return 10 <= number <= 2000
    if not low <= number <= high:
        return False
    if items[at - 1].has("<marks>", "<to_reading>") and at:
        return True
    after = items[at + 1] if at + 1 < len(items) else None
    if (
        before is not None
        and before.has("<article>")
        and after is not None
        and not after.glued
        and after.has("<is>", "<was>", "i")
    ):
        return True  # "the 131 was for pile 2"
    ends = after is None or after.has("<end>")
    if (
        ends
        and HOT[units][0] <= number <= HOT[units][1]
        and before is not None
        and not before.has("<of_pile>", "<a>")
    ):
        return True  # "on my way home 134"
    return before is None or before.has(
        "<is>", "<was>", "<hit>", "<end>", "<break>", "<and>", "<but>", "<date>", "<pilename>", "<pile>",
        "<more_than>", "<filler>", "<core>", "<edge>", "<meant>", "<now>", "<moisture>", "<heat>",
        "<not>", "<only>", "<again>", "<it>", "<turn>", "<also>", "<day_unit>", "be", "<smell>",
        "<to_reading>", "<partday>", "<material>", "<verb>", "<shift>", "<growth>",
        "<falling>", "<pests>", "<name>", "<slip>",
        "<place>", "after", "=", "<emoji>", "out",
    )  # fmt: skip


def _sized(items: list[Item], at: int) -> bool:
    """Whether the measure before it is a length or an amount."""
    measures = ("<temperature>", "<length>", "<amount>")
    last = next((x for x in reversed(items[:at]) if x.has(*measures)), None)
    return last is not None and not last.has("<temperature>")


def _before(items: list[Item], at: int) -> Item | None:
    """The item before the number, words such as "about" aside."""
    i = at - 1
    while (
        i >= 0 and items[i].has("<more_than>", "<degree>") and not items[i].has("<is>", "<was>", "<moisture>")
    ):
        i -= 1
    if i < at - 1 and (i < 0 or items[i].sentence != items[at].sentence):
        return None
    return items[i] if i >= 0 and items[i].sentence == items[at].sentence else None


def _names_temperature(items: list[Item], at: int) -> bool:
    near = items[max(0, at - 4) : at + 2]
    return any(x.has("<temperature_word>") and x.segment == items[at].segment for x in near)


def _counts_something(items: list[Item], at: int) -> bool:
    """Whether the number counts what follows it ("3 kids") or belongs to a price, a clock, a week."""
    after = items[at + 1] if at + 1 < len(items) else None
    before = items[at - 1] if at else None
    if before is not None and before.has("$", "<counter>", "#"):
        return True
    if before is not None and before.has("<across>") and not before.has(*NO_WIDTH):
        return True  # "de ancho 120"
    if _of_other_things(items, at):
        return True
    if after is not None and after.key == ")" and not any(x.key == "(" for x in items[max(0, at - 4) : at]):
        return (items[at].number or 0.0) < 10  # "1) temp 124 2) height 28 inches"
    small = (items[at].number or 0.0) < 10
    counted = before is not None and before.has("<temperature_word>", "<numeral>")
    if small and counted and after is not None and after.key == ":":
        return True  # "reading 2: 121"
    if after is None or after.sentence != items[at].sentence:
        return False
    if any(x.has("<street>") for x in items[at + 1 : at + 4]) or _scored(items, at):
        return True
    if after.has(
        "<count_noun>",
        "<day_unit>",
        "<material>",
        "<pests>",
        "<relation>",
        "<vessel>",
        "%",
        "x",
        "<pile>",
    ):
        return not (
            after.has("<moisture>", "<heat>", "<pilename>")
            or (after.has("<relation>") and (items[at].number or 0.0) > MOST_RELATIVES)  # "129, compa"
            or (after.has("<material>") and (items[at].number or 0.0) >= 90)
            or (after.has("<material>") and after.has("<verb>"))
        )
    if after.has("/") and items[at + 2 : at + 3] and items[at + 2].number is not None:
        return True
    if after.has("-") and at + 2 < len(items) and items[at + 2].has("<count_noun>", "<day_unit>", "<number>"):
        return True
    known = len(after.labels) > 1 or not after.key.isalpha()
    return (
        not known
        and after.key.endswith("s")
        and not after.key.endswith("ss")
        and after.key not in ("yes", "is", "was", "this", "es", "las", "los")
    )


def _of_other_things(items: list[Item], at: int) -> bool:
    """ "la reparación son 85", "sacó 95 en el examen": the clause tells of money or marks, and of no pile."""
    clause = [x for x in items if x.segment == items[at].segment]
    return any(x.has("<of_else>") for x in clause) and not any(
        x.has("<pile>", "<pilename>", "<core>", "<temperature_word>", "<moisture>", "<heat>") for x in clause
    )


def _scored(items: list[Item], at: int) -> bool:
    """ "I got 100 on my spelling test"."""
    return items[at + 1].has("on", "in") and any(x.has("<exam>") for x in items[at + 2 : at + 6])


def _is_code(items: list[Item], at: int) -> bool:
    """A class code or a piece of a phone number."""
    phoned = items[at].glued and at > 1 and items[at - 1].key in "-." and (items[at - 2].number or 0) >= 200
    return (
        phoned
        or (items[at].key[:1] == "0" and len(items[at].key) > 2)
        or (
            items[at].glued
            and at > 0
            and items[at - 1].key.isalpha()
            and not items[at - 1].has("<temperature_word>")
        )
    )


def _ranges(items: list[Item], units: Units) -> list[Item]:
    """ "130-135" and "between 130 and 135" as their middle."""
    folded: list[Item] = []
    at = 0
    while at < len(items):
        low = items[at]
        joint, high = (items[at + 1], items[at + 2]) if at + 2 < len(items) else (None, None)
        if (
            low.number is not None
            and low.number >= LIKELY[units][0]
            and high is not None
            and joint is not None
            and high.number is not None
            and low.number < high.number <= min(low.number + LIKELY_RANGE, 212)
            and (
                joint.has("-", "<or>", "or", "to", "o", "a")
                or (joint.has("<and>") and at and items[at - 1].has("between", "entre"))
            )
            and not (at and items[at - 1].has("<falling>", "<amend>"))
        ):
            middle = (low.number + high.number) / 2
            unit = high.value.unit if high.has("<temperature>") else None
            if high.has("<temperature>") or low.has("<number>"):
                made = degrees_item([low, joint, high], middle, unit, units)
                made.sentence, made.segment, made.scope = low.sentence, low.segment, low.scope
                folded.append(made)
                at += 3
                continue
        folded.append(low)
        at += 1
    return folded


def _denied(items: list[Item], at: int) -> bool:
    """ "108, not 180", "108 y no a 180", "53 no, 63"."""
    i = at - 1
    while i > 0 and items[i].has("<to_reading>", "<more_than>") and not items[i].has("not", "no"):
        i -= 1
    after = items[at + 1 : at + 3]
    taken_back = len(after) == 2 and after[0].has("not", "no") and after[1].has("<break>", "<end>")
    return taken_back or (i >= 0 and items[i].has("not", "no") and items[i].sentence == items[at].sentence)


def _mark_changes(items: list[Item]) -> None:
    """ "down from 140 to 120", "was 140, now 120", "meant 131, not 113": the reading that holds counts."""
    readings = [i for i, item in enumerate(items) if item.has("<temperature>")]
    for at in readings:
        before = items[at - 1] if at else None
        after = items[at + 1 : at + 2]
        dated = any(x.has("<date>") for x in after)
        if (
            before is not None
            and before.has("<falling>", "<instead>", "<amend>")
            and len(readings) > 1
            and not dated
        ):
            items[at].labels.add("<past_reading>")
        following = next((i for i in readings if i > at), at)
        if before is not None and before.has("de") and any(x.has("<shift>") for x in items[at:following]):
            items[at].labels.add("<past_reading>")  # "de 120 subió a 135"
        if len(readings) > 1 and _denied(items, at):
            items[at].labels.add("<denied>")
        if "not" in items[at].scope and before is not None and not before.has("not", "no"):
            continue
    wrong = [at for at in readings if any(x.has("<wrote>") for x in items[max(0, at - 2) : at])]
    if len(wrong) < len(readings) and any(x.has("<meant>", "<slip>", "era", "eran") for x in items):
        for at in wrong:  # "typo, that's 56, I put 65"
            items[at].labels.add("<past_reading>")
    for first, second in itertools.pairwise(readings):
        between = items[first + 1 : second]
        if (
            len(between) == 1
            and between[0].has("to", "a")
            and items[first].value.celsius > items[second].value.celsius
        ):
            items[first].labels.add("<past_reading>")  # "a drop, 140 to 118"
        one, two = items[first].value, items[second].value
        if (
            one.unit
            and two.unit
            and one.unit != two.unit
            and abs(one.celsius - two.celsius) <= SAME_READING_K
            and not any(x.has("<pilename>") for x in between)
        ):
            items[second].labels.add("<past_reading>")  # "134F (57C)"
        same = items[first].sentence == items[second].sentence
        undated = not any(
            x.has("<date>", "<partday>", "<clocktime>") and not x.has("<now>")
            for x in items
            if x.segment == items[first].segment
        )
        named = any(x.has("<pilename>", "<edge>", "<core>") for x in items[first : second + 1])
        if (
            same
            and undated
            and not named
            and any(x.has("<now>") for x in [*between, *items[second + 1 : second + 2]])
        ):
            was = any(x.has("<was>") for x in items[max(0, first - 3) : first])
            if was:
                items[first].labels.add("<past_reading>")
