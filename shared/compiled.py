"""How the core's inner loops are compiled: plain functions of numbers, made machine code on first use."""

from collections.abc import Callable
from typing import ParamSpec, TypeVar

from numba import njit

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile on first call and keep the result beside the source; division by zero gives inf, as in NumPy.

    The kept result knows only its own file: after a change in a file that a compiled loop calls,
    delete `shared/__pycache__/*.nb*` (the checks do).
    """
    kept: Callable[P, R] = njit(cache=True, error_model="numpy")(function)
    return kept
