"""The section of a bottom as a mesh of nine-node quads, made by gmsh.

gmsh meshes the section unrolled, in the plane of arc length s and fraction of the thickness f
(-1/2 outside, +1/2 inside), as one transfinite rectangle per part.  Every node, those inside the
edges too, is then carried to x(s, f) = mid(s) + f t(s) n(s), so that it lies exactly on the swept
thickness whatever the gauge does along the meridian; a profile's shape error is added along n.
"""

from __future__ import annotations

import ctypes
import signal
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike

from domemargin.profiles.arrays import Floats, Ints
from domemargin.profiles.profile import Profile
from domemargin.profiles.shape.meridian import Meridian

SETS = ("inside", "outside", "axis", "top")

# part: (elements along, last size / first size).  Fine where the metal bends and rolls.
_ALONG = {
    "dome": (18, 0.12),
    "shoulder": (8, 1.0),
    "inner_leg": (16, 1.0),
    "nose": (16, 1.0),
    "outer_leg": (14, 1.0),
    "heel": (10, 1.4),
    "sidewall": (12, 8.0),
}
_OTHER = (10, 1.0)


class GmshUnavailableError(RuntimeError):
    """gmsh or one of the system libraries it needs is missing."""


class SweptSection(Protocol):
    """What the mesh needs of a profile: its meridian and its thickness (mm) by arc length."""

    @property
    def meridian(self) -> Meridian:
        """Mid-surface line."""

    def thickness(self, s: ArrayLike) -> Floats:
        """Thickness at arc lengths s, mm."""


@dataclass(frozen=True)
class SectionMesh:
    """Nine-node quads over the metal, nodes numbered column by column from the axis outward.

    points : (n, 2) r and z, mm.  s : (n,) arc length of the node's foot on the mid-surface, mm.
    fraction : (n,) place through the thickness, -1/2 outside to +1/2 inside.
    quads : (m, 9) nodes: corners, mid-sides (01, 12, 23, 30), centre; counter-clockwise, the first
        side along the outside from the axis outward.
    inside, outside : (k, 3) edges (start, end, middle) from the axis to the top.
    axis, top : (k, 3) edges from the outside face to the inside face.
    """

    points: Floats
    s: Floats
    fraction: Floats
    quads: Ints
    inside: Ints
    outside: Ints
    axis: Ints
    top: Ints


def section_mesh(
    profile: SweptSection, through: int = 2, along: Mapping[str, int] | float = 1.0
) -> SectionMesh:
    """Section mesh of a profile.

    through : elements through the gauge, 1 to 20.
    along : factor on the default count of elements of every part, or the counts by part name.

    The counts do not depend on dimensions, so that the mesh moves smoothly with the profile.
    Raises GmshUnavailableError when gmsh cannot be loaded, ValueError for counts out of range.
    """
    if not 1 <= through <= 20:
        raise ValueError(f"through = {through}: elements through the gauge must be 1 to 20")
    parts = _parts(profile.meridian, along)
    points, quads, lines = _unrolled(parts, through)
    return _swept(profile, points, quads, lines)


def _parts(
    meridian: Meridian, along: Mapping[str, int] | float
) -> list[tuple[float, float, int, float]]:
    """(start, end, elements, size ratio) of each run of segments of one part."""
    bounds = meridian.breaks
    parts = []
    index = 0
    for name, run in groupby(meridian.segments, key=lambda segment: segment.part):
        first, index = index, index + len(list(run))
        count, ratio = _ALONG.get(name, _OTHER)
        count = along.get(name, count) if isinstance(along, Mapping) else round(along * count)
        if not 1 <= count <= 1000:
            raise ValueError(
                f"along = {along}: {name} would get {count} elements, allowed 1 to 1000"
            )
        parts.append((float(bounds[first]), float(bounds[index]), count, ratio))
    return parts


