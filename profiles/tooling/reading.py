"""Tables of a tooling file to Tooling.  This module imports pydantic."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from domemargin.profiles.errors import InputError
from domemargin.profiles.files.loading import with_temper
from domemargin.profiles.files.reading import input_error, material_of
from domemargin.profiles.tooling.parts import Blank, Clamp, Die, Friction, Marks, Punch, Spring
from domemargin.profiles.tooling.schema import TOOLING_TABLES, SpringTable, ToolingTable
from domemargin.profiles.tooling.tooling import Tooling


def tooling_of(data: dict[str, Any]) -> Tooling:
    """The tooling that the tables of a file describe.  Raises InputError."""
    try:
        table = ToolingTable.model_validate(with_temper(data))
    except ValidationError as error:
        problems = error.errors(include_url=False)
    else:
        return _built(table)
    first = min(problems, key=lambda problem: problem["type"] != "extra_forbidden")
    raise input_error(first, TOOLING_TABLES)


def _built(table: ToolingTable) -> Tooling:
    return Tooling(
        table.name,
        Punch(**table.punch.model_dump()),
        Die(**table.die.model_dump()),
        None if table.clamp is None else Clamp(**table.clamp.model_dump()),
        _spring(table.spring),
        table.station.set,
        Friction(**table.friction.model_dump()),
        Blank(**table.blank.model_dump()),
        material_of(table.material),
        None if table.forming_limit is None else table.forming_limit.thinning,
        Marks(**table.marks.model_dump()),
    )


def _spring(table: SpringTable) -> Spring:
    needed = {
        "constant": ("preload",),
        "linear": ("preload", "rate"),
        "table": ("travel", "force"),
    }[table.law]
    values = table.model_dump(exclude={"law"})
    for name, value in values.items():
        present = value is not None and value != ()
        if present != (name in needed):
            word, need = ("missing", "given") if not present else ("given", "absent")
            raise InputError(
                f"spring.{name} is {word}; it must be {need} with law {table.law}",
                f"spring.{name}",
                word,
                need,
            )
    return Spring(table.law, **{name: values[name] for name in needed})
