"""What does thinner sheet cost?"""

import math

from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile, metal_mass
from domemargin.profiles.units import PSI

north = load_profile("north")
print("gauge   metal   reversal")
for gauge in (0.265, 0.260, 0.255, 0.250):
    bottom = north.replaced(bottom_gauge=gauge)          # mm
    pressure = reversal(bottom, waves=0).reversal_pressure_mpa / PSI
    print(f"{gauge:.3f} mm {metal_mass(bottom):.3f} g {pressure:6.2f} psi")
"""

SHAPES = """
name = "Thinner"
profile = "north"
required_pressure = "88 psi"

[plan]
kind = "sobol"                   # even in all quantities at once
cases = 16

[vary.bottom_gauge]
from = "0.25 mm"
to = "0.265 mm"

[vary.inner_leg_angle]
from = "-1 deg"
to = "3 deg"

[vary.nose_radius]
from = "1.3 mm"
to = "1.6 mm"
"""


def write(page: Page) -> dict[str, float]:
    """Metal saved and pressure lost; what the shape can regain."""
    page.text("""
Sheet of 0.250 in place of 0.265 mm saves metal in every can. What does it cost in reversal
pressure? Nine lines of Python give a table; `replaced` is the same bottom with other dimensions.
""")
    rows = [line.split() for line in page.python("thinner.py", SCRIPT).splitlines()[1:]]
    mass = {row[0]: float(row[2]) for row in rows}
    pressure = {row[0]: float(row[4]) for row in rows}
    saved, lost = mass["0.265"] - mass["0.250"], pressure["0.265"] - pressure["0.250"]
    power = math.log(pressure["0.265"] / pressure["0.250"]) / math.log(0.265 / 0.250)
    page.text(f"""
The {saved:.2f} g saved cost {lost:.1f} psi, {100 * lost / pressure["0.265"]:.1f} % of the pressure
for {100 * (1 - 0.250 / 0.265):.1f} % of the gauge. The pressure falls about as the power
{power:.1f} of the gauge. Can the shape regain it? A study over the inner leg and the nose,
where the bottom gives way:
""")
    page.file("thinner.toml", SHAPES)
    page.run("domemargin study thinner.toml")
    page.run("domemargin margin results/thinner")
    page.figure("results/thinner/margin.png", "Margin over gauge, leg and nose")
    slopes = {one["name"]: one["psi"] for one in page.read("results/thinner/margin.json")["slopes"]}
    page.text(f"""
The slopes hold at the base bottom. A steeper inner leg gains {-slopes["inner_leg_angle"]:.1f} psi a
degree: that regains part of the pressure, if the bottom can still be formed and stripped.
""")
    return {
        "metal saved": saved,
        "pressure lost": lost,
        "slope, gauge": slopes["bottom_gauge"],
        "slope, nose radius": slopes["nose_radius"],
        "slope, inner leg": slopes["inner_leg_angle"],
    }


EXAMPLE = Example(
    "What does thinner sheet cost?",
    "nine lines of Python for metal and pressure, then a `study` of what the shape regains",
    write,
    {
        "metal saved": Key(0.195, 0.002, "g"),
        "pressure lost": Key(6.56, 0.3, "psi"),
        "slope, gauge": Key(4.424, 0.05, "psi per 0.01 mm"),
        "slope, nose radius": Key(0.0597, 0.003, "psi per 0.01 mm"),
        "slope, inner leg": Key(-0.832, 0.03, "psi per degree"),
    },
)
