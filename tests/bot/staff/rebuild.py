"""Rebuilds the yearly figures from the export alone; it knows the data dictionary and nothing of our code.

    python tests/bot/staff/rebuild.py export.zip 2026 2026-12-31 America/Denver

The rules are those that the report states: who shares a pile is one household; going means heard of within 60
days, or within 180 where the last word came within a fortnight of a harvest; everybody is followed up to 60
days before the data date; groups under five are not shown.
"""

import csv
import io
import json
import math
import sys
import zipfile
from collections import Counter, defaultdict
from datetime import date, datetime, timedelta
from statistics import median
from zoneinfo import ZoneInfo

Z = 1.959963984540054
SIXTY = timedelta(days=60)


def tables(archive):
    """Every CSV file of the archive as a list of dicts; a cell that was made harmless is itself again."""
    with zipfile.ZipFile(io.BytesIO(archive)) as packed:
        return {
            name.removesuffix(".csv"): [
                {
                    key: cell[1:] if cell[:1] == "'" and cell[1:2] in "=+-@\t\r" else cell
                    for key, cell in row.items()
                }
                for row in csv.DictReader(io.StringIO(packed.read(name).decode()))
            ]
            for name in packed.namelist()
            if name.endswith(".csv")
        }


def moment(cell):
    """A moment; a cell without one is None."""
    return datetime.fromisoformat(cell) if cell else None


def known_by(rows, column, until):
    """The rows written by then."""
    return [row for row in rows if moment(row[column]) <= until]


def holding(rows):
    """The records of a pile that hold, each in the place of the one that it replaces."""
    place = {row["id"]: int(row["id"]) for row in rows}
    for row in rows:
        place[row["id"]] = place.get(row["replaces_id"], place[row["id"]])
    replaced, kept = set(), []
    for row in reversed(rows):
        if row["id"] not in replaced:
            kept.append(row)
            replaced.add(row["replaces_id"])
    return sorted(kept, key=lambda row: place[row["id"]])


def finished_on(told):
    """The day by which crumbly, earthy or odourless, and cool were all told within a fortnight."""
    seen = {}
    for kind, on, data in told:
        sign = {"texture": "look", "smell": "smell", "temperature": "cool", "heat_feel": "cool"}.get(kind)
        if sign is None or (kind == "temperature" and "core_c" not in data):
            continue
        good = {
            "texture": data.get("word") == "crumbly",
            "smell": data.get("word") in ("earthy", "none"),
            "temperature": data.get("core_c", 99) < 41,
            "heat_feel": data.get("word") != "hot",
        }[kind]
        if good:
            seen[sign] = on
        else:
            seen.pop(sign, None)
        if len(seen) == 3 and max(seen.values()) - min(seen.values()) <= timedelta(days=14):
            return max(seen.values())
    return None


def piles_of(data, until, year):
    """Each pile of which something was told, with what the figures want of it."""
    by_pile = defaultdict(list)
    for row in sorted(known_by(data["record"], "said_at", until), key=lambda row: int(row["id"])):
        by_pile[row["pile_id"]].append(row)
    keepers = defaultdict(list)
    for row in known_by(data["keeper"], "joined_at", until):
        keepers[row["pile_id"]].append(int(row["person_id"]))
    promises = defaultdict(list)
    for row in known_by(data["promise"], "at", until):
        promises[row["pile_id"]].append(row)
    for pile_id, rows in sorted(by_pile.items(), key=lambda pair: int(pair[0])):
        setup, told = {}, []
        for row in holding(rows):
            if row["kind"] == "setup":
                setup |= json.loads(row["data"])
            elif row["kind"] != "undo":
                told.append((row["kind"], date.fromisoformat(row["on_day"]), json.loads(row["data"])))
        entries = [
            (on, one["material"], one.get("litres"))
            for kind, on, one in told
            if kind == "added" and "material" in one
        ]
        if "built" in setup and "ingredients" not in setup.get("assumed", ()):
            built = date.fromisoformat(setup["built"])
            entries = [(built, name, litres) for name, litres in setup.get("ingredients", ())] + entries
        done = finished_on(told)
        standing = [
            row
            for row in promises[pile_id]
            if done is not None and moment(row["at"]).date() <= done - timedelta(days=28)
        ]
        yield {
            "keepers": sorted(keepers[pile_id]),
            "last": max(moment(row["said_at"]) for row in rows),
            "bin": setup.get("bin"),
            "built": date.fromisoformat(setup["built"]) if "built" in setup else None,
            "hottest": max(
                (one["core_c"] for kind, _, one in told if kind == "temperature" and "core_c" in one),
                default=None,
            ),
            "done": done,
            "harvests": [(on, one.get("litres")) for kind, on, one in told if kind == "harvested"],
            "entries": [entry for entry in entries if entry[0].year == year],
            "kept": None if not standing else judged(done, standing[-1]),
        }


