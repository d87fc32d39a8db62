"""One case of a study: its key and its solve.  Runs in workers; holds no state."""

from __future__ import annotations

import faulthandler
import hashlib
import json
import math
import os
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from domemargin.profiles import InputError, Profile
from domemargin.studies.study.study import Study
from domemargin.studies.study.varied import bottom_at

if TYPE_CHECKING:
    from domemargin.fea.core.record import Record
    from domemargin.fea.core.settings import Settings

FAILED, CRASHED, INVALID = "failed", "crashed", "invalid_geometry"
LATE = "over_time"
STATES = {
    "limit": "reversal found: the pressure turns",
    "bifurcation": "reversal found: a second shape opens",
    "none_below_ceiling": "no reversal up to the ceiling",
    "not_resolved": "a reversal was found, but not to the resolution asked for",
    "not_converged": "the solve could not be carried on",
    INVALID: "the dimensions do not make a bottom",
    FAILED: "an error in the program",
    CRASHED: "the worker that solved it died, also when it was tried again",
    LATE: "it took longer than the limit of a case",
}
SOLVED = ("limit", "bifurcation")
# the record's parts that are no numbers of their own, or say nothing about the bottom
_LEFT_OUT = {
    "profile", "kind", "reason", "caution", "versions", "seconds", "growth", "curve", "before",
    "at_onset", "after", "required_pressure_mpa", "margin", "resolution", "ceiling_mpa",
}  # fmt: skip


class Solver(NamedTuple):
    """What solves a case, and the version that its results are valid for.

    solve : a function that workers can import; takes a profile and settings, returns a record.
    """

    solve: Callable[[Profile, Settings], Record]
    version: str


def reversal_solver() -> Solver:
    """The solver of the command line."""
    # imported only when used: a worker with another solver starts faster
    from domemargin.fea.bottom.reversal import reversal

    return Solver(reversal, solver_version())


@lru_cache(maxsize=1)
def solver_version() -> str:
    """The package's version and a digest of the code that results follow from.

    The digest keeps results of changed code apart without any action of the user.
    """
    from importlib.metadata import version

    digest = hashlib.sha256()
    for package in ("fea", "profiles"):
        _digest_sources(digest, resources.files(f"domemargin.{package}"), package)
    return f"{version('domemargin')}+{digest.hexdigest()[:12]}"


@lru_cache(maxsize=1)
def code_version() -> str:
    """The same with the code of studies, which turns a point into a case: workers must have the
    same version as the process that sends them work."""
    digest = hashlib.sha256()
    _digest_sources(digest, resources.files("domemargin.studies"), "studies")
    return f"{solver_version()}.{digest.hexdigest()[:12]}"


def _digest_sources(digest: Any, folder: Any, name: str) -> None:
    """Take in all modules of a package and of the packages in it, each with where it lies."""
    for entry in sorted(folder.iterdir(), key=lambda e: str(e.name)):
        if entry.is_dir():
            _digest_sources(digest, entry, f"{name}/{entry.name}")
        elif entry.name.endswith(".py"):
            digest.update(f"{name}/{entry.name}".encode() + b"\0" + entry.read_bytes() + b"\0")


@dataclass(frozen=True)
class Result:
    """The result of a case.

    state : a key of STATES.  reason : why there is no answer, one sentence, else "".
    outputs : name with unit -> number or text.  passing : the reason may be gone next time
    (a worker that died, no memory), so that a rerun tries again.  detail : traceback.
    """

    key: str
    state: str
    reason: str
    outputs: dict[str, Any]
    seconds: float
    passing: bool = False
    detail: str = ""


def canonical(value: Any) -> Any:
    """JSON text that is the same for equal inputs, in whatever form they were given."""
    if is_dataclass(value) and not isinstance(value, type):
        # names for display do not affect the solve
        own = {f.name: canonical(getattr(value, f.name)) for f in fields(value) if f.name != "name"}
        return {"is": type(value).__name__, **own}
    if isinstance(value, list | tuple):
        return [canonical(entry) for entry in value]
    if isinstance(value, Mapping):
        return {str(k): canonical(v) for k, v in value.items()}
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) + 0.0  # 1 is 1.0 and -0.0 is 0.0
    return value


class Keys:
    """Keys of the points of a study: SHA-256 over all inputs, defaults resolved, and the version.

    Points that describe the same bottom have the same key, whatever plan they are from.
    """

    def __init__(self, study: Study, version: str) -> None:
        self._base = study.profile
        self._tail = _dumped([canonical(study.settings), version])

    def of(self, point: Mapping[str, float]) -> str:
        """The key of a point: 64 hexadecimal digits."""
        try:
            inputs = _dumped(canonical(bottom_at(self._base, point)))
        except InputError:
            # no bottom: the key is of the point itself
            inputs = _dumped([canonical(self._base), canonical(point)])
        return hashlib.sha256((inputs + self._tail).encode()).hexdigest()


