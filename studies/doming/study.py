"""Many variants of one tooling: a plan, two processes, a table that a rerun goes on with.

name = "set and flange"
cases = 500                         # points of a scrambled Sobol sequence
seed = 1
[vary]                              # table.field of a tooling file, low and high
"station.set" = ["-0.2 mm", "0.6 mm"]
"die.flange_height" = ["10.6 mm", "10.9 mm"]
"friction" = [0.05, 0.10]           # of all tools
"""

from __future__ import annotations

import csv
import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.files.toml_files import tables
from domemargin.profiles.limits import LIMITS, SHOWN_UNIT, check, unknown_name
from domemargin.profiles.quantities import parse_quantity
from domemargin.profiles.tooling.tooling import Tooling

MOST_CASES = 100_000
OUTPUTS = (
    "depth_mm", "loaded_depth_mm", "springback_mm", "bottomed", "overtravel_mm", "peak_force_n",
    "punch_force_n", "draw_in_mm", "split_risk", "reversal_pressure_mpa",
)  # fmt: skip
TABLES = ("punch", "die", "clamp", "spring", "station", "friction", "blank")
_LISTS = ("die.dome_break_diameter", "spring.travel", "spring.force")


@dataclass(frozen=True)
class DomingStudy:
    """What is varied about a tooling.

    ranges : name -> (low, high) in internal units.
    """

    name: str
    tooling: Tooling
    ranges: dict[str, tuple[float, float]]
    cases: int
    seed: int

    def points(self) -> list[dict[str, float]]:
        """The plan: scrambled Sobol points over the ranges."""
        import warnings

        from scipy.stats import qmc

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # any number of cases will do
            unit = qmc.Sobol(len(self.ranges), seed=self.seed).random(self.cases)
        return [
            {
                name: float(low + (high - low) * x)
                for (name, (low, high)), x in zip(self.ranges.items(), row)
            }
            for row in unit
        ]


