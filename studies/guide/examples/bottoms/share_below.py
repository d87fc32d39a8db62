"""What share of cans falls below the requirement?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """Cans that scatter in depth, radius, gauge and yield strength."""
    page.text("""
No two cans are alike. The ready study `line-scatter` says how depth, dome radius, gauge and yield
strength of an invented line scatter; `domemargin studies` lists the ready ones. How many of
20,000 cans reverse below 88 psi?
""")
    page.run("domemargin scatter line-scatter --cans 20000 --training 32 --out line")
    page.figure("line/scatter.png", "Reversal pressures of the cans drawn, and what matters")
    data = page.read("line/scatter.json")
    low, high = data["interval_95"]
    page.text(f"""
Between {100 * low:.2f} and {100 * high:.2f} % of the cans: the interval is that of drawing cans,
not of the model. A smooth surrogate of 32 solves judges every can, and each can near the limit is
solved itself. The table says which scatter to go after: without that of the yield strength almost
no can would fall below; depth hardly matters on this bottom.
""")
    return {
        "share below": 100 * data["share_below"],
        "mean": data["mean_mpa"] / PSI,
        "standard deviation": data["deviation_mpa"] / PSI,
        "share without scatter of gauge": 100 * data["influences"][1]["share_without"],
    }


EXAMPLE = Example(
    "What share of cans falls below?",
    "`scatter`: a share with its interval, and which scatter is to blame",
    write,
    {
        "share below": Key(1.606, 0.4, "%"),
        "mean": Key(91.07, 0.4, "psi"),
        "standard deviation": Key(1.452, 0.03, "psi"),
        "share without scatter of gauge": Key(0.689, 0.25, "%"),
    },
)
