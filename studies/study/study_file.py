"""Study files (TOML): where they are found and how they are read.

    name = "Depth loss and gauge"
    profile = "north"                  # a ready profile, or a profile file beside this one
    required_pressure = "90 psi"       # optional; changing it needs no new solves

    [plan]                             # optional; a grid if left out
    kind = "grid"                      # grid, list, sobol or saltelli (studies/study/study.py)
    cases = 2048                       # sobol: points; saltelli: base points
    seed = 1                           # sobol, saltelli

    [vary.die_set_back]                # any dimension, gauge or metal value of a profile file,
    from = "0 mm"                      # or a way of losing depth: die_set_back, springback
    to = "0.6 mm"                      # (studies/study/varied.py)
    steps = 7                          # grid, list: number of values, ends included

    [vary.bottom_gauge]
    values = ["0.25 mm", "0.26 mm"]    # in place of from, to and steps

    [settings]                         # optional
    resolution = "0.2 %"
    ceiling = "4 MPa"
    growth_at = ["60 psi"]             # growth of the bottom at these pressures, if wanted
    waves = 20                         # stability is checked against up to so many waves
    model = "shell"                    # or "solid", a hundred times slower

    [scatter.dome_depth]               # optional: how cans scatter, for `domemargin scatter`
    normal = "0.03 mm"                 # standard deviation; or tolerance = "0.09 mm", a normal
    mean = "10.3 mm"                   # of a third of it; or uniform = "0.05 mm", half width.
                                       # mean: the profile's if left out
    [[correlation]]
    of = ["dome_depth", "bottom_gauge"]
    value = 0.3                        # of the normal scores, -1 to 1

A ready study is read by its bare name: load_study("depth-gauge").
This module imports pydantic, so it is imported only when a file is read.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, load_profile, parse_quantity
from domemargin.profiles.errors import brief, brief_path
from domemargin.profiles.files.reading import needed_of
from domemargin.profiles.files.toml_files import Kind, check_kind, tables
from domemargin.profiles.limits import shown, unknown_name
from domemargin.studies.options import required_pressure, share
from domemargin.studies.study.study import (
    GRID,
    LIST,
    SALTELLI,
    SOBOL,
    Plan,
    Scatter,
    Scattered,
    Study,
    Varied,
)
from domemargin.studies.study.varied import VARIABLE, check_name, kind_of, parse_value, value_in

MOST_CASES = 1_000_000
_KIND = Kind("study", "the ready studies", "domemargin.studies", "ready")
_SHAPES = ("normal", "tolerance", "uniform")


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class PlanTable(_Table):
    """[plan]"""

    kind: Literal["grid", "list", "sobol", "saltelli"] = "grid"
    cases: int | None = Field(default=None, ge=2, le=MOST_CASES)
    seed: int = Field(default=0, ge=0, le=2**31)


class VaryTable(_Table):
    """[vary.<quantity>]"""

    values: list[Any] | None = Field(default=None, min_length=1, max_length=10_000)
    low: Any = Field(default=None, alias="from")
    high: Any = Field(default=None, alias="to")
    steps: int | None = Field(default=None, ge=2, le=10_000)


class SettingsTable(_Table):
    """[settings]; see domemargin.fea.bottom.reversal.Settings."""

    resolution: str | None = None
    ceiling: Any = None
    growth_at: list[Any] = []
    waves: int | None = Field(default=None, ge=0, le=100)
    model: Literal["shell", "solid"] = "shell"


class ScatterTable(_Table):
    """[scatter.<quantity>]"""

    mean: Any = None
    normal: Any = None
    tolerance: Any = None
    uniform: Any = None


class CorrelationTable(_Table):
    """[[correlation]]"""

    of: list[str] = Field(min_length=2, max_length=2)
    value: float = Field(gt=-1.0, lt=1.0)


class FileTable(_Table):
    """A whole study file."""

    name: str = Field(min_length=1, max_length=200)
    profile: str
    required_pressure: Any = None
    plan: PlanTable = PlanTable()
    vary: dict[str, VaryTable] = {}
    settings: SettingsTable = SettingsTable()
    scatter: dict[str, ScatterTable] = {}
    correlation: list[CorrelationTable] = []


_TABLES: dict[str, type[_Table]] = {
    "": FileTable, "plan": PlanTable, "vary": VaryTable, "settings": SettingsTable,
    "scatter": ScatterTable, "correlation": CorrelationTable,
}  # fmt: skip


def ready_studies() -> tuple[str, ...]:
    """Names of the ready studies, sorted."""
    return _KIND.ready_names()


def load_study(path: str | os.PathLike[str], profile: str | None = None) -> Study:
    """Read a study from a TOML file, or a ready one by its name.

    profile : another base bottom than the file's, a profile file or the name of a ready one.
    Raises InputError in one sentence.
    """
    text, given = _KIND.read(path), brief_path(path)
    return _study_in(text, Path(path).parent, profile, f"study file {given}", given)


def parse_study(text: str, folder: Path = Path(), profile: str | None = None) -> Study:
    """A study from TOML text; profile files are looked for in folder.  Raises InputError."""
    return _study_in(text, folder, profile, "the study file", "this")


def _study_in(text: str, folder: Path, profile: str | None, subject: str, given: str) -> Study:
    data = tables(text, f"{subject} is ")
    check_kind(data, "study", given)
    try:
        table = FileTable.model_validate(data)
    except ValidationError as error:
        raise _input_error(error) from None
    return _study_of(table, folder, profile)


def _study_of(table: FileTable, folder: Path, other: str | None) -> Study:
    beside = folder / table.profile
    named = str(beside) if beside.suffix and beside.exists() else table.profile
    base = load_profile(named if other is None else other)
    required = table.required_pressure
    study = Study(
        name=table.name if other is None else f"{table.name}, {base.name}",
        profile=base,
        varied=tuple(_varied(name, vary, table.plan, base) for name, vary in table.vary.items()),
        plan=_plan(table),
        required=None if required is None else required_pressure(required, "required_pressure"),
        settings=_settings(table.settings),
        scatter=_scatter(table, base),
    )
    if not study.varied and study.scatter is None:
        raise InputError("vary is missing; a study needs at least one [vary.<quantity>]", "vary")
    if study.plan.kind == LIST and len({len(v.values) for v in study.varied}) > 1:
        lengths = ", ".join(f"{v.name} {len(v.values)}" for v in study.varied)
        raise InputError(f"vary has lists of different lengths ({lengths}); plan list needs one",
                         "vary", lengths, "one length")  # fmt: skip
    size = np.prod([float(len(v.values) or 1) for v in study.varied])
    if study.plan.kind == GRID and size > MOST_CASES:
        raise InputError(
            f"vary makes a grid of {size:.0f} cases; it must be at most {MOST_CASES}", "vary"
        )
    return study


def _plan(table: FileTable) -> Plan:
    plan = table.plan
    random = plan.kind in (SOBOL, SALTELLI)
    if random and plan.cases is None:
        raise InputError(
            f"plan.cases is missing; plan {plan.kind} needs a number of cases, 2 to {MOST_CASES}",
            "plan.cases",
        )
    if not random and plan.cases is not None:
        raise InputError(
            f"plan.cases is {plan.cases}; it must be absent with plan {plan.kind}", "plan.cases"
        )
    cases = plan.cases or 0
    if plan.kind == SALTELLI and cases & (cases - 1):
        raise InputError(
            f"plan.cases is {cases}; it must be a power of two with plan saltelli", "plan.cases"
        )
    return Plan(plan.kind, cases, plan.seed)


def _varied(name: str, table: VaryTable, plan: PlanTable, base: Profile) -> Varied:
    field = f"vary.{name}"
    check_name(name, base, field)
    if table.values is not None:
        if (table.low, table.high, table.steps) != (None, None, None):
            raise InputError(f"{field} has values and also from, to or steps; give one", field)
        values = tuple(
            parse_value(name, value, f"{field}.values[{i + 1}]")
            for i, value in enumerate(table.values)
        )
        if plan.kind == GRID and len(set(values)) < len(values):
            raise InputError(f"{field}.values has a value twice", f"{field}.values")
        low, high = min(values), max(values)
    else:
        for key, given in (("from", table.low), ("to", table.high)):
            if given is None:
                raise InputError(f"{field}.{key} is missing; give from and to, or values",
                                 f"{field}.{key}")  # fmt: skip
        low = parse_value(name, table.low, f"{field}.from")
        high = parse_value(name, table.high, f"{field}.to")
        values = ()
        if plan.kind in (GRID, LIST):
            if table.steps is None:
                raise InputError(f"{field}.steps is missing; plan {plan.kind} needs a number of "
                                 "values, 2 to 10000", f"{field}.steps")  # fmt: skip
            # rounded, so that 0.3 is written 0.3 and meets the 0.3 of a list
            values = tuple(float(f"{v:.12g}") for v in np.linspace(low, high, table.steps))
    if plan.kind in (SOBOL, SALTELLI) and (table.steps is not None or not low < high):
        raise InputError(
            f"{field} must have from less than to, and no steps, with plan {plan.kind}", field
        )
    return Varied(name, values, min(low, high), max(low, high))


def _settings(table: SettingsTable) -> Settings:
    given: dict[str, Any] = {"model": table.model}
    if table.waves is not None:
        given["waves"] = table.waves
    if table.resolution is not None:
        given["resolution"] = share(table.resolution, "settings.resolution")
    if table.ceiling is not None:
        given["ceiling"] = parse_quantity(table.ceiling, "pressure", "settings.ceiling")
    given["growth_at"] = tuple(
        parse_quantity(text, "pressure", f"settings.growth_at[{i + 1}]")
        for i, text in enumerate(table.growth_at)
    )
    try:
        return Settings(**given)
    except InputError as error:
        raise InputError(
            f"settings.{error}", f"settings.{error.field}", error.value, error.allowed
        ) from None


def _scatter(table: FileTable, base: Profile) -> Scatter | None:
    if not table.scatter:
        return None
    quantities = tuple(_scattered(name, entry, base) for name, entry in table.scatter.items())
    names = [q.name for q in quantities]
    correlations = []
    for i, entry in enumerate(table.correlation):
        field = f"correlation[{i + 1}].of"
        for name in entry.of:
            if name not in names:
                raise unknown_name(f"{field}.{name}", names)
        if entry.of[0] == entry.of[1]:
            raise InputError(f"{field} names {entry.of[0]} twice; it must be two", field)
        correlations.append((entry.of[0], entry.of[1], entry.value))
    scatter = Scatter(quantities, tuple(correlations), table.plan.seed)
    from domemargin.studies.study.distributions import correlation_matrix

    correlation_matrix(scatter)  # rejects an impossible value
    return scatter


def _scattered(name: str, table: ScatterTable, base: Profile) -> Scattered:
    field = f"scatter.{name}"
    check_name(name, base, field)
    given = [shape for shape in _SHAPES if getattr(table, shape) is not None]
    if len(given) != 1:
        raise InputError(f"{field} must have one of normal, tolerance or uniform", field)
    shape = given[0]
    value = getattr(table, shape)
    place = f"{field}.{shape}"
    if kind_of(name) == "number":
        spread = -1.0 if isinstance(value, bool) or not isinstance(value, int | float) else value
    else:
        spread = parse_quantity(value, kind_of(name), place)
    _, low, high = VARIABLE[name].limit
    if not 0.0 < spread <= high - low:
        allowed = f"more than 0, at most {shown(high - low, kind_of(name))}"
        raise InputError(
            f"{place} is {brief(value)}; it must be {allowed}", place, brief(value), allowed
        )
    mean = value_in(base, name)
    if table.mean is not None:
        mean = parse_value(name, table.mean, f"{field}.mean")
    if shape == "tolerance":  # common practice, no source: limits at three standard deviations
        shape, spread = "normal", spread / 3.0
    return Scattered(name, shape, mean, float(spread))


def _input_error(error: ValidationError) -> InputError:
    """The first of pydantic's problems, misspelt names before all, as a sentence."""
    problems = error.errors(include_url=False)
    first = min(problems, key=lambda problem: problem["type"] != "extra_forbidden")
    field = ""
    for part in first["loc"]:
        if isinstance(part, int):
            field += f"[{part + 1}]"
        else:
            name = part if re.fullmatch(r"[\w-]{1,40}", part) else brief(part)
            field += f".{name}" if field else name
    if first["type"] == "extra_forbidden":
        head = first["loc"][0] if len(first["loc"]) > 1 else ""
        known = [f.alias or n for n, f in _TABLES[str(head)].model_fields.items()]
        return unknown_name(field, known)
    if first["type"] == "missing":
        return InputError(f"{field} is missing; it must be given", field, "missing", "given")
    given, needed = brief(first["input"]), needed_of(first)
    return InputError(f"{field} is {given}; it must be {needed}", field, given, needed)


__all__ = ["VARIABLE", "load_study", "parse_study", "ready_studies"]
