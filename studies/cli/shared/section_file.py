"""The section of a bottom as a mesh file; where a drawing may go."""

from __future__ import annotations

from pathlib import Path

from domemargin.profiles import InputError, Profile
from domemargin.profiles.errors import brief_path
from domemargin.studies.whole_files import can_be_file, whole_file


def check_mesh_path(path: Path) -> None:
    """Reject, as InputError, a file that does not end in .vtu or cannot be written."""
    _check_path(path, "--mesh", ".vtu")


def check_drawing_path(path: Path) -> None:
    """Reject, as InputError, a file that does not end in .dxf or cannot be written."""
    _check_path(path, "--dxf", ".dxf")


def _check_path(path: Path, option: str, ending: str) -> None:
    reason = ""
    if path.suffix.lower() != ending:
        reason = f"which does not end in {ending}"
    elif not can_be_file(path):
        reason = "where no file can be written"
    if reason:
        raise InputError(f"{option} is {brief_path(path)}, {reason}", option, str(path))


def section_file(profile: Profile, path: Path) -> str:
    """Mesh the section, write it as VTU, and say what was written.

    Raises InputError where it cannot be written, and section.GmshUnavailableError
    where gmsh cannot be loaded.
    """
    from domemargin.profiles.files.section import section_mesh, write_section

    mesh = section_mesh(profile)
    with whole_file(path) as temporary:
        write_section(mesh, str(temporary))
    return f"{len(mesh.quads)} nine-node quads, {len(mesh.points)} nodes"