def judged(done, promise):
    """Whether a finish came within the range."""
    if done < date.fromisoformat(promise["first"]):
        return "sooner"
    return "later" if done > date.fromisoformat(promise["last"]) else "kept"


def graduates_of(data, until):
    """Everybody who had said yes by then."""
    joined, stopped = {}, {}
    for row in sorted(known_by(data["consent"], "at", until), key=lambda row: int(row["id"])):
        who, at = int(row["person_id"]), moment(row["at"])
        if row["given"] == "true":
            joined.setdefault(who, at)
            stopped[who] = None
        else:
            stopped[who] = stopped.get(who) or at
    before = {"true": True, "false": False, "": None}
    return [
        {
            "id": int(row["id"]),
            "class": row["class_code"] or None,
            "language": row["language"],
            "joined": joined[int(row["id"])],
            "stopped": stopped[int(row["id"])],
            "before": before[row["composted_before"]],
        }
        for row in data["person"]
        if int(row["id"]) in joined
    ]


def households_of(graduates, piles):
    """Graduates who share piles, as groups with their piles."""
    groups = {one["id"]: {one["id"]} for one in graduates}
    for pile in piles:
        known = [who for who in pile["keepers"] if who in groups]
        if known:
            merged = set().union(*(groups[who] for who in known))
            for who in merged:
                groups[who] = merged
    by_id = {one["id"]: one for one in graduates}
    found = []
    for group in {id(group): group for group in groups.values()}.values():
        members = sorted((by_id[who] for who in group), key=lambda one: (one["joined"], one["id"]))
        mine = [pile for pile in piles if group & set(pile["keepers"])]
        said = [one["before"] for one in members if one["before"] is not None]
        bins = [pile["bin"] for pile in mine if pile["bin"] is not None]
        ends = [one["stopped"] for one in members]
        found.append(
            {
                "first": members[0],
                "members": members,
                "piles": mine,
                "before": any(said) if said else None,
                "bin": ("bin" if any(bins) else "heap") if bins else "unknown",
                "last": max([members[0]["joined"], *(pile["last"] for pile in mine)]),
                "stopped": max(ends) if all(ends) else None,
            }
        )
    return sorted(found, key=lambda one: (one["first"]["joined"], one["first"]["id"]))


def silent(one, until):
    """Silent for longer than somebody is who goes on."""
    days = [on for pile in one["piles"] for on, _ in pile["harvests"]]
    rests = any(timedelta(0) <= one["last"].date() - on <= timedelta(days=14) for on in days)
    return until - one["last"] > (timedelta(days=180) if rests else SIXTY)


def followed(one, until):
    """(days, ended, last heard on day, age), None where silence cannot tell yet."""
    joined, cutoff = one["first"]["joined"], until - SIXTY
    if joined > cutoff:
        return None
    heard, age = (min(one["last"], cutoff) - joined).days, (cutoff - joined).days
    if one["stopped"] and one["stopped"] <= cutoff:
        return (min(one["stopped"], one["last"]) - joined).days, True, heard, age
    return (heard, True, heard, age) if silent(one, until) else (age, False, heard, age)


def kaplan_meier(spells, day):
    """The share going on after a day, with its log-log band, and how many stand behind it."""
    if not any(days >= day for days, *_ in spells):
        return None
    going, variance = 1.0, 0.0
    for end in sorted({days for days, ended, *_ in spells if ended and days <= day}):
        at_risk = sum(1 for days, *_ in spells if days >= end)
        ends = sum(1 for days, ended, *_ in spells if ended and days == end)
        going *= 1 - ends / at_risk
        if at_risk > ends:
            variance += ends / (at_risk * (at_risk - ends))
    of = sum(1 for days, ended, *_ in spells if ended or days >= day)
    if going in (0.0, 1.0):
        return {"value": going, "low": going, "high": going, "of": of}
    spread = Z * math.sqrt(variance) / math.log(going)
    low, high = sorted((going ** math.exp(spread), going ** math.exp(-spread)))
    return {"value": going, "low": low, "high": high, "of": of}


