"""Many variants of one tooling: a plan, a store and a table; a rerun continues the study.

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
import time
import traceback
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from domemargin.profiles.errors import InputError, brief, brief_path
from domemargin.profiles.files.contents import content_of
from domemargin.profiles.files.toml_files import check_kind, tables
from domemargin.profiles.limits import LIMITS, SHOWN_UNIT, check, unknown_name
from domemargin.profiles.quantities import parse_quantity
from domemargin.profiles.tooling.tooling import Tooling
from domemargin.studies.study.cases import Result
from domemargin.studies.whole_files import cells, whole_file

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
    given = brief_path(path)
    try:
        raw = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"study file {given} cannot be read: {reason}", "--study") from None
    found = content_of(raw)
    if found not in ("", "a TOML file"):
        need = "a doming study, text in TOML"
        raise InputError(f"{given} is {found}; it must be {need}", "--study", given, need)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"study file {given} is not UTF-8 text", "--study", given) from None
    data = tables(text, f"study file {given} is ")
    check_kind(data, "doming study", given)
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
    changes: dict[str, Any] = {}
    for name, value in point.items():
        table, _, key = name.partition(".")
        if name == "station.set":
            changes["set"] = value
        elif name == "die.dome_radius":
            changes["die__dome_radius"] = (value,) * len(tooling.die.dome_radius)
        elif name == "material.yield_strength":
            changes["material"] = tooling.material.at_yield(value)
        else:
            changes["friction" if name == "friction" else f"{table}__{key}"] = value
    return tooling.replaced(**changes)


@dataclass(frozen=True)
class Doming:
    """A doming study as a task for the runner (runner.Task).

    solve_tooling : gives the kind, the reason and the numbers of a tooling; workers import it.
    """

    study: DomingStudy
    version: str
    solve_tooling: Callable[[Tooling], dict[str, Any]]
    answered = ("formed",)
    solved = ("formed",)

    @property
    def compiles(self) -> bool:
        """Whether the first solve on a machine has to compile the solver."""
        return self.solve_tooling is solve_tooling

    def text(self) -> str:
        """The study as its store keeps it."""
        return json.dumps({"doming": asdict(self.study)}, allow_nan=False)

    def count(self) -> int:
        """How many points the plan has."""
        return self.study.cases

    def plan(self) -> Iterator[tuple[str, dict[str, float]]]:
        """(key, point) of the whole plan in order."""
        base = asdict(self.study.tooling)
        for point in self.study.points():
            text = json.dumps([base, point, self.version], sort_keys=True)
            yield hashlib.sha256(text.encode()).hexdigest(), point

    def solve(self, key: str, point: Mapping[str, float]) -> Result:
        """One case, in a worker; a failure is returned as a result, never raised."""
        started = time.perf_counter()

        def result(state: str, reason: str, outputs: Any = None, **more: Any) -> Result:
            seconds = time.perf_counter() - started
            return Result(key, state, " ".join(reason.split()), outputs or {}, seconds, **more)

        try:
            outputs = dict(self.solve_tooling(tooling_at(self.study.tooling, point)))
            return result(outputs.pop("kind"), outputs.pop("reason"), outputs)
        except InputError as error:
            return result("invalid tooling", str(error))
        except (MemoryError, OSError) as error:
            text = f"{type(error).__name__}: {error}"
            return result("error", text, passing=True, detail=traceback.format_exc())
        except Exception as error:
            text = f"{type(error).__name__}: {error}"
            return result("error", text, detail=traceback.format_exc())


def doming_task(study: DomingStudy) -> Doming:
    """The study with the solver of the command line."""
    from domemargin.studies.study.cases import solver_version

    return Doming(study, solver_version(), solve_tooling)


def solve_tooling(tooling: Tooling) -> dict[str, Any]:
    """The numbers of one tooling, with its kind and reason."""
    from domemargin.fea.doming.doming import doming

    record = doming(tooling)
    known = record.to_dict() | {"reversal_pressure_mpa": record.reversal_pressure_mpa}
    outputs = {name: known[name] for name in OUTPUTS}
    thinnest = None if record.rest is None else record.rest.worst.thinning
    return {"kind": record.kind, "reason": record.reason, **outputs, "thinning": thinnest}


def write_doming_table(path: Path, study: DomingStudy, store: Path) -> None:
    """The table of a doming study as CSV, the units in the header.  Raises StoreError."""
    from domemargin.studies.study.store import Store

    columns = ["kind", "reason", *OUTPUTS, "thinning"]
    kinds = [LIMITS[_key_of(name)].kind for name in study.ranges]
    units = [f" ({SHOWN_UNIT[kind]})" if SHOWN_UNIT[kind] else "" for kind in kinds]
    with (
        Store.read(store) as held,
        whole_file(path) as whole,
        whole.open("w", newline="", encoding="utf-8") as file,
    ):
        table = csv.writer(file)
        table.writerow([*map("".join, zip(study.ranges, units)), *columns])
        for row in held.rows():
            values = [row["point"][name] for name in study.ranges]
            shown = [math.degrees(v) if k == "angle" else v for k, v in zip(kinds, values)]
            known = {**row["outputs"], "kind": row["state"], "reason": row["reason"]}
            table.writerow(cells([*shown, *(known.get(name) for name in columns)]))