def load_doming_study(path: Path, tooling: Tooling) -> DomingStudy:
    """Read a doming study.  Raises InputError in one sentence."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or " ".join(str(error).split())
        raise InputError(f"study file {str(path)!r} cannot be read: {reason}") from None
    data = tables(text, f"study file {str(path)!r} is ")
    known = {"name", "cases", "seed", "vary"}
    for key in data:
        if key not in known:
            raise unknown_name(key, known)
    ranges = {}
    vary = data.get("vary")
    if not isinstance(vary, dict) or not vary:
        raise InputError("vary is missing; it must name at least one quantity", "vary")
    for name, ends in vary.items():
        ranges[name] = _range(name, ends)
    cases, seed = data.get("cases", 64), data.get("seed", 0)
    for key, value, low in (("cases", cases, 1), ("seed", seed, 0)):
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= MOST_CASES:
            allowed = f"{low} to {MOST_CASES}"
            text = f"{key} is {brief(value)}; it must be a whole number, {allowed}"
            raise InputError(text, key, brief(value), allowed)
    name = data.get("name", path.stem)
    if not isinstance(name, str):
        raise InputError(f"name is {brief(name)}; it must be text", "name", brief(name), "text")
    return DomingStudy(name, tooling, ranges, cases, seed)


def _key_of(name: str) -> str:
    """The key in LIMITS of a quantity that a study varies."""
    return "friction.punch" if name == "friction" else name


def _range(name: str, ends: Any) -> tuple[float, float]:
    field = f"vary.{name}"
    key = _key_of(name)
    names = [k for k in LIMITS if k.split(".")[0] in TABLES and k not in _LISTS]
    if key not in names and name != "material.yield_strength":
        raise unknown_name(field, [*names, "friction", "material.yield_strength"])
    if not isinstance(ends, list) or len(ends) != 2:
        need = "a list of two, low and high"
        raise InputError(f"{field} is {brief(ends)}; it must be {need}", field, brief(ends), need)
    kind = LIMITS[key].kind
    values = []
    for i, end in enumerate(ends):
        where = f"{field}[{i + 1}]"
        value = end if kind == "number" else parse_quantity(end, kind, where)
        check(key, value, where)
        values.append(float(value))
    if values[0] > values[1]:
        need = "low before high"
        raise InputError(f"{field} is {brief(ends)}; it must be {need}", field, brief(ends), need)
    return values[0], values[1]


def tooling_at(tooling: Tooling, point: Mapping[str, float]) -> Tooling:
    """The tooling with the values of a point.  Raises InputError."""
    from dataclasses import replace

    changes: dict[str, Any] = {}
    for name, value in point.items():
        table, _, key = name.partition(".")
        if name == "station.set":
            changes["set"] = value
        elif name == "die.dome_radius":
            changes["die__dome_radius"] = (value,) * len(tooling.die.dome_radius)
        elif name == "material.yield_strength":
            changes["material"] = replace(tooling.material, yield_strength=value)
        else:
            changes["friction" if name == "friction" else f"{table}__{key}"] = value
    return tooling.replaced(**changes)


def run_doming_study(study: DomingStudy, folder: Path, workers: int) -> tuple[int, int, int]:
    """Solve what is not solved yet; returns the cases formed, failed, and kept from before.

    Every result is a line of doming-study.jsonl as soon as it is there, written by this process
    alone; a run that was stopped loses what was in hand.  doming-study.csv is made at the end.
    """
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from multiprocessing import get_context

    from domemargin.studies.study.worker import one_thread_each, start

    store = folder / "doming-study.jsonl"
    keyed = {case_key(study.tooling, point): point for point in study.points()}
    results = {k: v for k, v in _stored(store).items() if k in keyed}
    kept = len(results)
    todo = {key: point for key, point in keyed.items() if key not in results}
    with store.open("a", encoding="utf-8") as file:

        def keep(key: str, outputs: dict[str, Any]) -> None:
            results[key] = outputs
            file.write(json.dumps({"key": key, "outputs": outputs}, allow_nan=False) + "\n")
            file.flush()

        if workers == 1 or len(todo) < 2:
            for key, point in todo.items():
                keep(key, solve_point(study.tooling, point))
        else:
            with (
                one_thread_each(),
                ProcessPoolExecutor(workers, get_context("spawn"), start) as pool,
            ):
                jobs = {pool.submit(solve_point, study.tooling, p): k for k, p in todo.items()}
                for job in as_completed(jobs):
                    try:
                        keep(jobs[job], job.result())
                    except Exception as error:  # a worker that died is a result too
                        keep(
                            jobs[job], {"kind": "crashed", "reason": str(error) or "a worker died"}
                        )
    _write_table(folder / "doming-study.csv", study, keyed, results)
    formed = sum(outputs["kind"] == "formed" for outputs in results.values())
    return formed, len(results) - formed, kept


def case_key(tooling: Tooling, point: Mapping[str, float]) -> str:
    """Of all inputs of a case and the code that solves it."""
    from domemargin.studies.study.cases import solver_version

    text = json.dumps([asdict(tooling), dict(point), solver_version()], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def solve_point(tooling: Tooling, point: Mapping[str, float]) -> dict[str, Any]:
    """The numbers of one case; whatever goes wrong is a result too."""
    from domemargin.fea.doming.doming import doming

    try:
        record = doming(tooling_at(tooling, point))
    except InputError as error:
        return {"kind": "invalid tooling", "reason": str(error)}
    except Exception as error:
        return {"kind": "error", "reason": f"{type(error).__name__}: {error}"}
    outputs = {name: getattr(record, name) for name in OUTPUTS}
    thinnest = None if record.worst is None else record.worst.thinning
    return {"kind": record.kind, "reason": record.reason, **outputs, "thinning": thinnest}


def _stored(store: Path) -> dict[str, dict[str, Any]]:
    found = {}
    if store.exists():
        for text in store.read_text(encoding="utf-8").splitlines():
            try:
                row = json.loads(text)
                # what died may live next time
                if row["outputs"]["kind"] != "crashed":
                    found[row["key"]] = row["outputs"]
            except (ValueError, KeyError, TypeError):
                continue  # a line that was cut off
    return found


def _write_table(
    path: Path,
    study: DomingStudy,
    keyed: Mapping[str, Mapping[str, float]],
    results: Mapping[str, Mapping[str, Any]],
) -> None:
    columns = ["kind", "reason", *OUTPUTS, "thinning"]
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        kinds = [LIMITS[_key_of(name)].kind for name in study.ranges]
        units = [f" ({SHOWN_UNIT[kind]})" if SHOWN_UNIT[kind] else "" for kind in kinds]
        table.writerow([*map("".join, zip(study.ranges, units)), *columns])
        for key, point in keyed.items():
            row = results.get(key, {})
            shown = [
                math.degrees(value) if kind == "angle" else value
                for kind, value in zip(kinds, point.values())
            ]
            table.writerow([*shown, *(row.get(name) for name in columns)])
