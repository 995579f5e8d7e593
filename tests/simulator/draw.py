"""Draw piles, what is told and what is true of them, from literature-wide distributions."""

from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulator.climate import PLACES
from tests.simulator.materials import IDS, RECIPES, TABLE
from tests.simulator.physics import saturated
from tests.simulator.state import M_GRID, T_GRID, Floats, Traits

HABITS = ("weekly", "fortnightly", "monthly", "never")
PIECES = ("fine", "mixed", "coarse")
SHADES = ("sun", "part", "shade")


@dataclass(slots=True)
class Builds:
    """What was really built, one value (or row) a pile; litres are (pile, material)."""

    place: NDArray[np.intp]
    built: list[date]
    habit: NDArray[np.intp]
    size_m: Floats  # (pile, 3) true length, width, height
    in_bin: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    shade: NDArray[np.intp]
    pieces: NDArray[np.intp]
    fed: NDArray[np.bool_]
    loose_l: Floats
    pools_kg: Floats  # (4, pile)
    water_kg: Floats
    nitrogen_kg: Floats
    watered_l: Floats  # at the build
    material_error: Floats  # (pile, material) reported against true litres

    def take(self, keep: NDArray[np.intp]) -> "Builds":
        """These piles, repeated where named twice."""
        rest: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        built, pools_kg = rest.pop("built"), rest.pop("pools_kg")
        taken = {name: values[keep] for name, values in rest.items()}
        return Builds(built=[built[i] for i in keep], pools_kg=pools_kg[:, keep], **taken)


def lognormal(rng: np.random.Generator, middle: float, factor: float, n: int) -> Floats:
    """Spread about `middle` such that two thirds lie within a factor of it."""
    return middle * np.exp(rng.normal(0, np.log(factor), n))


def draw_builds(n: int, rng: np.random.Generator, *, fed_share: float = 0.1) -> Builds:
    """n piles as really built."""
    in_bin = rng.random(n) < 0.6
    fed = rng.random(n) < fed_share
    size = _sizes(n, in_bin, rng)
    size[:, 2] *= np.where(fed, 0.4, 1.0)  # a fed pile starts low
    volume = size.prod(axis=1) * np.where(in_bin, 0.97, 0.5)
    share = _recipes(n, rng)
    # it held more when loose than it does built, and mounds are no even shape
    pressed = (share * TABLE["press"]).sum(axis=1) ** rng.uniform(0.2, 0.9, n) * lognormal(rng, 1, 1.12, n)
    loose = share * (volume * 1000 * pressed)[:, None]
    pools, water, nitrogen = matter(loose, rng)
    felt_goal = rng.normal(0.54, 0.06, n)
    dry = pools.sum(axis=0)
    wanted = np.maximum(0, dry * felt_goal / (1 - felt_goal) - water) * (rng.random(n) < 0.6)
    watered = np.where(wanted > 4, wanted, 0.0)
    return Builds(
        rng.integers(0, len(PLACES), n),
        [date(2021, 1, 1) + timedelta(int(d)) for d in _start_days(n, rng)],
        rng.choice(4, n, p=[0.3, 0.25, 0.25, 0.2]),
        size,
        in_bin,
        rng.random(n) < np.where(in_bin, 0.6, 0.3),
        rng.choice(3, n, p=[0.3, 0.45, 0.25]),
        rng.choice(3, n, p=[0.25, 0.5, 0.25]),
        fed,
        loose,
        pools,
        water + watered * 0.93,
        nitrogen,
        watered,
        lognormal(rng, 1, 1.18, n)[:, None] * np.exp(rng.normal(0, np.log(1.25), loose.shape)),
    )


