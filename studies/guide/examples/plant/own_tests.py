"""What do own reversal tests change?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
import datetime
import numpy as np
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile
from domemargin.profiles.units import PSI

# two machines; one can of M1 a day goes to the reversal test.  The cans of this invented line hold
# 4 % less than the model says, and a test repeats within 0.5 %.
rng = np.random.default_rng(3)
north = load_profile("north")
start = datetime.datetime(2026, 3, 2, 6)
with open("tested.csv", "w") as file:
    print("time,machine,depth (mm),reversal (psi)", file=file)
    for n in range(200):
        for machine in (1, 2):
            depth = 10.3 + rng.normal(0.0, 0.008)
            test = ""
            if machine == 1 and n % 20 == 0:
                model = reversal(north.replaced(dome_depth=depth), waves=0).reversal_pressure_mpa
                test = f"{0.96 * model * (1.0 + rng.normal(0.0, 0.005)) / PSI:.1f}"
            time = start + datetime.timedelta(hours=n, minutes=machine)
            print(f"{time.isoformat()},M{machine},{depth:.3f},{test}", file=file)
"""


def write(page: Page) -> dict[str, float]:
    """Ten tests that lie 4 % below the model."""
    page.text("""
The model's level is taken as known to 5 % until you test cans of your own. A column `reversal
(psi)` in the readings file holds such tests; most rows leave it empty. Here are ten tests of cans
that hold 4 % less than the model says:
""")
    page.python("write_readings.py", SCRIPT)
    command = (
        'domemargin readings tested.csv --target "10.3 mm" --profile north --require "86 psi" '
        "--out report"
    )
    page.run(command)
    data = page.json(command)
    page.figure("report/readings.png", "Depth by machine")
    one = data["machines"][0]
    before, after = (one[what]["mpa"] / PSI for what in ("pressure", "calibrated"))
    page.text(f"""
Without tests M1 is put at {before:.1f} psi, with them at {after:.1f} psi. The level is weighed: ten
tests bring it nearly, not wholly, to what they measured. Tests that lie further from the model than
it is thought to be uncertain are reported as a contradiction, and not averaged away.
""")
    return {
        "level": data["calibration"]["level"],
        "uncertainty of the level": data["calibration"]["level_sd"],
        "M1 without tests": before,
        "M1 with tests": after,
    }


EXAMPLE = Example(
    "What do own reversal tests change?",
    "`readings` with a column of tests: the model's level, with and without them",
    write,
    {
        "level": Key(0.96, 0.01, "", "put into the tests"),
        "uncertainty of the level": Key(0.00396, 0.001, ""),
        "M1 without tests": Key(90.39, 0.5, "psi"),
        "M1 with tests": Key(86.77, 0.6, "psi", "0.96 of the model, put into the tests"),
    },
)