def curve(spells):
    """Still going after 30, 90, 180 and 365 days."""
    points = []
    for day in (30, 90, 180, 365):
        old = [one for one in spells if one[3] >= day]
        enough = len(old) >= 5
        points.append(
            {
                "day": day,
                "share": kaplan_meier(spells, day) if enough else None,
                "followed": len(old) if enough else None,
                "seen": sum(1 for one in old if one[2] >= day) if enough else None,
                "resting": sum(1 for one in old if one[2] < day and not one[1]) if enough else None,
            }
        )
    return points


def by_group(pairs):
    """A curve for each group of five and more."""
    groups = defaultdict(list)
    for name, spell in pairs:
        groups[name or "unknown"].append(spell)
    large = {name: group for name, group in sorted(groups.items()) if len(group) >= 5}
    return {
        "groups": {name: {"n": len(group), "curve": curve(group)} for name, group in large.items()},
        "hidden": len(groups) - len(large),
    }


def diversion(group, factors):
    """Mass kept out of the landfill, by the factors of the export."""
    litres, masses, lists, unsaid = defaultdict(float), [0.0, 0.0, 0.0], set(), 0
    food_kg = [0.0, 0.0, 0.0]
    for pile in (pile for one in group for pile in one["piles"]):
        amounts = defaultdict(float)
        for _, material, amount in pile["entries"]:
            if amount is None:
                unsaid += material in factors
            else:
                amounts[material] += amount
        for material, amount in amounts.items():
            if material in factors:
                row = factors[material]
                litres[row["group"]] += amount
                for place, key in enumerate(("low_kg_m3", "middle_kg_m3", "high_kg_m3")):
                    masses[place] += amount / 1000 * float(row[key])
                    if row["group"] == "food":
                        food_kg[place] += amount / 1000 * float(row[key])
                lists.update(row["lists"].split("; "))
    return {
        "households": len(group),
        "litres": dict(sorted(litres.items())),
        "low_kg": masses[0],
        "middle_kg": masses[1],
        "high_kg": masses[2],
        "spared_t": [food_kg[0] / 907.18474 * 0.3, food_kg[2] / 907.18474 * 0.7],
        "lists": sorted(lists),
        "without_amount": unsaid,
    }


def wilson(hits, of):
    """The interval of a share."""
    share, spread = hits / of, Z**2 / of
    middle = (share + spread / 2) / (1 + spread)
    half = Z / (1 + spread) * math.sqrt(share * (1 - share) / of + spread / (4 * of))
    return {"value": share, "low": max(0.0, middle - half), "high": min(1.0, middle + half), "of": of}


def rebuild(archive, year, data_date, zone):
    """Every figure of the yearly report."""
    data = tables(archive)
    midnight = datetime.combine(data_date + timedelta(days=1), datetime.min.time(), ZoneInfo(zone))
    until = midnight.astimezone(ZoneInfo("UTC"))
    since = until - timedelta(days=(data_date - date(year, 1, 1)).days + 1)
    piles = list(piles_of(data, until, year))
    graduates = graduates_of(data, until)
    everybody = households_of(graduates, piles)
    spells = [(one, spell) for one in everybody if (spell := followed(one, until)) is not None]
    joined = [one for one in everybody if one["first"]["joined"].year == year]
    taught = sorted(
        (row for row in data["class"] if row["taught_on"].startswith(str(year))), key=lambda row: row["code"]
    )
    taught.sort(key=lambda row: row["taught_on"], reverse=True)
    codes = {row["code"] for row in taught}
    factors = {row["material"]: row for row in data["factors"]}
    return {
        "year": year,
        "data_date": data_date.isoformat(),
        "classes": {
            "held": len(taught),
            "seats": sum(int(row["seats"] or 0) for row in taught),
            "by_language": dict(sorted(Counter(row["language"] for row in taught).items())),
            "each": [of_class(row, everybody, until) for row in taught],
        },
        "households": {
            "joined": len(joined),
            "started": sum(1 for one in joined if one["piles"]),
            "people": sum(1 for one in graduates if one["joined"].year == year),
            "new": sum(1 for one in joined if one["before"] is False),
            "before": sum(1 for one in joined if one["before"] is True),
            "not_said": sum(1 for one in joined if one["before"] is None),
            "stopped": sum(1 for one in graduates if one["stopped"] and one["stopped"].year == year),
            "unreachable": unreachable(data["outbox"], until),
            "all_years": len(everybody),
        },
        "going": {
            "all": {"n": len(spells), "curve": curve([spell for _, spell in spells])},
            "class": by_group(
                (one["first"]["class"], s) for one, s in spells if one["first"]["class"] in codes
            ),
            "language": by_group((one["first"]["language"], s) for one, s in spells),
            "bin": by_group((one["bin"], s) for one, s in spells),
        },
        "batches": batches(piles, year),
        "diversion": {
            name: diversion([one for one in everybody if one["before"] is before], factors)
            for name, before in (("new", False), ("before", True), ("not_said", None))
        },
        "forecasts": kept(piles),
        "questions": questions(data, since, until),
        "surveys": surveys(data, since, until),
    }


