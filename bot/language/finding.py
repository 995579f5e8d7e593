"""What the readers of deeds, states and measures hand on: a fact at its place, not yet of a day or pile."""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from bot.language.items import Item
from bot.language.meaning import Units
from bot.language.quantities import Doubt
from shared.pile import Kind

EVENTS: tuple[Kind, ...] = ("turned", "not_turned", "watered", "covered", "uncovered", "built", "harvested")
UNREAL = {"plan", "hypo", "ask"}


@dataclass(slots=True)
class Finding:
    """A fact at its place in the message, before day and pile are known. tense: "past", "present" or ""."""

    kind: Kind
    at: int
    tense: str = ""
    fields: dict[str, Any] = field(default_factory=dict)
    doubt: Doubt | None = None
    on: date | None = None
    hour: float | None = None
    pile: str | None = None
    units: Units | None = None


def near(items: list[Item], at: int, *labels: str, back: int = 4, ahead: int = 0) -> bool:
    span = [*items[max(0, at - back) : at], *items[at + 1 : at + 1 + ahead]]
    return any(x.has(*labels) for x in span if x.sentence == items[at].sentence)


def tense_at(items: list[Item], at: int) -> str:
    """Of the nearest verb before it in its clause, or of the one it holds itself."""
    for i in range(at, -1, -1):
        if items[i].sentence != items[at].sentence or (
            i < at and items[i].has("<date>") and items[i + 1].has("<break>")
        ):
            break
        if items[i].has("<was>"):
            return "past"
        if items[i].key == "s" and i and items[i - 1].has("<date>"):
            continue  # "yesterday's reading"
        if items[i].has("<is>", "<now>") or any(
            label.endswith((".now>", ".ing>")) for label in items[i].labels
        ):
            return "present"
    return ""
