"""How do set, overtravel and depth hang together?"""

from domemargin.studies.guide.page import Example, Key, Page

STUDY = """
name = "set"
cases = 8                           # points of a scrambled Sobol sequence
seed = 1

[vary]                              # table.field of a tooling file, low and high
"station.set" = ["-0.4 mm", "0.6 mm"]
"""

SCRIPT = """
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

table = pd.read_csv("set/doming-study.csv")
set_mm = next(c for c in table if c.startswith("station.set"))
table = table.sort_values(set_mm)
short, far = table[table[set_mm] < -0.1], table[table[set_mm] > 0.2]
for name, part in (("short of the flange", short), ("beyond it", far)):
    depth, over = (np.polyfit(part[set_mm], part[y], 1)[0] for y in ("depth_mm", "overtravel_mm"))
    print(f"{name}: {depth:.3f} mm of depth and {over:.3f} mm of overtravel per mm of set")

figure, axes = plt.subplots(figsize=(7, 4), layout="constrained")
axes.plot(table[set_mm], table.depth_mm, "o-", label="depth after springback")
axes.set(xlabel="set (mm)", ylabel="depth (mm)")
right = axes.twinx()
right.plot(table[set_mm], table.overtravel_mm, "s--", color="C1", label="overtravel")
right.set_ylabel("overtravel (mm)")
figure.legend(loc="outside upper center", ncols=2)
figure.savefig("set.png", dpi=120)
"""


def write(page: Page) -> dict[str, float]:
    """A doming study over set, and a picture drawn from its table."""
    page.text("""
`set` is how far the stroke ends beyond the place where the flange would meet the sheet were the
station rigid. A doming study solves many variants of one tooling; stopped, it goes on where it was.
""")
    page.file("set.toml", STUDY)
    page.run("domemargin doming north --study set.toml --out set")
    page.text("The table is a CSV file, for any tool you like:")
    lines = page.python("draw.py", SCRIPT).splitlines()
    page.figure("set.png", "Depth rises with set until the flange meets the nose; then overtravel")
    page.text("""
Short of the flange more set is more depth, one to one. Beyond it nose and flange bottom: depth
stays, and more set only pushes the station back against its spring and loads the drive.
""")
    words = [line.split(": ")[1].split() for line in lines]
    return {
        "depth by set, short": float(words[0][0]),
        "depth by set, beyond": float(words[1][0]),
        "overtravel by set, beyond": float(words[1][5]),
    }


RIGID = "the station moves with the set, or back by it"
EXAMPLE = Example(
    "How do set, overtravel and depth hang together?",
    "`doming --study` over set, and a picture from its table",
    write,
    {
        "depth by set, short": Key(1.0, 0.15, "mm per mm", RIGID),
        "depth by set, beyond": Key(0.0, 0.05, "mm per mm", RIGID),
        # overtravel is read at steps of 0.04 mm, over 0.4 mm of set
        "overtravel by set, beyond": Key(1.0, 0.1, "mm per mm", RIGID),
    },
)