def of_class(row, everybody, until):
    """A class in figures."""
    mine = [one for one in everybody if one["first"]["class"] == row["code"]]
    return {
        "code": row["code"],
        "title": row["title"] or None,
        "taught_on": row["taught_on"],
        "language": row["language"],
        "seats": int(row["seats"]) if row["seats"] else None,
        "joined": len(mine),
        "started": sum(1 for one in mine if one["piles"]),
        "going": sum(1 for one in mine if one["piles"] and not one["stopped"] and not silent(one, until)),
    }


def batches(piles, year):
    """Piles built, hot, finished and harvested in the year."""
    built = [pile for pile in piles if pile["built"] and pile["built"].year == year]
    read = [pile["hottest"] for pile in built if pile["hottest"] is not None]
    taken = [litres for pile in piles for on, litres in pile["harvests"] if on.year == year]
    days = [
        (p["done"] - p["built"]).days for p in piles if p["built"] and p["done"] and p["done"].year == year
    ]
    return {
        "built": len(built),
        "with_readings": len(read),
        "hot": sum(1 for core_c in read if core_c >= 45),
        "harvests": len(taken),
        "harvests_with_amount": sum(1 for litres in taken if litres is not None),
        "harvested_l": sum(litres for litres in taken if litres is not None),
        "finished": len(days),
        "median_days": median(days) if days else None,
    }


def kept(piles):
    """Promised ranges against finishes that were seen."""
    found = Counter(pile["kept"] for pile in piles if pile["kept"])
    of = sum(found.values())
    return {
        "promised_share": 0.8,
        "kept": found["kept"],
        "sooner": found["sooner"],
        "later": found["later"],
        "share": wilson(found["kept"], of) if of else None,
    }


def unreachable(outbox, until):
    """People whose last message by then could not be delivered."""
    last = {}
    for row in sorted(outbox, key=lambda row: int(row["id"])):
        if moment(row["due_at"]) <= until and row["status"] in ("sent", "failed"):
            last[row["person_id"]] = row["status"]
    return sum(1 for status in last.values() if status == "failed")


def questions(data, since, until):
    """What was asked, and what needed a human."""
    asked = [row for row in data["question"] if since < moment(row["at"]) <= until]
    helped = [row for row in data["help"] if since < moment(row["opened_at"]) <= until]
    hours = [
        (moment(row["handled_at"]) - moment(row["opened_at"])).total_seconds() / 3600
        for row in helped
        if row["handled_at"] and moment(row["handled_at"]) <= until
    ]
    return {
        "by_program": sum(1 for row in asked if row["by_staff"] == "false"),
        "by_staff": sum(1 for row in asked if row["by_staff"] == "true"),
        "top": [list(pair) for pair in Counter(row["topic"] for row in asked).most_common(10)],
        "help_rows": len(helped),
        "help_handled": len(hours),
        "median_hours": median(hours) if hours else None,
        "dangers": sum(1 for row in helped if row["cause"] == "danger"),
        "complaints": sum(1 for row in helped if row["cause"] == "complaint"),
    }


def surveys(data, since, until):
    """Answers by question."""
    by_item = defaultdict(Counter)
    for row in data["survey_answer"]:
        if since < moment(row["asked_at"]) <= until:
            by_item[int(row["survey_id"]), int(row["item"])][row["value"]] += 1
    asked = {int(row["id"]): row for row in data["survey"]}
    found = []
    for (survey, item), said in sorted(by_item.items()):
        text = json.loads(asked[survey]["items"])[item]
        found.append(
            {
                "survey": asked[survey]["title"],
                "text_en": text["en"],
                "text_es": text["es"],
                "asked": said.total(),
                "skipped": said["skip"],
                "answers": {value: n for value, n in sorted(said.items()) if value not in ("", "skip")},
                "in_spanish": dict(text.get("answers", ())),
            }
        )
    return found


if __name__ == "__main__":
    path, year, day, zone = sys.argv[1:]
    with open(path, "rb") as file:
        print(json.dumps(rebuild(file.read(), int(year), date.fromisoformat(day), zone), indent=1))
