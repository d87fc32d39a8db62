"""How much dome depth may be lost, and does it matter how it was lost?"""

from domemargin.studies.guide.page import Example, Key, Page

STUDY = """
name = "Depth loss"
profile = "north"
required_pressure = "88 psi"

[vary.die_set_back]              # depth lost because the die sits back
from = "0 mm"
to = "0.6 mm"
steps = 7

[vary.bottom_gauge]
values = ["0.26 mm", "0.265 mm", "0.27 mm"]
"""


def write(page: Page) -> dict[str, float]:
    """A study over depth loss and gauge, and its margin report."""
    page.text("""
The gauge shows domes that are too shallow. How far may that go before the bottom no longer holds
88 psi? A study file names the bottom, what is varied, and the pressure to hold:
""")
    page.file("depth-loss.toml", STUDY)
    page.run("domemargin study depth-loss.toml")
    page.run("domemargin margin results/depth-loss")
    page.figure(
        "results/depth-loss/margin.png", "Margin over depth lost and gauge, and where it is used up"
    )
    data = page.read("results/depth-loss/margin.json")
    by_gauge = {one["at"]["bottom_gauge_mm"]: one for one in data["tolerable_depth_loss"]}
    slopes = {one["name"]: one["psi"] for one in data["slopes"]}
    ratio = slopes["die_set_back"] / slopes["springback"]
    page.text(f"""
At 0.265 mm gauge {by_gauge[0.265]["loss_mm"]:.2f} mm may be lost; with 0.005 mm less gauge only
{by_gauge[0.26]["loss_mm"]:.2f} mm. The slopes say that it matters how depth is lost. A die that
sits back (`die_set_back`) keeps its radius and costs {-slopes["die_set_back"]:.3f} psi for every
0.01 mm. Springback flattens the dome over its edge circle, and the same loss of depth costs
{ratio:.0f} times less. So find out why depth is lost before you judge it.
""")
    return {
        "tolerable loss at 0.265 mm": by_gauge[0.265]["loss_mm"],
        "tolerable loss at 0.260 mm": by_gauge[0.26]["loss_mm"],
        "slope, die set back": slopes["die_set_back"],
        "slope, springback": slopes["springback"],
    }


EXAMPLE = Example(
    "How much depth may be lost?",
    "`study` and `margin`: tolerable loss by gauge; die set back against springback",
    write,
    {
        "tolerable loss at 0.265 mm": Key(0.510, 0.03, "mm"),
        "tolerable loss at 0.260 mm": Key(0.126, 0.03, "mm"),
        "slope, die set back": Key(-0.0764, 0.002, "psi per 0.01 mm"),
        "slope, springback": Key(-0.00965, 0.0005, "psi per 0.01 mm"),
    },
)