def _dumped(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def solve_case(
    study: Study, solve: Callable[..., Any], key: str, point: Mapping[str, float]
) -> Result:
    """Solve one point; a failure is returned as a result, never raised."""
    started = time.perf_counter()

    def result(state: str, reason: str = "", outputs: Any = None, **more: Any) -> Result:
        seconds = time.perf_counter() - started
        return Result(key, state, " ".join(reason.split()), outputs or {}, seconds, **more)

    try:
        bottom = bottom_at(study.profile, point)
    except InputError as error:
        return result(INVALID, str(error))
    try:
        record = solve(bottom, study.settings)
        return result(record.kind, record.reason, outputs_of(record))
    except InputError as error:
        return result(INVALID, str(error))
    except (MemoryError, OSError) as error:
        text = f"{type(error).__name__}: {error}"
        return result(FAILED, text, passing=True, detail=traceback.format_exc())
    except Exception as error:
        return result(FAILED, f"{type(error).__name__}: {error}", detail=traceback.format_exc())


@dataclass(frozen=True)
class Reversal:
    """The reversal pressures of a study's bottoms, as a task for the runner (runner.Task)."""

    study: Study
    solver: Solver
    answered = (*SOLVED, "none_below_ceiling")
    solved = SOLVED

    @property
    def version(self) -> str:
        """The version that results are valid for."""
        return self.solver.version

    @property
    def compiles(self) -> bool:
        """Whether the first solve on a machine has to compile the solver."""
        from domemargin.fea.bottom.reversal import reversal

        return self.solver.solve is reversal

    def text(self) -> str:
        """The study as its store keeps it."""
        return self.study.to_json()

    def count(self) -> int:
        """How many points the plan has."""
        from domemargin.studies.study.sampling import count

        return count(self.study)

    def plan(self) -> Iterator[tuple[str, dict[str, float]]]:
        """(key, point) of the whole plan in order."""
        from domemargin.studies.study.sampling import points

        keys = Keys(self.study, self.version)
        return ((keys.of(point), point) for point in points(self.study))

    def solve(self, key: str, point: Mapping[str, float]) -> Result:
        """One case, in a worker."""
        return solve_case(self.study, self.solver.solve, key, point)


def solve_chunk(
    task: Any,
    chunk: Sequence[tuple[str, Mapping[str, float]]],
    prepare: Callable[[], None] | None = None,
    limit: float | None = None,
    marks: Path | None = None,
) -> list[Result]:
    """Solve some points, (key, point) each, in one worker.

    task : a runner.Task.  limit : s after which the worker ends itself in the midst of a case,
    from a thread of the C library: compiled code neither takes signals nor lets Python run.
    marks : folder in which it then leaves a file of the case's key that says where it stood.
    """
    if prepare is not None:
        prepare()
    if limit is None:
        return [task.solve(key, point) for key, point in chunk]
    results = []
    for key, point in chunk:
        with open(os.devnull if marks is None else marks / key, "w", encoding="utf-8") as mark:
            faulthandler.dump_traceback_later(limit, exit=True, file=mark)
            try:
                results.append(task.solve(key, point))
            finally:
                faulthandler.cancel_dump_traceback_later()
        if marks is not None:
            (marks / key).unlink(missing_ok=True)
    return results


def outputs_of(record: Any) -> dict[str, Any]:
    """The numbers of a record by name; parts of parts are joined by an underscore.

    Curves and outlines are left out: a case can be solved again in a fraction of a second.
    """
    out: dict[str, Any] = {}
    for f in fields(record):
        if f.name not in _LEFT_OUT:
            _flatten(f.name, getattr(record, f.name), out)
    for growth in getattr(record, "growth", ()):
        head = f"at_{growth.pressure_mpa:.4f}_mpa_"
        for f in fields(growth):
            if f.name not in ("pressure_mpa", "reason"):
                _flatten(head + f.name, getattr(growth, f.name), out)
    return out


def _flatten(name: str, value: Any, out: dict[str, Any]) -> None:
    if is_dataclass(value) and not isinstance(value, type):
        for f in fields(value):
            _flatten(f"{name}_{f.name}", getattr(value, f.name), out)
    elif isinstance(value, bool | str):
        out[name] = value
    elif isinstance(value, int | float):
        out[name] = value if math.isfinite(value) else None
