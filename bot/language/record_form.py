"""The record form of a meaning, as `warmheap understand` prints it: a projection, poorer than the meaning."""

from datetime import datetime, time
from typing import Any

from bot.language.meaning import Ask, Fact, Meaning
from shared.materials import material
from shared.pile import Record

RECORD_ASKS = {
    "when_ready": (), "what_next": (), "state": (), "picture": (), "may_add": ("material",), "mix": (),
    "water_amount": (), "harvest_amount": (), "safe_use": (), "trouble": (), "later": ("on",),
    "pause": ("until",),
    "resume": (), "stop": (), "start": (), "help": (), "person": (), "language": ("language",), "undo": (),
    "correction": (), "join": ("code",), "share": (), "claim": (), "hand_over": (),
    "schedule": ("weekday", "time"), "forget_me": (), "my_data": (), "thanks": (), "greeting": (), "yes": (),
    "no": (),
}  # fmt: skip
OTHER_ONE = ("other", "otra")  # no name: which one it is, the conversation knows


def project(meaning: Meaning, now: datetime) -> dict[str, Any]:
    """The record form {"language", "facts", "asks"} that `warmheap understand` prints.

    A bare "done" is a turning, "not yet" none; an edge reading and an impossible one are left out.
    """
    facts = [_fact(fact) for fact in meaning.facts if _printed(fact, meaning.facts)]
    asks: list[dict[str, Any]] = []
    for ask in meaning.asks:
        if ask.kind in RECORD_ASKS and (printed := _ask(ask)) not in asks:
            asks.append(printed)  # oak leaves and walnut leaves are both dry leaves there
    today = now.date()
    turning = any(fact.record.kind in ("turned", "not_turned", "watered") for fact in meaning.facts)
    lead = meaning.lead if meaning.facts and not turning else None
    if "done" in (meaning.bare, lead):
        facts.append(_fact(Fact(Record("turned", today))))
    elif "not_yet" in (meaning.bare, lead):
        facts.append(_fact(Fact(Record("not_turned", today))))
    elif meaning.bare in ("yes", "no"):
        asks.append({"kind": meaning.bare})
    return {"language": meaning.language, "facts": facts, "asks": asks}


def _printed(fact: Fact, facts: tuple[Fact, ...]) -> bool:
    if fact.doubt == "impossible":
        return False
    core = any(f.record.kind == "temperature" and not f.record.edge and f.pile == fact.pile for f in facts)
    return not (fact.record.edge and core)


def _fact(fact: Fact) -> dict[str, Any]:
    record = fact.record
    printed: dict[str, Any] = {"kind": record.kind}
    if record.core_c is not None:
        printed["f"] = round(record.core_c * 1.8 + 32, 1)
    if record.word is not None:
        field = {"smell": "smell", "pests": "pest", "texture": "texture"}.get(record.kind, "feel")
        printed[field] = record.word
    if record.material is not None:
        printed["material"] = material(record.material).record_id
    if record.kind in ("added", "watered"):
        printed["litres"] = None if record.litres is None else round(record.litres, 1)
    if record.kind == "height" and record.height_m is not None:
        printed["cm"] = round(record.height_m * 100)
    printed["on"] = record.on.isoformat()
    if fact.pile is not None and fact.pile not in OTHER_ONE:
        printed["pile"] = fact.pile
    return printed


def _ask(ask: Ask) -> dict[str, Any]:
    values: dict[str, Any] = {
        "material": ask.material and material(ask.material).record_id,
        "on": ask.on, "until": ask.on, "language": ask.language, "code": ask.code,
        "weekday": ask.weekday, "time": ask.at,
    }  # fmt: skip
    printed: dict[str, Any] = {"kind": ask.kind}
    for name in RECORD_ASKS[ask.kind]:
        value = values[name]
        if isinstance(value, time):
            printed[name] = value.strftime("%H:%M")
        else:
            printed[name] = value.isoformat() if hasattr(value, "isoformat") else value
    return printed
