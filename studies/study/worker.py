"""Set-up of a worker process: one thread, ignores Ctrl-C, exits with its parent."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator

THREADS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
    "NUMBA_NUM_THREADS",
)


class ThreadError(RuntimeError):
    """A worker whose linear algebra would run in several threads: many times slower."""


@contextlib.contextmanager
def one_thread_each() -> Iterator[None]:
    """An environment in which processes that are started load their libraries with one thread.

    It must be set before numpy is loaded, hence by the parent.
    """
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def start() -> None:
    """Run first in a worker process."""
    # Ctrl-C goes to the whole group: the parent lets cases in work finish
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    check_one_thread()


def check_one_thread() -> None:
    """Raise ThreadError where a library would use more than one thread."""
    from threadpoolctl import threadpool_info

    for library in threadpool_info():
        if library["num_threads"] != 1:
            raise ThreadError(
                f"{library['internal_api']} runs {library['num_threads']} threads in a worker"
            )


def limit_to_one_thread() -> None:
    """For a worker that another program started: set its loaded libraries to one thread."""
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)
    check_one_thread()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        # a killed parent cannot stop its workers
        os._exit(1)
