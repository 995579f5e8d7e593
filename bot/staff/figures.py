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
from dataclasses import asdict
from datetime import date, datetime
from statistics import median
from typing import Any

from bot.staff.households import Batch, Followed, Household, condense, diverts, households
from shared.cohort import still_going, wilson
from shared.diversion import diverted, group_of
from shared.pile import Ingredient
from storage.reports import Asked, Graduate, Heap, Helped, SurveyItem, Taught

DAYS = (30, 90, 180, 365)
LEAST_GROUP = 5
"""Groups of fewer households are not shown: somebody could be known by them."""
HOT_C = 45.0


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
            if diverts(material):
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
