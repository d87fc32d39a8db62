"""A new store from the readable cases of a damaged one, which is renamed."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from domemargin.studies.study.salvage import readable_rows
from domemargin.studies.study.store import DamagedStoreError, Store, StoreError, locked
from domemargin.studies.whole_files import flush_folder


def rescue(path: Path) -> tuple[int, Path | None]:
    """Move a damaged store aside and make a new one of the cases that can be read.

    Cases of stores that were renamed before are kept too: so nothing is lost where a rescue was
    interrupted.  A sound store is left unchanged.  The plan is not kept: it follows from the
    study.  Returns the number of cases copied and the new path of the damaged file, None for a
    sound store.  Raises StoreError, immediately while a run uses the store.
    """
    lock = locked(path)
    aside = None
    try:
        if path.exists() and _damaged(path):
            aside = _moved_aside(path)
    except BaseException:
        lock.close()
        raise
    kept = 0
    with Store.open_locked(path, lock) as store:
        for old in sorted(path.parent.glob(f"{path.stem}.damaged*{path.suffix}")):
            rows = [row for row in readable_rows(old) if not store.has(row[0])]
            store.add_rows(rows)
            kept += len(rows)
    return kept, aside


def _moved_aside(path: Path) -> Path:
    """Rename a store and its log; if that is interrupted, both names exist."""
    aside = _free_name(path)
    try:
        # the log first: once the store has its new name, so has every file that belongs to it
        for tail in ("-wal", ""):
            part, to = (p.with_name(p.name + tail) for p in (path, aside))
            if part.exists():
                try:
                    os.link(part, to)
                except OSError:  # a file system without links
                    shutil.copyfile(part, to)
        flush_folder(path.parent)
        # a log without its store would be read as the log of the next store
        for tail in ("-wal", "-shm", ""):
            path.with_name(path.name + tail).unlink(missing_ok=True)
    except OSError as error:
        raise StoreError(
            f"the store {str(path)!r} cannot be moved aside: {error}; nothing of it is lost",
            "store",
        ) from None
    return aside


def _damaged(path: Path) -> bool:
    try:
        Store.read(path).close()
    except DamagedStoreError:
        return True
    return False


def _free_name(path: Path) -> Path:
    aside = path.with_name(f"{path.stem}.damaged{path.suffix}")
    number = 1
    while any(aside.with_name(aside.name + tail).exists() for tail in ("", "-wal")):
        number += 1
        aside = path.with_name(f"{path.stem}.damaged-{number}{path.suffix}")
    return aside
