"""What do five cans on the tester change?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page

TESTS = """can,lot,pressure (psi),stopped
1,A,93.1,
2,A,94.0,
3,A,92.2,
4,B,95.1,
5,B,93.0,yes
"""


def write(page: Page) -> dict[str, float]:
    """A doubt, five tests, and the same question again."""
    page.text("""
Without tests of its own a plant knows the level of the model to 5 % only, and the north bottom is
in doubt at 90 psi. Five cans were put on the tester; the fifth held 93 psi and was then let off:
""")
    page.file("tests.csv", TESTS, "text")
    page.run("domemargin calibrate tests.csv --profile north --out tests")
    made = page.read("tests/calibration.json")
    page.text("""
Every command takes that calibration:
""")
    page.run(
        'domemargin reversal north --require "90 psi" --out north '
        "--calibration tests/calibration.json"
    )
    record = page.read("north/record.json")
    page.figure("north/reversal.png", "The interval after five tests, in grey")
    answer = record["answer"]
    low, high = answer["low_mpa"] / PSI, answer["high_mpa"] / PSI
    page.text(f"""
The cans hold {100 * made["level"]:.1f} % more than the model says, and the interval is now
{low:.1f} to {high:.1f} psi: the whole of it holds 90 psi. What the five cans do not share with next
month's, such as another coil, comes on top: give it with `--uncertain`.
""")
    return {
        "level of the tests": 100 * made["level"],
        "low end of the interval": low,
        "high end of the interval": high,
    }


EXAMPLE = Example(
    "What do five cans on the tester change?",
    "`calibrate`, then any command with `--calibration`",
    write,
    {
        "level of the tests": Key(2.98, 0.4, "%"),
        "low end of the interval": Key(92.1, 0.6, "psi"),
        "high end of the interval": Key(95.5, 0.6, "psi"),
    },
)
