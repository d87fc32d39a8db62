"""What a case costs.  Timing, not a test: nothing here can fail on a slow machine.

    pytest -m benchmark --benchmark-enable tests/benchmarks

Tables in one run: whole cases when warm; cold commands with compiled code cached, each a process
of its own, with its peak memory.  Ratios (in brackets) travel from machine to machine, times do
not.  compare.py sets the shell against others, spending.py takes a case apart.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile

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
from domemargin.studies.cli.app import main
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
