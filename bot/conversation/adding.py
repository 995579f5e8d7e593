"""What may go in, what would mend the mix, and when to stop adding."""

from typing import Any

from bot.conversation.beginning import mix_verdict
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask
from shared.care import stop_adding_date
from shared.materials import Material, all_materials, material
from shared.mix import improve, parts_of
from shared.pile import Ingredient
from shared.units import BUCKET_L


def may_add(known: Known, pile: KnownPile | None, ask: Ask, outcome: Outcome, *, brief: bool = False) -> None:
    """Whether a material may go in, the reason, and how; one of several without the reason."""
    feedstock = as_written(ask)
    if outcome.opens is None:  # whoever asked about one thing may go on to the next
        asked = known.waiting if known.waiting.get("options") else {"ask": "may_add"}
        outcome.opens = {**asked, "may_add_on": known.today.isoformat()}
    if feedstock.id == "other":
        outcome.say("may_add.unknown")
        return
    what = in_their_words(ask, feedstock)
    verdict: str = feedstock.verdict
    if feedstock.record_id in known.profile.keep_out and verdict != "no":
        outcome.say("may_add.local", what=what)
        return
    stage = known.look(pile.row, pile.records, known.today)[0].stage if pile is not None else None
    if verdict == "hot_only" and stage is not None:
        verdict = "hot_now" if stage == "hot" else "not_hot"
    outcome.say(f"may_add.{verdict}", what=what)
    if feedstock.reason and not brief:
        outcome.say(f"reason.{feedstock.reason}")
    if feedstock.how:
        outcome.say(f"how.{feedstock.how}")
    fed = pile is not None and pile.row.setup.get("fed")
    if stage in ("curing", "ready") and not fed and verdict != "no" and not brief:
        outcome.say("may_add.finishing")


def as_written(ask: Ask) -> Material:
    """The finest row of the feedstock table that the written name has, else the row of the material's id."""
    names = {name: row for row in all_materials() for name in (*row.en, *row.es)}
    return names.get((ask.name or "").lower()) or material(ask.material or "other")


def in_their_words(ask: Ask, feedstock: Material) -> str | list[dict[str, Any]]:
    """A material as the writer called it where the table has that name, else by its first name there."""
    written = (ask.name or "").lower()
    if written in (*feedstock.en, *feedstock.es):
        return written
    return [{"key": "read.ingredient", "values": {"what_material": feedstock.id}}]


def mix(known: Known, pile: KnownPile, _ask: Ask, outcome: Outcome) -> None:
    """What to add to balance what went in, in buckets; a mix that was called good at the build stays so."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    ingredients = [Ingredient(name, litres / 1000) for name, litres in pile.row.setup["ingredients"]]
    ingredients += [
        Ingredient(record.material, record.litres / 1000)
        for record in pile.records
        if record.kind == "added" and record.material and record.litres
    ]
    remedy = improve(parts_of(ingredients), material("dry_leaves"), material("grass_clippings"))
    most = room_litres(pile)
    if mix_verdict(outlook) == "mix.good":
        outcome.say("mix.balanced")
    elif remedy.browns_litres > BUCKET_L / 2:
        outcome.say("mix.add_browns", n=buckets(min(remedy.browns_litres, most)))
    elif remedy.greens_litres > BUCKET_L / 2:
        outcome.say("mix.add_greens", n=buckets(min(remedy.greens_litres, most)))
    else:
        outcome.say("mix.balanced")
    if remedy.too_wet:
        outcome.say("mix.too_wet")
    outcome.say("mix.rule")


def room_litres(pile: KnownPile) -> float:
    """What a pile of that size can take at a time: half of it, as it settles (common practice). [L]"""
    size = pile.row.setup
    return 1000 * float(size["length_m"] * size["width_m"] * size["height_m"]) / 2


def buckets(litres: float) -> int:
    """Five-gallon buckets, at least one."""
    return max(1, round(litres / BUCKET_L))


def stop_adding(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """The last day for adding, so that all of it is ready by the wished day."""
    outlook, _ = known.look(pile.row, pile.records, known.today)
    if ask.on is None:
        outcome.say(
            "stop_adding.when",
            first_about=outlook.ready.p10.isoformat(),
            last_about=outlook.ready.p90.isoformat(),
        )
        return
    last_day = stop_adding_date(outlook, ask.on)
    if last_day < known.today:
        outcome.say(
            "stop_adding.late",
            middle_about=outlook.ready.p50.isoformat(),
            last_about=outlook.ready.p90.isoformat(),
        )
    else:
        outcome.say("stop_adding.by", last_on=last_day.isoformat(), wish_on=ask.on.isoformat())
