"""What can still be read of a damaged store."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from domemargin.studies.study.store import (
    _ROWS,
    DamagedStoreError,
    Store,
    case_row,
    first_digest_of,
    is_whole,
    locked,
)

_PAGE = 64
_GAP = 20_000  # rows without an answer after which no more are looked for


def readable_rows(path: Path) -> Iterator[tuple[Any, ...]]:
    """The rows of the table of cases that can be read and say what was written."""
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30.0)
    except sqlite3.Error:
        return
    seen: set[str] = set()
    with contextlib.closing(db):
        with contextlib.suppress(sqlite3.Error):
            # else a file that is shorter than its header says is refused as a whole
            db.execute("PRAGMA writable_schema=ON")
        db.text_factory = lambda raw: raw.decode("utf-8", "replace")
        first, last = _ends(db)
        start = first
        answered = start
        # a damaged number of a row may be as large as 2^63
        while start <= last and start - answered < _GAP:
            page = _page(db, start, start + _PAGE)
            if page:
                answered = start
            for row in page:
                whole = _whole(row)
                if whole is not None and whole[0] not in seen:
                    seen.add(whole[0])
                    yield whole
            start += _PAGE


def rescue(path: Path) -> tuple[int, Path | None]:
    """Move a damaged store aside and make a new one of the cases that can be read.

    Cases of stores that were moved aside before are kept too: so nothing is lost where a rescue
    was stopped half way.  A sound store stays where it is.  The plan is not kept: it follows from
    the study.  Returns the number of cases that were brought over and where the damaged file now
    lies, None for a sound store.  Raises StoreError, at once while a run is on.
    """
    lock = locked(path)
    aside = None
    try:
        if path.exists() and _damaged(path):
            aside = _free_name(path)
            # the log first: a store without its log is damaged no further, a log without its
            # store would be taken for the next store's
            for tail in ("-wal", "-shm", ""):
                part = path.with_name(path.name + tail)
                if part.exists():
                    part.replace(aside.with_name(aside.name + tail))
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


def _ends(db: sqlite3.Connection) -> tuple[int, int]:
    try:
        first, last = db.execute("SELECT min(id), max(id) FROM cases").fetchone()
        return (first or 1), (last or 0)
    except sqlite3.Error:
        pass
    # the tree is broken at one of its ends: look for the furthest row that answers
    last = start = 1
    while start - last < _GAP:
        if _page(db, start, start + _PAGE):
            last = start + _PAGE
        start += _PAGE
    return 1, last


def _page(db: sqlite3.Connection, start: int, stop: int) -> list[tuple[Any, ...]]:
    """Rows with start <= id < stop; one by one where the page as a whole fails."""
    query = f"SELECT {_ROWS} FROM cases WHERE id >= ? AND id < ?"
    try:
        return db.execute(query, (start, stop)).fetchall()
    except sqlite3.Error:
        rows = []
        for i in range(start, stop):
            with contextlib.suppress(sqlite3.Error):
                rows += db.execute(query, (i, i + 1)).fetchall()
        return rows


def _whole(row: tuple[Any, ...]) -> tuple[Any, ...] | None:
    """The row with a digest of today, None if it does not say what was written."""
    if is_whole(row):
        return row
    key, state, reason, _, outputs, solver, digest, *_ = row
    try:
        if digest == first_digest_of(key, state, reason, outputs, solver):
            return case_row(*row[:6], *row[7:])
    except (TypeError, ValueError, AttributeError):
        pass
    return None
