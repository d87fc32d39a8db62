"""What is to be made best, from a TOML file.

name = "Lightest north bottom"
profile = "north"                   # the bottom to start from
aim = "mass"                        # or "gauge" (the least), "pressure" (the greatest)
required_pressure = "90 psi"        # with aim pressure it is not needed
can_height = "115 mm"               # of the can body whose mass counts

[vary.bottom_gauge]                 # any quantity that a study may vary, and its limits
from = "0.24 mm"
to = "0.28 mm"

[hold]                              # all optional
growth_at = "60 psi"                # growth of the stand ring at this pressure
growth = "0.5 mm"                   # is at most so much,
permanent_growth = "0.02 mm"        # and what stays of it
wave_margin = "3 %"                 # waves begin at least so much above the required pressure
bend_ratio = 4                      # tightest inside bend over the gauge, at least
stretch = "20 %"                    # thinning from the centre to the stand ring, at most, if no
                                    # metal is drawn in: 1 - flat area / formed area
can_mass = "9.6 g"                  # at most, for aim pressure

[limits.stand_diameter]             # of any dimension, given or derived, varied or not
from = "46.5 mm"
to = "47.5 mm"

[settings]
resolution = "0.2 %"
waves = 20
starts = 3                          # searches, from the best of 8 points for each
seed = 0
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, load_profile, parse_quantity
from domemargin.profiles.derived import Derived
from domemargin.profiles.errors import brief, brief_path
from domemargin.profiles.files.toml_files import Kind, tables
from domemargin.profiles.limits import unknown_name
from domemargin.profiles.mass import HEIGHTS, USUAL_HEIGHT
from domemargin.profiles.shape.shape import Shape, Sheet
from domemargin.studies.options import in_range, ranged, required_pressure, share
from domemargin.studies.study.varied import VARIABLE, check_name, parse_value, value_in

MASS, GAUGE, PRESSURE = "mass", "gauge", "pressure"
AIMS = {
    MASS: "the lightest can body", GAUGE: "the thinnest bottom gauge",
    PRESSURE: "the greatest reversal pressure",
}  # fmt: skip
MOST_VARIED = 12
_KIND = Kind("best", "the ready ones", "domemargin.studies", "ready_best")
_TOP = ("name", "profile", "aim", "required_pressure", "can_height", "vary", "hold", "limits",
        "settings")  # fmt: skip
_HOLD = ("growth_at", "growth", "permanent_growth", "wave_margin", "bend_ratio", "stretch",
         "can_mass")  # fmt: skip
_LIMITED = {
    f.name: "angle" if f.name.endswith("angle") else "length"
    for part in (Shape, Sheet, Derived) for f in fields(part)
    if f.name not in ("radii_on", "dome_radius", "dome_break_diameter")
    and not f.name.endswith(("mass", "volume"))
}  # fmt: skip


@dataclass(frozen=True)
class Hold:
    """Limits other than of dimensions; internal units, None: not asked.  See the module."""

    growth_at: float | None = None
    growth: float | None = None
    permanent_growth: float | None = None
    wave_margin: float = 0.0
    bend_ratio: float | None = None
    stretch: float | None = None
    can_mass: float | None = None


@dataclass(frozen=True)
class Request:
    """What is to be made best; internal units.

    ranges : quantity -> (low, high).  limits : dimension -> (low or None, high or None).
    required : MPa; None with aim "pressure".  starts : searches.
    """

    name: str
    profile: Profile
    aim: str
    required: float | None
    can_height: float
    ranges: dict[str, tuple[float, float]]
    hold: Hold
    limits: dict[str, tuple[float | None, float | None]]
    settings: Settings
    starts: int = 3
    seed: int = 0


def ready_requests() -> tuple[str, ...]:
    """Names of the ready files, sorted."""
    return _KIND.ready_names()


def load_request(path: str | os.PathLike[str], profile: str | None = None) -> Request:
    """Read a file, or a ready one by its name.  Raises InputError in one sentence.

    profile : another bottom than the file's.
    """
    text = _KIND.read(path)
    return parse_request(text, Path(path).parent, profile, f"best file {brief_path(path)} is ")


def parse_request(
    text: str, folder: Path = Path(), profile: str | None = None, subject: str = ""
) -> Request:
    """A request from TOML text; profile files are looked for in folder.  Raises InputError."""
    data = tables(text, subject)
    _known(data, _TOP, "")
    for name in ("name", "profile"):
        if not isinstance(data.get(name), str) or not data[name]:
            given = "missing" if name not in data else brief(data[name])
            raise InputError(f"{name} is {given}; it must be text", name, given, "text")
    aim = data.get("aim", MASS)
    if aim not in AIMS:
        allowed = ", ".join(AIMS)
        raise InputError(f"aim is {brief(aim)}; it must be one of {allowed}", "aim", brief(aim))
    beside = folder / data["profile"]
    own = str(beside) if beside.suffix and beside.exists() else data["profile"]
    base = load_profile(own if profile is None else profile)
    required = data.get("required_pressure")
    if required is None and aim != PRESSURE:
        raise InputError(
            f"required_pressure is missing; aim {aim} needs a pressure to hold, such as '90 psi'",
            "required_pressure", "missing", "a pressure",
        )  # fmt: skip
    height = data.get("can_height")
    ranges = _ranges(data.get("vary"), base)
    if aim == GAUGE and "bottom_gauge" not in ranges:
        raise InputError("vary.bottom_gauge is missing; aim gauge makes it least",
                         "vary.bottom_gauge")  # fmt: skip
    settings, starts, seed = _settings(data.get("settings", {}))
    hold = _hold(data.get("hold", {}))
    return Request(
        name=data["name"][:200],
        profile=base,
        aim=aim,
        required=None if required is None else required_pressure(required, "required_pressure"),
        can_height=(
            USUAL_HEIGHT if height is None else ranged(height, "length", "can_height", *HEIGHTS,
                                                       "mm")
        ),
        ranges=ranges,
        hold=hold,
        limits=_limits(data.get("limits", {})),
        settings=settings,
        starts=starts,
        seed=seed,
    )  # fmt: skip


def _table(value: Any, field: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise InputError(f"{field} is {brief(value)}; it must be a table", field, brief(value))
    return value


def _known(data: Mapping[str, Any], names: tuple[str, ...], field: str) -> None:
    for name in data:
        if name not in names:
            raise unknown_name(f"{field}.{name}" if field else name, names)


def _ranges(value: Any, base: Profile) -> dict[str, tuple[float, float]]:
    if not value:
        raise InputError("vary is missing; give at least one [vary.<quantity>]", "vary")
    ranges: dict[str, tuple[float, float]] = {}
    for name, given in _table(value, "vary").items():
        field = f"vary.{name}"
        check_name(name, base, field)
        table = _table(given, field)
        _known(table, ("from", "to"), field)
        ends = []
        for key in ("from", "to"):
            if key not in table:
                raise InputError(f"{field}.{key} is missing; give from and to", f"{field}.{key}")
            ends.append(parse_value(name, table[key], f"{field}.{key}"))
        if not ends[0] < ends[1]:
            raise InputError(f"{field}.to is {brief(table['to'])}; it must be more than from, "
                             f"{brief(table['from'])}", f"{field}.to")  # fmt: skip
        ranges[name] = (ends[0], ends[1])
    if len(ranges) > MOST_VARIED:
        raise InputError(f"vary has {len(ranges)} quantities; it must have at most {MOST_VARIED}",
                         "vary")  # fmt: skip
    return ranges


def _hold(value: Any) -> Hold:
    table = _table(value, "hold")
    _known(table, _HOLD, "hold")
    found: dict[str, Any] = {}
    for name, given in table.items():
        field = f"hold.{name}"
        if name == "growth_at":
            found[name] = required_pressure(given, field)
        elif name in ("growth", "permanent_growth"):
            found[name] = ranged(given, "length", field, 1e-4, 20.0, "mm")
        elif name in ("wave_margin", "stretch"):
            found[name] = share(str(given), field, most=1.0)
        elif name == "bend_ratio":
            if isinstance(given, bool) or not isinstance(given, int | float) or not (
                0.5 <= given <= 50.0
            ):  # fmt: skip
                raise InputError(f"{field} is {brief(given)}; it must be a number, 0.5 to 50",
                                 field, brief(given), "0.5 to 50")  # fmt: skip
            found[name] = float(given)
        else:
            found[name] = _grams(given, field)
    if ("growth" in found or "permanent_growth" in found) and "growth_at" not in found:
        raise InputError("hold.growth_at is missing; growth needs the pressure it is read at",
                         "hold.growth_at")  # fmt: skip
    return Hold(**found)


def _grams(value: Any, field: str) -> float:
    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?)\s*(g|kg)\s*", value) if isinstance(value, str) else (
        None
    )  # fmt: skip
    grams = float(match[1]) * (1000.0 if match[2] == "kg" else 1.0) if match else math.nan
    if not 0.1 <= grams <= 1000.0:
        raise InputError(f"{field} is {brief(value)}; it must be a mass, 0.1 g to 1000 g, such as "
                         "'9.6 g'", field, brief(value), "0.1 g to 1000 g")  # fmt: skip
    return grams


def _limits(value: Any) -> dict[str, tuple[float | None, float | None]]:
    found: dict[str, tuple[float | None, float | None]] = {}
    for name, given in _table(value, "limits").items():
        field = f"limits.{name}"
        if name not in _LIMITED:
            raise unknown_name(field, _LIMITED)
        table = _table(given, field)
        _known(table, ("from", "to"), field)
        if not table:
            raise InputError(f"{field} is empty; give from, to or both", field)
        ends = [
            parse_quantity(table[key], _LIMITED[name], f"{field}.{key}") if key in table else None
            for key in ("from", "to")
        ]
        low, high = ends
        if low is not None and high is not None and low >= high:
            raise InputError(f"{field}.to is {brief(table['to'])}; it must be more than from, "
                             f"{brief(table['from'])}", f"{field}.to")  # fmt: skip
        found[name] = (low, high)
    return found


def _settings(value: Any) -> tuple[Settings, int, int]:
    table = _table(value, "settings")
    _known(table, ("resolution", "waves", "starts", "seed"), "settings")
    given: dict[str, Any] = {"growth_at": ()}
    if "resolution" in table:
        given["resolution"] = share(str(table["resolution"]), "settings.resolution")
    if "waves" in table:
        given["waves"] = in_range(str(table["waves"]), "settings.waves", 0, 100)
    starts = in_range(str(table.get("starts", 3)), "settings.starts", 1, 20)
    seed = in_range(str(table.get("seed", 0)), "settings.seed", 0, 2**31)
    try:
        return Settings(**given), starts, seed
    except InputError as error:
        raise InputError(f"settings.{error}", f"settings.{error.field}") from None


__all__ = ["AIMS", "VARIABLE", "Hold", "Request", "load_request", "parse_request", "value_in"]
