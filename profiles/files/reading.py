"""Tables of a profile file to a Profile, every problem turned into one sentence.

This module imports pydantic (by profiles/files/schema.py): only a file that is read needs it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from pydantic import ValidationError

from domemargin.profiles.around import Around, Dent, Scan, Wave
from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.files.as_drawn import as_shape
from domemargin.profiles.files.schema import HERE, LAWS, TABLES, AnyLaw, FileTable, MaterialTable
from domemargin.profiles.forming import forming_zones
from domemargin.profiles.limits import LIMITS, allowed_range, check, check_material, unknown_name
from domemargin.profiles.local import Along, Zone
from domemargin.profiles.material import (
    BackStress,
    Hardening,
    Linear,
    Material,
    Swift,
    Table,
    Voce,
)
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.formed import FormedState
from domemargin.profiles.shape.shape import Sheet


def validated(data: dict[str, Any]) -> FileTable:
    """The tables of a profile file, their keys and units checked.  Raises InputError."""
    try:
        return FileTable.model_validate(data)
    except ValidationError as error:
        problems = error.errors(include_url=False)
    # a misspelt key also makes the right one missing: the misspelling is the thing to report
    first = min(problems, key=lambda problem: problem["type"] != "extra_forbidden")
    raise input_error(first, TABLES)


def input_error(problem: Any, tables: Mapping[tuple[str, ...], Any]) -> InputError:
    """One of pydantic's problems as a sentence; tables : the file's, by the path to each."""
    field = ""
    path: list[str] = []  # without positions in lists, with the law of a hardening table
    for part in problem["loc"]:
        is_law = path[-1:] == ["hardening"] and part in LAWS
        if isinstance(part, int):
            field += f"[{part + 1}]"
        else:
            name = part if re.fullmatch(r"[\w-]{1,40}", part) else brief(part)
            field += "" if is_law else f".{name}" if field else name
            path.append(part)
    own = problem.get("ctx", {}).get("error")
    if isinstance(own, InputError):
        return InputError(str(own).replace(HERE, field), field, own.value, own.allowed)
    if problem["type"] == "extra_forbidden":
        table = tables[tuple(path[:-1])]
        return unknown_name(field, [f.alias or n for n, f in table.model_fields.items()])
    key = re.sub(r"\[\d+\]", "", field)
    if problem["type"] == "missing":
        what = allowed_range(key) if key in LIMITS else "given"
        return InputError(f"{field} is missing; it must be {what}", field, "missing", what)
    if problem["type"].startswith("union_tag"):
        laws = ", ".join(LAWS)
        given = problem["input"]
        law = brief(given["law"]) if "law" in given else "missing"
        text = f"{field}.law is {law}; it must be one of {laws}"
        return InputError(text, f"{field}.law", law, laws)
    needed, given = needed_of(problem), brief(problem["input"])
    return InputError(f"{field} is {given}; it must be {needed}", field, given, needed)


_NEEDED = {
    "string_type": "text",
    "string_unicode": "text",
    "list_type": "a list",
    "tuple_type": "a list",
    "dict_type": "tables",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a plain number",
    "bool_type": "true or false",
    "finite_number": "a finite number",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "too_short": "a list of at least {min_length}",
    "too_long": "a list of at most {max_length}",
    "string_too_short": "text of at least {min_length} characters",
    "string_too_long": "text of at most {max_length} characters",
    "literal_error": "{expected}",
    "int_parsing_size": "a whole number of fewer digits",
}


def needed_of(problem: Any) -> str:
    """What one of pydantic's problems asks for, after the words "it must be"."""
    context = problem.get("ctx", {})
    known = _NEEDED.get(problem["type"])
    if known is not None:
        return known.format(**context)
    return "of another form: " + re.sub(r"^(Input|Value) should be ", "", problem["msg"])[:120]


