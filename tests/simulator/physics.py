"""How a pile lives: five nested shells that exchange heat, water and oxygen while their matter is eaten.

Conduction and oxygen are solved implicitly, so that a step of two hours is safe. Mass is conserved: whatever
leaves a shell is booked in `Ledger`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator.state import SHARES, SHELLS, STEP_D, T_GRID, Floats, State, Traits

AIR_O2_KG_M3 = 0.28  # 20.9 % of air at 15 °C
O2_DIFFUSION_M2_D = 1.9  # in free air, 2.2e-5 m²/s


def shape(p: Traits, s: State) -> None:
    """Once a day: settle, then set `bulk` [m³ of each shell] and `radius` [m, its outer face]."""
    s.settled += (p.settle_max - s.settled) * (1 - np.exp(-p.settle_d))
    dry = s.dry
    left = dry.sum(axis=0) / np.maximum(s.ledger.dry_in, 1e-9)
    volume = p.volume_m3 * (s.ledger.dry_in / s.dry_at_build) * np.maximum(0.18, 1 - p.shrink * (1 - left))
    volume = volume * (1 - s.settled)
    solid = (s.water / 1000 + s.pools[:3].sum(axis=0) / 1550 + s.pools[3] / 2550).sum(axis=0)
    volume = np.maximum(volume, solid * 1.06)  # soaked piles cannot be pressed further
    s.bulk = volume * dry / dry.sum(axis=0)
    s.radius = np.cbrt(3 * np.cumsum(s.bulk, axis=0) / (4 * np.pi))


def volume_m3(s: State) -> Floats:
    """Volume now."""
    return np.asarray(s.bulk.sum(axis=0))


@dataclass(slots=True)
class Sky:
    """The weather of one step, one value a pile; rain and et0 are of the day."""

    air_c: Floats
    humidity: Floats  # kg water/kg dry air
    soil_c: Floats
    sun: Floats
    rain_mm: Floats
    et0_mm: Floats


def saturated(t_c: Floats) -> Floats:
    """Humidity ratio of saturated air [kg/kg], FAO-56 equation 11 at 101.3 kPa."""
    e = 0.6108 * np.exp(17.27 * t_c / (t_c + 237.3))
    return 0.622 * e / np.maximum(101.3 - e, 20.0)


def step(p: Traits, s: State, sky: Sky) -> None:
    """Two hours on, in place."""
    dry, moisture = s.dry, s.moisture
    air_space = np.clip(
        1 - (s.water / 1000 + s.pools[:3].sum(axis=0) / 1550 + s.pools[3] / 2550) / s.bulk, 0.02, 0.98
    )
    flow = _draught(p, s, sky, air_space)
    pace, thirst = _pace(p, s, moisture, air_space)
    _breathe(p, s, air_space, flow, pace * thirst)
    eaten = _eat(p, s, pace)
    _grow(p, s, pace)
    source_mj = eaten * p.heat_mj_kg - _evaporate(p, s, sky, flow, moisture)
    _conduct(p, s, sky, dry, moisture, air_space, source_mj)
    _seep(p, s, sky, dry)


def _draught(p: Traits, s: State, sky: Sky, air_space: Floats) -> Floats:
    """Dry air through each shell in one step [kg]."""
    lift = np.maximum(0.0, (s.warmth_c * SHARES).sum(axis=0) - sky.air_c)
    openness = np.clip((air_space * SHARES).sum(axis=0) / 0.4, 0.05, 1.6) ** p.open_draught
    total = np.cbrt(volume_m3(s)) ** 2 * (p.draught_kg_d + p.draught_per_k * lift) * openness * STEP_D
    return np.asarray(s.bulk / volume_m3(s) * total)


def _pace(p: Traits, s: State, moisture: Floats, air_space: Floats) -> tuple[Floats, Floats]:
    """The rate factor without oxygen [-], and the dry matter that a pace of 1 eats in a day [kg/d]."""
    n = np.arange(s.water.shape[1])
    f_t = p.t_table[n, np.clip((s.warmth_c + 30) * 4, 0, len(T_GRID) - 1).astype(np.intp)]
    f_m = p.m_table[n, (moisture * 200).astype(np.intp)]
    f_air = (1 / (np.exp(-23.675 * air_space + 3.4945) + 1)) ** p.air_space_weight
    organic = s.pools[:3].sum(axis=(0, 1))
    c_n = 0.5 * organic / np.maximum(s.nitrogen, 1e-6)
    f_cn = 1 - p.starved * (1 - np.clip(1.0 - (c_n - 32) / 80, 0.25, 1.0))
    pace = s.active * s.reach * f_t * f_m * f_air * f_cn
    return pace, _appetite(p, s)


def _appetite(p: Traits, s: State) -> Floats:
    """Dry matter eaten in a day at a pace of 1 [kg/d], by shell."""
    fast, mod, slow = s.pools[:3]
    return np.asarray(p.k_fast * fast + p.k_mod * _tough(p, s) * mod + p.k_slow * slow)


def _tough(p: Traits, s: State) -> Floats:
    share = np.clip(s.pools[1] / np.maximum(s.put_in[1] * SHARES, 1e-9), 0.02, 1.0)
    return np.asarray(share**p.recalcitrance)


def _breathe(p: Traits, s: State, air_space: Floats, flow: Floats, demand_kg_d: Floats) -> None:
    """Oxygen in the pores [%], from diffusion and draught against what is used."""
    conduct = _faces(p, s, air_space**2 * O2_DIFFUSION_M2_D)
    exchange = flow / STEP_D / 1.2
    use = demand_kg_d * p.o2_kg_kg / AIR_O2_KG_M3 * 20.9 / (s.o2_pct + p.o2_half_pct)
    s.o2_pct = np.clip(_solve(conduct, exchange + use, exchange * 20.9, 20.9), 0.01, 20.9)


def _faces(p: Traits, s: State, through: Floats) -> Floats:
    """Conductance from each shell to the next one out, the last to the surface: through × area / distance."""
    middle = s.radius * 0.5
    middle[1:] += s.radius[:-1] * 0.5
    distance = np.concatenate([middle[1:] - middle[:-1], s.radius[-1:] - middle[-1:]])
    mean = np.concatenate([0.5 * (through[1:] + through[:-1]), through[-1:]])
    return np.asarray(4 * np.pi * s.radius**2 * p.area_ratio * mean / np.maximum(distance, 0.01))


def _solve(conduct: Floats, leak: Floats, source: Floats, outside: Floats | float) -> Floats:
    """Shell values x: sum over faces of conductance × difference + source = leak × x (Thomas)."""
    diagonal = leak + conduct
    diagonal[1:] += conduct[:-1]
    right = source.copy()
    right[-1] += conduct[-1] * outside
    for i in range(1, SHELLS):
        weight = conduct[i - 1] / diagonal[i - 1]
        diagonal[i] -= weight * conduct[i - 1]
        right[i] += weight * right[i - 1]
    x = np.empty_like(right)
    x[-1] = right[-1] / diagonal[-1]
    for i in range(SHELLS - 2, -1, -1):
        x[i] = (right[i] + conduct[i] * x[i + 1]) / diagonal[i]
    return x


def _eat(p: Traits, s: State, pace: Floats) -> Floats:
    """Oxidise matter; returns what was burnt [kg] in each shell."""
    oxygen = s.o2_pct / (s.o2_pct + p.o2_half_pct)
    aerobic, all_in = pace * oxygen, pace * (oxygen + (1 - oxygen) * p.airless)
    rate = np.stack([p.k_fast * all_in, p.k_mod * _tough(p, s) * all_in, p.k_slow * aerobic])
    gone = s.pools[:3] * -np.expm1(-rate * STEP_D)
    s.pools[:3] -= gone
    humus = p.humus * (gone[0] + gone[1])
    s.pools[2] += humus
    burnt = gone.sum(axis=0) - humus
    s.water += 0.55 * burnt
    s.ledger.water_made += 0.55 * burnt.sum(axis=0)
    s.ledger.gas += burnt.sum(axis=0)
    ammonia = (
        0.012
        * STEP_D
        * np.clip((s.warmth_c[0] - 35) / 20, 0, 1.5)
        * np.clip((24 - 0.5 * s.pools[:3].sum(axis=(0, 1)) / np.maximum(s.nitrogen, 1e-6)) / 8, 0, 1)
    )
    s.nitrogen *= 1 - ammonia
    return np.asarray(burnt * aerobic / np.maximum(all_in, 1e-12))


def _grow(p: Traits, s: State, pace: Floats) -> None:
    """Those who eat: growing with the pace, fading in drought and above 70 °C."""
    able = pace / np.maximum(s.active * s.reach, 1e-6)
    growth = p.lag_growth_d * able * (1 - s.active)
    loss = p.fade_d * np.clip(0.25 - able, 0, 1) + 0.6 * np.clip((s.warmth_c - 70) / 5, 0, 2)
    s.active = np.clip(s.active * np.exp(STEP_D * (growth - loss)), p.lag_start, 1.0)
    s.reach += (p.mat_floor - s.reach) * -np.expm1(-p.mat_d * STEP_D)


def _evaporate(p: Traits, s: State, sky: Sky, flow: Floats, moisture: Floats) -> Floats:
    """Move water with the draught; returns the heat that it takes [MJ] from each shell."""
    wet = np.clip(moisture / 0.35, 0.05, 1.0)
    out = sky.humidity + wet * (saturated(s.warmth_c) - sky.humidity)
    vapour = np.minimum(flow * (out - sky.humidity), 0.3 * s.water)
    vapour = np.maximum(vapour, -0.002 * s.water)
    carried = np.maximum(vapour[:-1], 0.0)
    surplus = np.maximum(out[:-1] - saturated(s.warmth_c[-1]), 0.0) * flow[:-1] * p.condense
    caught = np.minimum(surplus, carried).sum(axis=0)
    s.water -= vapour
    s.water[-1] += caught
    s.ledger.vapour += vapour.sum(axis=0) - caught
    latent = 2.501 - 0.00236 * s.warmth_c
    heat = flow * 0.001006 * (s.warmth_c - sky.air_c) + vapour * latent
    heat[-1] -= caught * 2.4
    return heat


def _conduct(
    p: Traits, s: State, sky: Sky, dry: Floats, moisture: Floats, air_space: Floats, source_mj: Floats
) -> None:
    """Heat through the shells to air and soil, with what was made and taken [MJ] in each."""
    capacity = 4.184e-3 * s.water + 1.046e-3 * dry
    capacity = capacity + np.where((s.warmth_c < 0.5) & (s.warmth_c > -2), 0.334 / 2.5, 0.0) * s.water
    density = (s.water + dry) / s.bulk / 1000
    through = p.dry_air_w_mk + p.wet_w_mk * density * np.clip(moisture / 0.55, 0.3, 1.2)
    through = through + p.vapour_w_mk * air_space * np.exp((np.clip(s.warmth_c, 0, 80) - 60) / 18)
    per_step = 86400e-6 * STEP_D  # W to MJ a step
    conduct = _faces(p, s, through) * per_step
    area = 4 * np.pi * s.radius[-1] ** 2 * p.area_ratio * per_step
    to_air = 1 / (1 / (area * (1 - p.base_share) * p.film_w_m2k) + 1 / (conduct[-1] * (1 - p.base_share)))
    to_soil = 1 / (1 / (area * p.base_share * p.ground_w_m2k) + 1 / (conduct[-1] * p.base_share))
    outside = (to_air * (sky.air_c + sky.sun * p.sun_k) + to_soil * sky.soil_c) / (to_air + to_soil)
    conduct[-1] = to_air + to_soil
    s.warmth_c = _solve(conduct, capacity, capacity * s.warmth_c + source_mj, outside)


def _seep(p: Traits, s: State, sky: Sky, dry: Floats) -> None:
    """Rain in, drying out, wicking between shells, and overflow running on inwards or away."""
    rain = sky.rain_mm * p.plan_m2 * p.rain_caught * STEP_D
    s.water[-1] += rain
    s.ledger.water_in += rain
    surface = p.plan_m2 * sky.et0_mm * p.drying * STEP_D
    lost = np.minimum(
        surface * np.clip(s.water[-1] / np.maximum(dry[-1], 1e-9) / 1.0, 0, 1), 0.05 * s.water[-1]
    )
    s.water[-1] -= lost
    s.ledger.vapour += lost
    per_dry = s.water / np.maximum(dry, 1e-9)
    moved = p.wick_d * STEP_D * (per_dry[1:] - per_dry[:-1]) * np.minimum(dry[1:], dry[:-1])
    s.water[:-1] += moved
    s.water[1:] -= moved
    _overflow(p, s, dry)


def _overflow(p: Traits, s: State, dry: Floats) -> None:
    for i in range(SHELLS - 1, -1, -1):
        excess = np.maximum(0.0, s.water[i] - p.hold_kg_kg * dry[i]) * 0.5
        s.water[i] -= excess
        away = excess * (0.4 if i else 1.0)
        if i:
            s.water[i - 1] += excess - away
        s.ledger.drained += away


def turn(s: State, who: NDArray[np.bool_], thorough: Floats, air_c: Floats) -> None:
    """Mix the shells of some piles, `thorough` of the way to even; a third of the warmth is lost."""
    even = np.where(who, thorough, 0.0)
    for name in ("water", "active"):
        x = getattr(s, name)
        x += even * (x.sum(axis=0) * (SHARES if name == "water" else 1 / SHELLS) - x)
    heat = (s.warmth_c * SHARES).sum(axis=0)
    s.warmth_c += even * (heat - s.warmth_c)
    s.warmth_c += np.where(who, 0.35, 0.0) * (air_c - s.warmth_c)
    s.pools += even * (s.pools.sum(axis=1, keepdims=True) * SHARES - s.pools)
    steam = np.where(who, 0.015, 0.0) * s.water * np.clip(s.warmth_c / 40, 0.2, 1.2)
    s.water -= steam
    s.ledger.vapour += steam.sum(axis=0)
    s.settled *= np.where(who, 1 - 0.6 * thorough, 1.0)
    s.o2_pct = np.where(who, 19.0, s.o2_pct)
    s.reach += even * (1 - s.reach)


def water(p: Traits, s: State, litres: Floats, mixed: NDArray[np.bool_]) -> None:
    """Pour water: through the whole pile while turning, else on the outer shells, where a part runs off."""
    useful = litres * np.where(mixed, 0.97, 0.75)
    spread = np.where(mixed, SHARES, np.array([0.02, 0.06, 0.17, 0.30, 0.45])[:, None])
    s.water += useful * spread
    s.ledger.water_in += useful
    _overflow(p, s, s.dry)


def add(
    s: State, pools_kg: Floats, water_kg: Floats, nitrogen_kg: Floats, air_c: Floats, lag: Floats
) -> None:
    """Tip fresh matter on: most into the outer shells. pools_kg (4, pile)."""
    spread = np.array([0.03, 0.12, 0.25, 0.30, 0.30])[:, None]
    dry_new = spread * pools_kg.sum(axis=0)
    share = dry_new / (s.dry + dry_new)
    s.warmth_c += share * (air_c - s.warmth_c)
    s.active += 0.5 * share * (lag - s.active)
    s.reach += share * (1 - s.reach)
    s.pools += spread[None] * pools_kg[:, None, :]
    s.water += spread * water_kg
    s.nitrogen += nitrogen_kg
    s.put_in += pools_kg[:2]
    s.ledger.dry_in += pools_kg.sum(axis=0)
    s.ledger.water_in += water_kg
