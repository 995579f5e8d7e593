"""What we wait for, and what a short answer means then.

One question is open at a time: the one that was sent last. A digit picks the option of that number from
the message that asked, and a button from the very message it hangs on, however old. "Yes", "no", "done"
and "not yet" mean what SHORT says for the open question. Whatever is picked is treated as if the person
had said it in words, so there is one way in. A missing entry leaves the message as it was understood.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

from bot.language.meaning import Ask, Bare, Fact, Meaning, Setup, Units
from bot.language.sharing import OWN
from shared.pile import Kind, Record

SHORT: Mapping[tuple[str, Bare], str] = {
    # (we are waiting for, they said): the option that it means
    ("consent", "yes"): "agree",
    ("consent", "ok"): "agree",
    ("consent", "no"): "disagree",
    ("has_pile", "yes"): "have_pile",
    ("has_pile", "no"): "no_pile",
    ("has_pile", "not_yet"): "no_pile",
    ("has_pile", "done"): "have_pile",
    ("built_yet", "yes"): "have_pile",
    ("built_yet", "done"): "have_pile",
    ("built_yet", "no"): "no_pile",
    ("built_yet", "not_yet"): "no_pile",
    ("fill", "dont_know"): "at_once",
    ("fill", "skip"): "at_once",
    ("thermometer", "yes"): "thermometer",
    ("thermometer", "no"): "no_thermometer",
    ("thermometer", "not_yet"): "no_thermometer",
    ("turn", "yes"): "turned",
    ("turn", "done"): "turned",
    ("turn", "no"): "not_turned",
    ("turn", "not_yet"): "not_turned",
    ("water", "yes"): "watered",
    ("water", "done"): "watered",
    ("water", "no"): "not_watered",
    ("water", "not_yet"): "not_watered",
    ("browns", "yes"): "added_browns",
    ("browns", "done"): "added_browns",
    ("browns", "no"): "not_added",
    ("browns", "not_yet"): "not_added",
    ("greens", "yes"): "added_greens",
    ("greens", "done"): "added_greens",
    ("greens", "no"): "not_added",
    ("greens", "not_yet"): "not_added",
    ("cover", "yes"): "covered",
    ("cover", "done"): "covered",
    ("cover", "no"): "not_covered",
    ("reheat", "yes"): "heat.warm",
    ("reheat", "no"): "heat.cold",
    ("ready", "yes"): "texture.crumbly",
    ("ready", "done"): "harvested",
    ("ready", "no"): "texture.recognisable",
    ("ready", "not_yet"): "texture.recognisable",
    ("tool_ask", "yes"): "ask_holder",
    ("tool_ask", "no"): "no_need",
    ("tool", "yes"): "have_it",
    ("tool", "no"): "not_here",
    ("next_pile", "yes"): "new_pile",
    ("next_pile", "no"): "pause",
    ("restart", "yes"): "going_on",
    ("restart", "no"): "pause",
    ("forget", "yes"): "forget",
    ("forget", "no"): "keep",
    ("stop_all", "yes"): "stop",
    ("stop_all", "no"): "go_on",
    ("smoke", "yes"): "smoke",
    ("smoke", "no"): "steam",
    ("ash", "yes"): "smoke",
    ("ash", "no"): "growth",
    ("burnt_smell", "yes"): "smoke",
    ("burnt_smell", "no"): "steam",
}

_FACTS: Mapping[str, tuple[Kind, str | None]] = {
    "turned": ("turned", None),
    "not_turned": ("not_turned", None),
    "watered": ("watered", None),
    "covered": ("covered", None),
    "harvested": ("harvested", None),
    "feel.dry": ("moisture", "dry"),
    "feel.right": ("moisture", "right"),
    "feel.soggy": ("moisture", "soggy"),
    "heat.cold": ("heat_feel", "cold"),
    "heat.warm": ("heat_feel", "warm"),
    "heat.hot": ("heat_feel", "hot"),
    "smell.ammonia": ("smell", "ammonia"),
    "smell.rotten": ("smell", "rotten"),
    "smell.sour": ("smell", "sour"),
    "texture.crumbly": ("texture", "crumbly"),
    "texture.recognisable": ("texture", "recognisable"),
    "growth": ("growth", None),
    "pests.flies": ("pests", "flies"),
    "pests.ants": ("pests", "ants"),
    "pests.rodents": ("pests", "rodents"),
    "pests.other": ("pests", "other"),
}

_READINGS: Mapping[str, Units | None] = {
    "reading": None,
    "as_c": "c",
    "as_f": "f",
    "deep": None,
    "near_top": None,
}

_BUILT: Mapping[str, timedelta] = {
    "built.today": timedelta(0),
    "built.week": timedelta(days=4),
    "built.weeks": timedelta(days=21),
    "built.months": timedelta(days=90),
}
"""How long ago the pile was built, roughly; the day itself is better said in words."""

_ADDED: Mapping[str, str] = {"added_browns": "dry_leaves", "added_greens": "grass_clippings"}

_ASKS: Mapping[str, Ask] = {
    "help": Ask("person"),
    "pause": Ask("pause"),
    "new_pile": Ask("new_pile"),
    "not_watered": Ask("decline"),
    "not_added": Ask("decline"),
    "not_covered": Ask("decline"),
    "going_on": Ask("what_next"),
    "stop": Ask("stop"),
    "weekly": Ask("schedule", weekday="sat"),
    "how_build": Ask("how_build"),
    "saturdays": Ask("schedule", weekday="sat", at=time(10)),
    "sundays": Ask("schedule", weekday="sun", at=time(10)),
    "evenings": Ask("schedule", at=time(18)),
    "front": Ask("rename", topic="front"),
    "back": Ask("rename", topic="back"),
    "later": Ask("later"),
    "ask_holder": Ask("ask_holder"),
    "have_it": Ask("has_tool", name=OWN),
    "not_here": Ask("tool_gone"),
    "trouble.smell": Ask("trouble", topic="smell"),
    "trouble.pests": Ask("trouble", topic="pests"),
    "trouble.cold": Ask("trouble", topic="cold"),
    "trouble.wet": Ask("trouble", topic="wet"),
    "trouble.plants": Ask("trouble", topic="plants"),
}

_SETUPS: Mapping[str, Setup] = {
    "have_pile": Setup(has_pile=True),
    "no_pile": Setup(has_pile=False),
    "at_once": Setup(fed=False),
    "as_i_go": Setup(fed=True),
    "thermometer": Setup(thermometer=True),
    "no_thermometer": Setup(thermometer=False),
}

_BARE: Mapping[str, Bare] = {
    "agree": "yes",
    "disagree": "no",
    "forget": "yes",
    "keep": "no",
    "go_on": "no",
    "no_need": "no",
    "steam": "no",
    "unknown": "dont_know",
    "pass": "skip",
}


def picked(question: Mapping[str, Any], meaning: Meaning) -> str | None:
    """The option that a digit or a short answer picks, None where it picks none."""
    options: Sequence[str] = question.get("options", ())
    number = meaning.number
    if number is not None and number == int(number) and 1 <= number <= len(options):
        return options[int(number) - 1]
    scale = next((ask.units for ask in meaning.asks if ask.kind == "units"), None)
    if scale is not None and question.get("ask") == "number":
        return next((option for option in options if option.startswith(f"as_{scale}")), None)
    if meaning.bare is None or (meaning.bare == "yes" and "advised" in question):
        return None  # "yes" to advice is a promise
    return SHORT.get((question.get("ask", ""), meaning.bare))


def as_said(option: str, meaning: Meaning, today: date) -> Meaning:
    """What the picked option would have meant in words, instead of the digit or the short answer."""
    plain = replace(meaning, facts=(), asks=(), bare=None, number=None)
    key, _, value = option.partition(":")
    if key in _READINGS:
        record = Record("temperature", today, core_c=float(value), edge=key == "near_top")
        return replace(plain, facts=(Fact(record, units=_READINGS[key]),))
    if option in _FACTS:
        kind, word = _FACTS[option]
        return replace(plain, facts=(Fact(Record(kind, today, word=word)),))
    if option in _BUILT:
        return replace(plain, facts=(Fact(Record("built", today - _BUILT[option])),))
    if option in _ADDED:
        return replace(plain, facts=(Fact(Record("added", today, material=_ADDED[option])),))
    if option in _ASKS:
        return replace(plain, asks=(_ASKS[option],))
    if option in _SETUPS:
        return replace(plain, setup=_SETUPS[option])
    if option == "smoke":
        return replace(plain, facts=(Fact(Record("smoke", today)),), danger="smoke")
    return replace(plain, bare=_BARE.get(option))
