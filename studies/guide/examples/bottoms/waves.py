"""Does it reverse axisymmetrically, or in waves?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
from pathlib import Path
from domemargin.profiles import dump_profile, load_profile

trial = load_profile("north").replaced(yield_strength=600.0)  # MPa, an invented trial metal
Path("trial.toml").write_text(dump_profile(trial))
"""


def write(page: Page) -> dict[str, float]:
    """A bottom of very strong metal, its waves, and the pressure lost by waviness."""
    page.text("""
A bottom of usual metal reverses axisymmetrically: its limit precedes any waves. Strong metal stays
elastic longer, and then waves round the circumference may form first. This script writes a profile
file of the north bottom with 600 MPa yield strength:
""")
    page.python("trial.py", SCRIPT)
    page.run("domemargin waves trial.toml --out trial")
    page.figure("trial/waves.png", "Onset pressure by number of waves, and the first mode")
    data = page.read("trial/waves.json")
    waves = data["stability"]["flow"]["waves"]
    page.text(f"""
It buckles in {waves} waves, below its axisymmetric limit. A bottom that buckles in waves is
sensitive to waves in its shape: this is the pressure lost by {waves} waves of 5, 10 and 20 µm round
the can.
""")
    command = (
        f'domemargin waviness trial.toml --waves {waves} --amplitude "5 um" '
        '--amplitude "10 um" --amplitude "20 um"'
    )
    page.run(command)
    costs = page.json(command)["costs"]
    return {
        "waves": waves,
        "onset pressure": data["reversal_pressure_mpa"] / PSI,
        "limit, all round": data["stability"]["axisymmetric_limit_mpa"] / PSI,
        "lost to waves of 5 µm": 100 * costs[0]["share_lost"],
    }


EXAMPLE = Example(
    "Does it reverse axisymmetrically, or in waves?",
    "`waves`, and `waviness` for the pressure lost by waves round the can",
    write,
    {
        "waves": Key(6, 0, ""),
        "onset pressure": Key(189.7, 1.0, "psi"),
        "limit, all round": Key(194.7, 1.0, "psi"),
        "lost to waves of 5 µm": Key(1.30, 0.1, "%"),
    },
)
