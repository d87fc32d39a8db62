"""From Python: a sweep of your own."""

from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
import matplotlib.pyplot as plt
import numpy as np
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI             # MPa

north = load_profile("north")
nose = np.linspace(1.2, 1.9, 6)                        # mm
leg = np.linspace(0.0, 8.0, 5)                         # degrees; radians inside
pressure = np.empty((leg.size, nose.size))
for i, angle in enumerate(np.radians(leg)):
    for j, radius in enumerate(nose):
        bottom = north.replaced(inner_leg_angle=angle, nose_radius=radius)
        record = reversal(bottom, required=88 * PSI, waves=0)
        # a solve that fails has a kind and a reason in place of a pressure
        found = record.reversal_pressure_mpa
        pressure[i, j] = np.nan if found is None else found / PSI

i, j = np.unravel_index(np.nanargmax(pressure), pressure.shape)
print(f"highest: {pressure[i, j]:.2f} psi at leg {leg[i]:.1f} deg, nose {nose[j]:.2f} mm")
print(f"lowest: {np.nanmin(pressure):.2f} psi")
print(f"failed: {np.isnan(pressure).sum()} of {pressure.size}")

figure, axes = plt.subplots(figsize=(7, 4.5), layout="constrained")
lines = axes.contour(nose, leg, pressure, levels=12, colors="k", linewidths=0.8)
axes.clabel(lines, fmt="%.0f psi")
axes.set(xlabel="nose radius (mm)", ylabel="inner leg angle (deg)")
figure.savefig("sweep.png", dpi=120)
"""


def write(page: Page) -> dict[str, float]:
    """Reversal pressure over nose radius and inner leg angle, by a loop."""
    page.text("""
Some questions are quicker asked in a loop than in a study file. One call answers one question;
inside, lengths are mm, pressures MPa and angles radians.
""")
    lines = page.python("sweep.py", SCRIPT).splitlines()
    page.figure("sweep.png", "Reversal pressure over nose radius and inner leg angle")
    page.text("""
A study does the same with all cores, keeps what it solved, and is the better choice from some
hundred cases on; `nose-leg` is the ready study of this plane. All calls are on the page
[Python](../python.md).
""")
    return {
        "highest": float(lines[0].split()[1]),
        "lowest": float(lines[1].split()[1]),
        "failed": float(lines[2].split()[1]),
    }


EXAMPLE = Example(
    "From Python: a sweep of your own",
    "a loop over `reversal`, drawn with matplotlib",
    write,
    {
        "highest": Key(96.89, 0.5, "psi"),
        "lowest": Key(86.73, 0.5, "psi"),
        "failed": Key(0, 0, ""),
    },
)
