"""The store of a study: one SQLite file, written by one process, readable by any meanwhile.

Tables: meta (name, value); plan (number, key, point) is what was asked; cases (key, ...) is what
is known.  What is still to do is planned keys without a case, nothing else is remembered.  A
case's key is a digest of its inputs, so a changed plan finds again what it has in common with
the old one.  Every row of every table carries a digest of all that it says, and the row "whole" of
meta, which no store is without, one of the whole plan and the rest of meta: all of them are checked
whenever a store is opened, so that whoever reads it gets what was written or a DamagedStoreError.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from domemargin.profiles import InputError
from domemargin.studies.study.cases import SOLVED, Result
from domemargin.studies.whole_files import flush_folder

# of a damaged store; the message itself may hold bytes of it that are no UTF-8
SPOILED = (sqlite3.Error, UnicodeDecodeError, OverflowError)
SCHEMA = 2  # raised when the tables change; a tiny store of each version lies in tests/data/stores
APPLICATION = 0x444D4731  # "DMG1" in the header of the file: this is a study store
_TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL, digest TEXT NOT NULL);
CREATE TABLE plan (
    number INTEGER PRIMARY KEY,
    key TEXT NOT NULL,
    point TEXT NOT NULL,
    again INTEGER NOT NULL DEFAULT 0,
    digest TEXT NOT NULL
);
CREATE INDEX plan_key ON plan (key);
CREATE TABLE cases (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    state TEXT NOT NULL,
    reason TEXT NOT NULL,
    passing INTEGER NOT NULL,
    outputs TEXT NOT NULL,
    solver TEXT NOT NULL,
    digest TEXT NOT NULL,
    detail TEXT NOT NULL,
    seconds REAL NOT NULL,
    finished REAL NOT NULL
);
"""
_ROWS = "key, state, reason, passing, outputs, solver, digest, detail, seconds, finished"


class StoreError(InputError):
    """A store that is rejected as it is; the sentence says what can be done."""


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


def digest_of(*values: str | float) -> str:
    """Digest of what a row says, in the order of its columns."""
    return hashlib.sha256(ascii(values).encode()).hexdigest()[:16]


def first_digest_of(key: str, state: str, reason: str, outputs: str, solver: str) -> str:
    """Digest of a case in a store of schema 1."""
    text = "\0".join((key, state, reason, outputs, solver))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def case_row(
    key: str, state: str, reason: str, passing: int, outputs: str, solver: str, detail: str,
    seconds: float, finished: float,
) -> tuple[str | float, ...]:  # fmt: skip
    """A row of the table of cases, in the order of _ROWS, with its digest."""
    values = (key, state, reason, int(passing), outputs, solver)
    rest = (detail, float(seconds), float(finished))
    return (*values, digest_of(*values, *rest), *rest)


def is_whole(row: tuple[Any, ...]) -> bool:
    """Whether a row of the table of cases says what was written."""
    try:
        return bool(row[6] == digest_of(*row[:6], *row[7:]))
    except (TypeError, ValueError):
        return False


class Store:
    """An open store.  Use as a context manager."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: sqlite3.Connection | None):
        self.path = path
        self._db = connection
        self._lock = lock

    @classmethod
    def open(cls, path: Path) -> Store:
        """Open for writing, made if it is not there.  Raises StoreError."""
        return cls.open_locked(path, locked(path))

    @classmethod
    def open_locked(cls, path: Path, lock: sqlite3.Connection) -> Store:
        """The same for who has the right to write; the lock is closed with the store."""
        try:
            if not path.exists():
                _create(path)
            db = _checked(path, "rw")
            try:
                db.execute("PRAGMA journal_mode=WAL")
                # FULL with WAL: what was committed is on the disk, also after a power cut
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
        """Let go of the file, which then holds all that was written."""
        if self._lock is not None:
            with contextlib.suppress(*SPOILED):  # somebody is reading: leave it as it is
                self._db.execute("PRAGMA busy_timeout=0")
                self._db.execute("PRAGMA journal_mode=DELETE")
        self._db.close()
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    # meta

    def meta(self, name: str) -> str | None:
        """A remembered text, such as the study's own definition."""
        with _reading(self):
            row = self._db.execute("SELECT value FROM meta WHERE name = ?", (name,)).fetchone()
            return None if row is None else str(row[0])

    # plan

    def replace_plan(
        self, rows: Iterable[tuple[str, dict[str, float]]], meta: dict[str, str]
    ) -> None:
        """Put in a new plan, (key, point) in order, all or nothing; known cases stay."""
        with _writing(self), self._db:
            _put_plan(self._db, ((key, json.dumps(point)) for key, point in rows), meta)

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
            _put_cases(self._db, rows)

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
    """Damage that came after the store was opened ends in the same sentence."""
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


