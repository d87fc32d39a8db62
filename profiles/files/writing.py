"""A Profile to the TOML text of a profile file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from domemargin.profiles.around import Around
from domemargin.profiles.limits import LIMITS
from domemargin.profiles.local import Zone
from domemargin.profiles.material import Linear, Material
from domemargin.profiles.profile import Profile
from domemargin.profiles.quantities import write_quantity
from domemargin.profiles.shape.formed import LAYERED, FormedState


def dump_profile(profile: Profile) -> str:
    """A profile as TOML text (mm, degrees, MPa) that reads back to an equal profile."""
    import tomli_w

    shape = {"radii_on": profile.shape.radii_on}
    shape |= _written("shape", vars(profile.shape))
    data: dict[str, Any] = {
        "name": profile.name,
        "shape": shape,
        "sheet": _written("sheet", vars(profile.sheet)),
        "material": _material_table(profile.material),
    }
    if profile.zones:
        data["zone"] = [_zone_table(zone) for zone in profile.zones]
    if profile.along is not None:
        data["along"] = _written("along", vars(profile.along))
    if profile.formed is not None:
        data["formed"] = _formed_table(profile.formed)
    if profile.around is not None:
        data["around"] = _around_table(profile.around)
    return tomli_w.dumps(data)


def _around_table(around: Around) -> dict[str, Any]:
    out = _written("around", vars(around))
    for name in ("wave", "dent"):
        if entries := getattr(around, name):
            out[name] = [_written(f"around.{name}", vars(entry)) for entry in entries]
    if around.scan is not None:
        scan = around.scan
        out["scan"] = _written("around.scan", {"arc_length": scan.arc_length, "angle": scan.angle})
        kind = LIMITS["around.scan.offset"].kind
        out["scan"]["offset"] = [[write_quantity(v, kind) for v in row] for row in scan.offset]
    return out


def dump_material(material: Material, pedigree: Sequence[str] = ()) -> str:
    """A metal as the [material] table of a profile file, below where its values come from.

    pedigree : sentences, written as comments.
    """
    import textwrap

    import tomli_w

    lines = [
        line
        for text in pedigree
        for line in textwrap.wrap(text, 96, initial_indent="# ", subsequent_indent="#   ")
    ]
    table = tomli_w.dumps({"material": _material_table(material)})
    return "".join(f"{line}\n" for line in lines) + table


def _formed_table(formed: FormedState) -> dict[str, Any]:
    out = _written("formed", {"arc_length": formed.arc_length, "place": formed.place})
    for name in LAYERED:
        kind = LIMITS[f"formed.{name}"].kind
        rows = getattr(formed, name)
        if kind == "number":
            out[name] = [list(row) for row in rows]
        else:
            out[name] = [[write_quantity(value, kind) for value in row] for row in rows]
    return out


def _written(owner: str, values: dict[str, Any]) -> dict[str, Any]:
    """The fields of a dataclass that LIMITS knows, as text with units; empty ones left out."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        key = f"{owner}.{name}"
        if key not in LIMITS or value is None or value == ():
            continue
        kind = LIMITS[key].kind
        if kind == "number":
            out[name] = list(value) if isinstance(value, tuple) else value
        elif isinstance(value, tuple):
            out[name] = [write_quantity(entry, kind) for entry in value]
        else:
            out[name] = write_quantity(value, kind)
    return out


def _zone_table(zone: Zone) -> dict[str, Any]:
    values = {{"start": "from", "stop": "to"}.get(k, k): v for k, v in vars(zone).items()}
    part = {"part": zone.part} if zone.part is not None else {}
    return part | _written("zone", values)


def _material_table(material: Material) -> dict[str, Any]:
    table = {"name": material.name} | _written("material", vars(material))
    if material.back_stress is not None:
        table["back_stress"] = _written("material.back_stress", vars(material.back_stress))
    law = material.hardening
    if material.yield_strength is None:
        table["hardening"] = {"law": "elastic"}
    elif law == Linear():
        table["hardening"] = {"law": "perfect"}
    else:
        name = type(law).__name__.lower()
        table["hardening"] = {"law": name} | _written("material.hardening", vars(law))
    return table
