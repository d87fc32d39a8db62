"""A profile as a dimensioned drawing in DXF, in millimetres, the axis at x = 0.

Layers: MID holds the tangent chain, lines and arcs from the axis to the top of the wall; OUTSIDE
and INSIDE the faces, arcs where the gauge is even and points every 0.05 mm where it is not; AXIS
and STAND PLANE; DIMENSIONS.  The same profile gives the same bytes.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.meridian import Segment

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

MID, OUTSIDE, INSIDE = "MID", "OUTSIDE", "INSIDE"
_LAYERS = {  # name -> (colour number of the format, line type)
    MID: (8, "DASHED"),
    OUTSIDE: (7, "CONTINUOUS"),
    INSIDE: (7, "CONTINUOUS"),
    "AXIS": (1, "CENTER"),
    "STAND PLANE": (3, "DASHED"),
    "DIMENSIONS": (5, "CONTINUOUS"),
}
_STEP = 0.05  # mm between points where the gauge changes
_MM = 4  # $INSUNITS


def drawing_text(profile: Profile) -> str:
    """The drawing as the text of a DXF file (release R2010)."""
    from ezdxf._options import options
    from ezdxf.filemanagement import new

    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no clock, no random names
    try:
        document = new("R2010", setup=True, units=_MM)
        for name, (colour, line_type) in _LAYERS.items():
            document.layers.add(name, color=colour, linetype=line_type)
        space = document.modelspace()
        for segment in profile.meridian.segments:
            _add_segment(space, segment, 0.0, MID)
        _add_face(space, profile, -0.5, OUTSIDE)
        _add_face(space, profile, 0.5, INSIDE)
        _add_frame(space, profile)
        _add_dimensions(space, profile)
        text = io.StringIO()
        document.write(text)
        return text.getvalue()
    finally:
        options.write_fixed_meta_data_for_testing = fixed


def _add_segment(space: Modelspace, segment: Segment, lift: float, layer: str) -> None:
    """A segment, or the line parallel to it at the height `lift` (mm) over it."""
    ends = [segment.at(0.0), segment.at(segment.length)]
    (a, b) = ((float(p.r - lift * np.sin(p.phi)), float(p.z + lift * np.cos(p.phi))) for p in ends)
    k = segment.curvature
    attributes = {"layer": layer}
    if k == 0.0:
        space.add_line(a, b, dxfattribs=attributes)
        return
    phi = segment.phi
    centre = (segment.r - math.sin(phi) / k, segment.z + math.cos(phi) / k)
    angles = [math.degrees(math.atan2(z - centre[1], r - centre[0])) for r, z in (a, b)]
    if k < 0.0:  # arcs of the format run anticlockwise
        angles.reverse()
    radius = abs(1.0 / k - lift)
    space.add_arc(centre, radius, angles[0], angles[1], dxfattribs=attributes)


def _add_face(space: Modelspace, profile: Profile, side: float, layer: str) -> None:
    """A face: parallel to the chain up to where the gauge changes, then by points."""
    line, gauge = profile.meridian, profile.sheet.bottom_gauge
    even = not profile.zones and profile.along is None
    begin = profile.transition[0] if even else 0.0
    for segment, start in zip(line.segments, line.breaks):
        if start >= begin:
            break
        length = min(segment.length, begin - start)
        part = Segment(
            segment.part, segment.r, segment.z, segment.phi, length, segment.curvature
        )  # fmt: skip
        _add_segment(space, part, side * gauge, layer)
    count = max(math.ceil((line.length - begin) / _STEP), 2)
    s = np.unique(np.concatenate((np.linspace(begin, line.length, count + 1), profile.breakpoints)))
    s = s[s >= begin]
    at, off = line.at(s), side * profile.thickness(s) + profile.offset(s)[0]
    points = np.stack((at.r - off * np.sin(at.phi), at.z + off * np.cos(at.phi)), axis=1)
    space.add_lwpolyline(points.tolist(), dxfattribs={"layer": layer})


def _add_frame(space: Modelspace, profile: Profile) -> None:
    top = max(profile.chain.heel_height, profile.shape.dome_depth) + 8.0
    body = 0.5 * profile.shape.body_diameter
    space.add_line((0.0, -6.0), (0.0, top), dxfattribs={"layer": "AXIS"})
    space.add_line((-4.0, 0.0), (body + 4.0, 0.0), dxfattribs={"layer": "STAND PLANE"})


_PLACES = {  # mm from the part to its text
    "dome": (-2.5, -2.2),
    "shoulder": (2.0, 4.0),
    "inner_leg": (-3.5, -1.2),
    "nose": (-6.0, 0.8),
    "outer_leg": (4.0, -3.6),
    "heel": (-2.5, 6.0),
}
_STYLE = {
    "dimtxt": 1.1, "dimasz": 0.9, "dimexe": 0.5, "dimexo": 0.3, "dimgap": 0.3, "dimdec": 3,
    "dimscale": 1.0, "dimtad": 1, "dimzin": 8, "dimlunit": 2, "dimblk": "",
}  # fmt: skip


def _add_dimensions(space: Modelspace, profile: Profile) -> None:
    """Diameters from the axis, depth, radii and angles as the profile states them.

    Texts are the profile's values: radii go by its surface, which the note under the drawing names.
    """
    shape, chain, line = profile.shape, profile.chain, profile.meridian
    stand, body = 0.5 * shape.stand_diameter, 0.5 * shape.body_diameter
    top = max(chain.heel_height, shape.dome_depth)
    attributes = {"layer": "DIMENSIONS"}

    def linear(base: Any, a: Any, b: Any, angle: float, text: str) -> None:
        space.add_linear_dim(
            base=base, p1=a, p2=b, angle=angle, text=text, override=_STYLE, dxfattribs=attributes
        ).render()

    linear((0.0, -4.0), (0.0, 0.0), (stand, 0.0), 0.0, f"%%c{shape.stand_diameter:.7g} STAND")
    wall = (body, float(line.at(line.span("sidewall")[0]).z))
    linear((0.0, top + 5.0), (0.0, top), wall, 0.0, f"%%c{shape.body_diameter:.7g} BODY")
    depth = (0.0, shape.dome_depth)
    linear((-3.0, 0.0), (0.0, 0.0), depth, 90.0, f"{shape.dome_depth:.7g} DOME DEPTH")
    heel = (body, chain.heel_height)
    linear((body + 3.0, 0.0), (stand, 0.0), heel, 90.0, f"({chain.heel_height:.5g}) HEEL")

    radii = [*shape.dome_radii]
    given = {
        "shoulder": shape.shoulder_radius, "nose": shape.nose_radius, "heel": shape.heel_radius
    }  # fmt: skip
    for segment in line.segments:
        if segment.curvature == 0.0:
            continue
        at = segment.at(0.45 * segment.length)
        value = radii.pop(0) if segment.part == "dome" else given[segment.part]
        text = f"R{value:.7g} {segment.part.upper()}"
        _note(space, (float(at.r), float(at.z)), _PLACES[segment.part], text, attributes)
    breaks = [s for s in line.segments if s.part == "dome"][1:]
    for segment, diameter in zip(breaks, shape.dome_break_diameter):
        text = f"%%c{diameter:.7g} BREAK"
        _note(space, (segment.r, segment.z), (-2.0, 2.6), text, attributes)
    for part, angle in (
        ("inner_leg", shape.inner_leg_angle), ("outer_leg", shape.outer_leg_angle)
    ):  # fmt: skip
        middle = line.at(0.5 * sum(line.span(part)))
        text = f"{math.degrees(angle):.7g}%%d FROM VERTICAL"
        _note(space, (float(middle.r), float(middle.z)), _PLACES[part], text, attributes)
    on = {"inside": "INSIDE", "mid": "MID", "outside": "OUTSIDE"}[shape.radii_on]
    lines = (
        profile.name.upper(),
        f"MM.  RADII ON THE {on} SURFACE.  GAUGE {profile.sheet.bottom_gauge:.5g} BOTTOM, "
        f"{profile.sheet.wall_gauge:.5g} WALL.",
    )
    for i, text in enumerate(lines):
        space.add_text(text, height=1.1, dxfattribs={**attributes, "insert": (0.0, -8.0 - 2.0 * i)})


def _note(space: Any, tip: Any, away: Any, text: str, attributes: Any) -> None:
    """A text with an arrow to a place of the line; away : from there to the text, mm."""
    left = away[0] < 0.0
    place = (tip[0] + away[0], tip[1] + away[1])
    space.add_leader([tip, place], override={"dimasz": 0.9, "dimscale": 1.0}, dxfattribs=attributes)
    added = space.add_text(text, height=1.1, dxfattribs=attributes)
    from ezdxf.enums import TextEntityAlignment as Align

    at = (place[0] - 0.3 if left else place[0] + 0.3, place[1])
    added.set_placement(at, align=Align.MIDDLE_RIGHT if left else Align.MIDDLE_LEFT)
