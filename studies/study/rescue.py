"""What can still be read of a damaged store."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from domemargin.studies.study.store import _ROWS, Store, StoreError, digest_of

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
        while start <= last:
            for row in _page(db, start, start + _PAGE):
                if row[0] not in seen and _whole(row):
                    seen.add(row[0])
                    yield row
            start += _PAGE


def rescue(path: Path) -> tuple[int, Path]:
    """Move a damaged store aside and make a new one of the cases that can be read.

    Returns their number and where the damaged file now lies.  The plan is not kept: it follows
    from the study.
    """
    rows = list(readable_rows(path))
    aside = path.with_name(f"{path.stem}.damaged{path.suffix}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.stem}.damaged-{number}{path.suffix}")
    for tail in ("", "-wal", "-shm"):
        part = path.with_name(path.name + tail)
        if part.exists():
            part.replace(aside.with_name(aside.name + tail))
    with Store.open(path) as store:
        marks = ", ".join("?" * 10)
        try:
            with store._db:
                store._db.executemany(f"INSERT INTO cases ({_ROWS}) VALUES ({marks})", rows)
        except sqlite3.Error as error:
            raise StoreError(f"the store {str(path)!r} cannot be written: {error}") from None
    return len(rows), aside


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


def _whole(row: tuple[Any, ...]) -> bool:
    key, state, reason, _, outputs, solver, digest, *_ = row
    try:
        return bool(digest == digest_of(key, state, reason, outputs, solver))
    except (TypeError, AttributeError):
        return False
