"""One row of evidence: what was expected, from where, what was computed, and whether it holds."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

PUBLISHED = "published"
MEMORY = "value from memory"
COMPUTED = "computed independently"
PRACTICE = "common practice, no source"
CODE = "code to code"
KINDS = (PUBLISHED, MEMORY, COMPUTED, PRACTICE, CODE)

# headings of the evidence page, in its order
BENDING = "Elastic plates and shells: bending and large deflection"
SNAP = "Elastic caps: axisymmetric limit"
WAVES_AROUND = "Circumferential waves"
LIMIT_LOADS = "Plastic limit pressure"
METAL = "Metal: hardening and yield"
BOTTOMS = "Can bottoms"
CONVERGENCE = "Convergence"
DRINK = "Pressure a drink asks for"
FORMING = "Forming: contact, springback, doming"
READINGS = "Gauge readings: charts, variance, diagnosis"
PHYSICS = (
    BOTTOMS, SNAP, WAVES_AROUND, BENDING, LIMIT_LOADS, METAL, CONVERGENCE, FORMING, DRINK, READINGS
)  # fmt: skip

PASS, FAIL, GAP = "pass", "FAIL", "known gap"


@dataclass(frozen=True)
class About:
    """What the checks of a test module have in common, as its ABOUT.

    physics : of PHYSICS.  source : of the expected values.  kind : of KINDS.
    """

    physics: str
    source: str
    kind: str

    def __post_init__(self) -> None:
        for name, value, allowed in (
            ("physics", self.physics, PHYSICS), ("kind", self.kind, KINDS)
        ):  # fmt: skip
            if value not in allowed:
                raise ValueError(f"{name} is {value!r}; it must be one of {'; '.join(allowed)}")


@dataclass(frozen=True)
class Row:
    """A check.  expected, computed, error, band : as printed, with units.  reason : of a verdict
    that is not a pass.  test : where it stands."""

    physics: str
    case: str
    source: str
    kind: str
    expected: str
    computed: str
    error: str
    band: str
    verdict: str
    reason: str = ""
    test: str = ""

    def ended(self, verdict: str, reason: str) -> Row:
        """The same with another verdict."""
        return replace(self, verdict=verdict, reason=reason)


def number(value: float | int | str | None) -> str:
    """Five digits; a text as it is."""
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.5g}"


def judged(
    about: About,
    case: str,
    computed: float | str | None,
    expected: float | str | None = None,
    *,
    rel: float | None = None,
    abs: float | None = None,  # as in pytest.approx
    least: float | None = None,
    most: float | None = None,
    unit: str = "",
) -> Row:
    """The row of a check, of one of three sorts.

    expected with rel, abs or both: as pytest.approx, the wider band holds.
    least, most or both: computed lies between.  None of these: computed is expected.
    """
    unit = f" {unit}" if unit else ""
    common = (about.physics, case, about.source, about.kind)
    shown = number(computed) + (unit if computed is not None else "")
    if rel is None and abs is None and least is None and most is None:
        verdict = PASS if computed == expected else FAIL
        return Row(*common, number(expected) + unit, shown, "", "equal", verdict)
    if not isinstance(computed, int | float):
        what = number(expected) if expected is not None else "a number"
        return Row(*common, what + unit, shown, "", "", FAIL)
    if least is not None or most is not None:
        low, high = (None if bound is None else number(bound) for bound in (least, most))
        text = f"at most {high}" if low is None else f"at least {low}"
        text = f"{low} to {high}" if low is not None and high is not None else text
        holds = (least is None or computed >= least) and (most is None or computed <= most)
        return Row(*common, text + unit, shown, "", "bound", PASS if holds else FAIL)
    assert isinstance(expected, int | float)
    error = float(computed) - float(expected)
    share = 0.0 if rel is None else rel * math.fabs(expected)
    width = max(share, abs or 0.0)
    if width == share and expected:  # the band that holds is the relative one
        percent = round(100.0 * error / expected, 2) + 0.0  # no negative nought
        shown_error, band = f"{percent:+.2f} %", f"±{100.0 * (rel or 0.0):.3g} %"
    else:
        shown_error, band = f"{error:+.2g}{unit}", f"±{width:.3g}{unit}"
    holds = math.fabs(error) <= width  # not so for NaN
    return Row(*common, number(expected) + unit, shown, shown_error, band, PASS if holds else FAIL)
