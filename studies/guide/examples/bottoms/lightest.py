"""How light can the bottom be?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

REQUEST = """
name = "Lightest bottom for 90 psi"
profile = "north"
aim = "mass"
required_pressure = "90 psi"

[vary.bottom_gauge]
from = "0.25 mm"
to = "0.28 mm"

[vary.nose_radius]               # the tools' nose may be made anew
from = "1.3 mm"
to = "1.7 mm"

[vary.inner_leg_angle]
from = "0 deg"
to = "6 deg"

[hold]
wave_margin = "2 %"
bend_ratio = 4.5
stretch = "28 %"
"""


def write(page: Page) -> dict[str, float]:
    """Search for the lightest bottom within limits, and see what binds."""
    page.text("""
The north bottom holds 91 psi where 90 are asked for. How much metal is that worth, if nose and
inner leg may change as well? The limits say what the tools and the forming allow:
""")
    page.file("lightest.toml", REQUEST)
    page.run("domemargin best lightest.toml --out best")
    page.figure("best/best.png", "Both sections, and the mass for other pressures")
    page.text("""
Read what binds from the top: the first line is where a changed requirement pays most. The lines on
how sharp it is say what is left when a dimension is off by what a plant may be off.
""")
    data = page.read("best/best.json")
    return {
        "pressure of the best": data["best"]["reversal_pressure_mpa"] / PSI,
        "can body of the best": data["best"]["can_g"],
        "saved per 1,000 cans": data["start"]["can_g"] - data["best"]["can_g"],
    }


EXAMPLE = Example(
    "How light can the bottom be?",
    "`best` searches within limits and says what binds",
    write,
    {
        "pressure of the best": Key(90.0, 0.05, "psi", "put into the example's own input"),
        "can body of the best": Key(9.449, 0.005, "g"),
        "saved per 1,000 cans": Key(0.151, 0.005, "kg"),
    },
)
