"""A study overnight: what if it is stopped?"""

from pathlib import Path

import pandas as pd

from domemargin.studies.guide.page import Example, Key, Page
from domemargin.studies.study.store import StoreError
from domemargin.studies.study.table import read_table

STUDY = """
name = "Night"
profile = "north"
required_pressure = "88 psi"

[plan]
kind = "sobol"                   # scrambled Sobol sequence: even in all quantities at once
cases = 24                       # the ready study `overnight` has 2,048
seed = 1

[vary.die_set_back]
from = "0 mm"
to = "0.6 mm"

[vary.bottom_gauge]
from = "0.25 mm"
to = "0.28 mm"

[vary.nose_radius]
from = "1.3 mm"
to = "1.7 mm"
"""


def write(page: Page) -> dict[str, float]:
    """Kill a study, go on with it, and hold its table to that of an undisturbed run."""
    page.text("""
Studies of thousands of cases run over night, and machines are switched off. This study is killed
in the middle, workers and all, as a crash of the machine would do:
""")
    page.file("night.toml", STUDY)
    store = page.folder / "night" / "study.sqlite"

    def ready() -> bool:
        return _answered(store) >= 4

    page.kill("domemargin study night.toml --out night", ready)
    left = _answered(store)
    page.text("The same command goes on where it was stopped:")
    page.run("domemargin study night.toml --out night")
    page.text("""
For comparison a run that nobody disturbs. The two tables hold the same pressures to the last digit.
The margin report of the run that was killed:
""")
    page.run("domemargin study night.toml --out quiet")
    page.run("domemargin margin night")
    page.figure("night/margin.png", "What 24 points say of three quantities")
    killed, quiet = (pd.read_csv(page.folder / run / "cases.csv") for run in ("night", "quiet"))
    pressures = [name for name in killed if "reversal" in name and name.endswith("_mpa")]
    apart = (killed[pressures] - quiet[pressures]).abs().max().max()
    data = page.read("night/margin.json")
    return {
        "cases lost of 24": 24.0 - len(killed),
        "largest difference": float(apart),
        "cases solved before the kill": float(left),
        "error of the surrogate": data["surrogate"]["error_mpa"],
    }


def _answered(store: Path) -> int:
    """How many cases a store under way holds; 0 where there is none yet."""
    if not store.exists():
        return 0
    try:
        return int((read_table(store)["state"] != "").sum())
    except StoreError:  # it is only just being made
        return 0


EXAMPLE = Example(
    "A study overnight: what if it is stopped?",
    "`study`, killed and run again, against a run that was not",
    write,
    {
        "cases lost of 24": Key(0, 0, "", "the plan"),
        "largest difference": Key(0.0, 0.0, "MPa", "the undisturbed run"),
        "cases solved before the kill": Key(12, 11, "", "killed in the middle"),
        "error of the surrogate": Key(0.0, 0.002, "MPa", "an exact surrogate"),
    },
)
