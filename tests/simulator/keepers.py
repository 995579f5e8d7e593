"""What keepers do and tell: turnings with slips, lapses and giving up, watering, and rough readings."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulator.draw import HABITS, lognormal
from tests.simulator.state import Floats

INTENDED_DAYS = {"weekly": 7.0, "fortnightly": 14.0, "monthly": 30.0, "never": 400.0}
Record = dict[str, Any]


@dataclass(slots=True)
class Keepers:
    """One value a pile, or (pile, day). Watering: 0 never, 1 by feel at the pile, 2 when nudged as well."""

    turns: NDArray[np.bool_]
    visits: NDArray[np.bool_]
    thorough: Floats
    water_style: NDArray[np.intp]
    can_l: Floats
    feel_bias: Floats
    feel_noise: Floats
    telling_until: NDArray[np.intp]
    tells_turn: Floats
    reads_every_d: Floats
    thermometer: NDArray[np.bool_]
    probe_bias_c: Floats
    probe_noise_c: Floats
    depth: Floats  # of the tip: 0 centre, 1 surface
    seeds: NDArray[np.int64]

    def take(self, keep: NDArray[np.intp]) -> "Keepers":
        """Only these keepers."""
        return Keepers(*(getattr(self, name)[keep] for name in self.__slots__))


def draw_keepers(habit: NDArray[np.intp], days: int, rng: np.random.Generator) -> Keepers:
    """A keeper for each pile."""
    n = len(habit)
    turns = np.stack([_turning_days(HABITS[h], days, rng) for h in habit])
    style = rng.choice(3, n, p=[0.15, 0.5, 0.35])
    return Keepers(
        turns=turns,
        visits=turns | (rng.random((n, days)) < np.where(style == 2, 0.25, 0.07)[:, None]),
        thorough=rng.uniform(0.45, 0.95, n),
        water_style=style,
        can_l=lognormal(rng, 16, 1.6, n),
        feel_bias=rng.normal(0, 0.03, n),
        feel_noise=rng.normal(0, 0.04, (n, days)),
        telling_until=np.minimum(rng.exponential(260, n) + 14, days).astype(np.intp),
        tells_turn=rng.beta(7, 0.9, n),
        reads_every_d=lognormal(rng, 4.5, 1.8, n),
        thermometer=rng.random(n) < 0.72,
        probe_bias_c=rng.normal(0, 1.2, n),
        probe_noise_c=rng.uniform(0.7, 2.2, n),
        depth=rng.beta(1.6, 4.5, n),
        seeds=rng.integers(0, 2**62, n),
    )


def _turning_days(habit: str, days: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Days on which the pile is really turned: late, skipped, lapsed, given up, now and then resumed."""
    turned = np.zeros(days, dtype=bool)
    every = INTENDED_DAYS[habit] * lognormal(rng, 1.15, 1.2, 1)[0]
    skip, gives_up = rng.uniform(0, 0.25), rng.exponential(2000)
    away = [(start, start + rng.uniform(9, 35)) for start in rng.uniform(0, days, rng.poisson(days / 220))]
    now = every * rng.uniform(0.5, 1.3)
    while now < days:
        resumed = now < gives_up or rng.random() < 0.12
        present = not any(start <= now < end for start, end in away)
        if resumed and present and rng.random() > skip and now >= 2:
            turned[int(now)] = True
        now += every * float(lognormal(rng, 1, 1.25, 1)[0])
    return turned


def watering(k: Keepers, day: int, felt: Floats) -> Floats:
    """Litres poured on this day, by how the pile feels (moisture, wet basis)."""
    there = k.visits[:, day] & (k.water_style > 0)
    short = np.clip((0.43 - felt) / 0.1, 0, 3)
    return np.where(there & (short > 0), np.round(k.can_l * (0.6 + short)), 0.0)


def feel_word(m: float) -> str:
    """What a squeezed handful tells (common practice, squeeze test)."""
    bounds = ((0.36, "dry"), (0.45, "bit_dry"), (0.58, "right"), (0.65, "bit_wet"))
    return next((word for top, word in bounds if m < top), "soggy")


