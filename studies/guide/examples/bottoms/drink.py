"""What pressure does the drink ask for?"""

from domemargin.profiles.units import PSI
from domemargin.studies.guide.page import Example, Key, Page


def write(page: Page) -> dict[str, float]:
    """Pressures of a carbonated drink through the can's history."""
    page.text("""
A drink of 2.6 volumes of carbon dioxide is filled at 4 C, pasteurised at 62 C in a works 500 m
above the sea, and may lie in a lorry at 45 C. Which of these asks most of the bottom?
""")
    command = (
        'domemargin carbonation "2.6 vol" --stage "filling 4 C" '
        '--stage "pasteurising 62 C 500 m" --stage "lorry 45 C"'
    )
    page.run(command)
    data = page.json(command)
    page.text("""
Pasteurising does. The pressure is that of equilibrium, which a short stage stays below; sugar,
alcohol and air left in the headspace move it. The answer names the next command:
""")
    required = data["required_mpa"] / PSI
    page.run(f'domemargin reversal north --require "{required:.1f} psi"')
    page.figure("results/tarnholt-north-line-66-mm/reversal.png", "The north bottom against it")
    stages = {one["name"]: one["pressure_mpa"] / PSI for one in data["stages"]}
    return {"filling": stages["filling"], "lorry": stages["lorry"], "required": required}


EXAMPLE = Example(
    "What pressure does the drink ask for?",
    "`carbonation`: the pressure at every stage of the can's history",
    write,
    {
        "filling": Key(11.39, 0.1, "psi"),
        "lorry": Key(60.43, 0.5, "psi"),
        "required": Key(86.76, 0.5, "psi"),
    },
)
