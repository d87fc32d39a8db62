"""What a can bottom looks like: dimensions, tangent chain, sheet, metal, profile files.

Quick start:

    from domemargin.profiles import load_profile
    profile = load_profile("north")            # a ready profile, or the path of a TOML file
    lower = profile.replaced(dome_depth=10.2)  # mm, radians and MPa inside
    points = lower.meridian.at([0.0, 10.0])    # r, z, tangent angle, curvature
"""

from domemargin.profiles.around import Around, Dent, Scan, Wave
from domemargin.profiles.derived import (
    Derived,
    derived,
    enclosed_volume,
    metal_mass,
    part_masses,
)
from domemargin.profiles.errors import InputError, ShapeError
from domemargin.profiles.files.loading import (
    load_profile,
    named_tempers,
    parse_profile,
    ready_profiles,
)
from domemargin.profiles.files.writing import dump_profile
from domemargin.profiles.local import Along, Zone
from domemargin.profiles.material import Hardening, Linear, Material, Swift, Table, Voce
from domemargin.profiles.profile import Profile
from domemargin.profiles.quantities import parse_quantity, write_quantity
from domemargin.profiles.shape.meridian import PARTS, Meridian, Points, Segment
from domemargin.profiles.shape.shape import Shape, Sheet

__all__ = [
    "PARTS",
    "Along",
    "Around",
    "Dent",
    "Derived",
    "Hardening",
    "InputError",
    "Linear",
    "Material",
    "Meridian",
    "Points",
    "Profile",
    "Scan",
    "Segment",
    "Shape",
    "ShapeError",
    "Sheet",
    "Swift",
    "Table",
    "Voce",
    "Wave",
    "Zone",
    "derived",
    "dump_profile",
    "enclosed_volume",
    "load_profile",
    "metal_mass",
    "named_tempers",
    "parse_profile",
    "parse_quantity",
    "part_masses",
    "ready_profiles",
    "write_quantity",
]
