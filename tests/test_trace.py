"""Traced contours: known bottoms are found again, within the limits that are stated.

Source of truth: the bottom that the points were made from, the share of a normal distribution
within 1.96 standard errors, and scipy's own minimiser for the feet of points.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from random_bottoms import random_profiles
from test_cli import run
from traces import moved, traced, written

from domemargin.profiles import Along, Profile, derived, load_profile, parse_profile
from domemargin.profiles.shape.nearest import nearest
from domemargin.studies.trace.fit import TraceFit, fit_trace
from domemargin.studies.trace.points import read_points
from domemargin.studies.trace.report import NORMAL_95, profile_text, trace_report

NORTH = load_profile("north")


def truth(profile: Profile, name: str) -> float:
    stem, _, number = name.rpartition("_")
    if number.isdigit():
        values = (
            profile.shape.dome_radii if stem == "dome_radius" else profile.shape.dome_break_diameter
        )
        return values[int(number) - 1]
    return float(getattr(profile.shape, name))


def fitted(profile: Profile, x: np.ndarray, z: np.ndarray, face: str = "outside") -> TraceFit:
    # a base of other dimensions: nothing may be taken from it but the sheet
    base = replace(NORTH.shape, radii_on=profile.shape.radii_on)
    return fit_trace(x, z, face, base, profile.sheet)


def missed(profile: Profile, fit: TraceFit) -> dict[str, float]:
    """How many standard errors each dimension is off."""
    found = {name: fit.spread(name) for name in fit.names}
    return {n: (v.value - truth(profile, n)) / v.error for n, v in found.items() if v.error}


def test_feet_are_the_nearest_points() -> None:
    line = NORTH.meridian
    rng = np.random.default_rng(3)
    s = rng.uniform(0.0, line.length, 200)
    at = line.at(s)
    off = rng.uniform(-0.4, 0.4, 200)
    r, z = at.r - off * np.sin(at.phi), at.z + off * np.cos(at.phi)
    feet = nearest(line, r, z)
    # brute force over a dense line: no point of it is nearer
    dense = line.at(np.linspace(0.0, line.length, 20001))
    far = np.min(np.hypot(dense.r[None] - r[:, None], dense.z[None] - z[:, None]), axis=1)
    # up to what half a step of the dense line adds
    beside = 0.5 * line.length / 20000
    assert np.all(feet.away**2 <= far**2 + 1e-12)
    assert np.all(far**2 <= feet.away**2 + 1.5 * beside**2)
    assert feet.s == pytest.approx(s, abs=1e-9)
    assert feet.away == pytest.approx(off, abs=1e-9)


def coverage(count: int, repeats: int, seed: int) -> dict[str, list[float]]:
    rng = np.random.default_rng(seed)
    off: dict[str, list[float]] = {}
    for profile in random_profiles(count, 5):
        for _ in range(repeats):
            tilt, dx, dz = rng.uniform(-0.02, 0.02), rng.uniform(-9, 9), rng.uniform(-9, 9)
            fit = fitted(profile, *moved(*traced(profile, rng), tilt, dx, dz))
            for name, value in missed(profile, fit).items():
                off.setdefault(name, []).append(value)
    return off


def test_dimensions_lie_within_their_limits() -> None:
    every = np.concatenate([*coverage(10, 1, 1).values()])
    assert every.size >= 90
    # 95 % of a normal distribution; of 90 values fewer than 80 lie within by chance 1 in 10,000
    assert np.mean(np.abs(every) < NORMAL_95) >= 80 / 90


@pytest.mark.slow
def test_dimensions_lie_within_their_limits_over_200_traces() -> None:
    found = coverage(10, 20, 2)
    within = {name: float(np.mean(np.abs(off) < NORMAL_95)) for name, off in found.items()}
    assert set(within) >= {"stand_diameter", "dome_depth", "dome_radius", "nose_radius"}
    assert min(within.values()) >= 0.9, within


def pressure_errors(count: int, seed: int) -> list[float]:
    from domemargin.fea.bottom.reversal import reversal

    rng, errors = np.random.default_rng(seed), []
    for profile in random_profiles(count, 5):
        x, z = traced(profile, rng)
        fit = fitted(profile, x, z)
        true = reversal(profile, growth_at=()).reversal_pressure_mpa
        found = reversal(profile.replaced(shape=fit.shape), growth_at=()).reversal_pressure_mpa
        assert true is not None
        assert found is not None
        errors.append(found / true - 1.0)
    return errors


def test_reversal_pressure_is_that_of_the_bottom_traced() -> None:
    assert max(map(abs, pressure_errors(3, 7))) < 0.003


@pytest.mark.slow
def test_reversal_pressure_of_ten_traces() -> None:
    assert max(map(abs, pressure_errors(10, 8))) < 0.003


@pytest.mark.parametrize("face", ["outside", "inside", "mid"])
@pytest.mark.parametrize("both", [True, False])
@pytest.mark.parametrize(("up", "across"), [(1, 1), (-1, 1), (1, -1)])
def test_any_face_origin_and_direction(face: str, both: bool, up: int, across: int) -> None:
    rng = np.random.default_rng(11)
    x, z = traced(NORTH, rng, face=face, both=both, noise=0.002)
    fit = fitted(NORTH, across * x + 4.0, up * z - 7.0, face)
    off = missed(NORTH, fit)
    assert max(map(abs, off.values())) < 4.0, off
    assert (fit.pose.up, fit.pose.both) == (up, both)
    assert fit.rms == pytest.approx(0.002, rel=0.15)


def test_zones_are_found() -> None:
    south = load_profile("south")
    x, z = traced(south, np.random.default_rng(2))
    fit = fitted(south, x, z)
    assert len(fit.shape.dome_radii) == 2
    off = missed(south, fit)
    assert max(map(abs, off.values())) < 4.0, off
    # and one zone is not taken for two
    assert len(fitted(NORTH, *traced(NORTH, np.random.default_rng(2))).shape.dome_radii) == 1


def test_points_that_cannot_belong_are_listed() -> None:
    rng = np.random.default_rng(5)
    x, z = traced(NORTH, rng)
    wrong = np.arange(10, x.size, 40)  # a burr, dirt, a lost point
    z[wrong] += rng.choice([-1.0, 1.0], wrong.size) * rng.uniform(0.1, 2.0, wrong.size)
    fit = fitted(NORTH, x, z)
    left_out = np.flatnonzero(~fit.used)
    steep = np.abs(np.cos(fit.feet.phi[wrong])) < 0.35  # moved along the wall they stay on it
    assert set(wrong[~steep]) <= set(left_out)
    assert len(set(left_out) - set(wrong)) <= 2
    assert max(map(abs, missed(NORTH, fit).values())) < 4.0


def test_a_trace_that_stops_keeps_what_it_does_not_show() -> None:
    stop = NORTH.meridian.span("outer_leg")[1] - 0.5
    x, z = traced(NORTH, np.random.default_rng(6), stop=stop)
    fit = fitted(NORTH, x, z)
    assert set(fit.held) == {"body_diameter", "heel_radius"}
    assert fit.shape.dome_depth == pytest.approx(NORTH.shape.dome_depth, abs=0.003)
    assert fit.shape.nose_radius == pytest.approx(NORTH.shape.nose_radius, abs=0.01)


def test_a_dome_off_centre_is_reported() -> None:
    x, z = traced(NORTH, np.random.default_rng(8))
    # the die sat 0.03 mm to the right of the punch: the dome with its shoulder lies there
    top, foot = (float(NORTH.meridian.at(s).z) for s in NORTH.meridian.span("inner_leg"))
    inner = np.abs(x) < 0.5 * NORTH.shape.stand_diameter
    x = np.where(inner, x + 0.03 * np.clip((z - foot) / (top - foot), 0.0, 1.0), x)
    found = trace_report(read(x, z), NORTH)
    assert found.fit.shift is not None
    assert found.fit.shift.value == pytest.approx(0.03, abs=0.004)
    assert any("off the axis of the stand ring, to the right" in note for note in found.notes)
    plain = trace_report(read(*traced(NORTH, np.random.default_rng(8))), NORTH)
    assert not any("differ" in note for note in plain.notes)


def read(x: np.ndarray, z: np.ndarray):  # type: ignore[no-untyped-def]
    from domemargin.studies.trace.points import Points

    return Points(x, z, np.arange(2, 2 + x.size))


def test_the_misfit_is_kept_as_offset() -> None:
    # a shape error that no dimension follows: three waves of 20 um along the dome
    s = np.linspace(0.0, 21.0, 43)
    error = 0.02 * np.sin(2.0 * math.pi * s / 7.0)
    bent = replace(NORTH, along=Along(tuple(s), offset=tuple(error)))
    x, z = traced(bent, np.random.default_rng(9), count=3000, noise=0.002)
    found = trace_report(read(x, z), NORTH, zones=1, keep_misfit=True)
    at = np.linspace(1.0, 20.0, 60)
    line, true = found.profile.meridian.at(at), bent.meridian.at(at)
    for profile, points in ((found.profile, line), (bent, true)):
        off = profile.offset(at)[0]
        points.r[:] -= off * np.sin(points.phi)
        points.z[:] += off * np.cos(points.phi)
    away = nearest(NORTH.meridian, line.r, line.z)
    assert away.away == pytest.approx(bent.offset(away.s)[0], abs=0.004)
    again = parse_profile(profile_text(found))
    assert again == found.profile
    assert "# ± " in profile_text(found)


def test_the_uncertainty_goes_on_to_the_pressure() -> None:
    from domemargin.fea.core.settings import Settings

    # a stand-in for the solver whose slopes are known: 2 MPa/mm of depth, -0.5 of nose radius
    class Answer:
        kind, reason = "limit", ""

        def __init__(self, profile: Profile) -> None:
            shape = profile.shape
            self.reversal_pressure_mpa = 2.0 * shape.dome_depth - 0.5 * shape.nose_radius

    x, z = traced(NORTH, np.random.default_rng(12))
    found = trace_report(
        read(x, z), NORTH, settings=Settings(), solve=lambda p, s: Answer(p)
    ).pressure
    fit = trace_report(read(x, z), NORTH).fit
    assert found is not None
    i, j = fit.names.index("dome_depth"), fit.names.index("nose_radius")
    c = fit.covariance
    want = math.sqrt(4.0 * c[i, i] + 0.25 * c[j, j] - 2.0 * c[i, j])
    assert found.error == pytest.approx(want, rel=1e-6)


def test_points_are_read_in_any_dress(tmp_path: Path) -> None:
    x, z = traced(NORTH, np.random.default_rng(1), count=200)
    want = read_points(written(tmp_path / "a.csv", x, z))
    inch = written(tmp_path / "b.csv", x / 25.4, z / 25.4, "r (in),z (in)")
    assert read_points(inch).x == pytest.approx(want.x, abs=2e-5)
    bare = tmp_path / "c.txt"
    bare.write_text("\n".join(f"{a:.6f} {b:.6f}".replace(".", ",") for a, b in zip(x, z)))
    assert read_points(bare, "mm").z == pytest.approx(want.z, abs=1e-6)
    import pandas as pd

    pd.DataFrame({"z (mm)": z, "r (mm)": x, "can": 1}).to_parquet(tmp_path / "d.parquet")
    assert read_points(tmp_path / "d.parquet").x == pytest.approx(x, abs=1e-9)
    flat = tmp_path / "e.csv"
    flat.write_text("x (mm);y (mm);z (mm)\n" + "\n".join(f"{a};0;{b}" for a, b in zip(x, z)))
    assert read_points(flat).z == pytest.approx(z, abs=1e-12)


def both_faces(path: Path) -> Path:
    rng = np.random.default_rng(1)
    out, inside = (traced(NORTH, rng, 400, face, 0.001) for face in ("outside", "inside"))
    return written(path, *(np.concatenate(pair) for pair in zip(out, inside)))


def space(path: Path) -> Path:
    x, z = traced(NORTH, np.random.default_rng(1), 300)
    rows = [f"{a},{b},{c}" for a, b, c in zip(0.8 * x, 0.6 * x, z)]
    path.write_text("x (mm),y (mm),z (mm)\n" + "\n".join(rows))
    return path


def points_with(path: Path, header: str, scale: float = 1.0) -> Path:
    x, z = traced(NORTH, np.random.default_rng(1), 300)
    return written(path, scale * x, scale * z, header)


def text(path: Path, content: str | bytes) -> Path:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def line(path: Path) -> Path:
    x = np.linspace(-30.0, 30.0, 200)
    return written(path, x, 0.3 * x)


def noise(path: Path) -> Path:
    rng = np.random.default_rng(1)
    return written(path, rng.uniform(-33, 33, 500), rng.uniform(0, 12, 500))


MANGLED = {
    "no unit": (lambda p: points_with(p, "r,z"), "names no unit"),
    "a unit of mass": (lambda p: points_with(p, "r (kg),z (kg)"), "not a unit of length"),
    "inches that are mm": (lambda p: points_with(p, "r (in),z (in)"), "check the unit"),
    "mm that are inches": (lambda p: points_with(p, "r (mm),z (mm)", 1 / 25.4), "check the unit"),
    "other columns": (lambda p: points_with(p, "a,b"), "must have r (or x) and z"),
    "both faces": (both_faces, "both faces of the sheet"),
    "in space": (space, "points in space"),
    "empty": (lambda p: text(p, ""), "is empty"),
    "bytes": (lambda p: text(p, bytes(range(256)) * 40), "must be a table of columns"),
    "too few": (lambda p: text(p, "r (mm),z (mm)\n1,2\n"), "at least 60"),
    "all alike": (lambda p: text(p, "r (mm),z (mm)\n" + "1,2\n" * 90), "must span"),
    "a profile": (lambda p: text(p, 'name = "x"\n'), "is a TOML file"),
    "a line": (line, "must be the meridian of a bottom"),
    "noise": (noise, "bottom"),
    "missing": (lambda p: p, "there is no trace"),
}


@pytest.mark.parametrize("case", MANGLED)
def test_mangled_traces_get_one_sentence(case: str, tmp_path: Path) -> None:
    from domemargin.profiles import InputError

    make, words = MANGLED[case]
    path = make(tmp_path / "t.csv")
    with pytest.raises(InputError) as caught:
        trace_report(read_points(path), NORTH)
    assert words in str(caught.value)
    assert len(str(caught.value)) < 330
    assert "\n" not in str(caught.value)


def test_a_large_file_is_rejected_before_it_is_read(tmp_path: Path) -> None:
    from domemargin.profiles import InputError

    path = tmp_path / "t.csv"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(InputError, match="has 100 MB; it must have at most 60 MB"):
        read_points(path)


def test_the_command_writes_a_profile_that_is_read(tmp_path: Path) -> None:
    x, z = traced(NORTH, np.random.default_rng(1), 600)
    written(tmp_path / "t.csv", *moved(x, z, 0.01, 3.0, 5.0))
    done = run("trace", "t.csv", "--out", "o", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    assert "Reversal pressure" in done.stdout
    assert "tilted by 0.57" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    names = sorted(file.name for file in (tmp_path / "o").iterdir())
    assert names == ["profile.toml", "trace.json", "trace.png"]
    found = load_profile(tmp_path / "o" / "profile.toml")
    assert derived(found).bottom_mass == pytest.approx(derived(NORTH).bottom_mass, rel=1e-3)
    data = json.loads((tmp_path / "o" / "trace.json").read_text(encoding="utf-8"))
    assert data["misfit_um"]["rms"] == pytest.approx(5.0, rel=0.15)
    bad = run("trace", "t.csv", "--face", "top", cwd=tmp_path)
    assert bad.returncode == 2
    assert "outside, inside or mid" in bad.stderr
