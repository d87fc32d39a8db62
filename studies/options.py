"""What the command line's options mean: texts with units to the settings of a solve."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from domemargin.profiles import InputError, Profile, parse_quantity
from domemargin.profiles.errors import brief

if TYPE_CHECKING:
    from domemargin.fea.core.settings import Settings

_PERCENT = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*%\s*")


def share(text: str, option: str, most: float | None = None) -> float:
    """A percentage such as "0.2 %" as a share of one, 0 to most; InputError if it is none."""
    match = _PERCENT.fullmatch(text)
    if match is None:
        needed = 'a percentage, such as "0.2 %"'
        if re.search(r"\d,\d", text):
            needed += ", with a decimal point"
        raise InputError(
            f"{option} is {brief(text)}; it must be {needed}", option, brief(text), needed
        )
    found = float(match[1]) / 100.0
    if most is not None and found > most:
        allowed = f"0 % to {100.0 * most:g} %"
        raise InputError(
            f"{option} is {brief(text)}; it must lie in {allowed}", option, text, allowed
        )
    return found


def ranged(text: object, kind: str, option: str, low: float, high: float, unit: str) -> float:
    """A quantity from low to high, in internal units; InputError if it is none."""
    value = parse_quantity(text, kind, option)
    if not low <= value <= high:
        allowed = f"{low:g} to {high:g} {unit}"
        raise InputError(
            f"{option} is {brief(text)}; it must lie in {allowed}", option, brief(text), allowed
        )
    return value


def required_pressure(text: object, field: str) -> float:
    """A pressure that a bottom must hold, MPa; InputError if it is none."""
    return ranged(text, "pressure", field, 1e-3, 10.0, "MPa")


def whole(text: str, option: str) -> int:
    """A whole number; InputError if it is none."""
    if not re.fullmatch(r"\s*\d{1,6}\s*", text, re.ASCII):
        needed = "a whole number, such as 20"
        raise InputError(
            f"{option} is {brief(text)}; it must be {needed}", option, brief(text), needed
        )
    return int(text)


def in_range(value: int | str, option: str, low: int, high: int) -> int:
    """A whole number, also as text; InputError if it is none or lies outside low to high."""
    allowed = f"{low} to {high}"
    if isinstance(value, str):
        if not re.fullmatch(r"\s*[-+]?\d{1,18}\s*", value, re.ASCII):
            given, needed = brief(value), f"a whole number, {allowed}"
            raise InputError(f"{option} is {given}; it must be {needed}", option, given, needed)
        value = int(value)
    if not low <= value <= high:
        given = brief(value)
        raise InputError(f"{option} is {given}; it must lie in {allowed}", option, given, allowed)
    return value


def models_of(text: str, profile: Profile) -> tuple[str, ...]:
    """The models to solve with, of "shell", "solid" and "both".

    Raises InputError for another word, and for a metal that the solid cannot represent.
    """
    chosen = {"shell": ("shell",), "solid": ("solid",), "both": ("shell", "solid")}
    if text not in chosen:
        allowed = "shell, solid or both"
        raise InputError(
            f"--model is {brief(text)}; it must be {allowed}", "--model", brief(text), allowed
        )
    for name in ("r_value", "back_stress"):
        if "solid" in chosen[text] and getattr(profile.material, name) is not None:
            raise InputError(
                f"--model is {text}, but {name} is given, which the solid does not carry; it must "
                "be shell",
                "--model", text, "shell",
            )  # fmt: skip
    return chosen[text]


def at_temperature(profile: Profile, text: str | None) -> Profile:
    """The profile with its metal at a temperature such as "65 degC"; as it is for None.

    Raises InputError.
    """
    if text is None:
        return profile
    celsius = ranged(text, "temperature", "--temperature", 0.0, 120.0, "degC")
    return profile.replaced(temperature=celsius)


def settings_of(
    require: str | None = None,
    at: Sequence[str] = (),
    resolution: str | None = None,
    ceiling: str | None = None,
    waves: str | None = None,
) -> Settings:
    """Settings from the options of a command; those not given keep their defaults.

    Raises InputError in one sentence that names the option and what was written.
    """
    # read before the solver is loaded, so that an invalid option is reported at once
    given: list[tuple[str, str, dict[str, Any]]] = []
    if require is not None:
        pressure = parse_quantity(require, "pressure", "--require")
        given.append(("--require", require, {"required": pressure}))
    if ceiling is not None:
        pressure = parse_quantity(ceiling, "pressure", "--ceiling")
        given.append(("--ceiling", ceiling, {"ceiling": pressure}))
    for text in at:
        pressure = parse_quantity(text, "pressure", "--at")
        given.append(("--at", text, {"growth_at": (pressure,)}))
    if resolution is not None:
        part = share(resolution, "--resolution")
        given.append(("--resolution", resolution, {"resolution": part}))
    if waves is not None:
        given.append(("--waves", waves, {"waves": whole(waves, "--waves")}))

    from domemargin.fea.core.settings import Settings

    # what is left of the bottom after its reversal is shown in the figure
    settings: dict[str, Any] = {"follow": True}
    for option, text, value in given:
        try:
            Settings(**value)
        except InputError as error:
            allowed = error.allowed
            if option == "--resolution":
                low, high = (100.0 * float(end) for end in allowed.split(" to "))
                allowed = f"{low:g} % to {high:g} %"
            raise InputError(
                f"{option} is {brief(text)}; it must lie in {allowed}", option, text, allowed
            ) from None
        for name, entry in value.items():
            settings[name] = settings.get(name, ()) + entry if name == "growth_at" else entry
    return Settings(**settings)
