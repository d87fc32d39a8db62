"""What a can bottom looks like: dimensions, tangent chain, sheet, metal, profile files.

Quick start:

    from profiles import load_profile
    profile = load_profile("north")            # a ready profile, or the path of a TOML file
    lower = profile.replaced(dome_depth=10.2)  # mm, radians and MPa inside
    points = lower.meridian.at([0.0, 10.0])    # r, z, tangent angle, curvature
"""

from profiles.derived import Derived, derived, enclosed_volume, metal_mass, part_masses
from profiles.errors import InputError, ShapeError
from profiles.files import (
    load_profile,
    named_tempers,
    parse_profile,
    ready_profiles,
)
from profiles.local import Along, Zone
from profiles.material import Hardening, Linear, Material, Swift, Table, Voce
from profiles.meridian import PARTS, Meridian, Points, Segment
from profiles.profile import Profile
from profiles.quantities import parse_quantity, write_quantity
from profiles.shape import Shape, Sheet
from profiles.writing import dump_profile

__all__ = [
    "PARTS",
    "Along",
    "Derived",
    "Hardening",
    "InputError",
    "Linear",
    "Material",
    "Meridian",
    "Points",
    "Profile",
    "Segment",
    "Shape",
    "ShapeError",
    "Sheet",
    "Swift",
    "Table",
    "Voce",
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
