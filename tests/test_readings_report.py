"""Reports of odd, small and mangled tables: an answer or a sentence, never a trace or a nan."""

from __future__ import annotations

import io
import json
import random
import warnings
from pathlib import Path

import pytest

from domemargin.profiles import InputError
from domemargin.studies.readings.file import read_readings
from domemargin.studies.readings.report import Question, Report, report_data, report_of
from domemargin.studies.text.readings_print import report_lines

OPTIONAL = ("line", "lot", "tool", "operator", "can", "event", "spring age (days)",
            "reversal (psi)")  # fmt: skip


def table(rng: random.Random) -> str:
    columns = ["time", "machine", "depth (mm)", *(c for c in OPTIONAL if rng.random() < 0.5)]
    machines = rng.choice([1, 2, 5])

    def cell(column: str) -> str:
        if column == "time":
            day, hour = rng.randrange(1, 29), rng.randrange(24)
            return rng.choice([f"2025-03-{day:02}T{hour:02}:30", f"2025-03-{day:02}", "2025-03-01"])
        if column == "machine":
            return f"M{rng.randrange(machines)}"
        if column == "depth (mm)":
            some = ["10.2", f"{rng.gauss(10.2, 0.01):.3f}", f"{rng.uniform(1, 50):.2f}", ""]
            return rng.choices(some, (6, 10, 2, 1))[0]
        if "(" in column:
            return rng.choice(["", "90", "12.5", "x"])
        return rng.choice(["", "a", "b", f"c{rng.randrange(9)}"])

    rows = range(rng.choice([1, 2, 3, 5, 8, 13, 40, 120]))
    body = "\n".join(",".join(cell(column) for column in columns) for _ in rows)
    return ",".join(columns) + "\n" + body + "\n"


@pytest.mark.parametrize("seed", range(60))
def test_any_table_gives_a_report_or_a_sentence(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    path = tmp_path / "depths.csv"
    path.write_text(table(rng))
    try:
        readings = read_readings(path)
    except InputError:
        return  # a sentence
    question = Question(
        rng.choice([None, 10.2]), rng.choice([None, 10.1]), rng.choice([None, 10.3])
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        report = report_of(readings, question)
        text = "\n".join(report_lines(report))
    json.dumps(report_data(report), allow_nan=False)
    assert max(map(len, text.splitlines())) <= 80
    assert " nan" not in text


def report_on(tmp_path: Path, machines: int, cans: int, shift: float = 0.0) -> Report:
    """Machines that scatter as sheet does; the first is off by a shift all the time."""
    rng = random.Random(3)
    rows = [
        f"2025-03-{1 + can // 20:02}T{can % 20:02}:{5 * machine:02},M{machine},"
        f"{rng.gauss(10.2, 0.007) + (shift if machine == 0 else 0.0):.4f}"
        for can in range(cans)
        for machine in range(machines)
    ]
    path = tmp_path / "depths.csv"
    path.write_text("time,machine,depth (mm)\n" + "\n".join(rows) + "\n")
    return report_of(read_readings(path), Question(10.2, 10.1, 10.3))


def test_an_offset_without_a_step_is_not_told_to_look_at_a_time(tmp_path: Path) -> None:
    text = " ".join(" ".join(report_lines(report_on(tmp_path, 5, 200, 0.12))).split())
    assert "M0: OFFSET" in text
    assert "at that time" not in text
    assert "1. the set against its record" in text


def test_many_machines_with_too_few_readings_share_a_paragraph(tmp_path: Path) -> None:
    lines = list(report_lines(report_on(tmp_path, 4, 6)))
    assert sum("NOT ENOUGH DATA" in line for line in lines) == 1
    assert "4 machines: NOT ENOUGH DATA" in lines


def test_the_figure_of_one_machine_is_wide_enough_for_its_words(tmp_path: Path) -> None:
    from domemargin.studies.figures.readings import readings_figure

    figure = readings_figure(report_on(tmp_path, 1, 3))
    figure.savefig(io.BytesIO(), format="png")
    for text in (figure._suptitle, *figure.texts):  # type: ignore[attr-defined]
        box = text.get_window_extent()
        assert 0.0 <= box.x0 < box.x1 <= figure.bbox.width
