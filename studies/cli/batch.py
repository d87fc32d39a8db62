"""Many bottoms in one table."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from domemargin.fea.core.settings import Settings
    from domemargin.studies.verdict.calibration import Calibration


def batch(
    names: list[str],
    settings: Settings,
    tests: Calibration | None,
    out: Path | None,
    json_only: bool,
) -> None:
    """Solve the bottoms named and print a line of each; all are read before the first is solved."""
    from domemargin.profiles.files.loading import load_profile
    from domemargin.studies.cli.shared.runs import run_folder

    bottoms = [load_profile(name) for name in names]
    folder = None if json_only and out is None else run_folder(out, "bottoms")

    from domemargin.fea.bottom.reversal import reversal
    from domemargin.fea.core.record import UNANSWERED
    from domemargin.profiles.units import PSI
    from domemargin.studies.text.bases import print_batch
    from domemargin.studies.text.printing import announce_compiling
    from domemargin.studies.text.verdict import answer_data
    from domemargin.studies.verdict.answer import answer_of_record, verdict_of_record
    from domemargin.studies.whole_files import cells, write_whole

    announce_compiling()
    records = [reversal(bottom, settings, follow=False) for bottom in bottoms]
    files: list[Path] = []
    if folder is not None:
        text = io.StringIO(newline="")
        table = csv.writer(text)
        head = ("bottom", "kind", "reversal pressure (psi)", "low (psi)", "high (psi)", "verdict")
        table.writerow(head)
        for record in records:
            answer = answer_of_record(record, tests)
            verdict = verdict_of_record(record, tests)
            ends = [None] * 3 if answer is None else [answer.pressure, answer.low, answer.high]
            shown = ["" if end is None else f"{end / PSI:.4f}" for end in ends]
            name = cells([record.profile.name])[0]
            word = "" if verdict is None else verdict.word
            table.writerow([name, record.kind, *shown, word])
        files = [folder / "bottoms.csv"]
        write_whole(files[0], text.getvalue())
    if json_only:
        data = [
            record.to_dict()
            | answer_data(answer_of_record(record, tests), verdict_of_record(record, tests))
            for record in records
        ]
        sys.stdout.write(json.dumps({"bottoms": data}, allow_nan=False) + "\n")
    else:
        print_batch(records, tests, files)
    if any(record.kind in UNANSWERED for record in records):
        raise typer.Exit(1)
