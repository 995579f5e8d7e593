"""Something is wrong: the likeliest and cheapest cause first, by what is known of this pile.

named in the message    smell, pests, growth, texture, moisture, cold: its own answer
not named               "what is wrong?", by digits; each answer leads to one more question at the most
cold                    done? just begun, or winter? then a squeeze: dry, wet; then small; then brown
"""

from collections.abc import Callable, Mapping
from datetime import date, timedelta

from bot.conversation.steps import TELLING, next_step
from bot.conversation.talk import Known, KnownPile, Outcome
from bot.language.meaning import Ask
from shared.pile import Record

KINDS = ("smell", "pests", "growth", "texture", "moisture", "heat_feel")
SMALL_M3 = 0.45
"""Below this a pile hardly holds its heat (2.5 ft each way; common practice: 3 to 5 ft)."""
BROWN_C_N = 40.0
"""A mix above this is slow for want of nitrogen (Cornell: 25 to 35 is the aim)."""
DRY_MOISTURE = 0.45
FELT_LATELY = timedelta(days=7)
READ_LATELY = timedelta(days=2)
LEAVE_BE = ("just_built", "just_turned", "just_watered", "frozen", "winter", "warming")
"""Reasons of care to leave a cold pile alone."""


def trouble(known: Known, pile: KnownPile, ask: Ask, outcome: Outcome) -> None:
    """Answer what is named, else ask what it is."""
    named = [told.record for told in reversed(pile.told) if told.record.on == known.today]
    named = [record for record in named if record.kind in KINDS]
    if ask.topic is not None:
        GUIDED[ask.topic](known, pile, outcome)
    elif rats := [record for record in named if record.word == "rodents"]:
        about(known, pile, rats[0], outcome)
    elif named:
        for record in named[:2]:
            about(known, pile, record, outcome)
    elif cold(known, pile):
        not_heating(known, pile, outcome)
    else:
        outcome.say("trouble.which")
        outcome.ask("trouble", *(f"trouble.{topic}" for topic in GUIDED), pile=pile.row.id)


def cold(known: Known, pile: KnownPile) -> bool:
    """Whether the last reading of these days stands near the air: what is wrong need not be asked."""
    since = known.today - READ_LATELY
    read = [one.core_c for one in pile.records if one.core_c is not None and one.on >= since]
    outlook, _ = known.look(pile.row, pile.records, known.today)
    return bool(read) and read[-1] - outlook.air_c < 15


def about(known: Known, pile: KnownPile, record: Record, outcome: Outcome) -> None:
    """One sign, and what to do about it."""
    if record.kind == "heat_feel":
        if record.word == "cold":
            not_heating(known, pile, outcome)
        else:
            next_step(known, pile, pile.records, known.look(pile.row, pile.records, known.today), outcome)
        return
    key = f"trouble.{record.kind}" + (f".{record.word}" if record.word else "")
    outlook, _ = known.look(pile.row, pile.records, known.today)
    dry = felt(pile, known.today) in ("dry", "bit_dry") or outlook.moisture.p50 < DRY_MOISTURE
    if record.kind == "growth" and dry:
        key = "trouble.growth.dry"
    outcome.say(key)
    if record.word in ("ants", "dry") and outlook.water_litres >= 2:
        outcome.say("do.water.with_turn", add_l=outlook.water_litres)
    if record.word == "rodents":
        outcome.say("caution.rodents")


def which_smell(_known: Known, pile: KnownPile, outcome: Outcome) -> None:
    outcome.say("ask.smell")
    outcome.ask("smell", "smell.ammonia", "smell.rotten", "smell.sour", pile=pile.row.id)


def which_animals(_known: Known, pile: KnownPile, outcome: Outcome) -> None:
    outcome.say("ask.pests")
    outcome.ask("pests", "pests.flies", "pests.ants", "pests.rodents", "pests.other", pile=pile.row.id)


def squeeze(_known: Known, pile: KnownPile, outcome: Outcome) -> None:
    outcome.say("trouble.cold.squeeze")
    outcome.ask("squeeze", "feel.dry", "feel.right", "feel.soggy", pile=pile.row.id)


def plants_hurt(known: Known, _pile: KnownPile, outcome: Outcome) -> None:
    """Unripe, salty, or weed killer in hay or manure: stop, test with beans."""
    outcome.say("trouble.plants")
    if known.profile.staff.contact:
        outcome.say("help.person", contact=known.profile.staff.contact)


def not_heating(known: Known, pile: KnownPile, outcome: Outcome) -> None:
    """A pile that stays cold; without a squeeze in the last week it asks for one."""
    found = outlook, actions = known.look(pile.row, pile.records, known.today)
    word = felt(pile, known.today)
    if outlook.stage in ("curing", "ready"):
        outcome.say("trouble.cold.finishing")
    elif actions[0].do == "wait" and actions[0].why in LEAVE_BE:
        next_step(known, pile, pile.records, found, outcome)
        if actions[0].why not in TELLING:
            outcome.say(f"why.wait.{actions[0].why}", **actions[0].numbers)
    elif word is None:
        squeeze(known, pile, outcome)
        outcome.opens = {**(outcome.opens or {}), "then": "cold"}
    elif word in ("dry", "bit_dry"):
        outcome.say("trouble.cold.dry", add_l=max(outlook.water_litres, 10.0))
    elif word in ("soggy", "bit_wet"):
        outcome.say("trouble.cold.wet")
    elif volume_m3(pile) < SMALL_M3:
        outcome.say("trouble.cold.small")
    else:
        outcome.say("trouble.cold.brown" if outlook.mix_c_n > BROWN_C_N else "trouble.cold.turn")


def felt(pile: KnownPile, today: date) -> str | None:
    """The last word on its moisture, where it is not older than a week."""
    words = [
        record.word
        for record in pile.records
        if record.kind == "moisture" and today - record.on <= FELT_LATELY
    ]
    return words[-1] if words else None


def volume_m3(pile: KnownPile) -> float:
    """The box that the pile was built in. [m³]"""
    setup = pile.row.setup
    return float(setup["length_m"] * setup["width_m"] * setup["height_m"])


GUIDED: Mapping[str, Callable[[Known, KnownPile, Outcome], None]] = {
    "smell": which_smell,
    "pests": which_animals,
    "cold": not_heating,
    "wet": squeeze,
    "plants": plants_hurt,
}
"""What may be wrong where it is not said, in the order of the digits."""
