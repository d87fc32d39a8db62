"""What the compiled loops of contact take: the metal's face, a tool, and what they write.

Python hands them over as plain tuples (metal[:]), which a kernel names again; see shell/given.py.
"""

from __future__ import annotations

from typing import NamedTuple

from domemargin.profiles.arrays import Bools, Floats, Ints


class ShellFace(NamedTuple):
    """The face of a shell that meets a tool.

    x, before : (n_nodes, 3) now and at the start of the step.  shapes : (nq, 3).
    area : (nel, nq) undeformed area, mm^2 per radian.  half : (nel * nq,) distance of the
    touching face from the mid-surface, mm.  fixed : numbers of the unknowns held.
    """

    x: Floats
    before: Floats
    shapes: Floats
    area: Floats
    half: Floats
    fixed: Ints


class SolidFace(NamedTuple):
    """The face of a solid that meets a tool.

    x, before : (n_nodes, 2) positions now and at the start of the step, mm.  edges : (m, 3) start,
    middle and end.  shapes : (nq, 3).  area : (m, nq) undeformed area, mm^2 per radian.
    free : (2 n_nodes,) unknowns that move.
    """

    x: Floats
    before: Floats
    edges: Ints
    shapes: Floats
    area: Floats
    free: Bools


class Law(NamedTuple):
    """Stiffness and friction of a tool's contact.

    stiffness, stick : MPa per mm, and soft : mm, see contact.Penalty.  friction : coefficient.
    follow : whether the limit of friction follows the pressure within the step.
    """

    stiffness: float
    soft: float
    stick: float
    friction: float
    follow: bool


class Rigid(NamedTuple):
    """A tool at a trial.

    segments : (n, 8) its chain at place 0.  place : its height, mm; moved : since the start of the
    step.  law : of Law, apart from the array: a kernel counts references where a tuple that holds
    an array is passed on within its loop, which took add_contact 1.6 times as long.
    """

    segments: Floats
    place: float
    moved: float
    law: Law


class Touched(NamedTuple):
    """What a tool adds to and writes, of n unknowns and p points of contact.

    old, new : (p, HISTORY) contact before and after; new comes without contact.
    residual : (n,) and band : (n, w + 1), added to.  coupling : (n,) derivative of the residual by
    the tool's place, written.
    """

    old: Floats
    new: Floats
    residual: Floats
    band: Floats
    coupling: Floats
