"""How a case is solved, as far as a user chooses."""

from __future__ import annotations

from dataclasses import dataclass

from domemargin.profiles.errors import InputError, brief
from domemargin.profiles.units import PSI

DEFAULT_CEILING = 4.0  # MPa; an elastic bottom of a drinks can snaps below 2
DEFAULT_GROWTH = (60 * PSI, 90 * PSI)  # common practice

MODELS = ("shell", "solid")


@dataclass(frozen=True)
class Settings:
    """How a case is solved.

    resolution : error of the reversal pressure that is allowed for mesh, layers and steps
        together, as a share of it; kept in the root mean square over bottoms
        (tests/test_resolution.py).
    ceiling : pressure up to which a reversal is looked for, MPa.
    required : pressure the bottom must hold, MPa; gives the margin.
    growth_at : pressures at which growth and permanent growth are wanted, MPa; `required` is added.
    waves : stability is checked against 1 to this many circumferential waves; 0 leaves it out.
    model : "shell", or "solid", a hundred times slower, to judge the shell by.
    follow : go on after the limit until the pressure has fallen to 30 % of it or rises again.
    """

    resolution: float = 0.002
    ceiling: float = DEFAULT_CEILING
    required: float | None = None
    growth_at: tuple[float, ...] = DEFAULT_GROWTH
    waves: int = 20
    follow: bool = False
    model: str = "shell"

    def __post_init__(self) -> None:
        checks = (
            ("resolution", self.resolution, 2e-4, 0.05, ""),
            ("ceiling", self.ceiling, 1e-6, 1e4, " MPa"),
            ("required", self.required, 1e-6, 1e4, " MPa"),
            ("waves", self.waves, 0, 100, ""),
            *(("growth_at", pressure, 1e-6, 1e4, " MPa") for pressure in self.growth_at),
        )
        if self.model not in MODELS:
            allowed = " or ".join(MODELS)
            sentence = f"model is {brief(self.model)}; it must be {allowed}"
            raise InputError(sentence, "model", brief(self.model), allowed)
        for name, value, low, high, unit in checks:
            if value is not None and not low <= value <= high:
                allowed = f"{low:g} to {high:g}{unit}"
                raise InputError(
                    f"{name} is {value:g}{unit}; it must lie in {allowed}",
                    name,
                    f"{value:g}{unit}",
                    allowed,
                )
