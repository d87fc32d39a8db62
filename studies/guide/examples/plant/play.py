"""Is a spread explained by the sheet, or does it point at play?"""

from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
import datetime
import numpy as np

# six machines, 42 days: lots of sheet move all of them alike, can and gauge scatter a little.
# M2 reads 0.08 mm low.  M4 has play: its cans scatter by another 0.03 mm.
rng = np.random.default_rng(7)
start = datetime.datetime(2026, 3, 2, 6)
lots = rng.normal(0.0, 0.004, 21)
with open("depths.csv", "w") as file:
    print("time,machine,depth (mm),lot", file=file)
    for shift in range(126):
        lot = shift // 6
        for machine in range(1, 7):
            for can in range(3):
                depth = 10.2 + lots[lot] + rng.normal(0.0, 0.0061) + rng.normal(0.0, 0.004)
                depth += {2: -0.08, 4: rng.normal(0.0, 0.03)}.get(machine, 0.0)
                time = start + datetime.timedelta(hours=8 * shift, minutes=9 * machine + can)
                print(f"{time.isoformat()},M{machine},{depth:.3f},lot {101 + lot}", file=file)
"""


def write(page: Page) -> dict[str, float]:
    """Readings with known causes, and whether the report finds them."""
    page.text("""
Depth readings of six machines scatter. Sheet, process and gauge explain some of that; play in a
drive does not follow from them. To see what the report makes of it, here are readings with known
causes: machine M2 is set 0.08 mm low, and M4 has play worth 0.03 mm. (`domemargin plant FILE`
writes a larger plant of that kind.)
""")
    page.python("write_readings.py", SCRIPT)
    command = 'domemargin readings depths.csv --target "10.2 mm" --out report'
    page.run(command)
    machines = {one["machine"].split()[-1]: one for one in page.json(command)["machines"]}
    page.figure("report/readings.png", "Depth by machine with what was found")
    play, low = machines["M4"]["unexplained_mm"], machines["M2"]["from_target_mm"]
    page.text(f"""
The report finds {play:.3f} mm of scatter at M4 that nothing explains, and M2 {-low:.3f} mm below
the target. They are treated in different ways. M4: look for play first. A deeper set would hide it,
load the drive and end in split bottoms. M2: its scatter is explained, so its set may be looked at.
""")
    return {
        "M4, scatter not explained": play,
        "M2, from the target": low,
        "most of the others": max(
            abs(one[what])
            for name, one in machines.items()
            if name not in ("M2", "M4")
            for what in ("unexplained_mm", "from_target_mm")
        ),
    }


EXAMPLE = Example(
    "Is a spread explained by the sheet, or does it point at play?",
    "`readings`: a verdict for every machine, and what to check first",
    write,
    {
        "M4, scatter not explained": Key(0.030, 0.003, "mm", "put into the readings"),
        "M2, from the target": Key(-0.08, 0.004, "mm", "put into the readings"),
        "most of the others": Key(0.0, 0.006, "mm", "put into the readings"),
    },
)
