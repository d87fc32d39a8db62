"""How do I write down a bottom of my own, and is it drawn as I mean it?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

PROFILE = """
name = "Tarnholt east line, trial"
material = "AA3104-H19 after baking"   # a named metal, or a table [material]

[shape]
radii_on = "inside"              # surface on which radii are given: inside, mid or outside
stand_diameter = "1.85 in"
dome_depth = "10.2 mm"           # always outside: stand plane to dome centre
dome_radius = "45 mm"
shoulder_radius = "1.6 mm"
inner_leg_angle = "4 deg"        # from vertical, outward going down
nose_radius = "1.5 mm"
outer_leg_angle = "60 deg"       # from vertical
heel_radius = "5.5 mm"
body_diameter = "66 mm"
wall_height = "30 mm"

[sheet]
bottom_gauge = "0.26 mm"
wall_gauge = "0.1 mm"
transition_length = "8 mm"

[[zone]]                         # what forming did to a part
part = "nose"
gauge_factor = 0.97
prior_strain = 0.15
"""


def write(page: Page) -> dict[str, float]:
    """Write a profile file, draw it, then solve it."""
    page.text("""
A profile is a TOML file in the dimensions of a drawing. Quantities carry their unit. The parts are
joined by tangents, so lengths of legs and the edge of the dome follow from what is given.
""")
    page.file("east.toml", PROFILE)
    page.text("`profile` draws it without a solve. Compare the drawing with your own first.")
    page.run("domemargin profile east.toml --out east")
    page.figure("east/profile.png", "The section as drawn from the file")
    page.text("Then the reversal pressure:")
    page.run("domemargin reversal east.toml --out east")
    shape = page.json("domemargin profile east.toml")
    record = page.read("east/record.json")
    return {
        "stand diameter": _mm(shape["inputs"]["shape"]["stand_diameter"]),
        "metal of the bottom": shape["derived"]["bottom_mass_g"],
        "reversal pressure": record["reversal_pressure_mpa"] / PSI,
    }


def _mm(text: str) -> float:
    value, unit = text.split()
    assert unit == "mm"
    return float(value)


EXAMPLE = Example(
    "How do I write down a bottom of my own?",
    "a profile file, `profile` to draw it, `reversal` to solve it",
    write,
    {
        "stand diameter": Key(46.99, 0.0005, "mm", "1.85 times 25.4 mm, exact"),
        "metal of the bottom": Key(3.365, 0.005, "g"),
        "reversal pressure": Key(85.78, 0.4, "psi"),
    },
)
