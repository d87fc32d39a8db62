"""Whatever happens to a store, in whatever order: it gives right answers or is rejected.

Judge: the table of an uninterrupted run on a new store (brute force).
"""

from __future__ import annotations

import random
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path

import pandas as pd
import study_stand_in as stand_in
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from store_spoilers import alter, damage
from test_study_runner import gauges, table

from domemargin.studies.study.engines import Serial
from domemargin.studies.study.rescue import rescue
from domemargin.studies.study.runner import Progress, run_study
from domemargin.studies.study.store import StoreError
from domemargin.studies.study.study import Study

# a commit waits for the disk: in memory the test takes a tenth of the time
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
STUDIES = st.builds(gauges, st.integers(258, 261), st.integers(262, 264), st.integers(1, 2))


@lru_cache
def uninterrupted(text: str) -> pd.DataFrame:
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        path = Path(folder) / "calm.sqlite"
        run_study(Study.from_json(text), path, Serial, stand_in.STRAIGHT)
        return table(path)


def one_sentence(error: StoreError) -> None:
    assert "\n" not in str(error)
    assert len(str(error)) < 400


class Stores(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(dir=MEMORY))
        self.path = self.folder / "study.sqlite"
        self.study = gauges(260, 262)

    def teardown(self) -> None:
        shutil.rmtree(self.folder)

    def attempt(self, study: Study, most: int) -> None:
        def stop(progress: Progress) -> None:
            if progress.done >= most:
                raise InterruptedError

        self.study = study
        try:
            run_study(study, self.path, Serial, stand_in.STRAIGHT, stop)
        except InterruptedError:
            return
        assert table(self.path).equals(uninterrupted(study.to_json()))

    @rule(study=STUDIES, most=st.integers(1, 20))
    def run(self, study: Study, most: int) -> None:
        try:
            self.attempt(study, most)
        except StoreError as error:
            one_sentence(error)
            rescue(self.path)
            self.attempt(study, most)

    @precondition(lambda self: self.path.exists() and self.path.stat().st_size)
    @rule(seed=st.integers(0, 2**32), spoil=st.sampled_from([damage, alter]))
    def spoil(self, seed: int, spoil: object) -> None:
        spoil(self.path, random.Random(seed))  # type: ignore[operator]

    @rule()
    def rescue(self) -> None:
        try:
            rescue(self.path)
        except StoreError as error:
            one_sentence(error)

    @invariant()
    def what_is_read_is_right(self) -> None:
        try:
            found = table(self.path)
        except StoreError as error:
            one_sentence(error)
            return
        calm = uninterrupted(self.study.to_json()).set_index("key")
        for row in found[found["state"] != ""].to_dict("records"):
            assert row["reversal_pressure_mpa"] == calm["reversal_pressure_mpa"][row["key"]]


Stores.TestCase.settings = settings(
    max_examples=20,
    stateful_step_count=8,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
TestStores = Stores.TestCase
