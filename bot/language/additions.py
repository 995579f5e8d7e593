"""What was put in, each material with its amount, and the water that was given in the same breath."""

from collections.abc import Iterator, Sequence
from typing import Any

from bot.language.clauses import sentences
from bot.language.finding import UNREAL, Finding
from bot.language.items import Item
from bot.language.lexicon import Lexicon
from bot.language.quantities import Amount

OF_PLANTS = (
    "<diseased_plants>",
    "<vegetable_scraps>",
    "<fruit_scraps>",
    "<thorny_plants>",
    "<garden_trimmings>",
)


def find_added(items: list[Item], lex: Lexicon) -> Iterator[Finding]:
    """Materials and water after a verb of adding, up to the next verb; "just leaves" after "no meat" too."""
    put_in = {first: last for _, (first, last) in lex.searches(items, "fact.put_in")}
    before_active = False
    for start, end in sentences(items):
        active = before_active and _goes_on(items, start, end)
        listed_from = _bare_list(items, start, end, listed=before_active)
        active = active or listed_from is not None
        began = start
        denied = False
        acts_until = start
        waiting: list[int] = []  # materials named before "put it in"
        for i in range(listed_from or start, end):
            item = items[i]
            verb = not item.has("<relative>") and (
                item.has("<add.done>")
                or (item.has("<build.done>") and _builds_it(items, start, i, end))
                or (item.has("<give.done>") and not _received(items, i))
            )
            if item.has("<but>", "<only>") and (denied or _denied_before(items, start, i)):
                active, denied = True, False
            if i in put_in and not any(
                x.scope & (UNREAL | {"not"}) or x.has("<harmless.deed>") for x in items[i : put_in[i]]
            ):
                yield from (Finding("added", m, "past", _added_fields(items, m, end)) for m in waiting)
                waiting = []
                active, acts_until = True, put_in[i]
                named = range(i, min(put_in[i], end))
                yield from (
                    Finding("added", m, "past", _added_fields(items, m, end))
                    for m in named
                    if items[m].has("<material>") and not _is_place(items, m)
                )
            keeps = (item.has("<add.ing>") and (i == start or items[i - 1].has("<keep>"))) or _just_done(
                items, i
            )
            if verb or keeps or (item.has("<add>") and item.scope & (UNREAL | {"not"})):
                done = (verb or keeps) and not item.scope & UNREAL
                denied = "not" in item.scope and not item.scope & UNREAL
                if active and not verb and item.has("<use>"):
                    continue
                active, began = done and not denied, i
                given = next((x for x in items[max(start, i - 4) : i] if x.has("<amount>")), None)
                if (
                    active
                    and item.has("<give.done>")
                    and given is not None
                    and given.value.litres
                    and not waiting
                ):
                    yield Finding("watered", i, "past", {"litres": given.value.litres})
                if active and not item.has("<build.done>") and _puts_it(items, i, end):
                    yield from (Finding("added", m, "past", _added_fields(items, m, end)) for m in waiting)
                    waiting = []
            elif (
                item.has("<verb>")
                and i >= acts_until
                and not _describes_material(items, i)
                and not item.has("<is>", "<material>", "<moisture>", "<water_word>")
                and not (i and items[i - 1].has("<before_noun>"))  # "las hojas del trabajo"
                and active
            ) and (
                not (
                    item.has("<see>", "<harvest.done>", "<take>", "<use>", "<heat>") and not item.has("<sub>")
                )
                or items[i].has("<is>", "<have>")
            ):
                active = False
            if item.has("<material>") and not (
                only_describes(items, i, end) or item.has("<harmless.deed>", "<harmless.other>")
            ):
                if (
                    active
                    and "not" not in item.scope
                    and not item.scope & UNREAL
                    and not _is_subject(items, i, end)
                    and not _is_place(items, i)
                ):
                    yield Finding("added", i, "past", _added_fields(items, i, end))
                elif not item.scope:
                    waiting.append(i)
            poured = item.has("<water_word>") and not item.has("<harmless.deed>")
            if active and poured and "not" not in item.scope and not item.scope & UNREAL:
                yield Finding("watered", i, "past", _measured(_amount_before(items, i, began)))
            elif (
                active
                and items[began].has("<give.done>", "<pours>")
                and _bare_litres(items, i, start, began)
                and not item.scope
            ):
                yield Finding("watered", i, "past", {"litres": item.value.litres})
        before_active = active


def _describes_material(items: list[Item], at: int) -> bool:
    """ "la lechuga pasada": a participle beside what it tells of."""
    return items[at - 1].has("<material>") and any(label.endswith(".part>") for label in items[at].labels)