def _import_gmsh() -> Any:
    try:
        import gmsh
    except ImportError as error:
        raise GmshUnavailableError(
            "gmsh, which makes the section mesh, is not installed: pip install gmsh"
        ) from error
    except OSError as error:
        library = str(error).split(":")[0]
        package = {
            "libGLU.so.1": "libglu1-mesa",
            "libGL.so.1": "libgl1",
            "libXcursor.so.1": "libxcursor1",
            "libXft.so.2": "libxft2",
            "libXinerama.so.1": "libxinerama1",
            "libXrender.so.1": "libxrender1",
            "libXfixes.so.3": "libxfixes3",
            "libfontconfig.so.1": "libfontconfig1",
            "libX11.so.6": "libx11-6",
            "libXext.so.6": "libxext6",
            "libgomp.so.1": "libgomp1",
        }.get(library, "libglu1-mesa libxcursor1 libxft2 libxinerama1")
        raise GmshUnavailableError(
            f"gmsh, which makes the section mesh, lacks the system library {library}: "
            f"apt-get install {package}"
        ) from error
    return gmsh


@contextmanager
def _broken_pipes_kept() -> Iterator[None]:
    """Leave SIGPIPE as it was: gmsh's initialize makes it fatal to the whole process.

    With it fatal, a pipe whose reader has died (a killed worker, a closed pager) ends the process
    without a word, where Python would raise BrokenPipeError.  The handler is put back through the
    interpreter's own call, since the signal module only takes the main thread.
    """
    number = getattr(signal, "SIGPIPE", None)
    if number is None:
        yield
        return
    get, put = ctypes.pythonapi.PyOS_getsig, ctypes.pythonapi.PyOS_setsig
    get.restype = put.restype = ctypes.c_void_p
    handler = get(ctypes.c_int(number))
    try:
        yield
    finally:
        put(ctypes.c_int(number), ctypes.c_void_p(handler))


def _unrolled(
    parts: list[tuple[float, float, int, float]], through: int
) -> tuple[Floats, Ints, dict[str, Ints]]:
    """Points (s, fraction), nine-node quads and three-node edges of the unrolled section."""
    gmsh = _import_gmsh()
    # Not interruptible: gmsh's handler for Ctrl-C can only be set in the main thread.
    with _broken_pipes_kept():
        gmsh.initialize(readConfigFiles=False, interruptible=False)
    try:
        for option, value in (
            ("General.Terminal", 0),
            ("General.NumThreads", 1),
            ("Mesh.SecondOrderIncomplete", 0),
        ):
            gmsh.option.setNumber(option, value)
        gmsh.model.add("section")
        _rectangles(gmsh, parts, through)
        gmsh.model.mesh.generate(2)
        gmsh.model.mesh.setOrder(2)
        return _read(gmsh)
    finally:
        gmsh.finalize()


def _rectangles(gmsh: Any, parts: list[tuple[float, float, int, float]], through: int) -> None:
    geo = gmsh.model.geo

    def column(s: float) -> tuple[int, int, int]:
        low, high = geo.addPoint(s, -0.5, 0), geo.addPoint(s, 0.5, 0)
        line = geo.addLine(low, high)
        geo.mesh.setTransfiniteCurve(line, through + 1)
        return low, high, line

    outside, inside, surfaces = [], [], []
    left = first = column(parts[0][0])
    for _, end, count, ratio in parts:
        right = column(end)
        low, high = geo.addLine(left[0], right[0]), geo.addLine(left[1], right[1])
        progression = ratio ** (1.0 / max(count - 1, 1))
        for line in (low, high):
            geo.mesh.setTransfiniteCurve(line, count + 1, "Progression", progression)
        surface = geo.addPlaneSurface([geo.addCurveLoop([low, right[2], -high, -left[2]])])
        geo.mesh.setTransfiniteSurface(surface)
        geo.mesh.setRecombine(2, surface)
        outside.append(low)
        inside.append(high)
        surfaces.append(surface)
        left = right
    geo.synchronize()
    for name, curves in (
        ("inside", inside), ("outside", outside), ("axis", [first[2]]), ("top", [left[2]]),
    ):  # fmt: skip
        gmsh.model.addPhysicalGroup(1, curves, name=name)
    gmsh.model.addPhysicalGroup(2, surfaces, name="metal")


