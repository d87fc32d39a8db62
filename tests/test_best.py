"""The best bottom: known optima are found, limits are held, nothing near is better.

Source of truth: optima of closed forms worked out by hand (Lagrange's rule), and brute force on the
solver itself: Sobol' cases and random steps.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from test_cli import run

from domemargin.profiles import InputError, Profile, load_profile
from domemargin.profiles.mass import mass_of
from domemargin.profiles.units import PSI
from domemargin.studies.best.best import (
    Problem,
    bend_ratio_of,
    best_bottom,
    stretch_of,
)
from domemargin.studies.best.request import Request, load_request, parse_request
from domemargin.studies.best.search import Differences, Value, descend, search, weights

NORTH = load_profile("north")
TEXT = """
name = "stand-in"
profile = "north"
aim = "gauge"
required_pressure = "0.6 MPa"
[vary.bottom_gauge]
from = "0.2 mm"
to = "0.4 mm"
[vary.dome_depth]
from = "9.5 mm"
to = "11 mm"
[vary.nose_radius]
from = "1.2 mm"
to = "1.9 mm"
"""


def stand_in(profile: Profile, settings: Any) -> Any:
    """A bottom whose pressure is a closed form: p = 40 t^2 (1 - (h - 10.2)^2 - 4 (r - 1.5)^2)."""
    shape, t = profile.shape, profile.sheet.bottom_gauge
    bowl = 1.0 - (shape.dome_depth - 10.2) ** 2 - 4.0 * (shape.nose_radius - 1.5) ** 2
    p = 40.0 * t * t * bowl * 0.2
    stability = SimpleNamespace(axisymmetric_limit_mpa=p, flow=None) if settings.waves else None
    growth = tuple(
        SimpleNamespace(stand_growth_mm=at / t, permanent_stand_growth_mm=0.1 * at / t)
        for at in settings.growth_at
    )
    return SimpleNamespace(
        reversal_pressure_mpa=p, kind="limit", reason="", stability=stability, growth=growth,
        ceiling_mpa=4.0,
    )  # fmt: skip


def test_a_corner_of_a_curve_and_a_line_is_found() -> None:
    """Least x + y with x y >= 1/4 and x >= 0.6: y = 1 / 2.4; without the latter x = y = 1/2."""

    def values(x: np.ndarray) -> Value:
        return Value(float(x[0] + x[1]), np.array([x[0] * x[1] - 0.25, x[0] - 0.6]))

    found = descend(Differences(values, 1e-4), np.array([0.9, 0.9]))
    assert found is not None
    assert found.holds
    assert found.x == pytest.approx([0.6, 1.0 / 2.4], abs=1e-5)
    # dL/dx = 0: 1 = a y + b, 1 = a x, so a = 1 / 0.6 and b = 1 - y / 0.6
    limits, ranges = weights(found)
    assert limits == pytest.approx([1.0 / 0.6, 1.0 - 1.0 / (2.4 * 0.6)], abs=1e-3)
    assert ranges == pytest.approx([0.0, 0.0])


def test_the_lowest_of_two_valleys_is_found_and_holes_are_passed() -> None:
    def values(x: np.ndarray) -> Value | None:
        if 0.45 < x[0] < 0.5:
            return None  # no bottom there
        a, b = (x[0] - 0.2) ** 2 + 0.1, (x[0] - 0.8) ** 2
        return Value(min(a, b), np.array([]))

    ends = search(Differences(values), [np.array([v]) for v in (0.05, 0.3, 0.95)])
    assert ends[0].x == pytest.approx([0.8], abs=1e-3)


def test_the_thinnest_gauge_of_a_closed_form() -> None:
    """Least t with 8 t^2 = 0.6 at the top of the bowl: t = sqrt(0.6 / 8), h 10.2, r 1.5."""
    found = best_bottom(parse_request(TEXT), solve=stand_in, trade=True, solid=False)
    assert found.best is not None
    assert found.best.gauge_mm == pytest.approx(math.sqrt(0.6 / 8.0), rel=1e-5)
    assert found.best.values["dome_depth"] == pytest.approx(10.2, abs=0.01)
    assert found.best.values["nose_radius"] == pytest.approx(1.5, abs=0.01)
    assert found.bindings[0].limit == "reversal pressure"
    # t goes with the root of the pressure: 1 % of it is half a per cent
    assert found.bindings[0].gain == pytest.approx(0.005, rel=0.02)
    for pressure, design in found.trade:
        assert design is not None
        assert design.gauge_mm == pytest.approx(math.sqrt(pressure / 8.0), rel=1e-4)


def test_limits_of_growth_and_dimensions_are_held() -> None:
    text = TEXT + (
        '[hold]\ngrowth_at = "0.1 MPa"\ngrowth = "0.35 mm"\n[limits.dome_depth]\nfrom = "10.4 mm"\n'
    )
    found = best_bottom(parse_request(text), solve=stand_in, trade=False, solid=False).best
    assert found is not None
    # growth 0.1 / t <= 0.35 asks for t >= 0.2857; pressure at h = 10.4: 8 t^2 0.96 = 0.6, 0.2795
    assert found.gauge_mm == pytest.approx(0.1 / 0.35, rel=1e-4)
    assert found.values["dome_depth"] >= 10.4 - 1e-3


def test_the_greatest_pressure_of_a_closed_form() -> None:
    text = TEXT.replace('aim = "gauge"', 'aim = "pressure"').replace(
        'required_pressure = "0.6 MPa"\n', ""
    )
    found = best_bottom(parse_request(text), solve=stand_in, trade=False, solid=False).best
    assert found is not None
    assert found.pressure_mpa == pytest.approx(8.0 * 0.4**2, rel=1e-4)


def test_what_cannot_be_held_is_said() -> None:
    text = TEXT.replace("0.6 MPa", "2 MPa")  # more than 8 * 0.4^2
    found = best_bottom(parse_request(text), solve=stand_in, trade=False, solid=False)
    assert found.best is None
    assert found.nearest is not None
    assert found.nearest.gauge_mm == pytest.approx(0.4, rel=1e-3)


def test_a_finer_solve_that_lies_lower_asks_for_more() -> None:
    def rough(profile: Profile, settings: Any) -> Any:
        record = stand_in(profile, settings)
        if settings.resolution > 0.001:  # the coarse solve reads 0.5 % high
            record.reversal_pressure_mpa *= 1.005
            if record.stability is not None:
                record.stability.axisymmetric_limit_mpa *= 1.005
        return record

    found = best_bottom(parse_request(TEXT), solve=rough, trade=False, solid=False)
    assert found.best is not None
    assert found.raised == pytest.approx(1.005, rel=1e-4)
    assert found.fine_mpa == pytest.approx(0.6, rel=1e-4)


def test_stretch_and_bends() -> None:
    # a flat disc of no dome has no stretch; the area by Pappus, centroid by a dense polygon
    line = NORTH.meridian
    nose = next(s for s in line.segments if s.part == "nose")
    ring = line.span("nose")[0] - nose.phi / nose.curvature
    s = np.linspace(0.0, ring, 20001)
    p = line.at(s)
    step = np.hypot(np.diff(p.r), np.diff(p.z))
    area = 2.0 * math.pi * float(np.sum(0.5 * (p.r[1:] + p.r[:-1]) * step))
    assert stretch_of(NORTH) == pytest.approx(1.0 - math.pi * 23.5**2 / area, rel=1e-5)
    # nose: 1.5 mm on the mid surface, 0.1325 less inside, over 0.265
    assert bend_ratio_of(NORTH) == pytest.approx((1.5 - 0.1325) / 0.265)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("aim = \"gauge\"", "aim = \"beauty\""), "aim is 'beauty'; it must be one of"),
        (("required_pressure = \"0.6 MPa\"\n", ""), "required_pressure is missing"),
        (("[vary.dome_depth]", "[vary.dome_deep]"), "did you mean dome_depth?"),
        (('to = "11 mm"', 'to = "9 mm"'), "vary.dome_depth.to is '9 mm'; it must be more"),
        (('to = "11 mm"', ""), "vary.dome_depth.to is missing"),
        (('profile = "north"', 'profile = "nowhere"'), "there is no profile file"),
        (("[vary.bottom_gauge]", "[hold]\nthin = 1\n[vary.bottom_gauge]"), "hold.thin"),
        (("[vary.bottom_gauge]", "[hold]\ngrowth = '1 mm'\n[vary.bottom_gauge]"), "growth_at"),
        (("[vary.bottom_gauge]", "[limits.nose]\n[vary.bottom_gauge]"), "limits.nose"),
    ],
)  # fmt: skip
def test_bad_requests_get_one_sentence(change: tuple[str, str], words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_request(TEXT.replace(*change))
    assert words in str(caught.value)


def north(seed: int = 0) -> Request:
    from dataclasses import replace

    return replace(load_request("north"), seed=seed)


@pytest.mark.slow
def test_nothing_near_the_best_north_is_better() -> None:
    """Against 2,048 Sobol' cases and 200 random steps; runs from other points agree."""
    from scipy.stats import qmc

    from domemargin.fea.bottom.reversal import reversal

    request = north()
    found = best_bottom(request, trade=False, solid=False)
    assert found.best is not None
    best = found.best.can_g
    assert found.fine_mpa is not None
    assert found.fine_mpa >= 90.0 * PSI * (1.0 - 2e-4)
    for seed in (1, 2):
        other = best_bottom(north(seed), trade=False, solid=False).best
        assert other is not None
        assert other.can_g == pytest.approx(best, rel=1e-3)

    problem = Problem(request, reversal)

    def holds(x: np.ndarray) -> bool:
        value = problem(x)
        return value is not None and bool(np.min(value.margins) >= 0.0)

    rng = np.random.default_rng(4)
    home = problem.place(found.best.values, 0.0)
    size = 10.0 ** rng.uniform(-2.5, -1.0, 200)
    steps = rng.normal(size=(200, home.size)) * size[:, None]
    for x in np.clip(home + steps, 0.0, 1.0):
        from domemargin.studies.study.varied import bottom_at

        try:
            bottom = bottom_at(request.profile, problem.point(x))
        except InputError:
            continue
        # only a lighter one needs a solve
        if mass_of(bottom, request.can_height).can_g < best * (1.0 - 2e-5):
            assert not holds(x)
    for x in qmc.Sobol(home.size, seed=9).random(2048):
        try:
            bottom = bottom_at(request.profile, problem.point(x))
        except InputError:
            continue
        if mass_of(bottom, request.can_height).can_g < best:
            assert not holds(x)


