"""From a section mesh to scikit-fem: named boundaries, numbering, oriented pressure edges."""

from __future__ import annotations

from typing import Any

import numpy as np

from domemargin.profiles.arrays import Ints
from domemargin.profiles.files.section import SETS, SectionMesh


def to_skfem(section: SectionMesh) -> Any:
    """The section as skfem.MeshQuad2 with its boundaries named, elements in the same order."""
    import skfem

    mesh = skfem.MeshQuad2(section.points.T, section.quads.T)
    corners = np.unique(section.quads[:, :4])
    vertex = np.full(len(section.points), -1)
    vertex[corners] = np.arange(len(corners))
    keys = mesh.facets[0].astype(np.int64) * len(corners) + mesh.facets[1]
    order = np.argsort(keys)
    boundaries = {}
    for name in SETS:
        ends = np.sort(vertex[getattr(section, name)[:, :2]], axis=1)
        wanted = ends[:, 0] * len(corners) + ends[:, 1]
        boundaries[name] = order[np.searchsorted(keys, wanted, sorter=order)]
    return mesh.with_boundaries(boundaries)


def numbering(element_dofs: Ints, order: Ints | None) -> Ints:
    """New number of every node, for a narrow band.

    element_dofs : (k, m) nodes of the elements.  order : (m, >= k) places of the same nodes in
    the sequence wanted, such as column by column; by default reverse Cuthill-McKee.
    """
    if order is not None:
        place = np.empty(int(element_dofs.max()) + 1, dtype=np.int64)
        place[element_dofs.T] = order[:, : len(element_dofs)]
        return np.argsort(np.argsort(place))
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import reverse_cuthill_mckee

    k = len(element_dofs)
    rows = np.repeat(element_dofs, k, axis=0).ravel()
    columns = np.tile(element_dofs, (k, 1)).ravel()
    graph = coo_matrix((np.ones(rows.size), (rows, columns))).tocsr()
    order = reverse_cuthill_mckee(graph, symmetric_mode=True)
    number = np.empty(order.size, dtype=np.int64)
    number[order] = np.arange(order.size)
    return number


def loaded_edges(mesh: Any, basis: Any, number: Ints, boundary: str) -> Ints:
    """(m, 3) nodes (start, end, middle) with the metal on the right of start -> end.

    Then the volume grows when the loaded face gives way to the pressure.
    """
    facets = np.asarray(mesh.boundaries[boundary])
    start, end = mesh.facets[:, facets]
    middle = basis.facet_dofs[0, facets]
    inner = mesh.p[:, mesh.t[:, mesh.f2t[0, facets]]].mean(axis=1)
    along = mesh.p[:, end] - mesh.p[:, start]
    to_metal = inner - mesh.p[:, start]
    left = along[0] * to_metal[1] - along[1] * to_metal[0] > 0.0
    start, end = np.where(left, end, start), np.where(left, start, end)
    vertices = basis.nodal_dofs[0]
    edges: Ints = number[np.stack((vertices[start], vertices[end], middle), axis=1)]
    return edges
