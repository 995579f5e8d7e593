"""Judge the forecast on simulated piles that it was never tuned to.

    python tests/benchmarks/score_forecast.py [--piles 1000] [--seed 1] [--world NAME]

makes a bank of piles, of the usual world or another of `bank.WORLDS` (or reads one from --bank DIR that
`python -m tests.simulator.bank` wrote), forecasts each pile as it stood on day 0, 14, 28, 56, 90 and 150, and
prints how far off the done date was, how honest its range, how often the stage was right. Errors in days;
pinball loss is the mean over the 10, 50 and 90 % quantiles; dates end three years after the build. Piles that
are ready already are counted apart. "fixed" is built + 77 days, "habit" the median of each turning habit of
this very bank, "habits" its 10, 50 and 90 % quantiles.
"""

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from bot.pile_file import read_line
from shared.errors import BadInput
from shared.forecast import Forecast, forecast_many
from tests.simulator import bank, truth
from tests.simulator.draw import HABITS
from tests.simulator.state import Floats

QUANTILES = (0.1, 0.5, 0.9)
BATCH = 250


@dataclass(frozen=True, slots=True)
class Case:
    """One pile on one day: what was true and what was forecast (days from the build)."""

    pile: str
    day: int
    habit: str
    place: str
    month: int
    fed: bool
    ready: float
    stage: str
    said: tuple[float, float, float]
    said_stage: str


def load(
    directory: Path | None, piles: int, seed: int, world: str = "usual"
) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """(pile file, truth) pairs, read or made."""
    if directory is None:
        return list(bank.make(piles, seed, world=world))
    lines = [(directory / name).read_text().splitlines() for name in ("piles.jsonl", "truth.jsonl")]
    return [(json.loads(a), json.loads(b)) for a, b in zip(*lines, strict=True)]


def run(pairs: Iterable[tuple[dict[str, Any], dict[str, Any]]], seed: int) -> list[Case]:
    """Forecast every pile on each of its days."""
    asked = [(pile, true, day) for pile, true in pairs for day in true["as_of_days"]]
    cases: list[Case] = []
    for start in range(0, len(asked), BATCH):
        part = asked[start : start + BATCH]
        read = [read_line(json.dumps(bank.cut(pile, day)), date.max) for pile, _, day in part]
        for about, told in zip(part, forecast_many(read, seed=seed), strict=True):
            if isinstance(told, BadInput):
                raise told
            cases.append(_case(*about, told))
    return cases


def _case(pile: dict[str, Any], true: dict[str, Any], day: int, told: Forecast) -> Case:
    built = date.fromisoformat(pile["built"])

    def days(on: date | None) -> float:
        return float(truth.HORIZON_D if on is None else min(truth.HORIZON_D, (on - built).days))

    return Case(
        pile["pile"],
        day,
        true["habit"],
        true["place"],
        built.month,
        true["fed"],
        days(None if true["ready"] is None else date.fromisoformat(true["ready"])),
        truth.LETTERS[true["stages"][day]],
        (days(told.ready.p10), days(told.ready.p50), days(told.ready.p90)),
        told.stage,
    )


def pinball(ready: Floats, said: Floats) -> float:
    """Mean pinball loss [days]; said is (case, quantile)."""
    over = ready[:, None] - said
    return float(
        np.mean([np.maximum(q * over[:, i], (q - 1) * over[:, i]).mean() for i, q in enumerate(QUANTILES)])
    )


def print_scores(cases: list[Case]) -> None:
    """The table of done dates, the references, and the stages."""
    waiting = [c for c in cases if c.ready > c.day]
    groups: dict[str, list[Case]] = {"all": waiting}
    groups |= {f"day {d}": [c for c in waiting if c.day == d] for d in bank.AS_OF_DAYS}
    groups |= {h: [c for c in waiting if c.habit == h] for h in HABITS}
    groups |= {name: [c for c in waiting if c.fed == fed] for name, fed in (("batch", False), ("fed", True))}
    groups |= {p: [c for c in waiting if c.place == p] for p in sorted({c.place for c in waiting})}
    heads = ("|error|", "bias", "pinball", "in range", "width", "early", "late", "fixed", "habit", "habits")
    print(f"{'done date':18}{'cases':>7}" + "".join(f"{head:>9}" for head in heads))
    of_habit = {
        h: np.quantile([c.ready for c in waiting if c.habit == h] or [0.0], QUANTILES) for h in HABITS
    }
    for name, group in groups.items():
        if group:
            print(f"{name:18}{len(group):7}" + "".join(f"{cell:>9}" for cell in _cells(group, of_habit)))
    done = [c for c in cases if c.ready <= c.day]
    if done:
        called = np.mean([c.said_stage == "ready" for c in done])
        print(f"ready already: {len(done)} cases, called ready {called:.0%}")
    _print_stages(cases)


def _cells(group: list[Case], of_habit: Mapping[str, Floats]) -> list[str]:
    ready, said = np.array([c.ready for c in group]), np.array([c.said for c in group])
    today = np.array([c.day for c in group])[:, None]
    early, late = np.mean(ready < said[:, 0]), np.mean(ready > said[:, 2])
    habits = np.maximum(np.array([of_habit[c.habit] for c in group]), today)
    constants = np.maximum(77.0, today).repeat(3, axis=1), habits[:, [1, 1, 1]], habits
    off = said[:, 1] - ready
    return [
        f"{np.median(np.abs(off)):.1f}",
        f"{np.median(off):.1f}",
        f"{pinball(ready, said):.1f}",
        f"{1 - early - late:.1%}",
        f"{np.median(said[:, 2] - said[:, 0]):.0f}",
        f"{early:.1%}",
        f"{late:.1%}",
        *(f"{pinball(ready, constant):.1f}" for constant in constants),
    ]


def _print_stages(cases: list[Case]) -> None:
    names, days = list(truth.LETTERS.values()), sorted({c.day for c in cases})
    right = {d: np.mean([c.stage == c.said_stage for c in cases if c.day == d]) for d in days}
    print("\nstage right: " + ", ".join(f"day {d} {share:.0%}" for d, share in right.items()))
    print(f"all {np.mean([c.stage == c.said_stage for c in cases]):.1%}; rows are true, columns said")
    table = Counter((c.stage, c.said_stage) for c in cases)
    print(" " * 10 + "".join(f"{s:>9}" for s in names))
    for true in names:
        print(f"{true:10}" + "".join(f"{table[true, said]:9}" for said in names))


def main() -> None:
    """Score and say how long it took."""
    parser = argparse.ArgumentParser(description="Judge the forecast on simulated piles.")
    parser.add_argument("--piles", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--world", choices=bank.WORLDS, default="usual", help="other laws for the same piles")
    parser.add_argument("--bank", type=Path, help="a folder that tests.simulator.bank wrote")
    parser.add_argument("--limit", type=int, help="only the first so many lines of the bank")
    parser.add_argument("--cases", type=Path, help="write each case as a JSON line, to look into")
    given = parser.parse_args()
    pairs = load(given.bank, given.piles, given.seed, given.world)[: given.limit]
    began = time.perf_counter()
    cases = run(pairs, given.seed)
    print(f"{len(cases)} forecasts in {time.perf_counter() - began:.0f} s")
    if given.cases:
        rows = ({name: getattr(c, name) for name in Case.__slots__} for c in cases)
        given.cases.write_text("".join(json.dumps(row) + "\n" for row in rows))
    print_scores(cases)


if __name__ == "__main__":
    main()
