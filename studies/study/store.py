"""The store of a study: one SQLite file, written by one process, readable by any meanwhile.

Tables: meta (name, value); plan (number, key, point) holds the points asked for; cases (key, ...)
holds the results.  Planned keys without a case are still to be solved; no other progress is stored.
A case's key is a digest of its inputs, so a changed plan reuses the cases that it shares with the
old one.  Every row of every table carries a digest of its content, and the row "whole" of meta,
which every store has, a digest of the whole plan and of the rest of meta.  All digests are checked
when a store is opened: a reader gets what was written or a DamagedStoreError.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from domemargin.profiles import InputError
from domemargin.studies.study.cases import SOLVED, Result
from domemargin.studies.study.rows import (
    APPLICATION,
    SCHEMA,
    SPOILED,
    altered,
    case_row,
    has_our_tables,
    make_tables,
    put_cases,
    put_plan,
    raised,
)
from domemargin.studies.study.salvage import readable
from domemargin.studies.whole_files import flush_folder


class StoreError(InputError):
    """A store that cannot be used; the sentence says what to do."""


class DamagedStoreError(StoreError):
    """A store with damage; `readable` cases of it can be rescued."""

    def __init__(self, path: Path, why: str, readable: int) -> None:
        self.readable = readable
        super().__init__(
            f"the store {str(path)!r} is damaged ({why}); {readable} cases in it can be read: "
            "run the study again with --rescue to keep them and solve the rest",
            "store",
            str(path),
        )


class Store:
    """An open store.  Use as a context manager."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: sqlite3.Connection | None):
        self.path = path
        self._db = connection
        self._lock = lock

    @classmethod
    def open(cls, path: Path) -> Store:
        """Open for writing; a missing store is made.  Raises StoreError."""
        return cls.open_locked(path, locked(path))

    @classmethod
    def open_locked(cls, path: Path, lock: sqlite3.Connection) -> Store:
        """The same for a holder of the lock, which is released when the store is closed."""
        try:
            if not path.exists():
                _create(path)
            db = _checked(path, "rw")
            try:
                db.execute("PRAGMA journal_mode=WAL")
                # FULL with WAL: what was committed is on the disk, also after a power failure
                db.execute("PRAGMA synchronous=FULL")
            except SPOILED as error:
                db.close()
                raise _unwritten(path, error) from None
        except BaseException:
            lock.close()
            raise
        return cls(path, db, lock)

    @classmethod
    def read(cls, path: Path) -> Store:
        """Open for reading, also while a study runs.  Raises StoreError."""
        if not path.exists():
            raise StoreError(f"there is no store {str(path)!r}; run the study first", "store")
        return cls(path, _checked(path, "ro"), None)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file, which then holds all that was written."""
        if self._lock is not None:
            with contextlib.suppress(*SPOILED):  # another process reads: leave the log
                self._db.execute("PRAGMA busy_timeout=0")
                self._db.execute("PRAGMA journal_mode=DELETE")
        self._db.close()
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    # meta

    def meta(self, name: str) -> str | None:
        """A text of the table meta, such as the definition of the study."""
        with _reading(self):
            row = self._db.execute("SELECT value FROM meta WHERE name = ?", (name,)).fetchone()
            return None if row is None else str(row[0])

    # plan

    def replace_plan(
        self, rows: Iterable[tuple[str, dict[str, float]]], meta: dict[str, str]
    ) -> None:
        """Put in a new plan, (key, point) in order, all or nothing; known cases stay."""
        with _writing(self), self._db:
            put_plan(self._db, ((key, json.dumps(point)) for key, point in rows), meta)

    def planned(self) -> int:
        """Number of planned points."""
        with _reading(self):
            return int(self._db.execute("SELECT count(*) FROM plan").fetchone()[0])

    def points_left(self) -> int:
        """Number of different bottoms that a run would solve."""
        with _reading(self):
            return int(self._db.execute(f"SELECT count(*) {_LEFT}").fetchone()[0])

    def left(self, page: int = 1000) -> Iterator[tuple[str, dict[str, float]]]:
        """(key, point) that have no case, or one that failed for a passing reason, in order.

        Each key comes once, also where it fails again.  Read page by page, so that storing may
        go on meanwhile.
        """
        with _reading(self):
            after = 0
            while True:
                rows = self._db.execute(
                    f"SELECT plan.number, plan.key, plan.point {_LEFT} "
                    "AND plan.number > ? ORDER BY plan.number LIMIT ?",
                    (after, page),
                ).fetchall()
                for _, key, point in rows:
                    yield key, json.loads(point)
                if len(rows) < page:
                    return
                after = rows[-1][0]

    # cases

    def add(self, results: Sequence[Result], solver: str) -> None:
        """Commit results.  Raises StoreError if they cannot be written."""
        rows = []
        for r in results:
            outputs = json.dumps(r.outputs, allow_nan=False)
            rows.append(case_row(r.key, r.state, r.reason, r.passing, outputs, solver, r.detail,
                                 r.seconds, time.time()))  # fmt: skip
        self.add_rows(rows)

    def add_rows(self, rows: Iterable[tuple[Any, ...]]) -> None:
        """Commit rows that case_row made.  Raises StoreError."""
        with _writing(self), self._db:
            put_cases(self._db, rows)

    def has(self, key: str) -> bool:
        """Whether a case of this key is stored."""
        with _reading(self):
            return bool(self._db.execute("SELECT 1 FROM cases WHERE key = ?", (key,)).fetchone())

    def counts(self) -> dict[str, int]:
        """State -> number of planned points in it; "" for those without a case."""
        with _reading(self):
            return dict(
                self._db.execute(
                    "SELECT coalesce(cases.state, ''), count(*) "
                    "FROM plan LEFT JOIN cases ON cases.key = plan.key GROUP BY 1"
                )
            )

    def reasons(self, solved: Sequence[str] = SOLVED) -> list[tuple[str, str, int]]:
        """(state, reason, number of planned points) of those in none of the states `solved`, the
        commonest first."""
        with _reading(self):
            marks = ", ".join("?" * len(solved))
            return list(
                self._db.execute(
                    "SELECT state, reason, count(*) FROM plan JOIN cases ON cases.key = plan.key "
                    f"WHERE state NOT IN ({marks}) GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2",
                    tuple(solved),
                )
            )

    def rows(self) -> Iterator[dict[str, Any]]:
        """The planned points with what is known of them, in order, one at a time."""
        with _reading(self):
            cursor = self._db.execute(
                "SELECT plan.number, plan.key, plan.point, cases.state, cases.reason, "
                "cases.outputs, cases.solver, cases.seconds, cases.finished, cases.detail "
                "FROM plan LEFT JOIN cases ON cases.key = plan.key ORDER BY plan.number"
            )
            for number, key, point, state, reason, outputs, solver, *rest in cursor:
                yield {
                    "number": number,
                    "key": key,
                    "point": json.loads(point),
                    "state": state or "",
                    "reason": reason or "",
                    "outputs": json.loads(outputs) if outputs else {},
                    "solver": solver or "",
                    "seconds": rest[0],
                    "finished": rest[1],
                    "detail": rest[2] or "",
                }

    def output_names(self) -> dict[str, str]:
        """Name -> "text" or "number" of every output that a planned case has, in the order in
        which records have them."""
        with _reading(self):
            found = self._db.execute(
                "SELECT o.key, min(o.id), max(o.type = 'text') FROM plan "
                "JOIN cases ON cases.key = plan.key, json_each(cases.outputs) AS o "
                "GROUP BY o.key ORDER BY 2, 1"
            )
            return {name: "text" if text else "number" for name, _, text in found}


_LEFT = (
    "FROM plan LEFT JOIN cases ON cases.key = plan.key "
    "WHERE plan.again = 0 AND (cases.key IS NULL OR cases.passing = 1)"
)


@contextlib.contextmanager
def _writing(store: Store) -> Iterator[None]:
    try:
        yield
    except SPOILED as error:
        raise _unwritten(store.path, error) from error


@contextlib.contextmanager
def _reading(store: Store) -> Iterator[None]:
    """Damage that occurs after the store was opened gives the same sentence."""
    try:
        yield
    except (*SPOILED, ValueError, TypeError) as error:
        why = " ".join(str(error).split())[:80]
        raise DamagedStoreError(store.path, why, readable(store.path)) from error


def _unwritten(path: Path, error: Exception) -> StoreError:
    return StoreError(
        f"the store {str(path)!r} cannot be written ({error}); what was stored before "
        "is kept: make room and run the study again",
        "store",
    )


def _create(path: Path) -> None:
    """Make an empty store under another name and rename it: a store is never incomplete."""
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(f"{path.name}.new")
    new.unlink(missing_ok=True)
    try:
        db = sqlite3.connect(new)
        make_tables(db)
        db.close()
        os.replace(new, path)
        flush_folder(path.parent)  # else a power failure may lose the name of the file
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"the store {str(path)!r} cannot be made: {error}", "store") from None


def locked(path: Path) -> sqlite3.Connection:
    """The lock for writing, which the system releases when the process dies."""
    beside = path.with_name(f".{path.name}.lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = sqlite3.connect(beside, timeout=0.1, isolation_level=None)
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"the store {str(path)!r} cannot be written: {error}", "store") from None
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        lock.close()
        raise StoreError(
            f"the store {str(path)!r} is in use by another run ({error}); wait for it or stop it",
            "store",
        ) from None
    return lock


def _checked(path: Path, mode: str) -> sqlite3.Connection:
    """A connection to a whole store of this schema.  Raises StoreError."""
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=30.0)
    except sqlite3.Error as error:  # not allowed to, or a folder: no damage to be rescued from
        raise StoreError(f"the store {str(path)!r} cannot be opened: {error}", "store") from None
    try:
        application = db.execute("PRAGMA application_id").fetchone()[0]
        schema = db.execute("PRAGMA user_version").fetchone()[0]
        # the quick check leaves out that an index has lost a row, which then reads as not solved
        check = db.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except SPOILED as error:
        db.close()
        raise DamagedStoreError(path, " ".join(str(error).split())[:80], readable(path)) from None
    if check != "ok":
        db.close()
        raise DamagedStoreError(path, " ".join(str(check).split())[:80], readable(path))
    if application != APPLICATION or not 1 <= schema <= SCHEMA:
        ours = has_our_tables(db)
        db.close()
        if path.stat().st_size == 0:
            raise DamagedStoreError(path, "it is empty", 0)
        if ours:  # another version of this program has other tables
            raise DamagedStoreError(path, "its header has changed", readable(path))
        if application != APPLICATION:
            raise StoreError(f"{str(path)!r} is not the store of a study", "store")
        raise StoreError(
            f"the store {str(path)!r} is of version {schema}, this program reads up to {SCHEMA}; "
            "use a newer program",
            "store",
        )
    try:
        db = db if schema == SCHEMA else raised(db, mode)
        why = altered(db)
    except (*SPOILED, ValueError, TypeError) as error:
        why = " ".join(str(error).split())[:80]
    if why:
        db.close()
        raise DamagedStoreError(path, why, readable(path))
    return db
