"""How fast a forecast is, as ratios in one run.

    python tests/benchmarks/bench_forecast.py [--piles 200]

prints the time of a single forecast, piles a second in a batch on one core, peak memory, and one forecast
with all its members against integrating the same members one by one with SciPy's `solve_ivp`, which is
loosened until its error against a reference of very short steps is that of our steps, or as far as it goes.
"""

import argparse
import resource
import sys
import time
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).parents[2]))

from shared import balance, decay, ensemble, heat, moisture, traces
from shared.forecast import forecast, forecast_many
from shared.history import read_history
from shared.pile import Ingredient, Pile, Record

BUILT = date(2026, 4, 1)
DAYS = 200
SAMPLE = 4  # members that SciPy integrates; the rest would take as long each
PILE = Pile(
    "bench",
    BUILT,
    1.0,
    1.0,
    1.0,
    (Ingredient("dry_leaves", 0.7), Ingredient("grass_clippings", 0.7)),
    bin=True,
)
POOLS = ("fast_kg", "moderate_kg", "slow_kg", "water_kg", "temp_c")


def state_of(pile: Any) -> NDArray[np.float64]:
    """What changes within a day: five of each node, and the start-up activity."""
    nodes = [getattr(getattr(pile, node), pool) for node in ("core", "shell") for pool in POOLS]
    return np.array([*nodes, pile.activity])


def put(pile: Any, state: NDArray[np.float64]) -> None:
    """Write a state back."""
    for at, name in enumerate((node, pool) for node in ("core", "shell") for pool in POOLS):
        setattr(getattr(pile, name[0]), name[1], state[at])
    pile.activity = min(1.0, state[-1])


def slopes(pile: Any, own: Any, air_c: float, w_air: float) -> Any:
    """The day's differential equations as SciPy wants them, from the same laws as `balance`."""
    volume = balance.volume_m3(pile)
    shell_share = float(own.shell_share)
    settled = moisture.settled_air(1.0, own.settling, own.settling_days, pile.days_since_turn)
    reach = decay.reach(pile.days_since_turn, own.reach_floor, own.reach_days)
    slowing, ash, free = [], [], 0.0
    for node, share in ((pile.core, 1.0 - shell_share), (pile.shell, shell_share)):
        organic = node.fast_kg + node.moderate_kg + node.slow_kg
        air = settled * moisture.free_air_space(volume * share, node.water_kg, organic, node.ash_kg)
        wet = moisture.moisture_of(node.water_kg, organic + node.ash_kg)
        slowing.append(
            decay.moisture_factor(wet) * decay.air_space_factor(air) * own.nitrogen_slowing * reach
        )
        ash.append(node.ash_kg)
        free = free or air
    still = own.draught * heat.still_draught_kg_per_day(volume, free)
    joule = heat.MJ_PER_DAY_PER_W
    inner = joule * heat.core_conductance_w_per_k(volume, shell_share, own.conductivity)
    outer = joule * heat.shell_conductance_w_per_k(volume, shell_share, own.conductivity, own.film)
    rates = np.array([own.fast_per_day, own.moderate_per_day, own.slow_per_day])

    def derivative(_: float, y: NDArray[np.float64]) -> NDArray[np.float64]:
        activity = min(1.0, y[10])
        core, shell = y[:5], y[5:10]
        flow = still * heat.draught_share(core[4] - air_c)
        f_core = decay.temperature_factor(core[4], own.mild_peak, own.mild_low_c)
        f_shell = decay.temperature_factor(shell[4], own.mild_peak, own.mild_low_c)
        wish_shell = float(rates @ shell[:3]) * f_shell * slowing[1] * activity
        wish_core = float(rates @ core[:3]) * f_core * slowing[0] * activity
        o2_shell = decay.oxygen_left_pct(wish_shell * decay.OXYGEN_KG_PER_KG, flow, decay.AIR_OXYGEN_PCT)
        o2_core = decay.oxygen_left_pct(wish_core * decay.OXYGEN_KG_PER_KG, flow, o2_shell)
        burn_shell = wish_shell * decay.oxygen_factor(o2_shell)
        burn_core = wish_core * decay.oxygen_factor(o2_core)
        dry_core, dry_shell = core[:3].sum() + ash[0], shell[:3].sum() + ash[1]

        def outlet(temp_c: float, water: float, dry: float) -> float:
            share = min(1.0, moisture.moisture_of(water, dry) / balance.DRY_TO_THE_AIR)
            return heat.humidity(heat.saturation_kpa(temp_c) * share)

        w_core, w_shell = outlet(core[4], core[3], dry_core), outlet(shell[4], shell[3], dry_shell)
        h_core, h_shell = heat.enthalpy_mj(core[4], w_core), heat.enthalpy_mj(shell[4], w_shell)
        across = inner * (core[4] - shell[4])
        warm_core = own.heat_mj_per_kg * burn_core - across - flow * (h_core - h_shell)
        warm_shell = own.heat_mj_per_kg * burn_shell + across - outer * (shell[4] - air_c)
        warm_shell -= flow * (h_shell - heat.enthalpy_mj(air_c, w_air))
        k_core = activity * slowing[0] * f_core * decay.oxygen_factor(o2_core)
        k_shell = activity * slowing[1] * f_shell * decay.oxygen_factor(o2_shell)
        out = np.empty(11)
        out[:3], out[5:8] = -k_core * rates * core[:3], -k_shell * rates * shell[:3]
        out[3] = decay.WATER_KG_PER_KG * burn_core - flow * (w_core - w_shell)
        out[8] = decay.WATER_KG_PER_KG * burn_shell - flow * (w_shell - w_air)
        out[4] = warm_core / heat.heat_capacity_mj_per_k(core[3], dry_core)
        out[9] = warm_shell / heat.heat_capacity_mj_per_k(shell[3], dry_shell)
        out[10] = own.growth_per_day * f_core * slowing[0] * y[10] if y[10] < 1.0 else 0.0
        return out

    return derivative


