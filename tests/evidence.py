"""Run all checks and write the evidence page: `python tests/evidence.py --out DIR [--slow]`.

Runs every test module that has an ABOUT, and writes evidence.md and evidence.html.  A check that
fails does not end the run: it becomes a row that says so, and the exit status is 1.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

from evidence_page import pages, verdict_of
from evidence_rows import FAIL, Row

HERE = Path(__file__).parent
LIBRARIES = ("numpy", "scipy", "scikit-fem", "numba")


def modules() -> list[Path]:
    """The test modules that are evidence."""
    found = HERE.glob("test_*.py")
    return sorted(path for path in found if "\nABOUT = " in path.read_text(encoding="utf-8"))


def collect(slow: bool) -> tuple[list[Row], int]:
    """Rows of a run of the checks, and the status of pytest."""
    tier = "not benchmark" if slow else "not benchmark and not slow"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "rows.json")
        command = [sys.executable, "-m", "pytest", "-m", tier, "--evidence", str(file), "--tb=line"]
        done = subprocess.run(
            [*command, *map(str, modules())],
            cwd=HERE.parent,
            env={"OPENBLAS_NUM_THREADS": "1", **os.environ},
        )
        rows = json.loads(file.read_text(encoding="utf-8")) if file.exists() else []
    return [Row(**row) for row in rows], done.returncode


def main() -> int:
    """0 if all checks hold, 1 if one fails, 2 if there is no page: they could not all be run."""
    parser = argparse.ArgumentParser(description="Run all checks and write the evidence page.")
    parser.add_argument("--out", type=Path, default=Path("results", "evidence"), metavar="DIR")
    parser.add_argument("--slow", action="store_true", help="the slow checks as well")
    options = parser.parse_args()
    rows, status = collect(options.slow)
    failing = any(row.verdict == FAIL for row in rows)
    if not rows or status not in (0, 1) or failing != (status == 1):
        print("evidence: no page is written, the run above did not end well", file=sys.stderr)
        return 2
    built_with = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    today = datetime.date.today().isoformat()
    texts = pages(rows, version("domemargin"), today, built_with)
    options.out.mkdir(parents=True, exist_ok=True)
    for text, ending in zip(texts, ("md", "html"), strict=True):
        path = options.out / f"evidence.{ending}"
        path.write_text(text, encoding="utf-8")
        print(f"Wrote {path}")
    print(verdict_of(rows))
    return 1 if failing else 0


if __name__ == "__main__":
    sys.exit(main())
