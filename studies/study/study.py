"""A study as plain data: a base bottom, what is varied, how points are chosen, how it is solved."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace

from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, Profile, dump_profile, parse_profile


@dataclass(frozen=True)
class Varied:
    """One varied quantity; internal units (mm, radians, MPa).

    name : of studies/study/varied.py.
    values : its levels (grid, list); empty where only its range counts (Sobol).
    low, high : its range.
    """

    name: str
    values: tuple[float, ...]
    low: float
    high: float


GRID, LIST, SOBOL, SALTELLI = "grid", "list", "sobol", "saltelli"
PLANS = {
    GRID: "every combination of the values given",
    LIST: "the values row by row, all lists of one length",
    SOBOL: "a scrambled Sobol sequence over the ranges",
    SALTELLI: "pairs of Sobol points that share coordinates, for Sobol' indices on the solver",
}


@dataclass(frozen=True)
class Plan:
    """How points are chosen.

    kind : a key of PLANS.  cases : number of points (sobol), or of base points (saltelli; the
    plan then has cases * (quantities + 2) points).  seed : of the scrambling.
    """

    kind: str = GRID
    cases: int = 0
    seed: int = 0


@dataclass(frozen=True)
class Scattered:
    """How one quantity scatters from can to can; internal units.

    shape : "normal" (spread is the standard deviation) or "uniform" (spread is the half width).
    """

    name: str
    shape: str
    mean: float
    spread: float


@dataclass(frozen=True)
class Scatter:
    """How a line's cans scatter.

    correlations : (quantity, quantity, coefficient) of the normal scores.
    """

    quantities: tuple[Scattered, ...]
    correlations: tuple[tuple[str, str, float], ...] = ()
    seed: int = 0


@dataclass(frozen=True)
class Study:
    """A study: its points and how each is solved.

    name : in reports and of its folder.  profile : the base bottom.
    varied, plan : the points.  required : pressure to hold, MPa, or None; it does not change
    what is solved, so another requirement needs no new solves.
    settings : of every solve; its own `required` stays None.
    scatter : of the cans, for `domemargin scatter`.
    """

    name: str
    profile: Profile
    varied: tuple[Varied, ...] = ()
    plan: Plan = Plan()
    required: float | None = None
    settings: Settings = field(default_factory=lambda: Settings(growth_at=()))
    scatter: Scatter | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The varied quantities, in the order of the file."""
        return tuple(v.name for v in self.varied)

    def on(self, profile: Profile) -> Study:
        """The same study of another base bottom.  Raises InputError where it cannot be varied."""
        from domemargin.studies.study.varied import check_name

        for varied in self.varied:
            check_name(varied.name, profile, f"vary.{varied.name}")
        return replace(self, name=f"{self.name}, {profile.name}", profile=profile)

    def requirement(self) -> float:
        """The required pressure, MPa; InputError where the study has none."""
        if self.required is None:
            raise InputError(
                "required_pressure is missing from the study; give it there or as --require",
                "required_pressure",
                "missing",
                "a pressure",
            )
        return self.required

    def to_json(self) -> str:
        """The study as text that from_json reads back to an equal one."""
        data = asdict(replace(self, profile=None))  # type: ignore[arg-type]
        return json.dumps(data | {"profile": dump_profile(self.profile)}, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Study:
        """The study of a text that to_json wrote."""
        data = json.loads(text)
        scatter = data["scatter"]
        if scatter is not None:
            scatter = Scatter(
                tuple(Scattered(**q) for q in scatter["quantities"]),
                tuple((a, b, value) for a, b, value in scatter["correlations"]),
                scatter["seed"],
            )
        settings = data["settings"]
        return cls(
            name=data["name"],
            profile=parse_profile(data["profile"]),
            varied=tuple(Varied(**{**v, "values": tuple(v["values"])}) for v in data["varied"]),
            plan=Plan(**data["plan"]),
            required=data["required"],
            settings=Settings(**{**settings, "growth_at": tuple(settings["growth_at"])}),
            scatter=scatter,
        )
