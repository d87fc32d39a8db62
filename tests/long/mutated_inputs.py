"""Mangle every kind of input file and every option, and see that each is answered properly.

    python tests/long/mutated_inputs.py --count 5000 --seed 1 --real 40

A case is one command on one mangled input.  It must end with status 0, 1 or 2, without a trace,
with at most three lines and MOST characters on standard error, and within its time; with status 2
it must leave nothing behind.  Most cases run in this process; `--real` of them are run again as a
command of their own.  Solves of studies and, but for one in DOMING_SHARE, of doming are left out:
what they are given is what is tested here.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

ROOT = Path(__file__).parents[2]
MOST = 420  # characters of a sentence
LINES = 3
SECONDS = 60.0  # of one case; a first solve compiles for 20
DOMING_SHARE = 40

JUNK = (
    "", "x", "0", "-1", "1e308", "-1e308", "nan", "inf", "-inf", "1e-320", "10,2", "0,27 mm",
    "9" * 5000, "-" + "9" * 400, "0x" + "f" * 5000, "1e308 mm", "1e400 mm", "-3 mm", "0 mm",
    "3 furlong", "3 mm3", "90 psi", "-90 psi", "nan psi", "1e308 MPa", "4 deg", "400 deg", "50 %",
    "-5 %", "0,5 %", "1e9 %", "true", "[]", "{}", "[[[]]]", "2025-01-01", "=1+1", "@x", "\ufeff",
    "\u00b5m", "\u0661\u0662 mm", "\U0001f951", "a\nb", "a\tb", "\x7f", "north", "depth-gauge",
    "/", "..", "/dev/null", "/proc/self/mem", "x" * 5000, "%s%n", "'; DROP", "None", "1_000 mm",
)  # fmt: skip
TOML_JUNK = (
    "3", "-3", "0", "3.5", "1e308", "-1e308", "nan", "inf", "true", "[]", "{}", '""', '"x"',
    '"3"', '"3 mm"', '"-3 mm"', '"1e308 mm"', '"1e400 mm"', '"10,2 mm"', "10,2", '"3 MPa"', '"5 %"',
    '["1 mm"]', '["1 mm", "2 mm"]', "[1, 2]", "[[1]]", "{ law = 'x' }", "{ law = 3 }", "1979-05-27",
    "07:32:00", "9" * 5000, "0x" + "f" * 5000, '"' + "9" * 5000 + ' mm"', '"' + "x" * 5000 + '"',
    '"a\\nb"', '"\\u0000"', '"nose"', '"shell"', '"solid"', '"table"', '"linear"', '"0 mm"',
    '"0.3 mm"', '"90 psi"', '"-90 psi"', '"4 deg"', '"89 deg"', "-0.0", "1e-320", "{ from = 1 }",
)  # fmt: skip
KEYS = (
    "name", "shape", "dome_radius", "gauge", "zone", "along", "offset", "vary", "scatter", "plan",
    "material", "profile", "cases", "\u00fc", '"a b"', '"\\n"', '"' + "k" * 3000 + '"', "a.b.c",
)  # fmt: skip

PROFILE = """
zone = [{ part = "nose", gauge = "0.26 mm", prior_strain = 0.1, blend = "0.5 mm" }]
[along]
arc_length = ["0 mm", "20 mm", "21 mm"]
gauge = ["0.27 mm", "0.26 mm", "0.26 mm"]
prior_strain = [0.0, 0.02, 0.0]
yield_strength = ["270 MPa", "275 MPa", "270 MPa"]
offset = ["0 mm", "0.02 mm", "0 mm"]
"""
STUDY = """
name = "s"
profile = "north"
required_pressure = "90 psi"
[plan]
kind = "grid"
seed = 1
[vary.die_set_back]
from = "0 mm"
to = "0.6 mm"
steps = 3
[vary.bottom_gauge]
values = ["0.25 mm", "0.26 mm"]
[vary.poisson_ratio]
values = [0.3, 0.33]
[settings]
resolution = "0.2 %"
ceiling = "4 MPa"
growth_at = ["60 psi"]
waves = 20
model = "shell"
[scatter.dome_depth]
normal = "0.03 mm"
mean = "10.3 mm"
[scatter.bottom_gauge]
tolerance = "0.01 mm"
[[correlation]]
of = ["dome_depth", "bottom_gauge"]
value = 0.3
"""
DOMING_STUDY = """
name = "set and flange"
cases = 5
seed = 1
[vary]
"station.set" = ["-0.2 mm", "0.6 mm"]
"die.flange_height" = ["10.6 mm", "10.9 mm"]
friction = [0.05, 0.10]
"""
OPTIONS = {
    "reversal": ("--require", "--at", "--resolution", "--ceiling", "--waves", "--model", "--out"),
    "waves": ("--waves", "--out"),
    "profile": ("--mesh", "--out"),
    "waviness": ("--waves", "--amplitude"),
    "carbonation": (
        "--stage", "--fill", "--headspace", "--filled-at", "--air", "--altitude", "--formula",
    ),
    "readings": (
        "--target", "--tolerance", "--profile", "--require", "--margin", "--gauge", "--doming",
        "--out",
    ),
    "plant": ("--seed",),
    "study": ("--profile", "--require", "--workers", "--out"),
    "margin": ("--margin", "--require", "--error", "--workers", "--out"),
    "compare": ("--out",),
    "scatter": (
        "--profile", "--require", "--cans", "--training", "--error", "--workers", "--out",
    ),
    "doming": ("--study", "--workers", "--out"),
}  # fmt: skip


class _Accepted(BaseException):
    """Raised in place of a solve that is left out: the input was taken."""


class _TooLong(BaseException):
    """A case that takes longer than it may."""


@dataclass(frozen=True)
class Case:
    """A command line, run in a folder that holds its files."""

    kind: str
    arguments: tuple[str, ...]


@dataclass(frozen=True)
class Ending:
    """How a case ended; status is "taken" where its solve was left out."""

    status: int | str
    error: str
    trace: str
    seconds: float
    left: tuple[str, ...]

    def faults(self) -> list[str]:
        """What is wrong with it, in words."""
        found = []
        if self.trace:
            found.append(f"a trace: {self.trace}")
        if self.status not in (0, 1, 2, "taken"):
            found.append(f"status {self.status}")
        if self.status in (1, 2) and not self.error.strip():
            found.append(f"status {self.status} without a word")
        if "Traceback" in self.error:
            found.append("a trace on standard error")
        if len(self.error.strip().splitlines()) > LINES:
            found.append(f"{len(self.error.splitlines())} lines on standard error")
        if len(self.error) > MOST:
            found.append(f"{len(self.error)} characters on standard error")
        if self.seconds > SECONDS:
            found.append(f"{self.seconds:.0f} s")
        if self.status == 2 and self.left:
            found.append(f"left {', '.join(self.left)}")
        return found


Rng = np.random.Generator


def pick(rng: Rng, among: Any) -> Any:
    """One of a sequence."""
    return among[int(rng.integers(len(among)))]


def scaled(rng: Rng, text: str) -> str:
    """The text with one of its numbers made smaller, larger or negative."""
    spots = [m.span() for m in re.finditer(r"(?<![\w.])\d[\d.]*(?![\w.:-])", text)]
    if not spots:
        return text
    a, b = pick(rng, spots)
    number = float(text[a:b].rstrip(".") or 0.0)
    factor = pick(rng, (0.9, 0.97, 1.01, 1.03, 1.1, 0.5, 2.0, 10.0, -1.0, float(rng.lognormal())))
    digits = ".0f" if "." not in text[a:b] and rng.random() < 0.5 else ".4g"
    return f"{text[:a]}{number * factor:{digits}}{text[b:]}"


def mangled_text(rng: Rng, text: str, values: tuple[str, ...] = TOML_JUNK) -> bytes:
    """TOML text with one to three things wrong with it."""
    if rng.random() < 0.5:  # numbers that may well do
        for _ in range(int(rng.integers(1, 8))):
            text = scaled(rng, text)
        if rng.random() < 0.8:
            return text.encode()
    for _ in range(int(rng.integers(1, 4))):
        lines = text.split("\n")
        at = int(rng.integers(len(lines)))
        what = int(rng.integers(11))
        if what <= 3:  # another value, of a key that has one
            places = [i for i, line in enumerate(lines) if "=" in line] or [at]
            at = pick(rng, places)
            key = lines[at].split("=", 1)[0]
            lines[at] = f"{key}= {pick(rng, values)}"
        elif what == 4:  # another value within a list or table
            lines[at] = re.sub(r'"[^"]*"|\d[\d.]*', lambda _: pick(rng, values), lines[at], count=1)
        elif what == 5:
            del lines[at]
        elif what == 6:
            lines.insert(at, pick(rng, lines))
        elif what == 7:  # a key that is not known, or belongs elsewhere
            lines.insert(at, f"{pick(rng, KEYS)} = {pick(rng, values)}")
        elif what == 8:
            lines[at] = lines[at].replace(
                pick(rng, '.mM =["'), pick(rng, (",", "", " ", "[", "\t"))
            )
        elif what == 9:
            lines = lines[: at + 1]
        else:
            lines.insert(at, pick(rng, JUNK))
        text = "\n".join(lines)
    data = text.encode("utf-8", errors="surrogatepass")
    return mangled_bytes(rng, data) if rng.random() < 0.12 else data


def mangled_bytes(rng: Rng, data: bytes) -> bytes:
    """A file that was cut, mixed, or encoded in another way."""
    what, size = int(rng.integers(8)), max(len(data), 1)
    a, b = sorted(int(x) for x in rng.integers(0, size, 2))
    if what == 0:
        return data[:a]
    if what == 1:
        return data[:a] + data[b:]
    if what == 2:
        return data[:a] + rng.bytes(int(rng.integers(1, 30))) + data[a:]
    if what == 3:
        return b"\xef\xbb\xbf" + data
    if what == 4:
        return data.decode("utf-8", errors="replace").encode(pick(rng, ("utf-16", "utf-32")))
    if what == 5:
        return data.replace(b"\n", b"\r\n")
    if what == 6:
        starts = (b"  0\nSECTION\n", b"{", b"\x89PNG", b"PAR1", b"PK\x03\x04", b"SQLite format 3\0")
        return pick(rng, starts) + data[a:]
    return b""


def readings_table(rng: Rng) -> list[list[str]]:
    """Good readings of three machines."""
    head = ["time", "machine", "line", "depth (mm)", "lot", "operator", "can", "event",
            "spring age (days)", "reversal (psi)"]  # fmt: skip
    rows = []
    for i in range(int(rng.integers(5, 90))):
        day, depth = i // 3, 10.2 + 0.02 * rng.standard_normal()
        rows.append([f"2025-03-{1 + day % 28:02d}T06:{i % 60:02d}", f"M{i % 3}", "north",
                     f"{depth:.3f}", f"lot {i // 20}", "A", str(i // 2), "", str(day),
                     f"{98 + rng.standard_normal():.1f}" if i % 9 == 0 else ""])  # fmt: skip
    return [head, *rows]


def readings_bytes(rng: Rng) -> bytes:
    """A mangled table of readings as CSV."""
    table = readings_table(rng)
    for _ in range(int(rng.integers(1, 6))):
        row = table[int(rng.integers(len(table))) if rng.random() < 0.7 else 0]
        at = int(rng.integers(len(row)))
        what = int(rng.integers(5))
        if what <= 2:
            row[at] = pick(rng, JUNK)
        elif what == 3:
            del row[at]
        else:
            row.insert(at, pick(rng, JUNK))
        if not row:
            row.append("x")
    mark = pick(rng, (",", ",", ",", ";", "\t"))
    data = "\n".join(mark.join(row) for row in table).encode("utf-8", errors="replace")
    return mangled_bytes(rng, data) if rng.random() < 0.2 else data


def readings_parquet(rng: Rng, path: Path) -> None:
    """A mangled table of readings as Parquet: columns of odd types, or broken bytes."""
    import pandas as pd

    head, *rows = readings_table(rng)
    frame = pd.DataFrame(rows, columns=head)
    frame["depth (mm)"] = frame["depth (mm)"].astype(float)
    odd: tuple[Callable[[Any], Any], ...] = (
        lambda c: [[1, 2]] * len(c), lambda c: [b"\xff"] * len(c), lambda c: [None] * len(c),
        lambda c: [{"a": 1}] * len(c), lambda c: pd.Categorical(c), lambda c: [True] * len(c),
        lambda c: [np.inf] * len(c), lambda c: pd.to_datetime(["2025-01-01"] * len(c)),
        lambda c: [10**18] * len(c), lambda c: pd.to_timedelta([1] * len(c), unit="s"),
    )  # fmt: skip
    column = pick(rng, head)
    if rng.random() < 0.3:
        frame = frame.drop(columns=column)
    else:
        frame[column] = pick(rng, odd)(frame[column])
    frame.to_parquet(path)
    if rng.random() < 0.25:
        path.write_bytes(mangled_bytes(rng, path.read_bytes()))


def doming_json(rng: Rng) -> bytes:
    """A mangled doming.json."""
    row = {"value": 0.26, "depth_mm": -0.2}
    names = ("gauge", "yield strength", "friction", "set", "flange height (spacer)")
    way = {"knob": "set", "unit": "mm", "change": 0.1, "reversal_psi": 1.0, "peak_force_kn": 0.2,
           "thinning_points": 0.1, "remark": ""}  # fmt: skip
    data: Any = {"budget": {"slopes": [{"knob": name, **row} for name in names],
                            "wanted_mm": 0.1, "ways": [way]}, "tooling": {"name": "t"}}  # fmt: skip
    text = json.dumps(data)
    for _ in range(int(rng.integers(1, 4))):
        values = ("null", "NaN", "1e400", "[]", "{}", '"x"', "9" * 5000, "-1", "true")
        spots = [m.span() for m in re.finditer(r'-?\d[\d.]*|"[^"]*"|\[|\]|\{|\}', text)]
        a, b = pick(rng, spots) if spots else (0, 0)
        text = text[:a] + pick(rng, values) + text[b:]
    return mangled_bytes(rng, text.encode()) if rng.random() < 0.2 else text.encode()


def ready(package: str, folder: str, name: str) -> str:
    """The text of a ready file."""
    return (resources.files(package) / folder / f"{name}.toml").read_text("utf-8")


def profile_case(rng: Rng) -> Case:
    """A profile file to a command that solves or draws it."""
    text = ready("domemargin.profiles", "ready", pick(rng, ("north", "south")))
    if rng.random() < 0.5:
        first = text.index("[shape]")
        zone, along = PROFILE.split("[along]")
        text = text[:first] + zone + text[first:] + "\n[along]" + along
    Path("p.toml").write_bytes(mangled_text(rng, text))
    commands = (
        ("profile", "p.toml", "--json"), ("profile", "p.toml", "--json"),
        ("reversal", "p.toml", "--json", "--waves", "0"), ("reversal", "p.toml", "--json"),
        ("waves", "p.toml", "--json", "--waves", "4"), ("waviness", "p.toml", "--json"),
        ("study", "depth-gauge", "--profile", "p.toml", "--out", "o"),
    )  # fmt: skip
    return Case("profile", pick(rng, commands))


def study_case(rng: Rng) -> Case:
    """A study file."""
    text = ready("domemargin.studies", "ready", "overnight") if rng.random() < 0.2 else STUDY
    Path("s.toml").write_bytes(mangled_text(rng, text))
    return Case("study", (pick(rng, ("study", "scatter")), "s.toml", "--out", "o"))


def tooling_case(rng: Rng) -> Case:
    """A tooling file."""
    text = ready("domemargin.profiles", "ready_tooling", "north")
    Path("t.toml").write_bytes(mangled_text(rng, text))
    return Case("tooling", ("doming", "t.toml", "--json"))


def doming_study_case(rng: Rng) -> Case:
    """A doming study."""
    Path("d.toml").write_bytes(mangled_text(rng, DOMING_STUDY))
    return Case("doming study", ("doming", "north", "--study", "d.toml", "--out", "o"))


def csv_case(rng: Rng) -> Case:
    """Readings as CSV."""
    Path("r.csv").write_bytes(readings_bytes(rng))
    out = ("--out", "o") if rng.random() < 0.2 else ()
    return Case("readings CSV", ("readings", "r.csv", "--json", *out))


def parquet_case(rng: Rng) -> Case:
    """Readings as Parquet."""
    readings_parquet(rng, Path("r.parquet"))
    return Case("readings Parquet", ("readings", "r.parquet", "--json"))


def json_case(rng: Rng) -> Case:
    """Readings beside the answer of a doming budget."""
    Path("d.json").write_bytes(doming_json(rng))
    table = "\n".join(",".join(row) for row in readings_table(rng))
    Path("r.csv").write_text(table)
    return Case("doming.json", ("readings", "r.csv", "--json", "--doming", "d.json"))


def wrong_file_case(rng: Rng) -> Case:
    """A good file of one kind where another is wanted."""
    Path("p.toml").write_text(ready("domemargin.profiles", "ready", "north"))
    Path("t.toml").write_text(ready("domemargin.profiles", "ready_tooling", "north"))
    Path("s.toml").write_text(STUDY)
    Path("d.toml").write_text(DOMING_STUDY)
    Path("r.csv").write_text("\n".join(",".join(row) for row in readings_table(rng)))
    Path("x.dxf").write_text("  0\nSECTION\n  2\nHEADER\n  0\nENDSEC\n  0\nEOF\n")
    Path("b.bin").write_bytes(rng.bytes(200))
    Path("empty").touch()
    Path("folder").mkdir(exist_ok=True)
    names = ("p.toml", "t.toml", "s.toml", "d.toml", "r.csv", "x.dxf", "b.bin", "empty", "folder",
             "north", "depth-gauge", "missing")  # fmt: skip
    one, two = pick(rng, names), pick(rng, names)
    commands = (
        ("profile", one, "--json"), ("study", one, "--out", "o"), ("scatter", one, "--out", "o"),
        ("study", "depth-gauge", "--profile", one, "--out", "o"), ("margin", one),
        ("compare", one, two, "--out", "o"), ("readings", one, "--json"), ("plant", one),
        ("readings", "r.csv", "--json", "--doming", one), ("doming", one, "--json"),
        ("doming", "north", "--study", one, "--out", "o"), ("profile", "north", "--mesh", one),
        ("profile", "north", "--out", one), ("reversal", "north", "--out", one),
    )  # fmt: skip
    return Case("wrong file", pick(rng, commands))


def option_case(rng: Rng) -> Case:
    """Options with values that are none, that are not known, or that lack something."""
    command = pick(rng, sorted(OPTIONS))
    Path("r.csv").write_text("\n".join(",".join(row) for row in readings_table(rng)))
    given = {"carbonation": "2.6 vol", "readings": "r.csv", "plant": "new.csv", "margin": "none",
             "study": "depth-gauge", "scatter": "line-scatter", "compare": "none"}  # fmt: skip
    parts = [given.get(command, "north")]
    if rng.random() < 0.15:
        parts = [pick(rng, JUNK)]
    if command == "compare":
        parts.append("none")
    # a command that solves is given an option that it cannot take, or no waves
    for _ in range(int(rng.integers(1, 4))):
        option = pick(rng, OPTIONS[command])
        if rng.random() < 0.1:
            option = option[:-1] + pick(rng, "xq-=")
        parts.append(option)
        if rng.random() < 0.93:
            parts.append(pick(rng, JUNK))
    if "--out" not in parts and command not in ("waviness", "plant", "margin", "compare"):
        parts += ["--json"] if command not in ("study", "scatter") else ["--out", "o"]
    if rng.random() < 0.05:
        command = pick(rng, ("", "nonsense", "--help", "--version", "--nonsense", command + "x"))
    return Case("options", tuple(part.replace("\0", "") for part in (command, *parts)))


MAKERS: tuple[Callable[[Rng], Case], ...] = (
    profile_case, profile_case, study_case, study_case, tooling_case, doming_study_case, csv_case,
    parquet_case, json_case, wrong_file_case, option_case, option_case,
)  # fmt: skip


@contextlib.contextmanager
def _within(seconds: float) -> Iterator[None]:
    def stop(*_: Any) -> None:
        raise _TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _left_out(*_: Any, **__: Any) -> Any:
    raise _Accepted


def run_here(case: Case, doming: bool = False) -> Ending:
    """Run a case in this process, in the folder that this process is in."""
    import atexit

    from domemargin.studies.cli import app as cli

    before, started = _files(), time.perf_counter()
    status: int | str = 0
    trace, error = "", io.StringIO()
    patches = [
        mock.patch("domemargin.studies.study.runner.run_study", _left_out),
        mock.patch("domemargin.studies.margin.scatter.run_study", _left_out),
        mock.patch("domemargin.studies.study.runner.run_task", _left_out),
        mock.patch.object(atexit, "register"),
        mock.patch.object(sys, "argv", ["domemargin", *case.arguments]),
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(error),
    ]
    if not doming:
        patches.append(mock.patch("domemargin.fea.doming.doming.solve", _left_out))
    with contextlib.ExitStack() as stack:
        for patch in patches:
            stack.enter_context(patch)
        try:
            with _within(SECONDS):
                cli.main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0 if end.code is None else 99
        except _Accepted:
            status = "taken"
        except _TooLong:
            status = "too long"
        except BaseException as fault:
            trace = _where(fault)
    left = tuple(sorted(_files() - before))
    return Ending(status, error.getvalue(), trace, time.perf_counter() - started, left)


def _where(fault: BaseException) -> str:
    import traceback

    frames = traceback.extract_tb(fault.__traceback__)
    own = [f for f in frames if str(ROOT) in f.filename and "tests" not in f.filename]
    last = (own or frames)[-1]
    place = f"{Path(last.filename).name}:{last.lineno}"
    return f"{type(fault).__name__} at {place}: {str(fault)[:150]}"


def run_real(case: Case) -> Ending:
    """Run a case as a command of its own, with an ASCII terminal."""
    before, started = _files(), time.perf_counter()
    command = (
        sys.executable,
        "-c",
        "from domemargin.studies.cli.app import main; main()",
        *case.arguments,
    )
    env = os.environ | {"PYTHONPATH": str(ROOT / ".src"), "LANG": "C", "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(command, capture_output=True, env=env, timeout=10 * SECONDS)
    left = tuple(sorted(_files() - before))
    error = done.stderr.decode("utf-8", errors="replace")
    return Ending(done.returncode, error, "", time.perf_counter() - started, left)


def _files() -> set[str]:
    return {str(path) for path in Path().rglob("*")}


def one(seed: int, index: int, real: bool = False, only: str = "") -> tuple[Case, Ending]:
    """Make and run a case in a folder of its own; the same for the same seed and index.

    only : the name of one of MAKERS; of it all doming is solved.
    """
    rng = np.random.default_rng([seed, index])
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            among = [make for make in MAKERS if make.__name__ == only] or MAKERS
            case = pick(rng, among)(rng)
            if not real:
                return case, run_here(case, doming=bool(only) or index % DOMING_SHARE == 0)
            return case, run_real(case)
        finally:
            os.chdir(here)


def main() -> int:
    """Run cases and print what came of them."""
    parser = argparse.ArgumentParser(description="Mangled inputs to every command.")
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="Index of the first case.")
    parser.add_argument("--real", type=int, default=40, help="Cases run as commands as well.")
    parser.add_argument("--show", action="store_true", help="Print every sentence.")
    parser.add_argument("--only", default="", help="One of MAKERS, such as tooling_case.")
    asked = parser.parse_args()
    sys.path.insert(0, str(ROOT / ".src"))
    ends: collections.Counter[tuple[str, str]] = collections.Counter()
    faults: list[str] = []
    longest, most, over = 0.0, 0, 0
    for index in range(asked.first, asked.first + asked.count):
        case, end = one(asked.seed, index, only=asked.only)
        ends[case.kind, str(end.status)] += 1
        longest, most = max(longest, end.seconds), max(most, len(end.error))
        over += len(end.error) > 240
        said = " | ".join(end.error.strip().splitlines())[:460]
        if asked.show:
            print(index, *(a[:40] for a in case.arguments), "->", end.status, said, flush=True)
        for fault in end.faults():
            faults.append(fault)
            words = " ".join(argument[:60] for argument in case.arguments)
            print(f"case {index} ({words!r}): {fault}; {said[:300]}", flush=True)
    step = max(asked.count // max(asked.real, 1), 1)
    for index in list(range(asked.first, asked.first + asked.count, step))[: asked.real]:
        case, end = one(asked.seed, index, only=asked.only)
        if end.status == "taken":
            continue  # it would be solved
        case, end = one(asked.seed, index, real=True, only=asked.only)
        ends[case.kind + ", own process", str(end.status)] += 1
        for fault in end.faults():
            faults.append(fault)
            print(f"case {index}, own process: {fault}; {end.error[:300]!r}", flush=True)
    for (kind, status), number in sorted(ends.items()):
        print(f"{kind:28} {status:>8} {number:6}")
    print(f"{asked.count} cases, {len(faults)} faults; longest {longest:.1f} s, "
          f"longest message {most} characters, {over} over 240")  # fmt: skip
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
