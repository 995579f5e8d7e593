"""Forms of deeds that their letters leave open: "eche", "turn", "regado" are past, present or a wish by what
stands around them."""

from bot.language.items import Item


def settle_tense(items: list[Item]) -> None:
    """A form that only a missing accent leaves open is past where it is told: "la empece", "vine a regar"."""
    dated = any(
        x.has("<date>") and not x.has("<now>") and getattr(x.value, "past", None) is not None for x in items
    )
    dated = dated or any(x.has("already") for x in items)
    for at, item in enumerate(items):
        if _was_done(items, at) or (dated and _told_plainly(items, at)):
            item.labels |= {
                f"{label.removesuffix('.base>')}.done>" for label in item.labels if label.endswith(".base>")
            }
        if _is_perfect(items, at):
            item.labels |= {
                f"{label.removesuffix('.part>')}.done>" for label in item.labels if label.endswith(".part>")
            }
        for label in [label for label in item.labels if label.endswith(".maybe>")]:
            name = label.removesuffix(".maybe>")
            before = items[max(0, at - 3) : at]
            own = f"{name}.now>" in item.labels and any(x.has("yo") for x in before)
            wished = bool(item.scope) or own or any(x.has("que", "cuando", "para") for x in before)
            third = any(x.has("<relation>", "<name>") for x in before) or dated
            third = third or _someone_did(items, at) or _goes_on_past(items, at)
            if not wished and (third or f"{name}.now>" not in item.labels):
                item.labels.add(f"{name}.done>")


def _told_plainly(items: list[Item], at: int) -> bool:
    """ "yesterday my husband give 10 liter water", "I turn already": a base form right after who did it."""
    before = items[at - 1] if at else None
    return (
        before is not None
        and before.has("<sub>", "<relation>")
        and not items[at].scope
        and not items[at].has("<build>")  # "I make turn of pile"
        and not any(label.endswith((".done>", ".maybe>")) for label in items[at].labels)
        and any(label.endswith(".base>") for label in items[at].labels)
    )


def _was_done(items: list[Item], at: int) -> bool:
    """ "vine a echarle agua", "pude voltearla", "acabo de regar": an infinitive that tells what was done."""
    before = at - 1 - (at > 0 and items[at - 1].has("a", "de"))
    return before >= 0 and items[before].has("<did>") and not items[before].scope


def _is_perfect(items: list[Item], at: int) -> bool:
    """ "ya la habíamos regado": a participle after "have" tells what was done."""
    before = at - 1 - (at > 0 and items[at - 1].has("ya", "bien"))
    return before >= 0 and items[before].has("<have_done>")


def _goes_on_past(items: list[Item], at: int) -> bool:
    """ "mi hijo vino y la volteo": joined by "and" to what was done, and of no day ahead."""
    here = items[at].segment
    clause = [x for x in items if x.segment == here]
    before = [x for x in items if x.segment == here - 1 and x.sentence == items[at].sentence]
    return (
        clause[0].has("<and>")
        and not any(x.has("<ahead>", "<opener>", "<wh>") or x.scope for x in clause)
        and any(label.endswith(".done>") for x in before if not x.scope for label in x.labels)
    )


def _someone_did(items: list[Item], at: int) -> bool:
    """ "el muchacho le echo agua", "mi vieja la volteo": a subject whose present would end otherwise."""
    start = at
    while start > 0 and items[start - 1].segment == items[at].segment and not items[start - 1].has("<verb>"):
        start -= 1
    while start < at and items[start].has("<filler>", "<polite>", "<and>"):
        start += 1
    if at - start < 2 or not items[start].has("<someone>") or any(x.has("<ahead>") for x in items[at:]):
        return False
    owned, noun = items[start].has("<owned>"), items[start + 1]
    thing = noun.has(
        "<pile>", "<material>", "<water_word>", "<date>", "<clitic>", "<timeword>", "<turn_word>"
    )
    return (
        noun.key.isalpha()
        and not thing
        and (owned or (items[at - 1].has("<clitic>") and (noun.has("<relation>") or not noun.has("<place>"))))
    )