def test_the_commands(tmp_path: Path) -> None:
    text = TEXT.replace("0.2 mm", "0.255 mm").replace("0.4 mm", "0.275 mm")
    text = text.replace('"0.6 MPa"', '"90 psi"').replace('aim = "gauge"', 'aim = "mass"')
    text = text.replace('[vary.nose_radius]\nfrom = "1.2 mm"\nto = "1.9 mm"\n', "")
    (tmp_path / "b.toml").write_text(text + "[settings]\nstarts = 1\nwaves = 0\n")
    done = run("best", "b.toml", "--no-trade-off", "--no-solid", "--out", "o", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    assert "What binds" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    data = json.loads((tmp_path / "o" / "best.json").read_text(encoding="utf-8"))
    assert data["best"]["reversal_pressure_mpa"] >= 90 * PSI * (1 - 1e-4)
    assert data["best"]["can_g"] < data["start"]["can_g"]
    best = load_profile(tmp_path / "o" / "best.toml")
    assert mass_of(best).can_g == pytest.approx(data["best"]["can_g"], rel=1e-9)


def test_a_study_is_ranked(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(
        'name = "s"\nprofile = "north"\nrequired_pressure = "90 psi"\n[vary.bottom_gauge]\n'
        'values = ["0.255 mm", "0.265 mm", "0.275 mm"]\n[vary.dome_depth]\n'
        'values = ["10 mm", "10.6 mm"]\n'
    )
    assert run("study", "s.toml", "--out", "o", "--workers", "1", cwd=tmp_path).returncode == 0
    done = run("rank", "o", "--json", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    designs = json.loads(done.stdout)["designs"]
    masses = [d["can_g"] for d in designs]
    assert masses == sorted(masses)
    assert all(d["reversal_pressure_mpa"] >= 90 * PSI for d in designs)
    cases = (tmp_path / "o" / "cases.csv").read_text(encoding="utf-8").splitlines()
    assert 0 < len(designs) < len(cases) - 1
    light = min(designs, key=lambda d: d["can_g"])
    made = NORTH.replaced(bottom_gauge=light["bottom_gauge_mm"], dome_depth=light["dome_depth_mm"])
    assert light["can_g"] == pytest.approx(mass_of(made).can_g, rel=1e-12)
    assert "hold 90.0 psi" in run("rank", "o", cwd=tmp_path).stdout
    assert "comes nearest" in run("rank", "o", "--require", "150 psi", cwd=tmp_path).stdout
