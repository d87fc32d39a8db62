"""What do tensile and reverse tests of a coil say?"""

from domemargin.studies.guide.page import Example, Key, Page

SCRIPT = """
import numpy as np
from domemargin.studies.metal.reverse import follow
from domemargin.studies.metal.tensile import law_stress

# an invented coil: Voce 268 + 45 (1 - exp(-25 ep)) MPa, three strips that scatter by 1 %, and one
# that was pulled to 2 % and pushed back, with a kinematic share of 0.4
rng = np.random.default_rng(4)
ep = np.concatenate(([0.0], np.geomspace(1e-6, 0.08, 2000)))
with open("pull.csv", "w") as file:
    print("specimen,engineering strain (%),engineering stress (MPa)", file=file)
    for name in ("a", "b", "c"):
        stress = law_stress("voce", np.array([268, 45, 25]) * rng.normal(1, 0.01, 3), ep)
        strain = np.concatenate((np.linspace(0, 0.003, 40), np.linspace(0.0032, 0.06, 200)))
        true = np.minimum(69000 * strain, np.interp(strain, stress / 69000 + ep, stress))
        load = true * np.exp(-strain) + rng.normal(0, 0.4, strain.size)
        for e, s in zip(np.expm1(strain), load):
            print(f"{name},{100 * e:.4f},{s:.2f}", file=file)
strain = np.concatenate((np.linspace(0, 0.02, 120), np.linspace(0.02, -0.02, 240)[1:]))
stress = follow("share", np.array([268, 45, 25, 0.4]), 69000.0, strain)
with open("reverse.csv", "w") as file:
    print("true strain (%),true stress (MPa)", file=file)
    for e, s in zip(strain, stress + rng.normal(0, 1.0, stress.size)):
        print(f"{100 * e:.4f},{s:.2f}", file=file)
"""

SOLVE = """
import tomllib
from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles import load_profile
from domemargin.profiles.files.loading import parse_profile
from domemargin.profiles.files.writing import dump_profile

tables = tomllib.loads(dump_profile(load_profile("harbour")))
for name in ("coil", "coil-without-reverse"):
    tables["material"] = tomllib.load(open(f"{name}/material.toml", "rb"))["material"]
    found = reversal(parse_profile(tables), waves=0)
    growth = found.growth[0].permanent_stand_growth_mm
    print(f"{name}: {found.reversal_pressure_mpa / 0.0068947573:.1f} psi, "
          f"permanent growth at 60 psi {growth:.2f} mm")
"""


def write(page: Page) -> dict[str, float]:
    """Three tensile curves and a reverse test, with and without the latter."""
    page.text("""
A profile needs a yield curve and, where metal is bent and unbent, what happens when load turns
back. The tests of an invented coil:
""")
    page.python("write_tests.py", SCRIPT)
    page.run("domemargin metal pull.csv reverse.csv --name coil --out coil")
    page.figure("coil/metal.png", "Tensile curves and reverse test with their fits")
    page.text("""
Without the reverse test the share is not known and 0 is taken. What that does to a bottom whose
nose and legs have been worked:
""")
    page.run("domemargin metal pull.csv --name coil --out coil-without-reverse")
    out = page.python("solve.py", SOLVE)
    pressures = [float(line.split(":")[1].split("psi")[0]) for line in out.strip().splitlines()]
    found = page.read("coil/metal.json")
    fit = next(one for one in found["fits"] if one["law"] == "voce")["parameters"]
    assert 50.0 < pressures[0] < pressures[1] < 150.0
    return {
        "yield strength": fit["yield_strength"]["value"],
        "kinematic share": found["reverse"]["parameters"]["kinematic_share"]["value"],
        "stress at 20 % by Voce": found["stress_at_0.2_mpa"]["voce"],
    }


EXAMPLE = Example(
    "What do tensile and reverse tests of a coil say?",
    "`metal`: yield curve, kinematic share, and what the tests do not reach",
    write,
    {
        "yield strength": Key(268.0, 4.0, "MPa", "put into the tests"),
        "kinematic share": Key(0.40, 0.03, "", "put into the test"),
        "stress at 20 % by Voce": Key(312.7, 5.0, "MPa", "268 + 45 (1 - exp(-5))"),
    },
)
