"""Banks of simulated piles: pile files as a keeper's phone would hold them, and the truth beside them.

    python -m tests.simulator.bank DIR [--piles 300] [--seed 1]

writes DIR/piles.jsonl (records and weather up to day 150) and DIR/truth.jsonl. A batch pile is asked about on
every day of AS_OF_DAYS; a fed pile comes once for each of them, since its truth is "as if adding stopped on
that day".
"""

import argparse
import json
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulator import truth
from tests.simulator.climate import PLACES, Weather, normals
from tests.simulator.draw import HABITS, PIECES, SHADES, Builds, draw_builds, draw_traits
from tests.simulator.keepers import Keepers, Seen, draw_keepers, tell
from tests.simulator.materials import IDS
from tests.simulator.world import Feeding, History, draw_feeding, draw_weather, run

AS_OF_DAYS = (0, 14, 28, 56, 90, 150)
CHUNK = 400
Json = dict[str, Any]

# Other worlds: factors on what is true of piles (`Traits`) and of how they are read (`Keepers`). A forecast
# that was fitted to one world must stay honest in the others.
WORLDS = {
    "usual": {},
    "slower": {"k_fast": 0.67, "k_mod": 0.67},
    "quicker": {"k_fast": 1.4, "k_mod": 1.4},
    "other laws": {"k_fast": 0.65, "k_mod": 0.9, "recalcitrance": 0.0, "humus": 0.3, "airless": 0.2},
    "less matted": {"mat_d": 0.45, "mat_floor": 2.6},
    "warmer": {
        "film_w_m2k": 0.7,
        "wet_w_mk": 0.65,
        "vapour_w_mk": 0.6,
        "draught_per_k": 0.7,
        "draught_kg_d": 0.7,
    },
    "cooler": {
        "film_w_m2k": 1.5,
        "wet_w_mk": 1.5,
        "dry_air_w_mk": 1.5,
        "draught_per_k": 1.4,
        "draught_kg_d": 1.4,
    },
    "rough readings": {"probe_noise_c": 2.2, "probe_bias_c": 2.2, "feel_noise": 1.8, "feel_bias": 1.8},
    "exact readings": {"probe_noise_c": 0.5, "probe_bias_c": 0.4, "feel_noise": 0.5, "depth": 0.0},
}


def make(
    piles: int, seed: int, *, fed_share: float = 0.1, days: int = truth.HORIZON_D, world: str = "usual"
) -> Iterator[tuple[Json, Json]]:
    """Draw and run piles; yields (pile file, truth) pairs. The same seed gives the same piles.

    days    how far to look for `ready`; more than the last of AS_OF_DAYS
    world   one of WORLDS, the same piles under other laws
    """
    for start in range(0, piles, CHUNK):
        rng = np.random.default_rng([seed, start])
        yield from _chunk(
            min(CHUNK, piles - start), f"s{seed}-{start // CHUNK}", rng, fed_share, days, WORLDS[world]
        )


def _chunk(
    n: int, name: str, rng: np.random.Generator, fed_share: float, days: int, factors: Mapping[str, float]
) -> Iterator[tuple[Json, Json]]:
    b = draw_builds(n, rng, fed_share=fed_share)
    traits, keepers = draw_traits(b, rng), draw_keepers(b.habit, days, rng)
    for trait, factor in factors.items():
        part = traits if hasattr(traits, trait) else keepers
        setattr(part, trait, getattr(part, trait) * factor)
    weather, feeding = draw_weather(b, days, rng), draw_feeding(b, rng)
    asked = [(i, d) for i in range(n) for d in (AS_OF_DAYS if b.fed[i] else (-1,))]
    rows = np.array([i for i, _ in asked])
    fed = Feeding(
        {
            (row, d): what
            for row, i in enumerate(rows)
            for (pile, d), what in feeding.additions.items()
            if pile == i
        },
        np.array([d for _, d in asked]),
        feeding.seeds[rows],
    )
    b, traits, keepers, weather = (
        b.take(rows),
        traits.take(rows),
        keepers.take(rows),
        [weather[i] for i in rows],
    )
    history = run(b, traits, keepers, weather, fed, days=days, watch_d=max(AS_OF_DAYS) + 1)
    for row, (i, stop) in enumerate(asked):
        label = f"{name}-{i}" + (f"@{stop}" if b.fed[row] else "")
        look = np.random.default_rng(keepers.seeds[row] + 1)
        yield (
            _pile_file(label, b, row, weather[row], look)
            | {"records": _records(b, keepers, row, history, fed, look)},
            _truth(label, b, keepers, row, history, [stop] if b.fed[row] else list(AS_OF_DAYS)),
        )


