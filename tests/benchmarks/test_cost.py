"""What a case costs.  Timing, not a test: nothing here can fail on a slow machine.

    pytest -m benchmark --benchmark-enable tests/benchmarks

Tables in one run: whole cases when warm; one Newton iteration and its pieces; cold commands
with compiled code cached, each a process of its own, with its peak memory.  Ratios (in brackets)
travel from machine to machine, times do not.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fea.banded import factor, solve
from fea.reversal import discretisation, reversal, shell_of
from fea.shell import Evaluation, Shell
from profiles import load_profile

pytestmark = pytest.mark.benchmark
DATA = Path(__file__).parent.parent / "data"
CASES = {
    "open case G": str(DATA / "open_case_g.toml"),
    "open case H": str(DATA / "open_case_h.toml"),
    "north": "north",
    "south": "south",
    "harbour": "harbour",
}
COMMANDS = {
    "version": ("--version",),
    "profile with drawing": ("profile", "north"),
    "profile with mesh": ("profile", "north", "--json", "--mesh", "section.vtu"),
    "reversal --json": ("reversal", "north", "--json"),
    "reversal with figure": ("reversal", "north"),
}
# the kernel's high-water mark of the process itself; getrusage would tell its parent's
PEAK_CODE = """
import atexit, re
from studies.cli import main
status = lambda: open("/proc/self/status").read()
atexit.register(lambda: open("peak", "w").write(re.search(r"VmHWM:\\s+(\\d+)", status())[1]))
main()
"""


@pytest.mark.parametrize("case", CASES)
@pytest.mark.benchmark(group="case, warm, default settings")
def test_case(benchmark: Any, case: str) -> None:
    profile = load_profile(CASES[case])
    record = benchmark.pedantic(reversal, (profile,), rounds=15, warmup_rounds=1)
    benchmark.extra_info["iterations"] = record.iterations
    assert record.reversal_pressure_mpa is not None


@pytest.mark.parametrize("resolution", [0.01, 0.005, 0.002, 0.001, 0.0005])
@pytest.mark.benchmark(group="open case G by resolution")
def test_resolution(benchmark: Any, resolution: float) -> None:
    profile = load_profile(CASES["open case G"])
    benchmark.pedantic(reversal, (profile,), {"resolution": resolution}, rounds=5, warmup_rounds=1)


def loaded_shell() -> tuple[Shell, Any, np.ndarray, Evaluation]:
    """A shell with metal that yields: open case G moved by a little more than its yield."""
    shell = shell_of(load_profile(CASES["open case G"]), discretisation(0.002))
    start = shell.start()
    u = start.x.ravel().copy()
    found = shell.evaluate(u, 0.0, start)
    band, gradient = found.band.copy(), found.gradient
    factor(band)
    u = u + 0.35 * solve(band, gradient[:, None])[:, 0]
    return shell, start, u, shell.evaluate(u, 0.35, start)


@pytest.mark.parametrize("piece", ["whole", "stress and tangent", "factor", "two solves"])
@pytest.mark.benchmark(group="one Newton iteration, open case G")
def test_iteration(benchmark: Any, piece: str) -> None:
    shell, start, u, found = loaded_shell()
    factored = found.band.copy()
    factor(factored)
    sides = np.stack((found.residual, found.gradient), axis=1)

    def whole() -> None:
        at = shell.evaluate(u, 0.35, start)
        factor(at.band)
        solve(at.band, np.stack((at.residual, at.gradient), axis=1))

    pieces = {
        "whole": whole,
        "stress and tangent": lambda: shell.evaluate(u, 0.35, start),
        "factor": lambda: factor(found.band.copy()),
        "two solves": lambda: solve(factored, sides),
    }
    benchmark(pieces[piece])


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.benchmark(group="cold command, compiled code cached")
def test_command(benchmark: Any, command: str, tmp_path: Path) -> None:
    def run() -> None:
        subprocess.run(
            [sys.executable, "-c", PEAK_CODE, *COMMANDS[command]],
            cwd=tmp_path,
            stdout=subprocess.DEVNULL,
            check=True,
        )

    benchmark.pedantic(run, rounds=4, warmup_rounds=1)
    benchmark.extra_info["peak memory (MB)"] = round(int((tmp_path / "peak").read_text()) / 1024)