def _start_days(n: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Through two years, more in spring and autumn."""
    weight = np.repeat([0.4, 0.6, 1.1, 1.5, 1.4, 1.1, 0.9, 0.9, 1.0, 1.2, 0.9, 0.4] * 2, 30)
    return rng.choice(len(weight), n, p=weight / weight.sum()).astype(float)


def _sizes(n: int, in_bin: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    side = np.clip(lognormal(rng, 1.0, 1.2, n), 0.68, 1.5)
    bins = np.stack(
        [side * lognormal(rng, 1, 1.08, n), side, np.clip(side * lognormal(rng, 0.95, 1.12, n), 0.6, 1.5)], 1
    )
    base = np.clip(lognormal(rng, 1.45, 1.2, n), 1.0, 2.4)
    mounds = np.stack(
        [base * lognormal(rng, 1.1, 1.1, n), base, np.clip(base * lognormal(rng, 0.65, 1.15, n), 0.5, 1.4)], 1
    )
    size = np.where(in_bin[:, None], bins, mounds)
    volume = size.prod(axis=1) * np.where(in_bin, 0.97, 0.5)
    return np.asarray(size * np.cbrt(np.clip(volume, 0.3, 3.5) / volume)[:, None])


def _recipes(n: int, rng: np.random.Generator) -> Floats:
    """Shares of the loose volume: (pile, material)."""
    weights = np.array([r[0] for r in RECIPES], dtype=float)
    share = np.zeros((n, len(IDS)))
    for row, kind in enumerate(rng.choice(len(RECIPES), n, p=weights / weights.sum())):
        _, browns, greens, low, high = RECIPES[kind]
        ratio = np.exp(rng.uniform(np.log(low), np.log(high)))
        for group, part in ((browns, ratio / (1 + ratio)), (greens, 1 / (1 + ratio))):
            split = rng.dirichlet(12 * np.array(list(group.values())) + 0.3)
            for name, piece in zip(group, split, strict=True):
                share[row, IDS.index(name)] += part * piece
    return share


def matter(loose_l: Floats, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Pools (4, pile), water and nitrogen [kg] in these loose litres, each material varying of itself."""

    def vary(spread: float) -> Floats:
        return np.asarray(np.exp(rng.normal(0, spread, loose_l.shape)))

    wet = loose_l / 1000 * TABLE["density"] * vary(0.25)
    per_dry = TABLE["moisture"] / (1 - TABLE["moisture"]) * vary(0.28)
    dry = wet / (1 + per_dry)
    organic = dry * TABLE["vs"]
    fast = np.clip(TABLE["fast"] * vary(0.25), 0, 0.7)
    mod = np.clip(TABLE["mod"] * vary(0.2), 0, 0.95 - fast)
    pools = np.stack([organic * fast, organic * mod, organic * (1 - fast - mod), dry - organic]).sum(axis=2)
    return pools, (wet - dry).sum(axis=1), (dry * TABLE["n_pct"] / 100 * vary(0.2)).sum(axis=1)


def draw_traits(b: Builds, rng: np.random.Generator) -> Traits:
    """What is true of each pile and nobody knows."""
    n = len(b.built)

    def ln(middle: float, factor: float) -> Floats:
        return lognormal(rng, middle, factor, n)

    weight = b.loose_l * TABLE["density"] * (1 - TABLE["moisture"])
    pace = {
        pool: (weight * TABLE[pool] * TABLE["pace"]).sum(axis=1) / (weight * TABLE[pool]).sum(axis=1)
        for pool in ("fast", "mod")
    }
    fineness = np.array([1.12, 0.96, 0.8])[b.pieces] * ln(1, 1.1)
    volume = b.size_m.prod(axis=1) * np.where(b.in_bin, 0.97, 0.5)
    sphere = (36 * np.pi) ** (1 / 3) * np.cbrt(volume) ** 2
    length, width, height = b.size_m.T
    surface = np.where(
        b.in_bin,
        2 * (length * width + length * height + width * height),
        np.pi / 4 * length * width * (1 + np.sqrt(1 + (2 * height / width) ** 2)),
    )
    covered, sun = b.covered, np.array([1.0, 0.55, 0.25])[b.shade]
    return Traits(
        volume_m3=volume,
        area_ratio=np.clip(surface / sphere, 1.05, 1.7),
        base_share=np.where(b.in_bin, 0.17, 0.4),
        plan_m2=length * width * np.where(b.in_bin, 1.0, np.pi / 4),
        # films of 5 to 20 W/m²K in still to windy air, a wall of plastic or boards behind (from memory)
        film_w_m2k=1
        / (1 / ln(9, 1.35) + np.where(b.in_bin, ln(0.10, 1.8), 0.0) + np.where(covered, 0.05, 0.0)),
        ground_w_m2k=ln(1.6, 1.4),
        # conductivities of bedding to manure, 0.03 to 0.8 W/m K (Ahn et al. 2009)
        dry_air_w_mk=ln(0.06, 1.3),
        wet_w_mk=ln(0.62, 1.3),
        vapour_w_mk=ln(0.35, 1.5),
        # natural draught is nowhere measured for home piles: wide, its middle tuned to measured peaks
        draught_kg_d=ln(6, 1.5),
        draught_per_k=ln(1.3, 1.6),
        open_draught=rng.uniform(0.5, 1.8, n),
        condense=rng.uniform(0.2, 0.8, n),
        # 17 to 19 MJ/kg plant matter, 23 fat (Haug 1993); 1.07 to 1.6 kg oxygen by stoichiometry
        heat_mj_kg=np.clip(rng.normal(18, 1.2, n), 15, 23),
        o2_kg_kg=rng.normal(1.28, 0.06, n),
        # fast 0.1 to 0.4 /d, cellulose 0.02 to 0.06, lignin 0.001 to 0.005; leaves and grass lost in
        # 43 days 61 to 78 % of their cellulose (Michel et al. 1993)
        k_fast=ln(0.23, 1.2) * pace["fast"] * fineness**0.5,
        k_mod=ln(0.05, 1.13) * pace["mod"] * fineness,
        k_slow=ln(0.002, 1.5) * fineness,
        recalcitrance=rng.uniform(0, 0.35, n),
        humus=rng.uniform(0.05, 0.22, n),
        airless=rng.uniform(0.05, 0.2, n),
        o2_half_pct=ln(1.6, 1.4),
        air_space_weight=rng.uniform(0, 1, n),
        starved=rng.uniform(0.2, 1, n),
        # a pile is hot within one to four days of the build (Fastie 2016, Raabe)
        lag_start=ln(0.08, 1.7).clip(0.015, 0.35),
        lag_growth_d=ln(4.5, 1.4),
        fade_d=rng.uniform(0.05, 0.5, n),
        # mats and clumps: no source; set so that weekly turning takes 10 to 12 weeks and none over six months
        mat_d=ln(0.09, 1.3),
        mat_floor=rng.uniform(0.07, 0.12, n),
        # volume 20 % down in the first week (Fastie 2016), half to two thirds in the end (common practice)
        shrink=rng.uniform(0.95, 1.3, n),
        settle_max=rng.uniform(0.06, 0.24, n),
        settle_d=ln(0.05, 1.6),
        hold_kg_kg=(weight * TABLE["hold"]).sum(axis=1) / weight.sum(axis=1) * ln(1, 1.15),
        wick_d=ln(0.02, 2.0),
        # catch 0.3 to 1.0 of the plan, covered to 0.1; 0.3 to 0.5 of ET0 off an open top (common practice)
        rain_caught=np.where(covered, rng.uniform(0, 0.1, n), rng.uniform(0.35, 0.95, n)),
        drying=np.where(covered, rng.uniform(0.03, 0.15, n), rng.uniform(0.2, 0.55, n)) * (0.5 + 0.5 * sun),
        sun_k=sun * rng.uniform(2, 9, n),
        t_table=_warmth_tables(n, rng),
        m_table=_moisture_tables(n, rng),
    )


def cardinal(t: Floats, low: Floats, best: Floats, high: Floats) -> Floats:
    """Cardinal temperature response (Rosso et al. 1993): 1 at `best`, 0 outside `low` to `high`."""
    top = (t - high) * (t - low) ** 2
    bottom = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2 * t))
    inside = (t > low) & (t < high)
    return np.where(inside, top / np.where(inside, bottom, 1.0), 0.0)


