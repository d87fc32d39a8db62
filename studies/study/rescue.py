"""What can still be read of a damaged store."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from domemargin.studies.study.store import (
    _ROWS,
    SPOILED,
    DamagedStoreError,
    Store,
    StoreError,
    case_row,
    first_digest_of,
    is_whole,
    locked,
)
from domemargin.studies.whole_files import flush_folder

_GAP = 20_000  # row numbers without a new case after which no more are looked for
_LEAST_ROW = 100  # bytes of a case at least: a damaged file may lead in circles
_LAST_ID = 2**63 - 1


def readable_rows(path: Path) -> Iterator[tuple[Any, ...]]:
    """The rows of the table of cases that can be read and say what was written."""
    seen: set[str] = set()
    for row in _all_rows(path):
        whole = _whole(row)
        if whole is not None and whole[0] not in seen:
            seen.add(whole[0])
            yield whole


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
        db.execute(f"EXPLAIN SELECT id, {_ROWS} FROM cases")
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
    Store.open(new).close()
    first = bytearray(new.read_bytes()[: int.from_bytes(new.read_bytes()[16:18], "big")])
    first[18:20] = b"\2\2" if log.exists() else b"\1\1"
    first[28:32] = (copy.stat().st_size // len(first)).to_bytes(4, "big")
    first[32:40] = bytes(8)  # no list of free pages
    first[92:96] = first[24:28]  # the number of pages is to be believed
    with copy.open("r+b") as file:
        file.write(first)
    return copy


def _rows_by_number(db: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    """Rows in order of their number, past those that cannot be read."""
    at, misses = -_LAST_ID, 0
    query = f"SELECT id, {_ROWS} FROM cases WHERE id >= ? ORDER BY id"
    while misses < _GAP and at < _LAST_ID:
        before = at
        try:
            for number, *row in db.execute(query, (at,)):
                # a number far off is believed when the next one is larger: it may be damaged
                if number >= before >= at:
                    at, misses = max(at, before), 0
                before = number + 1
                if at <= number < at + _GAP:
                    at, misses = number + 1, 0
                yield tuple(row)
            return
        except SPOILED:
            at, misses = max(at + 1, 1), misses + 1


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
    """Give a store and its log another name; where that is stopped half way both are there."""
    aside = _free_name(path)
    try:
        # the log first: where the store has its new name, so has all that belongs to it
        for tail in ("-wal", ""):
            part, to = (p.with_name(p.name + tail) for p in (path, aside))
            if part.exists():
                try:
                    os.link(part, to)
                except OSError:  # a file system without links
                    shutil.copyfile(part, to)
        flush_folder(path.parent)
        # a log without its store would be taken for the next store's
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
