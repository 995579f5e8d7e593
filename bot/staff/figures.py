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
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any

from shared.cohort import Spell, still_going, wilson
from shared.diversion import Group, diverted, group_of
from shared.errors import UnknownMaterial
from shared.pile import Ingredient
from storage.classes import HARVEST_RESTS, SILENT, SILENT_AFTER_HARVEST
from storage.reports import Asked, Graduate, Heap, Helped, SurveyItem, Taught

DAYS = (30, 90, 180, 365)
LEAST_GROUP = 5
"""Groups of fewer households are not shown: somebody could be known by them."""
HOT_C = 45.0
COLD_C = 41.0
"""A finished pile stays under 105 °F (On-Farm Composting Handbook, from memory)."""
SIGNS_WITHIN = timedelta(days=14)
STANDING_BEFORE = timedelta(days=28)
"""The range that counts as promised: the one that stood four weeks before the finish."""


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
    heaps: tuple[Heap, ...]

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
        said = [heap.setup["bin"] for heap in self.heaps if heap.setup.get("bin") is not None]
        return any(said) if said else None

    @property
    def last_heard(self) -> datetime:
        """The last word of a pile of theirs, or of joining."""
        return max([self.first.joined_at, *(heap.last_told for heap in self.heaps)])

    @property
    def stopped_at(self) -> datetime | None:
        """When the last member opted out; None where one of them still may be written to."""
        ends = [one.stopped_at for one in self.members]
        return max(end for end in ends if end is not None) if all(ends) else None

    def is_silent(self, until: datetime) -> bool:
        """Whether they have been silent for longer than somebody does who goes on."""
        taken_out = [on for heap in self.heaps for kind, on, _ in heap.records if kind == "harvested"]
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


def households(graduates: Sequence[Graduate], heaps: Sequence[Heap]) -> list[Household]:
    """Everybody, by the piles that they share, in the order in which they joined."""
    by_id = {one.id: one for one in graduates}
    head = {one.id: one.id for one in graduates}

    def top(person_id: int) -> int:
        while head[person_id] != person_id:
            head[person_id] = person_id = head[head[person_id]]
        return person_id

    for heap in heaps:
        known = [person_id for person_id in heap.keepers if person_id in by_id]
        for other in known[1:]:
            head[top(other)] = top(known[0])
    members: defaultdict[int, list[Graduate]] = defaultdict(list)
    piles: defaultdict[int, list[Heap]] = defaultdict(list)
    for one in graduates:
        members[top(one.id)].append(one)
    for heap in heaps:
        known = [person_id for person_id in heap.keepers if person_id in by_id]
        if known:
            piles[top(known[0])].append(heap)
    found = [Household(tuple(group), tuple(piles[head_id])) for head_id, group in members.items()]
    return sorted(found, key=lambda one: (one.first.joined_at, one.first.id))


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
            _note(seen, "cool", on, data["core_c"] < COLD_C)
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


def harvests(heap: Heap) -> list[tuple[date, float | None]]:
    """Days on which compost was taken out, with the litres where they were told."""
    return [(on, data.get("litres")) for kind, on, data in heap.records if kind == "harvested"]


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


def diversion(group: Sequence[Household], year: int) -> dict[str, Any]:
    """What was kept out of the landfill in the year [kg], low, middle and high, by group of material."""
    litres: defaultdict[Group, float] = defaultdict(float)
    ingredients, unsaid = [], 0
    for one in group:
        for heap in one.heaps:
            for on, name, amount in put_in(heap):
                if on.year != year:
                    continue
                try:
                    kind = group_of(name)
                except UnknownMaterial:
                    kind = "none"
                if kind == "none":
                    continue
                if amount is None:
                    unsaid += 1
                    continue
                litres[kind] += amount
                ingredients.append(Ingredient(name, amount / 1000))
    mass = diverted(ingredients)
    return {
        "households": len(group),
        "litres": dict(sorted(litres.items())),
        "low_kg": mass.low_kg,
        "middle_kg": mass.middle_kg,
        "high_kg": mass.high_kg,
        "lists": list(mass.lists),
        "without_amount": unsaid,
    }


def promises_kept(heaps: Iterable[Heap], until: date) -> dict[str, Any]:
    """Of the piles with an observed finish: was it within the range that stood four weeks before?"""
    kept = early = late = 0
    for heap in heaps:
        done = finish(heap)
        if done is None or done > until:
            continue
        standing = [(first, last) for at, first, last in heap.promises if at.date() <= done - STANDING_BEFORE]
        if not standing:
            continue
        first, last = standing[-1]
        kept += first <= done <= last
        early += done < first
        late += done > last
    of = kept + early + late
    return {
        "promised_share": 0.8,
        "kept": kept,
        "sooner": early,
        "later": late,
        "share": asdict(wilson(kept, of)) if of else None,
    }


def figures(
    year: int,
    until: datetime,
    data_date: date,
    graduates: Sequence[Graduate],
    heaps: Sequence[Heap],
    classes: Sequence[Taught],
    questions: Sequence[Asked],
    helped: Sequence[Helped],
    surveys: Sequence[SurveyItem],
    blocked: int,
) -> dict[str, Any]:
    """Every figure of the yearly report. `until`: the end of `data_date`, up to which the rows were read."""
    everybody = households(graduates, heaps)
    followed = [(one, known) for one in everybody if (known := one.follow(until)) is not None]
    joined = [one for one in everybody if one.first.joined_at.year == year]
    taught = [one for one in classes if one.taught_on is not None and one.taught_on.year == year]
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
            "started": sum(1 for one in joined if one.heaps),
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
            "class": by_group((one.first.class_code, known) for one, known in followed),
            "language": by_group((one.first.language, known) for one, known in followed),
            "bin": by_group((_bin(one), known) for one, known in followed),
        },
        "batches": batches(heaps, year),
        "diversion": {
            name: diversion([one for one in everybody if one.composted_before is before], year)
            for name, before in (("new", False), ("before", True), ("not_said", None))
        },
        "forecasts": promises_kept(heaps, data_date),
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
        "started": sum(1 for one in mine if one.heaps),
        "going": sum(1 for one in mine if one.heaps and one.goes_on(until)),
    }


def batches(heaps: Sequence[Heap], year: int) -> dict[str, Any]:
    """Piles built and harvested in the year, how many ran hot, and how long the finished ones took [d]."""
    built = {heap.id: date.fromisoformat(heap.setup["built"]) for heap in heaps if heap.setup.get("built")}
    hottest: dict[int, float] = {}
    for heap in heaps:
        read = [d["core_c"] for kind, _, d in heap.records if kind == "temperature" and d.get("core_c")]
        if read and heap.id in built and built[heap.id].year == year:
            hottest[heap.id] = max(read)
    taken = [litres for heap in heaps for on, litres in harvests(heap) if on.year == year]
    days = [
        (done - built[heap.id]).days
        for heap in heaps
        if heap.id in built and (done := finish(heap)) is not None and done.year == year
    ]
    return {
        "built": sum(1 for on in built.values() if on.year == year),
        "with_readings": len(hottest),
        "hot": sum(1 for core_c in hottest.values() if core_c >= HOT_C),
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
