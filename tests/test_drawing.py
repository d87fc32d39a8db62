"""Drawings: a profile goes out as DXF and comes back; wrong files are named for what they are.

Source of truth: the profile written (round trip within 1 um), ezdxf as the writer of other
drawings, and the format's published unit codes ($INSUNITS 1 inch, 4 mm, 13 um).
"""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
from random_bottoms import random_profiles

from domemargin.profiles import InputError, Profile, load_profile
from domemargin.profiles.files.drawing import drawing_text
from domemargin.studies.trace.drawn import read_drawing
from domemargin.studies.trace.report import trace_report

NORTH = load_profile("north")


def out(profile: Profile, path: Path) -> Path:
    path.write_text(drawing_text(profile), encoding="utf-8")
    return path


def same(found: Profile, profile: Profile, tolerance: float) -> None:
    for name, want in vars(profile.shape).items():
        got = getattr(found.shape, name)
        if isinstance(want, str):
            assert got == want
        else:
            assert np.allclose(got, want, rtol=0.0, atol=tolerance), (name, got, want)


@pytest.mark.parametrize("name", ["north", "south", "harbour"])
def test_the_chain_makes_a_round_trip_within_a_micrometre(name: str, tmp_path: Path) -> None:
    profile = load_profile(name)
    drawn = read_drawing(out(profile, tmp_path / "d.dxf"), "MID")
    same(trace_report(drawn.points, profile, "mid").profile, profile, 1e-3)
    assert drawn.notes == ()


def test_random_bottoms_make_the_round_trip_by_either_face(tmp_path: Path) -> None:
    for profile in random_profiles(3, 21):
        path = out(profile, tmp_path / "d.dxf")
        for face in ("outside", "inside"):
            drawn = read_drawing(path, face.upper())
            # the base has other dimensions: only its sheet is used
            base = NORTH.replaced(sheet=profile.sheet, radii_on="mid")
            same(trace_report(drawn.points, base, face).profile, profile, 1e-3)


def test_the_drawing_is_valid_dimensioned_and_the_same_twice(tmp_path: Path) -> None:
    text = drawing_text(NORTH)
    assert text == drawing_text(NORTH)
    document = ezdxf.read(io.StringIO(text))
    assert not document.audit().errors
    assert document.header["$INSUNITS"] == 4
    dimensions = document.modelspace().query("DIMENSION")
    assert {d.dxf.text.split(" ", 1)[1] for d in dimensions} == {
        "STAND", "BODY", "DOME DEPTH", "HEEL"
    }  # fmt: skip
    texts = " ".join(t.dxf.text for t in document.modelspace().query("TEXT"))
    for words in ("R47 DOME", "R1.6 SHOULDER", "R1.5 NOSE", "R5.5 HEEL", "3%%d", "60%%d"):
        assert words in texts


def drawn_with(
    path: Path, edit: Callable[[Any, list[Any]], None], unit: int = 4, scale: float = 1.0
) -> Path:
    """North's outside face as plain points of lines on a layer of its own, edited."""
    document = ezdxf.new("R2010", units=unit)
    line = NORTH.meridian
    s = np.concatenate([np.linspace(0.0, line.span("sidewall")[0] + 5.0, 300)])
    at = line.at(s)
    half = 0.5 * NORTH.thickness(s)
    points = np.stack((at.r + half * np.sin(at.phi), at.z - half * np.cos(at.phi)), axis=1)
    edit(document.modelspace(), (scale * points).tolist())
    document.saveas(path)
    return path


def polyline(space: Any, points: list[Any]) -> None:
    space.add_lwpolyline(points, dxfattribs={"layer": "CONTOUR"})


def spline(space: Any, points: list[Any]) -> None:
    space.add_spline([*points[::6], points[-1]], dxfattribs={"layer": "CONTOUR"})


def both_halves(space: Any, points: list[Any]) -> None:
    moved = [(x + 100.0, y - 40.0) for x, y in points]
    mirrored = [(200.0 - x, y) for x, y in moved]
    space.add_lwpolyline(moved)
    space.add_lwpolyline(mirrored)


def lines_in_disorder(space: Any, points: list[Any]) -> None:
    pairs = list(itertools.pairwise(points))
    for a, b in pairs[::2]:
        space.add_line(b, a)
    for a, b in pairs[1::2]:
        space.add_line(a, b)


@pytest.mark.parametrize("draw", [polyline, spline, both_halves, lines_in_disorder])
def test_lines_of_every_kind_are_read(draw: Any, tmp_path: Path) -> None:
    drawn = read_drawing(drawn_with(tmp_path / "d.dxf", draw))
    found = trace_report(drawn.points, NORTH)
    # chords of the points: off by up to a step^2 / (8 R) = 2 um on the nose
    assert found.profile.shape.stand_diameter == pytest.approx(47.0, abs=0.01)
    assert found.profile.shape.dome_depth == pytest.approx(10.4, abs=0.005)
    assert found.profile.shape.nose_radius == pytest.approx(1.5, abs=0.02)
    assert found.fit.pose.both == (draw is both_halves)


def test_bulges_are_arcs(tmp_path: Path) -> None:
    """A polyline with bulges, tan of a quarter of the angle (the format's definition)."""
    document = ezdxf.new("R2010", units=4)
    vertices = []
    for segment in NORTH.meridian.segments:
        bulge = math.tan(0.25 * segment.curvature * segment.length)
        vertices.append((segment.r, segment.z, bulge))
    end = NORTH.meridian.at(NORTH.meridian.length)
    vertices.append((float(end.r), float(end.z), 0.0))
    document.modelspace().add_lwpolyline(vertices, format="xyb")
    document.saveas(tmp_path / "d.dxf")
    found = trace_report(read_drawing(tmp_path / "d.dxf").points, NORTH, "mid")
    same(found.profile, NORTH, 1e-3)


