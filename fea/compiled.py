"""How kernels are compiled: one place for the options."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit

F = TypeVar("F", bound=Callable[..., Any])


@lru_cache(maxsize=1)
def sources() -> str:
    """Digest of all modules of this package: what a compiled kernel may have been made from."""
    digest = sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def kernel(function: F) -> F:
    """Compile a function of plain numbers and arrays; the result is cached on disk.

    Fast mathematics without 'nnan' and 'ninf': a solve that has gone astray must show as NaN.

    numba dates a cached kernel by the file it stands in, but kernels call kernels of other files
    and hold their code: here any change in the package makes all of them anew.
    """
    compiled: Any = njit(
        cache=True,
        nogil=True,
        error_model="numpy",
        fastmath={"reassoc", "contract", "arcp", "nsz"},
    )(function)
    index = compiled._cache._cache_file
    index._source_stamp = (index._source_stamp, sources())
    return cast(F, compiled)
