"""How kernels are compiled: one place for the options."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import lru_cache
from hashlib import sha256
from multiprocessing import parent_process
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit

POSITIVE = 2**31 - 1  # an index & POSITIVE shows the compiler that it is not negative

F = TypeVar("F", bound=Callable[..., Any])


@lru_cache(maxsize=1)
def sources() -> str:
    """Digest of all modules that hold kernels or named tuples: what a kernel is compiled from."""
    folder = Path(__file__).parent
    digest = sha256()
    for path in sorted(folder.rglob("*.py")):
        text = path.read_bytes()
        # kernels know the fields of named tuples by their places
        if any(mark in text for mark in (b"@kernel", b"@part", b"(NamedTuple)")):
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
        nogil=True,
        error_model="numpy",
        forceinline=True,
        fastmath={"reassoc", "contract", "arcp", "nsz"},
    )(function)
    try:
        compiled.enable_caching()
    except RuntimeError:  # neither the package's folder nor the user's can be written
        _warn_uncached()
        return cast(F, compiled)
    index = compiled._cache._cache_file
    index._source_stamp = (index._source_stamp, sources())
    load = index._load_index

    def load_if_possible() -> Any:
        try:
            return load()
        except (AttributeError, ImportError):  # of a class that has another name or place by now
            return {}

    index._load_index = load_if_possible
    save = compiled._cache.save_overload

    def save_if_possible(signature: Any, data: Any) -> None:
        try:
            save(signature, data)
        except OSError:  # a full disk
            _warn_uncached()

    compiled._cache.save_overload = save_if_possible
    return cast(F, compiled)


@lru_cache(maxsize=1)
def _warn_uncached() -> None:
    """Say once, and not in every worker, that what is compiled cannot be kept."""
    if parent_process() is None:
        warnings.warn(
            "the compiled solver cannot be kept: no folder for it can be written, so every command "
            "compiles it anew, about 20 s; set NUMBA_CACHE_DIR to a folder that can be written",
            RuntimeWarning,
            stacklevel=2,
        )


def part(function: F) -> F:
    """A piece of a kernel, put into its caller as if it were written there.

    The compiler then sees one function: a kernel that is cut into parts keeps its speed and its
    last bit, while a kernel that calls kernels has each of them optimised for itself first.
    """
    return cast(F, njit(inline="always")(function))


def is_kept(function: Callable[..., Any]) -> bool:
    """Whether a kernel, once compiled, can be kept on disk."""
    return hasattr(cast(Any, function)._cache, "_cache_file")


def is_compiled(function: Callable[..., Any]) -> bool:
    """Whether a kernel lies compiled on disk, as its source is now."""
    return is_kept(function) and bool(cast(Any, function)._cache._cache_file._load_index())
