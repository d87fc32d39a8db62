"""A contour was traced on a can: what bottom is it, and when does it reverse?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

MADE = """
import numpy as np
from domemargin.profiles import load_profile

# what a contour tracer would write: both halves of the outside, tilted, moved, upside down
bottom = load_profile("north").replaced(dome_depth=10.31, nose_radius=1.46)
rng = np.random.default_rng(7)
s = np.sort(rng.uniform(0.0, bottom.meridian.span("heel")[1] + 3.0, 1000))
at, half = bottom.meridian.at(s), 0.5 * bottom.thickness(s)
off = rng.normal(0.0, 0.004, s.size) - half
x = (at.r - off * np.sin(at.phi)) * rng.choice([-1.0, 1.0], s.size)
z = at.z + off * np.cos(at.phi)
cos, sin = np.cos(0.01), np.sin(0.01)
x, z = cos * x - sin * z + 52.0, 31.0 - cos * z - sin * x
z[::125] -= 0.3  # dirt
np.savetxt("contour.csv", np.stack((x, z), 1), "%.4f", ",", header="x (mm),z (mm)", comments="")
print(f"{s.size} points of a bottom of {bottom.shape.dome_depth} mm depth")
"""


def write(page: Page) -> dict[str, float]:
    """Make a trace of a known bottom, fit it, solve what was fitted."""
    page.text("""
A tracer writes points; a solve needs dimensions. Here the trace is made up, so that the bottom that
it is of is known: the north bottom with less depth and a tighter nose, with 4 micrometres of noise.
""")
    page.python("make.py", MADE)
    page.text("""
`trace` finds how the points lie and the dimensions of the nearest bottom. Gauges and metal do not
show in a contour: they are taken from a profile.
""")
    page.run("domemargin trace contour.csv --profile north --out traced")
    page.figure("traced/trace.png", "The points on the fitted section, and the misfit")
    page.text("""
The limits after ± are those of the fit alone. The profile that was written goes into any other
command: `domemargin reversal traced/profile.toml`.
""")
    data = page.read("traced/trace.json")
    found = {row["name"]: row["value"] for row in data["dimensions"]}
    return {
        "dome depth": found["dome_depth"],
        "nose radius": found["nose_radius"],
        "misfit": data["misfit_um"]["rms"],
        "reversal pressure": data["reversal"]["pressure_mpa"] / PSI,
    }


INPUT = "put into the example's own input"
EXAMPLE = Example(
    "A contour was traced on a can: what bottom is it?",
    "`trace` fits the dimensions and says how well each is known",
    write,
    {
        "dome depth": Key(10.31, 0.003, "mm", INPUT),
        "nose radius": Key(1.46, 0.01, "mm", INPUT),
        "misfit": Key(4.0, 0.3, "um", INPUT),
        "reversal pressure": Key(90.18, 0.3, "psi"),
    },
)