def _builds_it(items: list[Item], start: int, at: int, end: int) -> bool:
    """A pile, and of what: "hicimos carne asada" and "se hizo" put nothing in."""
    if any(x.has("se") for x in items[max(start, at - 2) : at]):
        return any(x.has("<pile>", "<pilename>") for x in items[at + 1 : at + 4])
    around = items[max(start, at - 2) : min(at + 6, end)]
    return not items[at].has("<makes>") or any(x.has("<pile>", "<pilename>", "la", ":") for x in around)


def _just_done(items: list[Item], at: int) -> bool:
    """ "acabo de echarle agua": an infinitive that was done."""
    return (
        at > 1
        and items[at].has("<add.base>")
        and items[at - 1].has("de")
        and items[at - 2].has("<just_done>")
    )


def _denied_before(items: list[Item], start: int, at: int) -> bool:
    """ "no meat, just lettuce": a material was denied earlier in the sentence."""
    return any(x.has("<material>") and "not" in x.scope for x in items[start:at]) and not _has_verb(
        items[start:at]
    )


def _goes_on(items: list[Item], start: int, end: int) -> bool:
    """A sentence without a verb of its own carries on what the last one did."""
    sentence = items[start:end]
    return any(x.has("<also>", "<only>", "<amount>") for x in sentence[:2]) and not _has_verb(sentence)


def _bare_list(items: list[Item], start: int, end: int, *, listed: bool) -> int | None:
    """ "2 buckets of leaves and a bag of grass" was put in; after "we built it" amounts may lack."""
    began, start = start, next((i + 1 for i in range(end - 2, start, -1) if items[i].key == ":"), start)
    only = next((i for i in range(end - 1, start, -1) if items[i].has("<only>")), start)
    if any("not" in x.scope for x in items[start:only]):  # "no greens this week, just leaves"
        start = only + 1
    acts = next((i for i in range(start, end) if _has_verb(items[i : i + 1])), end)
    while acts < end and acts > start and items[acts - 1].segment == items[acts].segment:
        acts -= 1
    named = next((i for i in range(start, acts) if items[i].has("<material>")), acts)
    acts = next((i for i in range(named + 1, acts) if items[i].scope or items[i].has("from", "for")), acts)
    sentence = items[start:acts]
    if any(x.scope & (UNREAL | {"not"}) for x in sentence):
        return None
    if named < end and any("ask" in x.scope and x.segment == items[named].segment for x in items[start:end]):
        return None  # "lemon peels good or bad"
    if any(x.has("<growth>", "<pests>", "<smell>", "<texture>") for x in sentence):
        return None
    materials = [x for x in sentence if x.has("<material>", "<water_word>")]
    amounts = [x for x in sentence if x.has("<amount>")]
    known = sum(
        x.has("<material>", "<amount>", "<and>", "<break>", "<end>", "<a>", "<filler>", "<date>", "<link_of>",
              "<size>", "<water_word>", "of", "de", "+", "<also>", "<only>", "in", "<pile>", "<pilename>",
              "the", "la", "el", "<moisture>", "<portion>")
        for x in sentence
    )  # fmt: skip
    enough = 0.6 if amounts else 0.8 if listed or len(materials) > 1 or start > began else 0.9
    return start if materials and known >= enough * len(sentence) else None


def _has_verb(sentence: Sequence[Item]) -> bool:
    nouns = ("<material>", "<amount>", "<moisture>", "<water_word>", "<pile>", "<size>")
    return any(
        x.has("<verb>", "<is>", "<was>")
        and not x.has(*nouns)
        and not any(n.endswith(".part>") for n in x.labels)
        for x in sentence
    )


def _received(items: list[Item], at: int) -> bool:
    """ "gave me", "me dio": it was given to a person."""
    before = items[at - 1] if at else None
    given = items[at + 1 : at + 3]
    if (
        items[at + 1 : at + 2]
        and items[at + 1].has("her", "him")
        and any(x.has("<amount>", "<material>") for x in items[at + 2 : at + 5])
    ):
        return False  # "gave her 3 gallons": the pile
    return any(x.has("me", "us", "him", "her", "them", "<relation>") for x in given) or (
        before is not None and before.has("me", "nos", "gave_me")
    )


def _puts_it(items: list[Item], at: int, end: int) -> bool:
    following = items[at + 1 : min(at + 3, end)]
    amount = (
        bool(following) and following[0].has("<amount>") and not any(x.has("of", "de") for x in following)
    )
    return (bool(following) and (following[0].has("it", "them", "that", "those", "all") or amount)) or (
        items[at - 1].has("lo", "la", "los", "las") if at else False
    )


