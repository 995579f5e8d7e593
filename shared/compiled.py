"""How the core's inner loops are compiled: plain functions of numbers, made machine code on first use."""

from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar

from numba import njit

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile on first call and keep the result beside the source; a division by zero gives inf."""
    kept: Callable[P, R] = njit(cache=True, error_model="numpy")(function)
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