@dataclass(frozen=True, slots=True)
class Seen:
    """What could be seen of one pile, day by day at noon before any work: (day, shell) and (day,)."""

    warmth_c: Floats
    felt: Floats
    height_m: Floats
    o2_pct: Floats
    moderate_left: Floats
    c_n: Floats
    watered_l: Floats
    added_l: list[list[tuple[str, float]]]


def tell(k: Keepers, who: int, seen: Seen, built: date, days: int) -> list[Record]:
    """The records that this keeper sends in the first `days` days after the build day."""
    rng = np.random.default_rng(k.seeds[who])
    records: list[Record] = []
    next_reading, next_feel = rng.exponential(k.reads_every_d[who]) + 1, rng.exponential(9) + 1
    warm_hand = rng.normal(0, 3)
    for day in range(1, min(days, len(seen.felt), int(k.telling_until[who]))):
        said: list[Record] = []
        if day >= next_reading:
            said.append(_reading(k, who, seen.warmth_c[day], warm_hand, rng))
            next_reading = day + max(1.0, rng.gamma(2, k.reads_every_d[who] / 2) * (1 + day / 120))
        if day >= next_feel or (seen.watered_l[day] > 0 and rng.random() < 0.5):
            next_feel = day + rng.exponential(14) + 2
            said += [{"kind": "moisture", "feel": feel_word(seen.felt[day])}, *_look(seen, day, rng)]
        said += _deeds(k, who, seen, day, rng)
        on = {"on": (built + timedelta(day)).isoformat()}
        records += [{"kind": r["kind"]} | on | r for r in said]
    return records


def _deeds(k: Keepers, who: int, seen: Seen, day: int, rng: np.random.Generator) -> list[Record]:
    """What was done, as far as it is told, with rough amounts."""
    said: list[Record] = []
    if k.turns[who, day] and rng.random() < k.tells_turn[who]:
        said.append({"kind": "turned"})
    if seen.watered_l[day] > 0 and rng.random() < 0.85:
        litres = _roughly(seen.watered_l[day], 0.2, rng)
        said.append({"kind": "watered", "litres": litres if rng.random() < 0.65 else None})
    for material, poured in seen.added_l[day]:
        said.append({"kind": "added", "material": material, "litres": _roughly(poured, 0.25, rng)})
    return said


def _roughly(litres: float, spread: float, rng: np.random.Generator) -> float:
    return round(float(litres * np.exp(rng.normal(0, spread))), 1)


def _reading(k: Keepers, who: int, warmth_c: Floats, warm_hand: float, rng: np.random.Generator) -> Record:
    """A thermometer read at about the usual depth (now and then too shallow), or a hand."""
    depth = np.clip(k.depth[who] + rng.normal(0, 0.08) + 0.35 * (rng.random() < 0.04), 0, 1)
    at_depth = np.interp(depth, [0.0, 0.53, 0.71, 0.85, 0.96], warmth_c)
    if k.thermometer[who]:
        read_c = at_depth + k.probe_bias_c[who] + rng.normal(0, k.probe_noise_c[who])
        return {"kind": "temperature", "f": float(round(read_c * 1.8 + 32))}
    felt = at_depth + warm_hand + rng.normal(0, 3)
    return {"kind": "heat_feel", "feel": "cold" if felt < 27 else "warm" if felt < 42 else "hot"}


def _look(seen: Seen, day: int, rng: np.random.Generator) -> list[Record]:
    """Smell, texture and height, told now and then."""
    said: list[Record] = []
    if rng.random() < 0.15:
        height_cm = seen.height_m[day] * 100 * np.exp(rng.normal(0, 0.06))
        said.append({"kind": "height", "cm": round(float(height_cm))})
    if rng.random() < 0.25:
        foul, sharp = seen.o2_pct[day] < 3, seen.c_n[day] < 17 and seen.warmth_c[day, 0] > 40
        said.append({"kind": "smell", "smell": "rotten" if foul else "ammonia" if sharp else "earthy"})
    if day > 20 and rng.random() < 0.2:
        left = seen.moderate_left[day] + rng.normal(0, 0.08)
        word = "crumbly" if left < 0.5 else "clumpy" if left < 0.65 else "recognisable"
        said.append({"kind": "texture", "texture": word})
    return said
