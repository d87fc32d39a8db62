"""Is this bottom safe?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """Solve the north bottom once, and hold it against two required pressures."""
    page.text("""
The Tarnholt works fill a drink that asks 90 psi of the bottom. The north bottom is a ready profile;
any other is a file of your own (see [a bottom of your own](own_bottom.md)).
""")
    page.run('domemargin reversal north --require "90 psi" --out north')
    page.figure(
        "north/reversal.png", "The bottom before, at and after reversal; pressure by travel"
    )
    record = page.read("north/record.json")
    low, high = (record["answer"][end] / PSI for end in ("low_mpa", "high_mpa"))
    page.text(f"""
The reversal pressure lies {100 * record["margin"]:.1f} % above the requirement, but the requirement
lies inside the 95 % interval, {low:.1f} to {high:.1f} psi. So the answer is neither safe nor not
safe.
The budget says that nearly all of the interval is the model: nobody has broken a can of this line.
With 80 psi to hold, the whole interval holds:
""")
    page.run('domemargin reversal north --require "80 psi" --out north-80')
    easier = page.read("north-80/record.json")
    return {
        "reversal pressure": record["reversal_pressure_mpa"] / PSI,
        "low end of the interval": low,
        "margin over 80 psi": 100 * easier["margin"],
    }


EXAMPLE = Example(
    "Is this bottom safe?",
    "`reversal` with `--require`: a margin, a verdict, and when not to trust it",
    write,
    {
        "reversal pressure": Key(91.07, 0.4, "psi"),
        "low end of the interval": Key(81.95, 0.6, "psi"),
        "margin over 80 psi": Key(13.84, 0.5, "%"),
    },
)
