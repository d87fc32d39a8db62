"""What kinds of metal cost: processor time of a case over that of plain metal, in one run.

python tests/benchmarks/metals.py
"""

from __future__ import annotations

import statistics
import time
from dataclasses import replace

from domemargin.fea.bottom.reversal import reversal
from domemargin.profiles.files.loading import load_profile
from domemargin.profiles.material import BackStress, Material

ROUNDS = 7
KINDS = {
    "plain": {},
    "share 0.3": {"kinematic_share": 0.3},
    "fading": {"back_stress": BackStress(40.0, 60.0)},
    "r 0.7": {"r_value": 0.7},
    "r 0.9": {"r_value": 0.9},
    "r 1.2": {"r_value": 1.2},
}


def kinds(material: Material) -> dict[str, Material]:
    """The same metal in each kind."""
    return {name: replace(material, **changes) for name, changes in KINDS.items()}


def main() -> None:
    """Print a row for each bottom and kind."""
    for name in ("north", "south", "harbour"):
        profile = load_profile(name)
        cases = {k: replace(profile, material=m) for k, m in kinds(profile.material).items()}
        iterations = {k: reversal(case).iterations for k, case in cases.items()}
        spent: dict[str, list[float]] = {k: [] for k in cases}
        for _ in range(ROUNDS):
            for k, case in cases.items():
                start = time.process_time()
                reversal(case)
                spent[k].append(time.process_time() - start)
        plain = spent["plain"]
        for k, times in spent.items():
            ratio = statistics.median(a / b for a, b in zip(times, plain, strict=True))
            each = ratio * iterations["plain"] / iterations[k]
            print(
                f"{name:8} {k:10} {1e3 * min(times):6.1f} ms  x {ratio:.2f}  "
                f"{iterations[k]} iterations, x {each:.2f} each"
            )


if __name__ == "__main__":
    main()
