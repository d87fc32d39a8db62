"""How kernels are compiled: one place for the options."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit

POSITIVE = 2**31 - 1  # an index & POSITIVE shows the compiler that it is not negative

F = TypeVar("F", bound=Callable[..., Any])


@lru_cache(maxsize=1)
def sources() -> str:
    """Digest of all modules that hold kernels: what a compiled one may have been made from."""
    folder = Path(__file__).parent
    digest = sha256()
    for path in sorted(folder.rglob("*.py")):
        if b"@kernel" in (text := path.read_bytes()):
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + text)
    return digest.hexdigest()


def kernel(function: F) -> F:
    """Compile a function of plain numbers and arrays; the result is cached on disk.

    Fast mathematics without 'nnan' and 'ninf': a solve that has gone astray must show as NaN.

    Called kernels become part of their caller: else it rests on what else a process has loaded
    which of several copies of a callee it runs, and copies differ in the last bit.

    numba dates a cached kernel by the file it stands in, but kernels call kernels of other files
    and hold their code: here a change in any of the package's kernels makes all of them anew.
    So constants that a kernel uses stand in modules with kernels.
    """
    compiled: Any = njit(
        cache=True,
        nogil=True,
        error_model="numpy",
        forceinline=True,
        fastmath={"reassoc", "contract", "arcp", "nsz"},
    )(function)
    index = compiled._cache._cache_file
    index._source_stamp = (index._source_stamp, sources())
    return cast(F, compiled)


def is_compiled(function: Callable[..., Any]) -> bool:
    """Whether a kernel lies compiled on disk, as its source is now."""
    return bool(cast(Any, function)._cache._cache_file._load_index())