def profile_of(table: FileTable) -> Profile:
    """The profile that checked tables describe.  Raises InputError or ShapeError."""
    sheet = Sheet(**table.sheet.model_dump())
    shape = as_shape(table.shape.model_dump(), sheet)
    zones = []
    for i, zone in enumerate(table.zone):
        try:
            zones.append(Zone(**zone.model_dump()))
        except InputError as error:
            place = f"zone[{i + 1}]"
            raise InputError(
                str(error).replace("zone", place, 1),
                error.field.replace("zone", place, 1),
                error.value,
                error.allowed,
            ) from None
    along = None
    if table.along is not None:
        lists = table.along.model_dump(exclude_none=True)
        along = Along(**{name: tuple(values) for name, values in lists.items()})
    if table.formed is True:
        _check_estimate(zones, along)
        zones = [*forming_zones(shape, sheet), *zones]
    return Profile(
        table.name,
        shape,
        sheet,
        material_of(table.material),
        tuple(zones),
        along,
        _formed(table),
        _around(table),
    )


def _around(table: FileTable) -> Around | None:
    if table.around is None:
        return None
    values = table.around.model_dump()
    scan = values.pop("scan")
    return Around(
        **{key: value for key, value in values.items() if key not in ("wave", "dent")},
        wave=tuple(Wave(**entry) for entry in values["wave"]),
        dent=tuple(Dent(**entry) for entry in values["dent"]),
        scan=None
        if scan is None
        else Scan(
            tuple(scan["arc_length"]), tuple(scan["angle"]), tuple(map(tuple, scan["offset"]))
        ),
    )


def _check_estimate(zones: list[Zone], along: Along | None) -> None:
    """Reject the estimate of forming beside prior strain of the file's own.  Raises InputError."""
    table = along is not None and along.prior_strain is not None
    if table or any(zone.prior_strain is not None for zone in zones):
        raise InputError(
            "formed is true beside prior_strain; give one of the two",
            "formed", "true", "absent beside prior_strain",
        )  # fmt: skip


def _formed(table: FileTable) -> FormedState | None:
    if table.formed is None or isinstance(table.formed, bool):
        return None
    values: dict[str, Any] = {
        name: tuple(tuple(entry) if isinstance(entry, list) else entry for entry in entries)
        for name, entries in table.formed.model_dump().items()
    }
    return FormedState(**values)


def material_of(table: MaterialTable) -> Material:
    """The metal that a checked [material] table describes.  Raises InputError."""
    values = table.model_dump(exclude={"hardening", "back_stress"})
    for name, value in values.items():
        if f"material.{name}" in LIMITS and value is not None:
            check(f"material.{name}", value)
    law = table.hardening
    strength = values["yield_strength"]
    if law.law == "elastic" and strength is not None:
        raise _material_error("yield_strength", f"{strength:.6g} MPa", "absent with law elastic")
    if law.law == "table":
        if strength is not None and law.stress and strength != law.stress[0]:
            raise _material_error(
                "yield_strength",
                f"{strength:.6g} MPa",
                f"the first stress, {law.stress[0]:.6g} MPa",
            )
        values["yield_strength"] = law.stress[0] if law.stress else None
    elif law.law not in ("elastic", "perfect") and strength is None:
        raise _material_error("yield_strength", "missing", f"given with law {law.law}")
    back = table.back_stress
    if back is not None:
        values["back_stress"] = BackStress(**back.model_dump())
    material = Material(**values, hardening=_hardening(law))
    check_material(material)
    return material


def _material_error(name: str, value: str, allowed: str) -> InputError:
    field = f"material.{name}"
    return InputError(f"{field} is {value}; it must be {allowed}", field, value, allowed)


def _hardening(law: AnyLaw) -> Hardening:
    values = law.model_dump(exclude={"law"})
    for name, value in values.items():
        for i, entry in enumerate(value if isinstance(value, list) else [value]):
            key = f"material.hardening.{name}"
            check(key, entry, f"{key}[{i + 1}]" if isinstance(value, list) else key)
    if law.law == "linear":
        return Linear(**values)
    if law.law == "voce":
        return Voce(**values)
    if law.law == "swift":
        return Swift(**values)
    if law.law != "table":
        return Linear()
    strain, stress = tuple(law.plastic_strain), tuple(law.stress)
    if len(strain) != len(stress) or len(strain) < 2:
        raise _material_error(
            "hardening.stress", f"{len(stress)} entries", "as long as plastic_strain, at least 2"
        )
    if strain[0] != 0.0 or any(b <= a for a, b in pairwise(strain)):
        listed = ", ".join(f"{value:.6g}" for value in strain)
        raise _material_error("hardening.plastic_strain", listed, "increasing from 0")
    return Table(strain, stress)
