"""The readable cases of a damaged store, read from its file without changing it."""

from __future__ import annotations

import contextlib
import itertools
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from domemargin.studies.study.rows import (
    ROWS,
    SPOILED,
    case_row,
    first_digest_of,
    is_whole,
    make_tables,
)

_GAP = 20_000  # row numbers without a new case after which no more are looked for
_LEAST_ROW = 100  # least bytes of a case: pages of a damaged file may refer in a circle
_LAST_ID = 2**63 - 1


def readable_rows(path: Path) -> Iterator[tuple[Any, ...]]:
    """The rows of the table of cases that are readable and hold what was written."""
    seen: set[str] = set()
    for row in _all_rows(path):
        whole = _whole(row)
        if whole is not None and whole[0] not in seen:
            seen.add(whole[0])
            yield whole


def readable(path: Path) -> int:
    """Number of cases that can be read of a damaged store."""
    return sum(1 for _ in readable_rows(path))


def _all_rows(path: Path) -> Iterator[tuple[Any, ...]]:
    with contextlib.ExitStack() as stack:
        db = _opened(path)
        if db is None:
            patched = stack.enter_context(tempfile.TemporaryDirectory())
            db = _opened(_with_new_first_page(path, Path(patched)))
        if db is None:
            return
        stack.enter_context(contextlib.closing(db))
        most = path.stat().st_size // _LEAST_ROW + 1
        yield from itertools.islice(_rows_by_number(db), 4 * most)


def _opened(path: Path) -> sqlite3.Connection | None:
    """A connection if the table of cases can be found in the file."""
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=30.0)
    except sqlite3.Error:
        return None
    db.text_factory = lambda raw: raw.decode("utf-8", "replace")
    with contextlib.suppress(*SPOILED):
        # else a file that is shorter than its header says is rejected as a whole
        db.execute("PRAGMA writable_schema=ON")
    try:
        db.execute(f"EXPLAIN SELECT id, {ROWS} FROM cases")
    except SPOILED:
        db.close()
        return None
    return db


def _with_new_first_page(path: Path, folder: Path) -> Path:
    """A copy whose first page, which says what the file is and where its tables begin, is that of
    a new store: they begin at the same pages.  SQLite's file format, section 1.3."""
    copy, new = folder / "copy.sqlite", folder / "new.sqlite"
    shutil.copyfile(path, copy)
    log = path.with_name(f"{path.name}-wal")
    if log.exists():
        shutil.copyfile(log, folder / "copy.sqlite-wal")
    with contextlib.closing(sqlite3.connect(new)) as db:
        make_tables(db)
    first = bytearray(new.read_bytes()[: int.from_bytes(new.read_bytes()[16:18], "big")])
    first[18:20] = b"\2\2" if log.exists() else b"\1\1"
    first[28:32] = (copy.stat().st_size // len(first)).to_bytes(4, "big")
    first[32:40] = bytes(8)  # no list of free pages
    first[92:96] = first[24:28]  # marks the number of pages as valid
    with copy.open("r+b") as file:
        file.write(first)
    return copy


def _rows_by_number(db: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    """Rows in order of their number, past those that cannot be read."""
    at, misses = -_LAST_ID, 0
    query = f"SELECT id, {ROWS} FROM cases WHERE id >= ? ORDER BY id"
    while misses < _GAP and at < _LAST_ID:
        before = at
        try:
            for number, *row in db.execute(query, (at,)):
                # a number far away counts only if the next one is larger: it may be damaged
                if number >= before >= at:
                    at, misses = max(at, before), 0
                before = number + 1
                if at <= number < at + _GAP:
                    at, misses = number + 1, 0
                yield tuple(row)
            return
        except SPOILED:
            at, misses = max(at + 1, 1), misses + 1


def _whole(row: tuple[Any, ...]) -> tuple[Any, ...] | None:
    """The row with a digest of this schema, None if it does not hold what was written."""
    if is_whole(row):
        return row
    key, state, reason, _, outputs, solver, digest, *_ = row
    try:
        if digest == first_digest_of(key, state, reason, outputs, solver):
            return case_row(*row[:6], *row[7:])
    except (TypeError, ValueError, AttributeError):
        pass
    return None
