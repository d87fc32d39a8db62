"""What does forming leave in the bottom, and what is it worth?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """Form the north bottom, and take its state apart."""
    page.text("""
The doming station bends, stretches and hardens the sheet. `doming` carries the blank through the
stroke, lets it spring back, and raises the pressure in what is left. With `--parts` it adds
thickness, hardening and residual stress one after another.
""")
    page.run("domemargin doming north --parts --out formed")
    page.figure("formed/doming.png", "Tools and metal, force against stroke, strains and gauge")
    data = page.read("formed/doming.json")
    parts = {name: one["reversal_pressure_mpa"] / PSI for name, one in data["reversal"].items()}
    shape, thick, hard, whole = parts.values()
    page.text(f"""
Thinning costs {shape - thick:.1f} psi, hardening brings {hard - thick:.1f} psi, and residual stress
takes {hard - whole:.1f} psi away again. In sum the formed bottom comes within
{abs(whole - shape):.1f} psi of one that has only its shape. That is a coincidence of this tooling,
not a rule. The share of kinematic hardening moves the last line most; measure it before you trust
the number.
""")
    return {
        "depth": data["depth_mm"],
        "springback": data["springback_mm"],
        "reversal, shape only": shape,
        "reversal, whole state": whole,
    }


EXAMPLE = Example(
    "What does forming leave in the bottom?",
    "`doming --parts`: thickness, hardening and residual stress, each in psi",
    write,
    {
        "depth": Key(10.428, 0.01, "mm"),
        "springback": Key(0.326, 0.01, "mm"),
        "reversal, shape only": Key(98.5, 0.6, "psi"),
        "reversal, whole state": Key(97.9, 0.6, "psi"),
    },
)
