"""How kernels are compiled: one place for the options."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])


def kernel(function: F) -> F:
    """Compile a function of plain numbers and arrays; the result is cached on disk.

    Fast mathematics without 'nnan' and 'ninf': a solve that has gone astray must show as NaN.
    """
    compiled: Any = njit(
        cache=True,
        nogil=True,
        error_model="numpy",
        fastmath={"reassoc", "contract", "arcp", "nsz"},
    )(function)
    return cast(F, compiled)
