"""Long trials: `python tests/long/store_trials.py --damaged 200 --altered 50 --kills 200`.

Judge: the table of an uninterrupted run, bit for bit (brute force).  A trial passes where the
store is rejected in one sentence, rescued, and the study run again gives that table; or where it
is read as if nothing had happened and already gives it.  Runs, and their workers, are killed at
random moments and started again; every 20 kills the table is judged.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import study_stand_in as stand_in
from store_spoilers import alter, damage
from test_study_runner import count, gauges, kill_and_resume, start_run, table

from domemargin.studies.study.engines import Serial
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.store import StoreError


def trial(made: Path, calm: object, spoil: object, rng: random.Random) -> str:
    """What became of one spoiled store; an exception is a failure."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "study.sqlite"
        shutil.copy(made, path)
        spoil(path, rng)  # type: ignore[operator]
        try:
            same = table(path).equals(calm)
            ending = "read, the same" if same else "WRONG: read, another table"
        except StoreError as error:
            ending = "rejected, rescued" if "\n" not in str(error) else "WRONG: several lines"
            rescue(path)
        run_study(STUDY, path, Serial, stand_in.STRAIGHT)
        return ending if table(path).equals(calm) else "WRONG: another table after the rerun"


def kills(many: int, seed: int) -> dict[str, int]:
    """What became of a study whose runs were killed `many` times."""
    from study_kill_quick import SOLVER
    from study_kill_quick import STUDY as KILLED

    endings: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        calm = Path(folder) / "calm.sqlite"
        run_study(KILLED, calm, Serial, SOLVER._replace(solve=stand_in.straight))
        for batch in range(0, many, 20):
            rough = Path(folder) / str(batch)
            rough.mkdir()
            here = min(20, many - batch)
            endings["runs"] += kill_and_resume(rough, "study_kill_quick", here, seed + batch, 3.0)
            last = start_run(rough, "study_kill_quick")
            _, errors = last.communicate(timeout=120)
            found = table(rough / "run.sqlite")
            good = not errors and len(found) == count(KILLED) and found.equals(table(calm))
            endings["kills survived" if good else "WRONG: after kills"] += here
    return endings


STUDY = gauges(repeat=4)


def main() -> int:
    """Run the trials; status 1 where one went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--damaged", type=int, default=200)
    parser.add_argument("--altered", type=int, default=50)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "study.sqlite"
        run_study(STUDY, made, Serial, stand_in.STRAIGHT)
        calm = table(made)
        for name, spoil, trials in (
            ("damaged", damage, asked.damaged),
            ("altered", alter, asked.altered),
        ):
            endings: Counter[str] = Counter()
            for _ in range(trials):
                try:
                    endings[trial(made, calm, spoil, rng)] += 1
                except Exception as error:
                    endings[f"WRONG: {type(error).__name__}: {str(error)[:90]}"] += 1
            print(name, dict(endings), flush=True)
            wrong += sum(n for ending, n in endings.items() if ending.startswith("WRONG"))
    if asked.kills:
        endings = Counter(kills(asked.kills, asked.seed))
        print("killed", dict(endings), flush=True)
        wrong += sum(n for ending, n in endings.items() if ending.startswith("WRONG"))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
