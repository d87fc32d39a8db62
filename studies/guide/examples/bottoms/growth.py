"""How much growth stays after pasteurising?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """Growth of stand ring and dome at three pressures, loaded and let off."""
    page.text("""
Long before a bottom reverses, its stand ring and dome move, and part of that movement stays: the
can leaves the pasteuriser taller than it entered, and may rock or no longer stack. `--at` names the
pressures at which growth is wanted; here those of a lorry, a mild and a harsh pasteuriser.
""")
    page.run('domemargin reversal harbour --at "50 psi" --at "70 psi" --at "85 psi" --out harbour')
    growth = page.read("harbour/record.json")["growth"]
    last = growth[-1]
    page.text(f"""
At 85 psi the stand ring has gone down by {last["stand_growth_mm"]:.2f} mm, and
{last["permanent_stand_growth_mm"]:.2f} mm of that is permanent growth. Between 50 and 85 psi the
permanent part grows far more than the pressure does: near the reversal pressure a few psi matter.
The harbour profile carries the hardening that forming leaves in nose and legs, as a profile must
for growth to mean anything. The curve shows the path to reversal:
""")
    page.figure("harbour/reversal.png", "Pressure against travel of dome and stand ring")
    page.text(
        "*Time and temperature are not modelled: pressure held for minutes at 62 C may leave more.*"
    )
    assert abs(last["pressure_mpa"] / PSI - 85) < 1e-6
    return {
        "ring at 85 psi": last["stand_growth_mm"],
        "ring, permanent, at 50 psi": growth[0]["permanent_stand_growth_mm"],
        "ring, permanent, at 85 psi": last["permanent_stand_growth_mm"],
    }


EXAMPLE = Example(
    "How much growth stays after pasteurising?",
    "`reversal` with `--at`: growth under pressure and permanent growth",
    write,
    {
        "ring at 85 psi": Key(2.287, 0.03, "mm"),
        "ring, permanent, at 50 psi": Key(0.027, 0.01, "mm"),
        "ring, permanent, at 85 psi": Key(1.970, 0.03, "mm"),
    },
)