def only_describes(items: Sequence[Item], at: int, end: int) -> bool:
    """ "leftover meatloaf", "diseased tomato vines": the vaguer word says nothing of its own."""
    after = items[at + 1] if at + 1 < end else None
    before = items[at - 1] if at else None
    if before is not None and (
        (items[at].has("<plant_part>") and before.has(*OF_PLANTS))
        or (
            before.has("<diseased_plants>")
            and items[at].has("<garden_trimmings>", "<vegetable_scraps>", "<weeds>")
        )
    ):
        return True
    return (
        items[at].value == "kitchen_scraps" and after is not None and after.has("<material>", "<water_word>")
    )


def _is_subject(items: list[Item], at: int, end: int) -> bool:
    """ "added water, the leaves were dry": the leaves are talked about, not added."""
    after = items[at + 1] if at + 1 < end else None
    return after is not None and after.has("<is>", "<was>") and not after.has("has", "have", "had")


def _is_place(items: list[Item], at: int) -> bool:
    """ "threw dirt over the scraps": it lies there already."""
    if items[at].has("<veg>") and any(x.has("a", "al", "en") for x in items[max(0, at - 2) : at]):
        return True  # "se la puse a los rosales"
    return at > 1 and items[at - 1].has("<article>", "all") and items[at - 2].has("<onto>", "<cover.done>")


def _added_fields(items: list[Item], at: int, end: int) -> dict[str, Any]:
    return {"material": items[at].value, **_measured(_amount_of_material(items, at, end))}


def _amount_of_material(items: list[Item], at: int, end: int) -> Amount | None:
    each = next((i for i in range(at + 1, end) if items[i].has("<for_each>")), None)
    if each is not None and any(x.has("<pile>") for x in items[each + 1 : each + 2]):
        each = None  # "to each pile"
    if each is not None:  # "lint and paper, half a gallon of each"
        return next((_amount(x) for x in reversed(items[at:each]) if x.has("<amount>")), None)
    for i in range(at - 1, max(at - 7, -1), -1):
        if items[i].has("<amount>"):
            return _amount(items[i])
        if items[i].has("<material>", "<water_word>", "<end>", "<break>", "<and>") or (
            items[i].has("<verb>") and not items[i].has("<size>")  # "un bote lleno de hojas"
        ):
            break
    for i in range(at + 1, min(at + 10, end)):
        if items[i].has("<amount>"):
            later = next(
                (x for x in items[i + 1 : min(i + 5, end)] if not x.has("of", "de", "<size>", "the")), None
            )
            taken = later is not None and later.has(
                "<material>", "<water_word>", "total", "altogether", "combined"
            )
            return None if taken else _amount(items[i])
        if items[i].has("<add.done>") and items[i + 1 : i + 2] and items[i + 1].has("<amount>"):
            continue  # "de paja le puse 15 litros"
        if items[i].has(
            "<material>", "<water_word>", "<add.done>", "<and>", "<turn.done>", "<water.done>", "<give.done>"
        ):
            break
    return None


def _amount(item: Item) -> Amount:
    amount: Amount = item.value
    return amount


def _measured(amount: Amount | None) -> dict[str, Any]:
    """The fields that an amount gives a finding."""
    return {"litres": amount and amount.litres, "buckets": amount and amount.buckets}


def _amount_before(items: list[Item], at: int, began: int) -> Amount | None:
    """The amount that goes with water: before it, else shortly after."""
    for span in (range(at - 1, began - 1, -1), range(at + 1, min(at + 6, len(items)))):
        for i in span:
            if items[i].has("<amount>"):
                return _amount(items[i])
            if items[i].has("<material>", "<end>"):
                break
    return None


def _bare_litres(items: list[Item], at: int, start: int, began: int) -> bool:
    """ "added like 4 gal": litres of nothing named, since the verb at `began`, are water."""
    item = items[at]
    if not item.has("<amount>") or item.value.litres is None or item.value.litres > 200:
        return False
    rest = [x for x in items[at + 1 :] if x.segment == item.segment]
    named = any(x.has("<material>", "<water_word>", "of", "de") for x in rest[:5])
    named = named or any(
        x.has("<veg>") for x in items[start:] if x.sentence == item.sentence
    )  # "onto the beds"
    before = items[start:at]
    spoken_of = any(x.has("<material>") for x in before) or any(
        x.has("<water_word>") for x in items[began:at]
    )
    strange = any(
        x.has("<name>") or (len(x.labels) == 1 and len(x.key) > 3 and x.key.isalpha()) for x in before
    )
    return not named and not strange and not spoken_of
