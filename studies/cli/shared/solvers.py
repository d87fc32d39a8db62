"""What the commands that solve many cases share: where they solve, and how they end."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from domemargin.profiles.errors import InputError

if TYPE_CHECKING:
    from domemargin.studies.study.engines import Engine


def solvers(
    workers: str | None, cluster: str | None, usual: int | None = None
) -> Callable[[], Engine]:
    """What makes the engine of --workers or --cluster.  Raises InputError.

    usual : processes without either; None for as many as there are cores.
    """
    from domemargin.studies.options import in_range
    from domemargin.studies.study.engines import Cluster, Processes

    many = usual if workers is None else in_range(workers, "--workers", 1, 256)
    if cluster is None:
        return partial(Processes, many)
    if workers is not None:
        raise InputError("--workers goes with processes; a cluster has its own", "--workers")
    return partial(Cluster, cluster)


@contextmanager
def worker_errors() -> Iterator[None]:
    """Workers that cannot work end in one sentence and status 1."""
    try:
        yield
    except Exception as error:
        from domemargin.studies.study.engines import WorkerError

        if not isinstance(error, WorkerError):
            raise
        print(f"domemargin: {error}", file=sys.stderr)
        raise typer.Exit(1) from None


def rescued_store(store: Path) -> None:
    """Rescue a store and say what was kept.  Raises StoreError."""
    from domemargin.studies.study.rescue import rescue

    kept, aside = rescue(store)
    if aside is not None or kept:
        where = f"; the damaged store is now {aside}" if aside else ""
        print(f"kept {kept} cases{where}", file=sys.stderr)
