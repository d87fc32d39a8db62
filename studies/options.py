"""What the command line's options mean: texts with units to the settings of a solve."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from profiles import InputError, parse_quantity
from profiles.errors import brief

if TYPE_CHECKING:
    from fea.reversal import Settings

_PERCENT = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*%\s*")
_OPTION = {"required": "--require", "ceiling": "--ceiling", "growth_at": "--at"}


def share(text: str, option: str) -> float:
    """A percentage such as "0.2 %" as a share of one; InputError if it is none."""
    match = _PERCENT.fullmatch(text)
    if match is None:
        needed = 'a percentage, such as "0.2 %"'
        raise InputError(
            f"{option} is {brief(text)}; it must be {needed}", option, brief(text), needed
        )
    return float(match[1]) / 100.0


def settings_of(
    require: str | None, at: Sequence[str], resolution: str | None, ceiling: str | None
) -> Settings:
    """Settings from the options of `reversal`; those not given keep their defaults.

    Raises InputError in one sentence that names the option.
    """
    # checked before the solver is loaded, so that a slip is answered at once
    given: dict[str, float | tuple[float, ...]] = {}
    if require is not None:
        given["required"] = parse_quantity(require, "stress", "--require")
    if ceiling is not None:
        given["ceiling"] = parse_quantity(ceiling, "stress", "--ceiling")
    if at:
        given["growth_at"] = tuple(parse_quantity(text, "stress", "--at") for text in at)
    if resolution is not None:
        given["resolution"] = share(resolution, "--resolution")

    from fea.reversal import Settings

    try:
        # what is left of the bottom after its reversal is shown in the figure
        return Settings(follow=True, **given)  # type: ignore[arg-type]
    except InputError as error:
        if error.field == "resolution":
            low, high = (float(end) for end in error.allowed.split(" to "))
            allowed = f"{100 * low:g} % to {100 * high:g} %"
            raise InputError(
                f"--resolution is {resolution}; it must lie in {allowed}",
                "--resolution",
                str(resolution),
                allowed,
            ) from None
        option = _OPTION.get(error.field, error.field)
        raise InputError(
            str(error).replace(error.field, option, 1), option, error.value, error.allowed
        ) from None