def _pile_file(label: str, b: Builds, row: int, weather: Weather, rng: np.random.Generator) -> Json:
    """What the keeper told at the start, some of it unsaid, and the weather that is known."""
    place = list(PLACES.values())[b.place[row]]
    size = b.size_m[row] * 100 * np.exp(rng.normal(0, 0.04, 3))
    litres = b.loose_l[row] * b.material_error[row]
    told: Json = {
        "pile": label,
        "built": b.built[row].isoformat(),
        "size_cm": [int(5 * max(4, round(x / 5))) for x in size],
        "ingredients": [
            {"material": IDS[m], "litres": int(5 * max(1, round(litres[m] / 5)))}
            for m in np.flatnonzero(litres > 2)
        ],
        "turning": HABITS[b.habit[row]],
        "bin": bool(b.in_bin[row]),
        "fed": bool(b.fed[row]),
    }
    low, high, rain = normals(place)
    series = {
        "start": told["built"],
        **{
            f: np.round(getattr(weather, f)[: max(AS_OF_DAYS) + 1], 1).tolist()
            for f in ("min_c", "max_c", "rain_mm")
        },
    }
    unsaid: list[tuple[str, Any, float]] = [
        ("pieces", PIECES[b.pieces[row]], 0.75),
        ("covered", bool(b.covered[row]), 0.9),
        ("shade", SHADES[b.shade[row]], 0.8),
        ("latitude", place.latitude, 0.95),
        ("climate", {"min_c": _r(low), "max_c": _r(high), "rain_mm": _r(rain)}, 0.95),
        ("weather", series, 0.8),
    ]
    return told | {key: value for key, value, chance in unsaid if rng.random() < chance}


def _r(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float]:
    return [round(float(v), 1) for v in values]


def _records(
    b: Builds, k: Keepers, row: int, h: History, fed: Feeding, rng: np.random.Generator
) -> list[Json]:
    days = max(AS_OF_DAYS) + 1
    added: list[list[tuple[str, float]]] = [
        [(IDS[m], v) for m, v in fed.additions.get((row, d), [])] if d <= fed.stops_on[row] else []
        for d in range(days)
    ]
    seen = Seen(
        h.noon_c[:days, row],
        h.felt[:days, row],
        b.size_m[row, 2] * np.cbrt(h.volume_m3[:days, row] / h.volume_m3[0, row]) ** 1.6,
        h.o2_pct[:days, row],
        h.left[:days, row, 1],
        h.c_n[:days, row],
        h.watered_l[:days, row],
        added,
    )
    first: list[Json] = []
    if b.watered_l[row] > 0 and rng.random() < 0.85:
        litres = float(round(b.watered_l[row] * np.exp(rng.normal(0, 0.25))))
        first.append(
            {
                "kind": "watered",
                "on": b.built[row].isoformat(),
                "litres": litres if rng.random() < 0.7 else None,
            }
        )
    return first + tell(k, row, seen, b.built[row], days)


def _truth(label: str, b: Builds, k: Keepers, row: int, h: History, as_of_days: list[int]) -> Json:
    fast, moderate, core, air = h.left[:, row, 0], h.left[:, row, 1], h.core_c[:, row], h.air_c[:, row]
    ready = truth.ready_day(truth.passes(fast, moderate, core, air))
    watched = slice(0, max(AS_OF_DAYS) + 1)
    return {
        "pile": label,
        "habit": HABITS[b.habit[row]],
        "place": list(PLACES)[b.place[row]],
        "fed": bool(b.fed[row]),
        "as_of_days": as_of_days,
        "ready": None if ready is None else (b.built[row] + timedelta(ready)).isoformat(),
        "stages": truth.stages(
            core[watched], air[watched], fast[watched], moderate[watched], k.turns[row, watched], ready
        ),
    }


def cut(pile_file: Json, as_of_day: int) -> Json:
    """The same pile file as it stood on a day: nothing later is known."""
    built = date.fromisoformat(pile_file["built"])
    as_of = (built + timedelta(as_of_day)).isoformat()
    known = dict(pile_file, as_of=as_of, records=[r for r in pile_file["records"] if r["on"][:10] <= as_of])
    if "weather" in known:
        series = known["weather"]
        known["weather"] = {k: v if k == "start" else v[: as_of_day + 1] for k, v in series.items()}
    return known


def write(directory: Path, piles: int, seed: int) -> None:
    """Write a bank."""
    directory.mkdir(parents=True, exist_ok=True)
    with (directory / "piles.jsonl").open("w") as files, (directory / "truth.jsonl").open("w") as truths:
        for pile_file, true in make(piles, seed):
            files.write(json.dumps(pile_file) + "\n")
            truths.write(json.dumps(true) + "\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Write a bank of simulated piles and their truth.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--piles", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    write(given.directory, given.piles, given.seed)
