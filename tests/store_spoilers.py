"""What may happen to a store: bytes overwritten, the file cut short, a field changed."""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

COLUMNS = {
    "meta": ("name", "value", "digest"),
    "plan": ("number", "key", "point", "again", "digest"),
    "cases": ("key", "state", "reason", "passing", "outputs", "solver", "digest", "detail",
              "seconds", "finished"),
}  # fmt: skip
VALUES = (0, 1, -7, 0.5, "", "x", "{", "{}", '{"bottom_gauge": 0.3}', b"\xff\x00", 2**63 - 1)


def damage(path: Path, rng: random.Random) -> None:
    """Overwrite some bytes anywhere, or cut the file short."""
    raw = bytearray(path.read_bytes())
    if rng.random() < 0.2:
        raw = raw[: rng.randrange(len(raw))]
    else:
        size = rng.choice((1, 4, 64, 4096))
        at = rng.randrange(len(raw))
        size = min(size, len(raw) - at)
        raw[at : at + size] = rng.randbytes(size)
    path.write_bytes(raw)


def alter(path: Path, rng: random.Random) -> None:
    """Change or delete one row, or a number of the header, as who has SQLite at hand can.

    No row of the cases is deleted: that is a store in which they are still to be solved.
    """
    name = rng.choice(list(COLUMNS))
    column = rng.choice(COLUMNS[name])
    db = sqlite3.connect(path)
    try:
        with db:
            if rng.random() < 0.1:
                pragma = rng.choice(("application_id", "user_version"))
                db.execute(f"PRAGMA {pragma} = {rng.choice((0, 1, 77))}")
                return
            rows = [r[0] for r in db.execute(f"SELECT rowid FROM {name}")]
            row = rng.choice(rows)
            if name != "cases" and rng.random() < 0.2:
                db.execute(f"DELETE FROM {name} WHERE rowid = ?", (row,))
            else:
                db.execute(
                    f"UPDATE {name} SET {column} = ? WHERE rowid = ?", (rng.choice(VALUES), row)
                )
    except (sqlite3.Error, UnicodeDecodeError, IndexError):
        pass  # a value that the table itself does not take, or a store that is damaged already
    finally:
        db.close()