def _read(gmsh: Any) -> tuple[Floats, Ints, dict[str, Ints]]:
    mesh = gmsh.model.mesh
    tags, coordinates, _ = mesh.getNodes()
    points = coordinates.reshape(-1, 3)[:, :2]
    row = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    row[tags] = np.arange(len(tags))

    sets: dict[str, Ints] = {}
    for dim, tag in gmsh.model.getPhysicalGroups():
        kind, width = {1: (8, 3), 2: (10, 9)}[dim]
        nodes = [
            mesh.getElementsByType(kind, entity)[1]
            for entity in gmsh.model.getEntitiesForPhysicalGroup(dim, tag)
        ]
        sets[gmsh.model.getPhysicalName(dim, tag)] = row[np.concatenate(nodes)].reshape(-1, width)
    quads = sets.pop("metal")
    return points, quads, sets


def _swept(profile: SweptSection, flat: Floats, quads: Ints, lines: dict[str, Ints]) -> SectionMesh:
    """Number the nodes column by column, orient edges and quads, and carry nodes to (r, z)."""
    # Nodes of one column come out of gmsh equal to rounding only.
    length = float(flat[:, 0].max())
    order = np.lexsort((flat[:, 1], np.round(flat[:, 0] / length, 10)))
    new = np.empty(len(order), dtype=np.int64)
    new[order] = np.arange(len(order))
    flat = flat[order]

    quads = new[quads]
    # start every element at its corner nearest the axis and the outside, first side along
    turn = np.argmin(quads[:, :4], axis=1)[:, None] + np.arange(4)
    rows = np.arange(len(quads))[:, None]
    quads = np.hstack((quads[rows, turn % 4], quads[rows, 4 + turn % 4], quads[:, 8:]))
    quads = quads[np.lexsort((flat[quads[:, 8], 1], np.round(flat[quads[:, 8], 0] / length, 10)))]
    edges = {}
    for name, edge in lines.items():
        edge = new[edge]
        along = flat[:, 0] if name in ("inside", "outside") else flat[:, 1]
        flip = along[edge[:, 0]] > along[edge[:, 1]]
        edge[flip] = edge[flip][:, [1, 0, 2]]
        edges[name] = edge[np.argsort(along[edge[:, 2]])]

    s, fraction = np.clip(flat[:, 0], 0.0, length), flat[:, 1]
    mid = profile.meridian.at(s)
    offset = fraction * profile.thickness(s)
    if isinstance(profile, Profile):
        offset = offset + profile.offset(s)[0]
    points = np.column_stack((mid.r - offset * np.sin(mid.phi), mid.z + offset * np.cos(mid.phi)))
    points[np.unique(edges["axis"]), 0] = 0.0  # rounding only: the normal there is the axis
    return SectionMesh(points, s, fraction, quads, **edges)


def write_section(mesh: SectionMesh, path: str) -> None:
    """Write a section mesh as VTU, the boundary sets as 0/1 cell data under their names."""
    import meshio

    edges = np.concatenate([getattr(mesh, name) for name in SETS])
    owner = np.concatenate([np.full(len(getattr(mesh, name)), name) for name in SETS])
    quads = np.zeros(len(mesh.quads), dtype=np.int64)
    data = {name: [quads, (owner == name).astype(np.int64)] for name in SETS}
    data["metal"] = [quads + 1, np.zeros(len(edges), dtype=np.int64)]
    meshio.Mesh(
        np.column_stack((mesh.points, np.zeros(len(mesh.points)))),
        [("quad9", mesh.quads), ("line3", edges)],
        point_data={"arc_length": mesh.s, "fraction": mesh.fraction},
        cell_data=data,
    ).write(path, file_format="vtu")


def read_section(path: str) -> SectionMesh:
    """Read a section mesh that write_section wrote.

    Raises ValueError when the file is not such a mesh.
    """
    import meshio

    try:
        mesh = meshio.read(path, file_format="vtu")
        quads, lines = mesh.get_cells_type("quad9"), mesh.get_cells_type("line3")
        edges = {
            name: lines[mesh.get_cell_data(name, "line3") == 1].astype(np.int64) for name in SETS
        }
        s, fraction = mesh.point_data["arc_length"], mesh.point_data["fraction"]
    except (KeyError, ValueError, meshio.ReadError) as error:
        raise ValueError(f"{path} is not a section mesh in VTU form: {error}") from error
    return SectionMesh(mesh.points[:, :2], s, fraction, quads.astype(np.int64), **edges)
