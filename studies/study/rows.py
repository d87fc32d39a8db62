"""The rows of a study's store: its tables, and the digest by which each row is verified."""

from __future__ import annotations

import hashlib
import itertools
import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any

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
ROWS = "key, state, reason, passing, outputs, solver, digest, detail, seconds, finished"


def digest_of(*values: str | float) -> str:
    """Digest of the content of a row, in the order of its columns."""
    return hashlib.sha256(ascii(values).encode()).hexdigest()[:16]


def first_digest_of(key: str, state: str, reason: str, outputs: str, solver: str) -> str:
    """Digest of a case in a store of schema 1."""
    text = "\0".join((key, state, reason, outputs, solver))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def case_row(
    key: str, state: str, reason: str, passing: int, outputs: str, solver: str, detail: str,
    seconds: float, finished: float,
) -> tuple[str | float, ...]:  # fmt: skip
    """A row of the table of cases, in the order of ROWS, with its digest."""
    values = (key, state, reason, int(passing), outputs, solver)
    rest = (detail, float(seconds), float(finished))
    return (*values, digest_of(*values, *rest), *rest)


def is_whole(row: tuple[Any, ...]) -> bool:
    """Whether a row of the table of cases holds what was written."""
    try:
        return bool(row[6] == digest_of(*row[:6], *row[7:]))
    except (TypeError, ValueError):
        return False


def make_tables(db: sqlite3.Connection) -> None:
    """Make the tables of an empty store.  Raises sqlite3.Error."""
    db.executescript(
        f"BEGIN; {_TABLES} PRAGMA application_id={APPLICATION}; "
        f"PRAGMA user_version={SCHEMA}; COMMIT;"
    )
    with db:
        put_plan(db, (), {})


def put_plan(db: sqlite3.Connection, rows: Iterable[tuple[str, str]], meta: dict[str, str]) -> None:
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


def put_cases(db: sqlite3.Connection, rows: Iterable[tuple[Any, ...]]) -> None:
    """Write rows that case_row made, in place of those of the same key."""
    marks = ", ".join("?" * 10)
    db.executemany(f"INSERT OR REPLACE INTO cases ({ROWS}) VALUES ({marks})", rows)


def has_our_tables(db: sqlite3.Connection) -> bool:
    """Whether the table of cases has the columns of any version up to this one."""
    try:
        columns = [row[1] for row in db.execute("PRAGMA table_info(cases)")]
    except SPOILED:
        return False
    return columns == ["id", *ROWS.split(", ")]


def altered(db: sqlite3.Connection) -> str:
    """What differs from what was written, "" if nothing does.  Raises sqlite3.Error."""
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
        for row in db.execute(f"SELECT {ROWS} FROM cases"):
            if not is_whole(row):
                return f"case {str(row[0])[:12]} has changed"
    finally:
        db.rollback()
    return ""


def raised(db: sqlite3.Connection, mode: str) -> sqlite3.Connection:
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
    cases = db.execute(f"SELECT {ROWS} FROM cases ORDER BY id").fetchall()
    for key, state, reason, _, outputs, solver, digest, *_rest in cases:
        if digest != first_digest_of(key, state, reason, outputs, solver):
            raise ValueError(f"case {str(key)[:12]} has changed")
    with db:
        db.execute("BEGIN IMMEDIATE")
        for table in ("meta", "plan", "cases"):
            db.execute(f"DROP TABLE {table}")
        for statement in filter(str.strip, _TABLES.split(";")):
            db.execute(statement)
        put_plan(db, plan, meta)
        put_cases(db, (case_row(*row[:6], *row[7:]) for row in cases))
        db.execute(f"PRAGMA user_version={SCHEMA}")
    return db
