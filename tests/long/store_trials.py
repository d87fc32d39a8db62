"""Long trials of the store: `python tests/long/store_trials.py --damaged 200 --altered 50`.

Judge: the table of an uninterrupted run, bit for bit (brute force).  A trial passes where the
store is rejected in one sentence, rescued, and the study run again gives that table; or where it
is read as if nothing had happened and already gives it.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import study_stand_in as stand_in
from test_study_runner import gauges, table

from domemargin.studies.study.engines import Serial
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.store import StoreError

COLUMNS = {
    "meta": ("name", "value", "digest"),
    "plan": ("number", "key", "point", "again", "digest"),
    "cases": ("key", "state", "reason", "passing", "outputs", "solver", "digest", "detail",
              "seconds", "finished"),
}  # fmt: skip
VALUES = (0, 1, -7, 0.5, "", "x", "{", "{}", '{"bottom_gauge": 0.3}', b"\xff\x00")


def damage(path: Path, rng: random.Random) -> None:
    """Overwrite some bytes anywhere, or cut the file short."""
    raw = bytearray(path.read_bytes())
    if rng.random() < 0.2:
        raw = raw[: rng.randrange(len(raw))]
    else:
        size = rng.choice((1, 4, 64, 4096))
        at = rng.randrange(len(raw))
        raw[at : at + size] = rng.randbytes(min(size, len(raw) - at))
    path.write_bytes(raw)


def alter(path: Path, rng: random.Random) -> None:
    """Give one field of one row another value, as who has SQLite at hand can."""
    name = rng.choice(list(COLUMNS))
    column = rng.choice(COLUMNS[name])
    db = sqlite3.connect(path)
    try:
        with db:
            rows = [r[0] for r in db.execute(f"SELECT rowid FROM {name}")]
            row = rng.choice(rows)
            db.execute(f"UPDATE {name} SET {column} = ? WHERE rowid = ?", (rng.choice(VALUES), row))
    except sqlite3.Error:
        pass  # a value that the table itself does not take
    finally:
        db.close()


def trial(made: Path, calm: object, spoil: object, rng: random.Random) -> str:
    """What became of one spoiled store; an exception is a failure."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.sqlite"
        shutil.copy(made, path)
        spoil(path, rng)  # type: ignore[operator]
        try:
            same = table(path).equals(calm)
            ending = "read, the same" if same else "WRONG: read, another table"
        except StoreError as error:
            ending = "rejected, rescued" if "\n" not in str(error) else "WRONG: several lines"
            if "is not the store" in str(error) or "newer program" in str(error):
                return "rejected as no store of this program"
            rescue(path)
        run_study(STUDY, path, Serial, stand_in.STRAIGHT)
        return ending if table(path).equals(calm) else "WRONG: another table after the rerun"


STUDY = gauges(repeat=4)


def main() -> int:
    """Run the trials; status 1 where one went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--damaged", type=int, default=200)
    parser.add_argument("--altered", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "study.sqlite"
        run_study(STUDY, made, Serial, stand_in.STRAIGHT)
        calm = table(made)
        for name, spoil, trials in (
            ("damaged", damage, asked.damaged),
            ("altered", alter, asked.altered),
        ):
            endings: Counter[str] = Counter()
            for _ in range(trials):
                try:
                    endings[trial(made, calm, spoil, rng)] += 1
                except Exception as error:
                    endings[f"WRONG: {type(error).__name__}: {str(error)[:90]}"] += 1
            print(name, dict(endings), flush=True)
            wrong += sum(n for ending, n in endings.items() if ending.startswith("WRONG"))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