@pytest.mark.parametrize(("code", "mm"), [(1, 25.4), (4, 1.0), (5, 10.0), (13, 1e-3)])
def test_units_of_the_drawing_count(code: int, mm: float, tmp_path: Path) -> None:
    path = drawn_with(tmp_path / "d.dxf", polyline, code, 1.0 / mm)
    found = trace_report(read_drawing(path).points, NORTH)
    assert found.profile.shape.stand_diameter == pytest.approx(47.0, abs=0.01)


def test_gaps_and_overlaps_are_named_with_their_place(tmp_path: Path) -> None:
    def gap(space: Any, points: list[Any]) -> None:
        space.add_lwpolyline(points[:100])
        space.add_lwpolyline([(x, y + 0.04) for x, y in points[99:]])

    drawn = read_drawing(drawn_with(tmp_path / "d.dxf", gap))
    assert len(drawn.notes) == 1
    assert drawn.notes[0].startswith("The line has a gap of 40 um at x 15.")

    def overlap(space: Any, points: list[Any]) -> None:
        space.add_lwpolyline(points)
        space.add_lwpolyline(points[60:90])

    drawn = read_drawing(drawn_with(tmp_path / "e.dxf", overlap))
    assert "Two lines lie on each other from x 9." in drawn.notes[0]


def hole(space: Any, points: list[Any]) -> None:
    space.add_lwpolyline(points[:100])
    space.add_lwpolyline(points[110:])


def crossing(space: Any, points: list[Any]) -> None:
    space.add_lwpolyline([*points, (60.0, 30.0), (60.0, 2.0), (20.0, 2.0)])


def outline(space: Any, points: list[Any]) -> None:
    inner = [(x * 0.99, y + 0.27) for x, y in points]
    space.add_lwpolyline([*points, *inner[::-1]], close=True)


def in_space(space: Any, points: list[Any]) -> None:
    space.add_polyline3d([(x, 0.0, y) for x, y in points])


def branching(space: Any, points: list[Any]) -> None:
    space.add_lwpolyline(points[:100])
    space.add_lwpolyline(points[99:])
    space.add_line(points[99], (5.0, 30.0))


def two_layers(space: Any, points: list[Any]) -> None:
    space.add_lwpolyline(points, dxfattribs={"layer": "A"})
    space.add_line((0, 0), (9, 9), dxfattribs={"layer": "B"})


def texts(space: Any, points: list[Any]) -> None:
    space.add_text("nothing here")


def faces(space: Any, points: list[Any]) -> None:
    space.add_3dface([(0, 0, 0), (1, 0, 0), (1, 1, 1)])


def circle(space: Any, points: list[Any]) -> None:
    space.add_circle((0, 0), 30.0)


REJECTED = {
    "a hole": (hole, "has a gap of"),
    "crossing": (crossing, "crosses itself at x"),
    "outline of both faces": (outline, "closed outline"),
    "in space": (in_space, "runs in space"),
    "branching": (branching, "three or more lines"),
    "two layers": (two_layers, "layers A (1), B (1)"),
    "texts": (texts, "holds TEXT and no line"),
    "faces": (faces, "holds 3DFACE and no line"),
    "a circle": (circle, "closed outline"),
}


@pytest.mark.parametrize("case", REJECTED)
def test_wrong_drawings_get_one_sentence(case: str, tmp_path: Path) -> None:
    edit, words = REJECTED[case]
    with pytest.raises(InputError) as caught:
        read_drawing(drawn_with(tmp_path / "d.dxf", edit))
    assert words in str(caught.value)
    assert len(str(caught.value)) < 300


def test_wrong_files_get_one_sentence(tmp_path: Path) -> None:
    def sentence(path: Path, **options: Any) -> str:
        with pytest.raises(InputError) as caught:
            trace_report(read_drawing(path, **options).points, NORTH)
        assert len(str(caught.value)) < 300
        return str(caught.value)

    good = drawn_with(tmp_path / "d.dxf", polyline)
    assert "lines on CONTOUR (1)" in sentence(good, layer="AXIS")
    assert "states units of 1 mm" in sentence(good, unit="in")
    assert "states no unit" in sentence(drawn_with(tmp_path / "u.dxf", polyline, 0))
    # inches that are millimetres, and metres that are millimetres
    assert "check the unit" in sentence(drawn_with(tmp_path / "i.dxf", polyline, 1))
    assert "check the unit" in sentence(drawn_with(tmp_path / "m.dxf", polyline, 6))
    document = ezdxf.readfile(good)
    document.saveas(tmp_path / "b.dxf", fmt="bin")
    assert "is a binary DXF" in sentence(tmp_path / "b.dxf")
    (tmp_path / "n.dxf").write_bytes(bytes(range(256)) * 99)
    assert "must be a text DXF" in sentence(tmp_path / "n.dxf")
    (tmp_path / "p.dxf").write_bytes(b"%PDF-1.4 ...")
    assert "is a PDF document" in sentence(tmp_path / "p.dxf")
    whole = good.read_text(encoding="utf-8")
    (tmp_path / "c.dxf").write_text(whole[: len(whole) // 2], encoding="utf-8")
    assert "DXF" in sentence(tmp_path / "c.dxf") or "drawing" in sentence(tmp_path / "c.dxf")
    with (tmp_path / "l.dxf").open("wb") as file:
        file.truncate(100_000_000)
    assert "has 100 MB" in sentence(tmp_path / "l.dxf")
    assert "there is no drawing" in sentence(tmp_path / "none.dxf")
