"""Where the time of a case goes, and what it costs to ask for more.

    python tests/benchmarks/spending.py
    python tests/benchmarks/spending.py --markdown spending.md

Parts of a warm record by kind of work and by phase; the metal's share of the kernel; parts of a
cold command; cost against elements, layers and cases with the exponent of a fitted power;
peak memory of a worker.
"""

from __future__ import annotations

from compare import circumstances, table  # first: sets threads before numpy

# isort: split
import argparse
import re
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from statistics import median

from cases import G
from clock import Clock, Places
from iteration import halfway, iteration
from scaling import in_a_row, scaling

import domemargin.fea.shell.shell
from domemargin.fea.bottom import reversal as solving
from domemargin.fea.bottom.reversal import discretisation, reversal, shell_of
from domemargin.fea.shell.shell import Shell
from domemargin.profiles import load_profile

Rows = list[tuple[str, ...]]

BY_KIND: Places = {
    "Newton's iteration (compiled)": [(domemargin.fea.shell.shell, "converge")],
    "arrays round it": [(Shell, "converge")],
    "layers follow (accept)": [(Shell, "accept")],
    "steps and their control": [
        (solving, "ramp"),
        (solving, "pressure_control"),
    ],
    "mesh and tables": [
        (solving, "shell_of"),
        (solving, "plan_of"),
    ],
    "waves, besides their steps": [(solving, "_stability")],
}
BY_PHASE: Places = {
    "mesh and tables": [
        (solving, "shell_of"),
        (solving, "plan_of"),
    ],
    "ramps": [(solving, "ramp")],
    "waves": [(solving, "_stability")],
    "growth and permanent growth": [(solving, "_growth")],
}


def spent(places: Places, rounds: int) -> Rows:
    """Rows (part, ms, share, calls) of one record, medians over rounds."""
    profile = load_profile(G)
    reversal(profile)
    rest, total = "readings and the record", "whole"
    clocks = []
    for _ in range(rounds):
        clock = Clock()
        with clock.watching(places), clock.part(rest):
            reversal(profile)
        clock.seconds[total] = sum(clock.seconds.values())
        clocks.append(clock)
    rows = []
    for name in (*places, rest, total):
        ms = 1e3 * median(clock.seconds[name] for clock in clocks)
        share = median(clock.seconds[name] / clock.seconds[total] for clock in clocks)
        calls = clocks[0].calls[name]
        rows.append((name, f"{ms:.3g}", f"{100 * share:.0f} %", str(calls) if calls else ""))
    return rows


def one_iteration() -> list[str]:
    profile = load_profile(G)
    shell = shell_of(profile, discretisation(0.002))
    parts = iteration(shell, *halfway(shell, profile, 0.07))
    elastic = iteration(shell, shell.start(), shell.start())["metal"] / shell.y0.size
    yielding = (parts["metal"] / shell.y0.size - elastic) / parts["yielding"] + elastic
    whole = parts["evaluate"] + parts["linear"]
    rows = [("part of one iteration", "µs", "share")]
    for name, value in (
        ("metal: stress and tangent of layers", parts["metal"]),
        ("strains, forces, assembly, pressure", parts["evaluate"] - parts["metal"]),
        ("factor and two solves", parts["linear"]),
    ):
        rows.append((name, f"{1e6 * value:.3g}", f"{100 * value / whole:.0f} %"))
    note = (
        f"{shell.y0.size} layers at {shell.radius.size} points of {shell.radius.size // 2} "
        f"elements, {shell.n} unknowns; {1e9 * elastic:.0f} ns a layer that stays elastic, "
        f"{1e9 * yielding:.0f} ns one that yields, as {100 * parts['yielding']:.0f} % do here."
    )
    return [table(rows), note]


COLD = """
import time
marks = [0.0, time.process_time()]
def mark(): marks.append(time.process_time())
import numpy; mark()
from domemargin.fea.bottom.reversal import reversal; mark()
from domemargin.profiles import load_profile; profile = load_profile("north"); mark()
reversal(profile); mark()
reversal(profile); mark()
from domemargin.profiles.files.section import section_mesh; import gmsh; mark()
section_mesh(profile); mark()
section_mesh(profile); mark()
print(*(1e3 * (b - a) for a, b in zip(marks, marks[1:])))
"""
COLD_PARTS = (
    "start of Python",
    "import numpy", "import domemargin.fea.bottom.reversal", "read a profile",
    "first record (loads compiled code)",
    "second record", "import gmsh", "first section mesh", "second section mesh",
)  # fmt: skip
COMMAND = "from domemargin.studies.cli.app import main; main()"


def cold(rounds: int) -> list[str]:
    """Parts of a process from its start, and what the command imports."""
    runs = []
    subprocess.run([sys.executable, "-c", COLD], check=True, capture_output=True)  # compiles
    for _ in range(rounds):
        done = subprocess.run(
            [sys.executable, "-c", COLD], check=True, capture_output=True, text=True
        )
        runs.append([float(value) for value in done.stdout.split()])
    rows = [("in a new process", "ms")]
    rows += [(n, f"{median(t):.3g}") for n, t in zip(COLD_PARTS, zip(*runs), strict=True)]

    command = [sys.executable, "-X", "importtime", "-c", COMMAND, "reversal", "north", "--json"]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    own: dict[str, float] = defaultdict(float)
    for line in re.findall(r"import time:\s+(\d+) \|\s+\d+ \|\s+(\S+)", done.stderr):
        own[line[1].split(".")[0]] += int(line[0]) / 1e3
    most = sorted(own.items(), key=lambda item: -item[1])[:10]
    imports = [("imports of the command `reversal north --json`", "ms")]
    imports += [(name, f"{ms:.3g}") for name, ms in most]
    imports.append(("all", f"{sum(own.values()):.3g}"))
    return [table(rows), table(imports)]


def main() -> None:
    parser = argparse.ArgumentParser(description="Where the time of a case goes.")
    parser.add_argument("--rounds", type=int, default=9, help="times each measurement runs")
    parser.add_argument("--markdown", type=Path, help="write the tables to this file too")
    options = parser.parse_args()
    head = ("", "ms", "share", "calls")
    parts: list[str] = []

    def say(*more: str) -> None:
        parts.extend(more)
        print(*more, sep="\n\n", end="\n\n", flush=True)

    say(table([("a record, by kind of work", *head[1:]), *spent(BY_KIND, options.rounds)]))
    say(table([("a record, by phase", *head[1:]), *spent(BY_PHASE, options.rounds)]))
    say(*one_iteration())
    say(*scaling())
    say(*in_a_row())
    say(*cold(max(options.rounds // 2, 1)))
    say(circumstances())
    if options.markdown:
        options.markdown.write_text("\n\n".join(parts) + "\n")


if __name__ == "__main__":
    sys.exit(main())
