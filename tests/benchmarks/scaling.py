"""What it costs to ask for more: elements, layers, records in a row, and memory for them."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Sequence

import numpy as np
from cases import G
from compare import table
from iteration import halfway, iteration

import domemargin.fea.core.ramp
from domemargin.fea.bottom.reversal import Discretisation, plan_of, shell_of
from domemargin.profiles import load_profile


def power(x: Sequence[float], y: Sequence[float]) -> float:
    """Exponent of the power law through points."""
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])


def scaling() -> list[str]:
    """One iteration against elements and layers; a ramp against elements."""
    profile = load_profile(G)
    out = []
    for what, choices in (
        ("elements", [Discretisation(d, 8) for d in (1.0, 2.0, 4.0, 8.0, 16.0)]),
        ("hinge layers", [Discretisation(2.0, n) for n in (4, 8, 16, 24)]),
    ):
        rows = [(what, "layers in all", "evaluate (µs)", "linear (µs)", "ramp (ms)", "iterations")]
        size, costs = [], []
        for choice in choices:
            shell = shell_of(profile, choice)
            parts = iteration(shell, *halfway(shell, profile, 0.07))
            plan = plan_of(profile, shell, 0.07, 4.0)
            started = time.process_time()
            ramp = domemargin.fea.core.ramp.ramp(shell, shell.start(), plan)
            spent = time.process_time() - started
            elements = shell.radius.size // 2
            size.append(elements if what == "elements" else shell.y0.size)
            costs.append((parts["evaluate"], parts["linear"], spent))
            figures = (1e6 * parts["evaluate"], 1e6 * parts["linear"], 1e3 * spent)
            rows.append(
                (
                    str(elements if what == "elements" else choice.hinge_layers),
                    str(shell.y0.size),
                    *(f"{figure:.3g}" for figure in figures),
                    str(ramp.iterations),
                )
            )
        of = "elements" if what == "elements" else "layers in all"
        powers = [f"{power(size, cost):.2f}" for cost in zip(*costs, strict=True)]
        out += [table(rows), f"Powers of {of}: evaluate {powers[0]}, linear {powers[1]}, "
                f"ramp {powers[2]}."]  # fmt: skip
    return out


WORKER = """
import re, sys, time
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile
import numpy as np
profile = load_profile(sys.argv[1])
reversal(profile)
for count in map(int, sys.argv[2:]):
    started = time.process_time()
    for depth in np.linspace(9.9, 10.9, count):
        reversal(profile.replaced(dome_depth=float(depth)))
    spent = time.process_time() - started
    peak = re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]
    print(count, spent, int(peak) / 1024)
"""


def in_a_row() -> list[str]:
    """Whole records in one process of its own."""
    command = [sys.executable, "-c", WORKER, str(G)]
    subprocess.run([*command, "1"], check=True, capture_output=True)  # compiles, takes memory
    done = subprocess.run([*command, "1", "10", "100"], check=True, capture_output=True, text=True)
    found = [[float(value) for value in line.split()] for line in done.stdout.splitlines()]
    rows = [("records in a row", "ms each", "peak memory (MB)")]
    rows += [(f"{n:.0f}", f"{1e3 * spent / n:.3g}", f"{peak:.0f}") for n, spent, peak in found]
    n, spent, _ = zip(*found, strict=True)
    return [table(rows), f"Power of records: {power(n, spent):.2f}."]
