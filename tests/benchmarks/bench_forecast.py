"""How fast a forecast is, and what its accuracy costs, as ratios in one run.

    python tests/benchmarks/bench_forecast.py [--piles 1000]

prints the time of a single forecast, piles a second in a batch on one core, peak memory; the members of one
forecast against integrating them one by one with SciPy's `solve_ivp`, its right-hand side compiled as ours
is, loosened until its error against a tight run is that of our steps; and how sure a done date is with fewer
or more members.
"""

import argparse
import sys
import time
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from shared import ensemble, evidence, traces
from shared.forecast import forecast, forecast_many
from shared.history import History, read_history
from shared.pile import Ingredient, Pile, Record
from tests.benchmarks.measure import peak_mb
from tests.shared.by_scipy import by_scipy
from tests.shared.one_pile import side_by_side

BUILT = date(2026, 4, 1)
DAYS = 200
TURNED = range(14, DAYS, 14)
SAMPLE = (7, 108, 209, 310, 411)  # members that SciPy integrates; the rest would take as long each
PILE = Pile(
    "bench",
    BUILT,
    1.0,
    1.0,
    1.0,
    (Ingredient("dry_leaves", 0.7), Ingredient("grass_clippings", 0.7)),
    bin=True,
)
Floats = NDArray[np.float64]


def case() -> tuple[History, traces.Sky]:
    """A pile of 200 days that was turned every fortnight."""
    records = [Record("turned", BUILT + timedelta(days=number)) for number in TURNED]
    return read_history(PILE, records, BUILT + timedelta(days=DAYS - 1)), traces.skies(PILE, DAYS, 0)


def against_scipy() -> None:
    """Error and time of both, on a few members; then all members of a forecast."""
    history, sky = case()
    drawn = partial(ensemble.draw, PILE, history, float(sky.air_c[0]), 0)

    def picked(tolerance: float) -> Floats:
        fresh = drawn()
        ran = []
        for at in SAMPLE:
            lanes = side_by_side(fresh.piles[at : at + 1], fresh.traits[at : at + 1])
            ran.append(by_scipy(lanes, sky.by_trace[at % traces.TRACES], TURNED, tolerance))
        return np.array(ran)

    exact = picked(1e-8)
    likely = drawn()
    began = time.perf_counter()
    seen = ensemble.live_through(likely, history, sky)
    ours_s = time.perf_counter() - began
    our_error = np.abs(seen[SAMPLE, :, 0] - exact).mean()
    print(f"our steps: {our_error:.2f} K mean error of the core's daily mean over {DAYS} days")
    for tolerance in (1.0, 0.3, 0.1, 0.01):
        began = time.perf_counter()
        error = np.abs(picked(tolerance) - exact).mean()
        each_s = (time.perf_counter() - began) / len(SAMPLE)
        print(f"solve_ivp (LSODA, rtol {tolerance:g}): {error:.2f} K, {each_s:.2f} s a member")
        if error <= our_error:
            break
    began = time.perf_counter()
    forecast(PILE, (), BUILT)
    whole_s = time.perf_counter() - began
    all_s, kept_s = ensemble.MEMBERS * each_s, evidence.KEPT * each_s
    print(f"{ensemble.MEMBERS} members over {DAYS} days: {ours_s:.4f} s, by solve_ivp {all_s:.0f} s,")
    print(f"  {all_s / ours_s:,.0f} times as long")
    print(f"a whole forecast on the day of the build, up to three years ahead: {whole_s:.4f} s; its")
    print(
        f"  {evidence.KEPT} kept members over {DAYS} days by solve_ivp {kept_s / whole_s:,.0f} times as long"
    )


def season(at: int, age: int = 35) -> tuple[Pile, list[Record], date]:
    """A pile with five weeks of readings, looked at on day `age`."""
    core = [
        Record("temperature", BUILT + timedelta(days=d), core_c=55.0 - d + at % 7) for d in range(2, 35, 3)
    ]
    turns = [Record("turned", BUILT + timedelta(days=d)) for d in range(7, 35, 7 + at % 3)]
    return PILE, sorted(core + turns, key=lambda record: record.on), BUILT + timedelta(days=age)


def members_for_sureness() -> None:
    """How much the quantiles of the done date stray between seeds, by the number of members."""
    for members in (64, 128, 256, 512, 1024, 2048):
        count = members // 4
        draw = partial(ensemble.draw, members=members)
        resample = partial(evidence.resample, count=count)
        with patch.object(ensemble, "draw", draw), patch.object(evidence, "resample", resample):
            began = time.process_time()
            ready = [forecast(*season(0), seed=seed).ready for seed in range(16)]
            each_s = (time.process_time() - began) / 16
        stray = [
            np.std([getattr(one, quantile).toordinal() for one in ready])
            for quantile in ("p10", "p50", "p90")
        ]
        print(
            f"{members:5} members, {count:4} kept: done date strays by "
            + ", ".join(f"{days:.1f}" for days in stray)
            + f" days (p10, p50, p90), {1000 * each_s:.0f} ms"
        )


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description="How fast is a forecast?")
    parser.add_argument("--piles", type=int, default=1000)
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
    print(f"peak memory {peak_mb():.0f} MB")
    for age in (14, 56, 112, 365):
        used = time.process_time()
        forecast_many([season(at, age) for at in range(50)])
        print(f"piles of {age} days: {50 / (time.process_time() - used):.0f} a second by processor time")
    against_scipy()
    members_for_sureness()


if __name__ == "__main__":
    main()
