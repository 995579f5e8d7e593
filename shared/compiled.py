"""How the core's inner loops are compiled, and the two functions that they need beside + - × ÷ and roots.

A loop over piles that lie side by side runs on many of them at once only if all that it calls is folded into
it, so every function is; and e^x and cube roots are worked out from basic operations, which each machine
rounds alike, where libraries differ in the last digit.
"""

from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

from numba import njit

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile on first call and keep the result beside the source; a division by zero gives inf."""
    kept: Callable[P, R] = njit(cache=True, error_model="numpy", forceinline=True)(function)
    return kept


def _drop_outdated() -> None:
    """Throw kept results away when any source is newer: each knows its own file, not those that it calls."""
    here = Path(__file__).parent
    kept = [*here.glob("__pycache__/*.nbi"), *here.glob("__pycache__/*.nbc")]
    newest = max(source.stat().st_mtime for source in here.glob("*.py"))
    if kept and newest > min(file.stat().st_mtime for file in kept):
        for file in kept:
            file.unlink(missing_ok=True)


_drop_outdated()


@compiled
def exponential(x: float) -> float:
    """e^x, within 1e-12 for -6 to 6 and 2e-9 for -20 to 20, held at e^±40 beyond: a series, squared often."""
    r = max(-40.0, min(40.0, x)) / 128.0
    rest = 1.0 / 24.0 + r * (1.0 / 120.0 + r * (1.0 / 720.0 + r * (1.0 / 5040.0)))
    power = 1.0 + r * (1.0 + r * (0.5 + r * (1.0 / 6.0 + r * rest)))
    for _ in range(7):
        power *= power
    return power


@compiled
def cube_root(x: float) -> float:
    """Cube root of 0.001 to 50, within 1e-9: Halley's iteration."""
    root = 0.5 * (1.0 + x)
    for _ in range(5):
        cube = root * root * root
        root *= (cube + 2.0 * x) / (2.0 * cube + x)
    return root
