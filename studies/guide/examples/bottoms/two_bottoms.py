"""Which of two bottoms is better?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

STUDY = """
name = "Two bottoms"
profile = "north"
required_pressure = "88 psi"

[vary.die_set_back]
from = "0 mm"
to = "0.6 mm"
steps = 5

[vary.bottom_gauge]
values = ["0.26 mm", "0.265 mm", "0.27 mm"]
"""


def write(page: Page) -> dict[str, float]:
    """The same study of two bottoms, side by side."""
    page.text("""
The south line has a dome of two radii and harder metal. Is it the better bottom, or only the
thicker one? First both as they are drawn:
""")
    page.run('domemargin compare north south --require "88 psi" --out bases')
    bases = page.read("bases/compare.json")
    page.text("""
What is uncertain about the model's level is common to both, so that their difference is known far
better than either pressure. Then one study, solved for both bottoms over the same gauges and losses
of depth:
""")
    page.file("two-bottoms.toml", STUDY)
    page.run("domemargin study two-bottoms.toml --out a")
    page.run("domemargin study two-bottoms.toml --profile south --out b")
    page.run("domemargin compare a b --out ab")
    page.figure("ab/compare.png", "Both bottoms over the same study")
    data = page.json("domemargin compare a b")
    firsts, seconds = (
        [row[f"pressure_{which}_mpa"] / PSI for row in data["table"]] for which in "ab"
    )
    gain = sum(b - a for a, b in zip(firsts, seconds)) / len(firsts)
    page.text(f"""
At the same gauge the south bottom holds {gain:.1f} psi more in the mean. Part of that is its metal:
the north profile is after baking, the south one as rolled, 15 MPa harder. Give both the same
material in a profile file before you decide.
""")
    return {
        "gain of the south as drawn": bases["difference_mpa"] / PSI,
        "mean gain of the south": gain,
        "lowest of the north": min(firsts),
        "lowest of the south": min(seconds),
    }


EXAMPLE = Example(
    "Which of two bottoms is better?",
    "`compare` of two profiles, then of one `study` of both",
    write,
    {
        "gain of the south as drawn": Key(7.0, 0.4, "psi"),
        "mean gain of the south": Key(4.642, 0.3, "psi"),
        "lowest of the north": Key(85.3, 0.4, "psi"),
        "lowest of the south": Key(89.9, 0.4, "psi"),
    },
)
