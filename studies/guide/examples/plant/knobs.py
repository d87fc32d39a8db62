"""Which knob regains margin, and what does it cost?"""

from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """The depth budget of the north tooling."""
    page.text("""
Depth is short by 0.10 mm. Set, spacer, spring, clamp, friction, sheet, radii: which of these
knobs regains the depth on this station, and what does each cost in thinning, force and reversal
pressure?
""")
    page.run("domemargin doming north --budget --out budget")
    data = page.read("budget/doming.json")["budget"]
    slopes = {one["knob"]: one for one in data["slopes"]}
    ways = {one["knob"]: one for one in data["ways"]}
    spacer = ways["flange height (spacer)"]
    page.text(f"""
On this station the flange already bottoms on the nose at the end of the stroke. More set gains no
depth and only loads the drive; a spacer of {spacer["change"]:.2f} mm under the die gains it, with
{spacer["reversal_psi"]:.1f} psi and {spacer["thinning_points"]:.2f} points of thinning.
Pressure depends on other knobs too, most on gauge and yield strength.

*Changes of tooling and setting are decided by qualified people. Depth that varies from can to can
is not corrected by a change of set: see [does the spread point at play](play.md).*
""")
    page.figure("budget/doming.png", "The stroke that these slopes belong to")
    return {
        "spacer for 0.10 mm": spacer["change"],
        "depth by set": slopes["set"]["depth_mm"],
        "reversal by gauge": slopes["gauge"]["reversal_psi"] / 100,
    }


EXAMPLE = Example(
    "Which knob regains margin, and what does it cost?",
    "`doming --budget`: slopes, and the cost of 0.10 mm of depth",
    write,
    {
        "spacer for 0.10 mm": Key(0.10, 0.01, "mm", "the flange holds the nose: one to one"),
        "depth by set": Key(0.0, 0.02, "mm per mm", "the flange holds the nose: no depth to gain"),
        "reversal by gauge": Key(4.91, 0.15, "psi per 0.01 mm"),
    },
)