def _put_plan(
    db: sqlite3.Connection, rows: Iterable[tuple[str, str]], meta: dict[str, str]
) -> None:
    """Replace the plan, (key, point as JSON) in order; a case planned twice is solved once."""
    seen: set[str] = set()
    whole = hashlib.sha256()

    def digested() -> Iterator[tuple[str | float, ...]]:
        for number, (key, point) in enumerate(rows, 1):
            values = (number, key, point, int(key in seen))
            seen.add(key)
            digest = digest_of(*values)
            whole.update(digest.encode())
            yield (*values, digest)

    db.execute("DELETE FROM plan")
    db.executemany("INSERT INTO plan VALUES (?, ?, ?, ?, ?)", digested())
    # a row that went missing leaves no digest of its own
    held = dict(db.execute("SELECT name, value FROM meta WHERE name <> 'whole'")) | meta
    told = {**meta, "whole": digest_of(whole.hexdigest(), *itertools.chain(*sorted(held.items())))}
    db.executemany(
        "INSERT OR REPLACE INTO meta VALUES (?, ?, ?)",
        ((name, value, digest_of(name, value)) for name, value in told.items()),
    )


def _put_cases(db: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> None:
    marks = ", ".join("?" * 10)
    db.executemany(f"INSERT OR REPLACE INTO cases ({_ROWS}) VALUES ({marks})", rows)


def _create(path: Path) -> None:
    """Make an empty store beside its place and move it there: never half a store."""
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(f"{path.name}.new")
    new.unlink(missing_ok=True)
    try:
        db = sqlite3.connect(new)
        db.executescript(
            f"BEGIN; {_TABLES} PRAGMA application_id={APPLICATION}; "
            f"PRAGMA user_version={SCHEMA}; COMMIT;"
        )
        with db:
            _put_plan(db, (), {})
        db.close()
        os.replace(new, path)
        flush_folder(path.parent)  # else a power cut takes the name of the file
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"the store {str(path)!r} cannot be made: {error}", "store") from None


def locked(path: Path) -> sqlite3.Connection:
    """The right to write, which the system takes back when the process dies."""
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
        ours = _has_our_tables(db)
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
        db = db if schema == SCHEMA else _raised(db, mode)
        why = _altered(db)
    except (*SPOILED, ValueError, TypeError) as error:
        why = " ".join(str(error).split())[:80]
    if why:
        db.close()
        raise DamagedStoreError(path, why, readable(path))
    return db


def _has_our_tables(db: sqlite3.Connection) -> bool:
    """Whether the table of cases has the columns of any version up to this one."""
    try:
        columns = [row[1] for row in db.execute("PRAGMA table_info(cases)")]
    except SPOILED:
        return False
    return columns == ["id", *_ROWS.split(", ")]


def _altered(db: sqlite3.Connection) -> str:
    """What does not say what was written, "" where all does.  Raises sqlite3.Error."""
    db.execute("BEGIN")  # one state of the store, also while a run goes on
    try:
        meta = {}
        for name, value, digest in db.execute("SELECT name, value, digest FROM meta"):
            if digest != digest_of(name, value):
                return "its description has changed"
            meta[name] = value
        told = meta.pop("whole", "")
        whole = hashlib.sha256()
        query = "SELECT number, key, point, again, digest FROM plan ORDER BY number"
        for *values, digest in db.execute(query):
            if digest != digest_of(*values):
                return f"point {values[0]} of the plan has changed"
            whole.update(digest.encode())
        if told != digest_of(whole.hexdigest(), *itertools.chain(*sorted(meta.items()))):
            return "a part of the plan or of the description is missing"
        for row in db.execute(f"SELECT {_ROWS} FROM cases"):
            if not is_whole(row):
                return f"case {str(row[0])[:12]} has changed"
    finally:
        db.rollback()
    return ""


def _raised(db: sqlite3.Connection, mode: str) -> sqlite3.Connection:
    """A store of schema 1 as one of this schema: in its file, or in memory to read it.

    Raises sqlite3.Error, ValueError or TypeError where its content is damaged.
    """
    if mode == "ro":
        memory = sqlite3.connect(":memory:")
        db.backup(memory)
        db.close()
        db = memory
    meta = dict(db.execute("SELECT name, value FROM meta"))
    plan = db.execute("SELECT key, point FROM plan ORDER BY number").fetchall()
    cases = db.execute(f"SELECT {_ROWS} FROM cases ORDER BY id").fetchall()
    for key, state, reason, _, outputs, solver, digest, *_rest in cases:
        if digest != first_digest_of(key, state, reason, outputs, solver):
            raise ValueError(f"case {str(key)[:12]} has changed")
    with db:
        db.execute("BEGIN IMMEDIATE")
        for table in ("meta", "plan", "cases"):
            db.execute(f"DROP TABLE {table}")
        for statement in filter(str.strip, _TABLES.split(";")):
            db.execute(statement)
        _put_plan(db, plan, meta)
        _put_cases(db, (case_row(*row[:6], *row[7:]) for row in cases))
        db.execute(f"PRAGMA user_version={SCHEMA}")
    return db


def readable(path: Path) -> int:
    """Number of cases that can be read of a damaged store."""
    from domemargin.studies.study.rescue import readable_rows

    return sum(1 for _ in readable_rows(path))
