"""The meridian in a DXF drawing, as points: lines, arcs, polylines with bulges, splines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from domemargin.profiles.arrays import Floats
from domemargin.profiles.errors import InputError, brief, brief_path
from domemargin.profiles.files.contents import content_of
from domemargin.profiles.quantities import parse_quantity
from domemargin.studies.trace.points import Points, bytes_of, check_span

MOST_BYTES = 30_000_000
_SPACING = 0.1  # mm between points
_LEAST = 7  # points of an entity
_LONGEST = 500.0  # mm of an entity that are sampled so closely
MOST_CURVES = 3000
CLOSE = 0.002  # mm up to which two ends are one
GAP = 0.1  # mm up to which a gap is named and passed over
_UNITS = {  # $INSUNITS -> mm (the format's reference)
    1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1e3, 8: 25.4e-6, 9: 0.0254, 13: 1e-3, 14: 100.0,
}  # fmt: skip
_LINES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE")
_SOLIDS = ("3DSOLID", "BODY", "REGION", "SURFACE", "MESH", "3DFACE", "EXTRUDEDSURFACE",
           "REVOLVEDSURFACE", "POLYFACE")  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """The meridian of a drawing: points, layer, and what was found on the way (gaps, overlaps)."""

    points: Points
    layer: str
    notes: tuple[str, ...]


def read_drawing(path: Path, layer: str | None = None, unit: str | None = None) -> Drawn:
    """The meridian on a layer of a text DXF file.

    layer : may be left out where one layer alone holds lines.  unit : where the drawing states
    none ($INSUNITS 0).  Raises InputError in one sentence that says what was found.
    """
    given = brief_path(path)
    document, damage = _document(path, given)
    scale = _scale(document, unit, given)
    chosen, entities = _on_layer(document, layer, given)
    curves = [c for e in entities for c in _sampled(e, scale, given)]
    curves = [curve for curve in curves if _length(curve) > 1e-9]
    if not curves:
        raise InputError(f"layer {brief(chosen)} of the drawing {given} holds no line", "--layer")
    check_span(*np.concatenate(curves).T)
    if len(curves) > MOST_CURVES:
        raise InputError(
            f"layer {brief(chosen)} of the drawing {given} holds {len(curves)} lines; a meridian "
            f"has at most {MOST_CURVES}",
            "--layer",
        )
    notes = [*damage, *_overlaps(curves)]
    path_points, more = _joined(_distinct(curves), given)
    _check_crossing(path_points, given)
    path_points = _thinned(path_points)
    number = np.arange(1, path_points.shape[0] + 1, dtype=np.int64)
    points = Points(path_points[:, 0], path_points[:, 1], number)
    return Drawn(points, chosen, (*notes, *more))


def _document(path: Path, given: str) -> tuple[Any, list[str]]:
    """The drawing, and a note where it is damaged and was read as far as it can be."""
    raw = bytes_of(path, f"the drawing {given}", MOST_BYTES, ": keep the meridian alone")
    if b"Binary DXF\r\n\x1a" in raw[:40]:
        raise InputError(f"the drawing {given} is a binary DXF; it must be a text DXF", "FILE")
    found = content_of(raw)
    if found not in ("", "a drawing (DXF)"):
        raise InputError(f"the drawing {given} is {found}; it must be a text DXF", "FILE")
    if b"\0" in raw[:4000] or b"SECTION" not in raw[:4000]:
        raise InputError(f"the drawing {given} is no DXF; it must be a text DXF", "FILE")
    import io
    import logging

    from ezdxf import recover
    from ezdxf.filemanagement import read
    from ezdxf.lldxf.const import DXFError

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)  # each of its findings is a line
    try:
        try:
            return read(io.StringIO(raw.decode("utf-8").replace("\r\n", "\n"))), []
        except (UnicodeDecodeError, DXFError):
            note = "The drawing is damaged and was read as far as it can be: check the figure."
            return recover.read(io.BytesIO(raw))[0], [note]
    except (DXFError, ValueError, KeyError, IndexError, AttributeError, TypeError) as error:
        why = " ".join(str(error).split())[:100] or type(error).__name__
        raise InputError(f"the drawing {given} is a damaged DXF: {why}", "FILE") from None


def _scale(document: Any, unit: str | None, given: str) -> float:
    code = int(document.header.get("$INSUNITS", 0))
    stated = _UNITS.get(code)
    if unit is not None:
        asked = parse_quantity(f"1 {unit}", "length", "--unit")
        if stated is not None and not math.isclose(stated, asked):
            raise InputError(
                f"--unit is {brief(unit)}, but the drawing {given} states units of {stated:g} mm "
                "($INSUNITS); leave --unit out",
                "--unit",
            )
        return asked
    if stated is None:
        what = "states no unit" if code == 0 else f"states the unit {code}, which is not known"
        raise InputError(
            f"the drawing {given} {what} ($INSUNITS); give --unit, such as --unit mm", "--unit"
        )
    return stated


def _on_layer(document: Any, layer: str | None, given: str) -> tuple[str, list[Any]]:
    every: list[Any] = []
    for entity in document.modelspace():
        if entity.dxftype() == "INSERT":
            try:
                every += list(entity.virtual_entities())
            except Exception:  # a block that cannot be resolved holds no line for us
                continue
        else:
            every.append(entity)
    counts: dict[str, int] = {}
    for entity in every:
        if entity.dxftype() in _LINES:
            counts[entity.dxf.layer] = counts.get(entity.dxf.layer, 0) + 1
    solids = sorted({e.dxftype() for e in every} & set(_SOLIDS))
    if not counts:
        kinds = ", ".join(solids or sorted({e.dxftype() for e in every})[:5]) or "nothing"
        raise InputError(
            f"the drawing {given} holds {kinds} and no line, arc, polyline or spline; it must hold "
            "the meridian in one plane",
            "FILE",
        )
    shown = ", ".join(f"{name} ({count})" for name, count in sorted(counts.items())[:8])
    if layer is None:
        if len(counts) > 1:
            raise InputError(
                f"the drawing {given} has lines on the layers {shown}; name one with --layer",
                "--layer",
                "missing",
                shown,
            )
        layer = next(iter(counts))
    names = {name.casefold(): name for name in counts}
    chosen = names.get(layer.casefold())
    if chosen is None:
        raise InputError(
            f"--layer is {brief(layer)}, which holds no line; the drawing {given} has lines on "
            f"{shown}",
            "--layer",
            layer,
            shown,
        )
    return chosen, [e for e in every if e.dxf.layer == chosen and e.dxftype() in _LINES]


def _sampled(entity: Any, scale: float, given: str) -> list[Floats]:
    """(n, 2) points in mm of the entity, in a list of one; of an empty polyline in none."""
    kind = entity.dxftype()
    try:
        if kind == "LINE":
            ends = np.array([entity.dxf.start, entity.dxf.end], dtype=float) * scale
            return [_flat(_between(*ends), given)]
        if kind == "ARC" and abs(entity.dxf.extrusion.z - 1.0) < 1e-9:
            centre = np.array(entity.dxf.center, dtype=float) * scale
            start, end = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
            sweep = (end - start) % (2.0 * math.pi) or 2.0 * math.pi
            return [_flat(_arc(centre, entity.dxf.radius * scale, start, sweep), given)]
        if kind == "LWPOLYLINE" or (kind == "POLYLINE" and entity.is_2d_polyline):
            parts = [
                c for part in entity.virtual_entities() for c in _sampled(part, scale, given)
            ]  # fmt: skip
            return [_end_to_end(parts)] if parts else []
        if kind == "SPLINE":
            tool = entity.construction_tool()
            rough = np.array(list(tool.approximate(200)), dtype=float) * scale
            count = max(int(min(_length(rough), _LONGEST) / _SPACING), 40)
            return [_flat(np.array(list(tool.approximate(count)), dtype=float) * scale, given)]
        from ezdxf.path import make_path

        fine = np.array(list(make_path(entity).flattening(1e-5 / scale)), dtype=float) * scale
        return [_flat(fine, given)]
    except InputError:
        raise
    except Exception as error:  # a library of many kinds of error
        why = " ".join(str(error).split())[:80] or type(error).__name__
        raise InputError(f"a {kind} of the drawing {given} is damaged: {why}", "FILE") from None


def _end_to_end(parts: list[Floats]) -> Floats:
    """Parts of a polyline in order, those turned round that run against it (arcs clockwise)."""
    line = parts[0]
    if len(parts) > 1:
        after = parts[1][[0, -1]]
        ends = [float(np.min(np.linalg.norm(after - line[e], axis=1))) for e in (0, -1)]
        line = line[::-1] if ends[0] < ends[1] else line
    for part in parts[1:]:
        near = [float(np.linalg.norm(part[e] - line[-1])) for e in (0, -1)]
        line = np.concatenate((line, (part if near[0] <= near[1] else part[::-1])[1:]))
    return line


def _flat(points: Floats, given: str) -> Floats:
    """Points without height; InputError where they have some, or are no numbers."""
    if not np.all(np.isfinite(points)) or np.max(np.abs(points)) > 1e5:
        raise InputError(f"the drawing {given} has a line that is not finite", "FILE")
    if points.shape[1] > 2 and float(np.ptp(points[:, 2])) > 1e-3:
        raise InputError(
            f"the drawing {given} runs in space: a line goes from height {points[0, 2]:.4g} to "
            f"{points[-1, 2]:.4g} mm; it must lie in the plane of x and y",
            "FILE",
        )
    return np.ascontiguousarray(points[:, :2])


def _between(a: Floats, b: Floats) -> Floats:
    length = min(float(np.linalg.norm(b - a)), _LONGEST)
    count = max(int(length / _SPACING), min(_LEAST, int(10.0 * length / _SPACING) + 1)) + 1
    return a + (b - a) * np.linspace(0.0, 1.0, count)[:, None]


def _arc(centre: Floats, radius: float, start: float, sweep: float) -> Floats:
    count = max(int(min(radius * sweep, _LONGEST) / _SPACING), _LEAST) + 1
    angle = start + sweep * np.linspace(0.0, 1.0, count)
    flat = np.full(count, centre[2] if centre.size > 2 else 0.0)
    return np.stack(
        (centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), flat), axis=1
    )


def _thinned(points: Floats) -> Floats:
    """The points without those that lie close behind another: a line counts by its length."""
    s = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
    keep = [0]
    for i in range(1, s.size):
        if s[i] - s[keep[-1]] >= 0.5 * _SPACING:
            keep.append(i)
    return points[keep]


def _length(points: Floats) -> float:
    return float(np.sum(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def _at(point: Floats) -> str:
    return f"x {point[0]:.4g}, y {point[1]:.4g} mm"


def _copies(a: Floats, b: Floats) -> Floats:
    """Points of `a`, ends left out, that lie on `b`."""
    start, step = b[:-1], np.diff(b, axis=0)
    inner = a[1:-1]
    size = np.sum(step**2, axis=1)
    share = np.einsum("ijk,jk->ij", inner[:, None] - start[None], step) / np.maximum(size, 1e-18)
    foot = start[None] + np.clip(share, 0.0, 1.0)[..., None] * step[None]
    away = np.min(np.linalg.norm(inner[:, None] - foot, axis=2), axis=1)
    ends = np.minimum(np.linalg.norm(inner - b[0], axis=1), np.linalg.norm(inner - b[-1], axis=1))
    return np.asarray(inner[(away < CLOSE) & (ends > 0.05)])


def _overlaps(curves: list[Floats]) -> list[str]:
    """A sentence on each pair of lines that lie on each other."""
    notes = []
    boxes = [(c.min(axis=0), c.max(axis=0)) for c in curves]
    for i, a in enumerate(curves):
        for j in range(i):
            apart = np.any(boxes[i][0] > boxes[j][1] + CLOSE) or np.any(
                boxes[j][0] > boxes[i][1] + CLOSE
            )
            if apart:
                continue
            on = _copies(a, curves[j])
            if on.shape[0] >= 3:
                notes.append(f"Two lines lie on each other from {_at(on[0])} to {_at(on[-1])}.")
    return notes


def _distinct(curves: list[Floats]) -> list[Floats]:
    """The curves without those that lie wholly on another."""
    kept: list[Floats] = []
    for curve in sorted(curves, key=_length, reverse=True):
        doubled = any(
            _copies(curve, other).shape[0] >= 0.8 * (curve.shape[0] - 2) for other in kept
        )
        if not doubled:
            kept.append(curve)
    return kept


def _joined(curves: list[Floats], given: str) -> tuple[Floats, list[str]]:
    """The curves end to end, and a sentence on each gap.

    From the curve whose end has no neighbour, always on to the nearest end.
    """
    rest = list(curves)
    ends = np.array([[c[0], c[-1]] for c in rest]).reshape(-1, 2)
    apart = np.linalg.norm(ends[:, None] - ends[None], axis=2)
    for k in range(ends.shape[0]):
        apart[k, k] = np.inf
    closed = len(rest) == 1 and float(np.linalg.norm(ends[0] - ends[1])) < CLOSE
    if len(rest) > 1:
        lonely = np.min(apart, axis=1)
        closed = bool(np.all(lonely < CLOSE))
    if closed:
        raise InputError(
            f"the drawing {given} holds a closed outline, like that of both faces of the sheet; it "
            "must hold the open line of one face",
            "FILE",
        )
    if len(rest) == 1:
        return rest[0], []
    crowd = np.sum(apart < CLOSE, axis=1)
    if np.any(crowd > 1):
        at = ends[int(np.argmax(crowd))]
        raise InputError(
            f"three or more lines of the drawing {given} meet at {_at(at)}; the meridian must be "
            "one line",
            "FILE",
        )
    first = int(np.argmax(lonely))
    line = rest.pop(first // 2)
    if first % 2:
        line = line[::-1]
    notes: list[str] = []
    while rest:
        tip = line[-1]
        away = [(float(np.linalg.norm(c[e] - tip)), i, e) for i, c in enumerate(rest)
                for e in (0, -1)]  # fmt: skip
        gap, i, end = min(away)
        if gap > GAP:
            raise InputError(
                f"the line of the drawing {given} has a gap of {gap:.3g} mm at {_at(tip)}; it must "
                f"have none above {GAP:g} mm",
                "FILE",
            )
        if gap > CLOSE:
            notes.append(f"The line has a gap of {1e3 * gap:.3g} um at {_at(tip)}.")
        curve = rest.pop(i)
        line = np.concatenate((line, curve[1:] if end == 0 else curve[::-1][1:]))
    return line, notes


def _check_crossing(points: Floats, given: str) -> None:
    """Reject a line that crosses itself.  Raises InputError."""
    a, b = points[:-1], points[1:]
    count = a.shape[0]
    d = b - a
    for first in range(0, count, 256):
        rows = slice(first, min(first + 256, count))
        da, off = d[rows][:, None], a[None] - a[rows][:, None]
        cross = da[..., 0] * d[None, :, 1] - da[..., 1] * d[None, :, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (off[..., 0] * d[None, :, 1] - off[..., 1] * d[None, :, 0]) / cross
            u = (off[..., 0] * da[..., 1] - off[..., 1] * da[..., 0]) / cross
        apart = np.abs(np.arange(count)[rows][:, None] - np.arange(count)[None]) > 2
        hit = apart & (t > 0.0) & (t < 1.0) & (u > 0.0) & (u < 1.0)
        if np.any(hit):
            i, j = np.argwhere(hit)[0]
            at = a[first + i] + t[i, j] * d[first + i]
            raise InputError(
                f"the line of the drawing {given} crosses itself at {_at(at)}; a meridian does not",
                "FILE",
            )