def _warmth_tables(n: int, rng: np.random.Generator) -> Floats:
    """A blend, another for each pile, of the forms that composting papers use."""
    t = T_GRID[None]

    def u(low: float, high: float) -> Floats:
        return rng.uniform(low, high, n)[:, None]

    mild = u(0.5, 0.9) * cardinal(t, u(-2, 3), u(33, 40), u(48, 56))
    two_humps = np.maximum(mild, cardinal(t, u(12, 24), u(55, 61), u(70, 79)))
    piecewise = np.clip(np.minimum(t / 30, 3.75 - t / 20), 0, 1)  # Stombaugh and Nokes 1996
    single = cardinal(t, np.array([[0.0]]), np.array([[58.6]]), u(71.6, 80))  # Richard and Walker 2006
    flat = np.exp(-0.1 * ((t - 70) / 35) ** 2) * np.clip(t / 20, 0, 1) * np.clip((80 - t) / 8, 0, 1)
    blend = rng.dirichlet([2.8, 3.0, 0.6, 0.6], n)
    forms = np.stack(np.broadcast_arrays(two_humps, piecewise, single, flat))
    return np.asarray(np.einsum("nf,fnt->nt", blend, forms))


def _moisture_tables(n: int, rng: np.random.Generator) -> Floats:
    m = M_GRID + rng.normal(0, 0.025, n)[:, None]
    logistic = 1 / (np.exp(-17.684 * m + 7.0622) + 1)  # Haug 1993
    ramp = np.clip(m / 0.2 - 1, 0, 1)  # Stombaugh and Nokes 1996
    bell = np.exp(-0.5 * ((np.minimum(m, 0.55) - 0.55) / 0.17) ** 2) * np.clip(m / 0.25, 0, 1) ** 2
    blend = rng.dirichlet([2.2, 0.5, 0.8], n)
    return np.asarray(np.einsum("nf,fnm->nm", blend, np.stack([logistic, ramp, bell])))


def humidity(min_c: Floats, range_k: Floats) -> Floats:
    """Humidity ratio of the day's air: the dew point near the minimum, lower where days are dry [kg/kg]."""
    return saturated(min_c - np.maximum(0.0, 0.5 * (range_k - 9)))
