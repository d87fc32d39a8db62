"""Shell, solid and general-purpose libraries side by side on the same snaps.

    python tests/benchmarks/compare.py
    python tests/benchmarks/compare.py --rounds 9 --markdown table.md

The contenders of a case take turns after a warm-up of each; the figures are medians over the
rounds, ratios those of times within a round, so that what else the machine does falls out.
Times are processor seconds of one core from the shape to the limit, meshing included, imports
and compilation not (spending.py has those).  The libraries come with the extra `bench`.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import time
from collections.abc import Sequence
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from statistics import median
from typing import NamedTuple

# before numpy loads: matrices are small, and a second thread would blur the ratios
for name in ("OPENBLAS", "OMP", "MKL", "NUMBA", "NGS"):
    os.environ[f"{name}_NUM_THREADS"] = "1"

from cases import Answer, Case, cases  # noqa: E402

PACKAGES = ("numpy", "scipy", "numba", "scikit-fem", "gmsh", "felupe", "ngsolve")
HEADS = ("contender", "limit (MPa)", "error", "iterations", "s of a core", "ms/iteration", "ratio")


class Row(NamedTuple):
    """One contender of a case; ratio is of its time to that of the first contender."""

    contender: str
    limit: float | None
    error: float | None
    iterations: int
    seconds: float
    ratio: float

    def cells(self) -> tuple[str, ...]:
        """As printed."""
        return (
            self.contender,
            "none" if self.limit is None else f"{self.limit:.5g}",
            "" if self.error is None else f"{100.0 * self.error:+.2f} %",
            str(self.iterations),
            f"{self.seconds:.3g}",
            f"{1e3 * self.seconds / max(self.iterations, 1):.3g}",
            f"{self.ratio:.3g}",
        )


def measure(case: Case, rounds: int) -> list[Row]:
    """Every contender once to warm up, then `rounds` times by turns."""
    answers: dict[str, Answer] = {name: ask() for name, ask in case.contenders.items()}
    spent: dict[str, list[float]] = {name: [] for name in case.contenders}
    for _ in range(rounds):
        for name, ask in case.contenders.items():
            started = time.process_time()
            ask()
            spent[name].append(time.process_time() - started)
    base = next(iter(spent.values()))
    rows = []
    for name, answer in answers.items():
        error = None if answer.limit is None else answer.limit / case.reference - 1.0
        ratio = median(ours / first for ours, first in zip(spent[name], base, strict=True))
        rows.append(Row(name, answer.limit, error, answer.iterations, median(spent[name]), ratio))
    return rows


def table(rows: Sequence[Sequence[str]]) -> str:
    """Markdown, in even columns."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]

    def line(row: Sequence[str]) -> str:
        cells = [
            cell.ljust(width) if k == 0 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return "| " + " | ".join(cells) + " |"

    rule = ["-" * width if k == 0 else "-" * (width - 1) + ":" for k, width in enumerate(widths)]
    return "\n".join(line(row) for row in (rows[0], rule, *rows[1:]))


def summary(found: dict[str, list[Row]]) -> str:
    """Contenders by cases: ratio of times and error; the first contender with its milliseconds."""
    names = list(dict.fromkeys(row.contender for rows in found.values() for row in rows))
    lines = [["times that of the first (error)", *found]]
    for name in names:
        lines.append([name])
        for rows in found.values():
            row = next((row for row in rows if row.contender == name), None)
            if row is None:
                lines[-1].append("")
                continue
            first = row is rows[0]
            cost = f"{1e3 * row.seconds:.3g} ms" if first else f"{row.ratio:.3g}"
            error = "no limit" if row.error is None else f"{100.0 * row.error:+.2f} %"
            lines[-1].append(f"{cost} ({error})")
    return table(lines)


def circumstances() -> str:
    """Versions, date and what else the machine does, in one line."""
    found = []
    for package in PACKAGES:
        try:
            found.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            found.append(f"no {package}")
    python = f"Python {platform.python_version()}"
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    return ", ".join((date.today().isoformat(), python, *found, load))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    parser.add_argument("--rounds", type=int, default=5, help="times each contender runs")
    parser.add_argument("--case", default="", help="only cases whose name has this in it")
    parser.add_argument("--markdown", type=Path, help="write the tables to this file too")
    options = parser.parse_args()
    parts, found = [], {}
    for case in cases():
        if options.case in case.name:
            found[case.name] = rows = measure(case, options.rounds)
            head = f"**{case.name}**; reference {case.reference:.5g} MPa ({case.source})"
            parts.append(f"{head}\n\n{table([HEADS, *(row.cells() for row in rows)])}")
            print(parts[-1], end="\n\n", flush=True)
    parts += [summary(found), circumstances()]
    print(*parts[-2:], sep="\n\n")
    if options.markdown:
        options.markdown.write_text("\n\n".join(parts) + "\n")


if __name__ == "__main__":
    sys.exit(main())
