"""The figures of a year, each from its rows by a stated rule; plain JSON, so that they can be frozen.

household   everybody who shares a pile counts once; a graduate without a pile counts alone. Joined when its
            first member said yes; class and language are that member's.
started     something was told of a pile of theirs.
going       heard of within 60 days; within 180 of a harvest they rest. Who was silent longer has ended on the
            day of the last word, and an opt-out of all members ends it too: silence is no success. Since 60
            days must pass before silence tells, everybody is followed up to 60 days before the data date.
finished    crumbly, earthy or without smell, and not hot, all told within a fortnight: an observed finish.
            A harvest without these signs counts as a batch, but judges no forecast.
diverted    what was told with an amount; what had none is counted, not guessed.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any

from shared.cohort import Spell, still_going, wilson
from shared.diversion import diverted, group_of
from shared.errors import UnknownMaterial
from shared.harvest import RESTED_BELOW_C
from shared.pile import Ingredient
from storage.classes import HARVEST_RESTS, SILENT, SILENT_AFTER_HARVEST
from storage.reports import Asked, Graduate, Heap, Helped, SurveyItem, Taught

DAYS = (30, 90, 180, 365)
LEAST_GROUP = 5
"""Groups of fewer households are not shown: somebody could be known by them."""
HOT_C = 45.0
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
            unsaid += _diverts(material)
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


def curve(group: Iterable[Followed]) -> list[dict[str, Any]]:
    """Still going after 30, 90, 180, 365 days; beside each how many were heard of since, how many rest."""
    followed = list(group)
    points = []
    for day in DAYS:
        old = [one for one in followed if one.age >= day]
        point: dict[str, Any] = {"day": day, "share": None, "followed": None, "seen": None, "resting": None}
        if len(old) >= LEAST_GROUP:
            share = still_going([one.spell for one in followed], day)
            point |= {
                "share": None if share is None else asdict(share),
                "followed": len(old),
                "seen": sum(1 for one in old if one.heard >= day),
                "resting": sum(1 for one in old if one.heard < day and not one.spell.ended),
            }
        points.append(point)
    return points


def by_group(everybody: Iterable[tuple[str | None, Followed]]) -> dict[str, Any]:
    """A curve for each group that is large enough; the small ones only as a number of groups."""
    groups: defaultdict[str, list[Followed]] = defaultdict(list)
    for name, one in everybody:
        groups[name or "unknown"].append(one)
    large = {name: group for name, group in sorted(groups.items()) if len(group) >= LEAST_GROUP}
    return {
        "groups": {name: {"n": len(group), "curve": curve(group)} for name, group in large.items()},
        "hidden": len(groups) - len(large),
    }


def diversion(group: Sequence[Household]) -> dict[str, Any]:
    """What was kept out of the landfill in the year [kg], low, middle and high, by group of material."""
    litres: defaultdict[str, float] = defaultdict(float)
    ingredients = []
    for pile in (pile for one in group for pile in one.piles):
        for material, amount in pile.added_l.items():
            if _diverts(material):
                litres[group_of(material)] += amount
                ingredients.append(Ingredient(material, amount / 1000))
    mass = diverted(ingredients)
    return {
        "households": len(group),
        "litres": dict(sorted(litres.items())),
        "low_kg": mass.low_kg,
        "middle_kg": mass.middle_kg,
        "high_kg": mass.high_kg,
        "spared_t": list(mass.spared_t),
        "lists": list(mass.lists),
        "without_amount": sum(pile.unsaid for one in group for pile in one.piles),
    }


def _diverts(material: str) -> bool:
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


def promises_kept(batches: Iterable[Batch]) -> dict[str, Any]:
    """How often the finish came within the promised range, with its band."""
    found = Counter(pile.kept for pile in batches if pile.kept is not None)
    return {
        "promised_share": 0.8,
        "kept": found["kept"],
        "sooner": found["sooner"],
        "later": found["later"],
        "share": asdict(wilson(found["kept"], found.total())) if found else None,
    }


def figures(
    year: int,
    until: datetime,
    data_date: date,
    graduates: Sequence[Graduate],
    heaps: Iterable[Heap],
    classes: Sequence[Taught],
    questions: Sequence[Asked],
    helped: Sequence[Helped],
    surveys: Sequence[SurveyItem],
    blocked: int,
) -> dict[str, Any]:
    """Every figure of the yearly report. `until`: the end of `data_date`, up to which the rows were read."""
    piles = [condense(heap, year) for heap in heaps]
    everybody = households(graduates, piles)
    followed = [(one, known) for one in everybody if (known := one.follow(until)) is not None]
    joined = [one for one in everybody if one.first.joined_at.year == year]
    taught = [one for one in classes if one.taught_on is not None and one.taught_on.year == year]
    codes = {one.code for one in taught}
    return {
        "year": year,
        "data_date": data_date.isoformat(),
        "classes": {
            "held": len(taught),
            "seats": sum(one.seats or 0 for one in taught),
            "by_language": dict(sorted(Counter(one.language for one in taught).items())),
            "each": [class_counts(one, everybody, until) for one in taught],
        },
        "households": {
            "joined": len(joined),
            "started": sum(1 for one in joined if one.piles),
            "people": sum(1 for one in graduates if one.joined_at.year == year),
            "new": sum(1 for one in joined if one.composted_before is False),
            "before": sum(1 for one in joined if one.composted_before is True),
            "not_said": sum(1 for one in joined if one.composted_before is None),
            "stopped": sum(1 for one in graduates if one.stopped_at and one.stopped_at.year == year),
            "unreachable": blocked,
            "all_years": len(everybody),
        },
        "going": {
            "all": {"n": len(followed), "curve": curve(known for _, known in followed)},
            "class": by_group(
                (one.first.class_code, known) for one, known in followed if one.first.class_code in codes
            ),
            "language": by_group((one.first.language, known) for one, known in followed),
            "bin": by_group((_bin(one), known) for one, known in followed),
        },
        "batches": batches(piles, year),
        "diversion": {
            name: diversion([one for one in everybody if one.composted_before is before])
            for name, before in (("new", False), ("before", True), ("not_said", None))
        },
        "forecasts": promises_kept(piles),
        "questions": _answered(questions, helped),
        "surveys": [asdict(item) for item in surveys],
    }


def class_counts(taught: Taught, everybody: Sequence[Household], until: datetime) -> dict[str, Any]:
    """Of a class: seats, households that joined by its code, that started, that still go on."""
    mine = [one for one in everybody if one.first.class_code == taught.code]
    return {
        "code": taught.code,
        "title": taught.title,
        "taught_on": taught.taught_on.isoformat() if taught.taught_on else None,
        "language": taught.language,
        "seats": taught.seats,
        "joined": len(mine),
        "started": sum(1 for one in mine if one.piles),
        "going": sum(1 for one in mine if one.piles and one.goes_on(until)),
    }


def batches(piles: Sequence[Batch], year: int) -> dict[str, Any]:
    """Piles built and harvested in the year, how many ran hot, and how long the finished ones took [d]."""
    built = [pile for pile in piles if pile.built is not None and pile.built.year == year]
    read = [pile.hottest_c for pile in built if pile.hottest_c is not None]
    taken = [litres for pile in piles for on, litres in pile.harvests if on.year == year]
    days = [
        (pile.finished - pile.built).days
        for pile in piles
        if pile.built is not None and pile.finished is not None and pile.finished.year == year
    ]
    return {
        "built": len(built),
        "with_readings": len(read),
        "hot": sum(1 for core_c in read if core_c >= HOT_C),
        "harvests": len(taken),
        "harvests_with_amount": sum(1 for litres in taken if litres is not None),
        "harvested_l": sum(litres for litres in taken if litres is not None),
        "finished": len(days),
        "median_days": median(days) if days else None,
    }


def _answered(questions: Sequence[Asked], helped: Sequence[Helped]) -> dict[str, Any]:
    hours = [(one.handled_at - one.opened_at).total_seconds() / 3600 for one in helped if one.handled_at]
    return {
        "by_program": sum(1 for one in questions if not one.by_staff),
        "by_staff": sum(1 for one in questions if one.by_staff),
        "top": Counter(one.topic for one in questions).most_common(10),
        "help_rows": len(helped),
        "help_handled": len(hours),
        "median_hours": median(hours) if hours else None,
        "dangers": sum(1 for one in helped if one.cause == "danger"),
        "complaints": sum(1 for one in helped if one.cause == "complaint"),
    }


def _bin(one: Household) -> str | None:
    return None if one.has_bin is None else "bin" if one.has_bin else "heap"
