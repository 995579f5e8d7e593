"""What the figures count: households, and their piles condensed to what one year wants to know of them.

The rules are those that `figures` states.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from shared.cohort import Spell
from shared.diversion import group_of
from shared.errors import UnknownMaterial
from shared.harvest import RESTED_BELOW_C
from storage.classes import HARVEST_RESTS, SILENT, SILENT_AFTER_HARVEST
from storage.reports import Graduate, Heap

SIGNS_WITHIN = timedelta(days=14)
STANDING_BEFORE = timedelta(days=28)
"""The range that counts as promised: the one that stood four weeks before the finish."""


@dataclass(frozen=True, slots=True)
class Batch:
    """What the figures of one year want to know of a pile, without its records.

    hottest_c   the highest reading, None without one       finished   the finish that was seen, if one was
    harvests    days and litres; litres None where not told
    added_l     loose litres of each feedstock that went in during the year; unsaid: entries without an amount
    kept        whether the range that stood four weeks before the finish held: "kept", "sooner", "later"
    """

    keepers: tuple[int, ...]
    last_told: datetime
    has_bin: bool | None
    built: date | None
    hottest_c: float | None
    finished: date | None
    harvests: tuple[tuple[date, float | None], ...]
    added_l: Mapping[str, float]
    unsaid: int
    kept: str | None


@dataclass(frozen=True, slots=True)
class Followed:
    """A spell of going on; days from joining to the last word, and to the end of what can be known."""

    spell: Spell
    heard: int
    age: int


@dataclass(frozen=True, slots=True)
class Household:
    """Graduates who share piles, and the piles."""

    members: tuple[Graduate, ...]
    piles: tuple[Batch, ...]

    @property
    def first(self) -> Graduate:
        """The member who joined first."""
        return min(self.members, key=lambda one: (one.joined_at, one.id))

    @property
    def composted_before(self) -> bool | None:
        """Whether anybody did; None where nobody has said."""
        said = [one.composted_before for one in self.members if one.composted_before is not None]
        return any(said) if said else None

    @property
    def has_bin(self) -> bool | None:
        """Whether their piles stand in bins; None where nobody has said."""
        said = [pile.has_bin for pile in self.piles if pile.has_bin is not None]
        return any(said) if said else None

    @property
    def last_heard(self) -> datetime:
        """The last word of a pile of theirs, or of joining."""
        return max([self.first.joined_at, *(pile.last_told for pile in self.piles)])

    @property
    def stopped_at(self) -> datetime | None:
        """When the last member opted out; None where one of them still may be written to."""
        ends = [one.stopped_at for one in self.members]
        return max(end for end in ends if end is not None) if all(ends) else None

    def is_silent(self, until: datetime) -> bool:
        """Whether they have been silent for longer than somebody does who goes on."""
        taken_out = [on for pile in self.piles for on, _ in pile.harvests]
        last = self.last_heard
        rests = any(timedelta(0) <= last.date() - on <= HARVEST_RESTS for on in taken_out)
        return until - last > (SILENT_AFTER_HARVEST if rests else SILENT)

    def goes_on(self, until: datetime) -> bool:
        """Whether they have neither stopped nor fallen silent by then."""
        return self.stopped_at is None and not self.is_silent(until)

    def follow(self, until: datetime) -> Followed | None:
        """What is known of them on the day by which silence can tell; None where they joined after it."""
        joined, cutoff = self.first.joined_at, until - SILENT
        if joined > cutoff:
            return None
        heard, age = (min(self.last_heard, cutoff) - joined).days, (cutoff - joined).days
        if self.stopped_at is not None and self.stopped_at <= cutoff:
            return Followed(Spell((min(self.stopped_at, self.last_heard) - joined).days, True), heard, age)
        if self.is_silent(until):
            return Followed(Spell(heard, True), heard, age)
        return Followed(Spell(age, False), heard, age)


def households(graduates: Sequence[Graduate], batches: Iterable[Batch]) -> list[Household]:
    """Everybody, by the piles that they share, in the order in which they joined."""
    head = {one.id: one.id for one in graduates}

    def top(person_id: int) -> int:
        while head[person_id] != person_id:
            head[person_id] = person_id = head[head[person_id]]
        return person_id

    theirs = [
        (known, pile)
        for pile in batches
        if (known := [person_id for person_id in pile.keepers if person_id in head])
    ]
    for known, _ in theirs:
        for other in known[1:]:
            head[top(other)] = top(known[0])
    members: defaultdict[int, list[Graduate]] = defaultdict(list)
    piles: defaultdict[int, list[Batch]] = defaultdict(list)
    for one in graduates:
        members[top(one.id)].append(one)
    for known, pile in theirs:
        piles[top(known[0])].append(pile)
    found = [Household(tuple(group), tuple(piles[head_id])) for head_id, group in members.items()]
    return sorted(found, key=lambda one: (one.first.joined_at, one.first.id))


def condense(heap: Heap, year: int) -> Batch:
    """A pile without its records."""
    built, added, unsaid = heap.setup.get("built"), defaultdict[str, float](float), 0
    for on, material, litres in put_in(heap):
        if on.year != year:
            continue
        if litres is None:
            unsaid += diverts(material)
        else:
            added[material] += litres
    readings = [
        data["core_c"] for kind, _, data in heap.records if kind == "temperature" and "core_c" in data
    ]
    return Batch(
        keepers=heap.keepers,
        last_told=heap.last_told,
        has_bin=heap.setup.get("bin"),
        built=None if built is None else date.fromisoformat(built),
        hottest_c=max(readings, default=None),
        finished=(finished := finish(heap)),
        harvests=tuple((on, data.get("litres")) for kind, on, data in heap.records if kind == "harvested"),
        added_l=dict(added),
        unsaid=unsaid,
        kept=None if finished is None else promise_kept(heap, finished),
    )


def finish(heap: Heap) -> date | None:
    """The first day by which look, smell and warmth all said that the pile is done, if they did."""
    seen: dict[str, date] = {}
    for kind, on, data in heap.records:
        word = data.get("word")
        if kind == "texture":
            _note(seen, "look", on, word == "crumbly")
        elif kind == "smell":
            _note(seen, "smell", on, word in ("earthy", "none"))
        elif kind == "temperature" and data.get("core_c") is not None:
            _note(seen, "cool", on, data["core_c"] < RESTED_BELOW_C)
        elif kind == "heat_feel":
            _note(seen, "cool", on, word != "hot")
        if len(seen) == 3 and max(seen.values()) - min(seen.values()) <= SIGNS_WITHIN:
            return max(seen.values())
    return None


def _note(seen: dict[str, date], sign: str, on: date, holds: bool) -> None:
    if holds:
        seen[sign] = on
    else:
        seen.pop(sign, None)


def put_in(heap: Heap) -> Iterable[tuple[date, str, float | None]]:
    """Everything that went in: day, feedstock, loose litres where they were told."""
    built = heap.setup.get("built")
    if built is not None and "ingredients" not in heap.setup.get("assumed", ()):
        for material, litres in heap.setup.get("ingredients", ()):
            yield date.fromisoformat(built), material, litres
    for kind, on, data in heap.records:
        if kind == "added" and data.get("material"):
            yield on, data["material"], data.get("litres")


def diverts(material: str) -> bool:
    """Whether it would have gone to the landfill; what nobody knows the weight of is left out."""
    try:
        return group_of(material) != "none"
    except UnknownMaterial:
        return False


def promise_kept(heap: Heap, finished: date) -> str | None:
    """Whether the finish came within the range that stood four weeks before; None where none stood."""
    standing = [(first, last) for at, first, last in heap.promises if at.date() <= finished - STANDING_BEFORE]
    if not standing:
        return None
    first, last = standing[-1]
    return "sooner" if finished < first else "later" if finished > last else "kept"