def by_scipy(
    pile: Any, own: Any, sky: NDArray[np.float64], tolerance: float, longest: float
) -> NDArray[np.float64]:
    """Run one member with `solve_ivp`, day by day; the core at the end of each day [°C]."""
    cores = np.empty(DAYS)
    for day in range(DAYS):
        air_c, w_air, rain_mm, et0_mm = (float(x) for x in sky[day])
        law = slopes(pile, own, air_c, w_air)
        start = state_of(pile)
        found = solve_ivp(
            law, (0, 1), start, method="LSODA", rtol=tolerance, atol=tolerance, max_step=longest
        )
        put(pile, found.y[:, -1])
        pile.days_since_turn += 1.0
        balance.meet_the_sky(pile, own, rain_mm, et0_mm, -1.0)
        cores[day] = pile.core.temp_c
    return cores


def by_us(pile: Any, own: Any, sky: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same with our own steps."""
    cores = np.empty(DAYS)
    for day in range(DAYS):
        air_c, w_air, rain_mm, et0_mm = (float(x) for x in sky[day])
        balance.live_a_day(pile, own, air_c, w_air)
        balance.meet_the_sky(pile, own, rain_mm, et0_mm, -1.0)
        cores[day] = pile.core.temp_c
    return cores


def against_scipy() -> None:
    """Error and time of both, on a few members; then a whole forecast against all members by SciPy."""
    history = read_history(PILE, (), BUILT)
    sky = traces.skies(PILE, DAYS, 0)

    def member(at: int) -> tuple[Any, Any]:
        likely = ensemble.draw(PILE, history, float(sky.air_c[0]), 0)
        return likely.piles.view(np.recarray)[at], likely.traits.view(np.recarray)[at]

    picked = [7 + 101 * at for at in range(SAMPLE)]
    weather = sky.by_trace[0]
    exact = [by_scipy(*member(at), weather, 1e-8, 0.01) for at in picked]
    ours = [by_us(*member(at), weather) for at in picked]
    our_error = float(np.mean([np.abs(a - b).mean() for a, b in zip(ours, exact, strict=True)]))
    print(f"our steps: {our_error:.2f} K mean error of the core over {DAYS} days")
    for tolerance in (3e-1, 1e-1, 3e-2, 1e-2, 1e-3):
        began = time.perf_counter()
        rough = [by_scipy(*member(at), weather, tolerance, 1.0) for at in picked]
        each_s = (time.perf_counter() - began) / SAMPLE
        error = float(np.mean([np.abs(a - b).mean() for a, b in zip(rough, exact, strict=True)]))
        print(f"solve_ivp, rtol {tolerance:g}: {error:.2f} K, {each_s:.2f} s a member")
        if error <= our_error:
            break
    began = time.perf_counter()
    forecast(PILE, (), BUILT)
    whole_s = time.perf_counter() - began
    all_s = ensemble.MEMBERS * each_s
    print(f"one forecast, {ensemble.MEMBERS} members and all that is run ahead: {whole_s:.3f} s")
    print(f"its members for {DAYS} days by solve_ivp: {all_s:.0f} s, {all_s / whole_s:.0f} times as long")


def season(at: int) -> tuple[Pile, list[Record], date]:
    """A pile with five weeks of readings."""
    core = [
        Record("temperature", BUILT + timedelta(days=d), core_c=55.0 - d + at % 7) for d in range(2, 35, 3)
    ]
    turns = [Record("turned", BUILT + timedelta(days=d)) for d in range(7, 35, 7 + at % 3)]
    return PILE, sorted(core + turns, key=lambda record: record.on), BUILT + timedelta(days=35)


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description="How fast is a forecast?")
    parser.add_argument("--piles", type=int, default=200)
    given = parser.parse_args()
    began = time.perf_counter()
    forecast(*season(0))
    print(
        f"first forecast of the process: {time.perf_counter() - began:.2f} s (compiles where nothing is kept)"
    )
    singles = []
    for at in range(20):
        began = time.perf_counter()
        forecast(*season(at))
        singles.append(time.perf_counter() - began)
    print(f"a single forecast, warm: {np.median(singles):.3f} s, slowest of 20 {max(singles):.3f} s")
    began, used = time.perf_counter(), time.process_time()
    forecast_many([season(at) for at in range(given.piles)])
    wall_s, cpu_s = time.perf_counter() - began, time.process_time() - used
    rate, by_cpu = given.piles / wall_s, given.piles / cpu_s
    print(f"batch of {given.piles}: {rate:.0f} a second, {by_cpu:.0f} by processor time")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    against_scipy()


if __name__ == "__main__":
    main()
