"""Reports of odd, small and mangled tables: an answer or a sentence, never a trace or a nan."""

from __future__ import annotations

import io
import json
import random
import warnings
from dataclasses import replace
from pathlib import Path

import pytest

from domemargin.profiles import InputError
from domemargin.studies.diagnosis.report import Question, Report, report_data, report_of
from domemargin.studies.diagnosis.scatter import KnownScatter
from domemargin.studies.readings.file import read_readings
from domemargin.studies.text.readings_print import report_lines
from domemargin.studies.text.shift import shift_lines, write_shift

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


def test_capability_is_as_observed_unless_the_gauge_was_measured(tmp_path: Path) -> None:
    rng = random.Random(3)
    rows = [f"2025-03-{1 + i // 20:02}T{i % 20:02}:00,M1,{rng.gauss(10.2, 0.0041):.4f},\n"
            for i in range(400)]  # fmt: skip
    rows += [f"2025-03-25T{i // 3:02}:{i % 3},M1,{10.2 + rng.gauss(0.0, 0.002):.4f},can {i // 3}\n"
             for i in range(60)]  # fmt: skip
    path = tmp_path / "depths.csv"
    head = "time,machine,depth (mm),can\n"
    path.write_text(head + "".join(rows[:400]))
    readings = read_readings(path)
    (seen,) = report_data(report_of(readings, Question(10.2, 10.17, 10.23)))["machines"]
    spread = readings.depth.std(ddof=1)
    near = min(readings.depth.mean() - 10.17, 10.23 - readings.depth.mean())
    assert seen["capability"]["cpk"][0] == pytest.approx(near / (3 * spread), rel=1e-9)
    assert "capability_less_gauge" not in seen
    known = Question(10.2, 10.17, 10.23, scatter=KnownScatter(gauge_reading=0.002),
                     gauge_measured=True)  # fmt: skip
    (both,) = report_data(report_of(readings, known))["machines"]
    assert both["capability"] == seen["capability"]
    left = (spread**2 - 0.002**2) ** 0.5
    assert both["capability_less_gauge"]["cpk"][0] == pytest.approx(near / (3 * left), rel=1e-9)
    # a gauge study: repeats make no cans
    path.write_text(head + "".join(rows))
    report = report_of(read_readings(path), Question(10.2, 10.17, 10.23))
    assert report.gauge is not None
    assert report.gauge.freedom == 40
    assert report.diagnosis.findings[0].readings == 420
    assert report.corrected[0] is not None
    assert any("40 readings repeat a can" in note for note in report.notes)


def test_the_page_for_a_shift_meeting(tmp_path: Path) -> None:
    report = report_on(tmp_path, 5, 200, 0.12)
    page = list(shift_lines(report))
    assert max(map(len, page)) <= 80
    text = " ".join(" ".join(page).split())
    assert "1. M0: depth is off" in text
    assert "Nothing to do at 4 of 5 machines" in text
    write_shift(report, tmp_path / "shift.txt")
    written = (tmp_path / "shift.txt").read_text(encoding="utf-8")
    assert "lock it out" in written
    assert "model estimate" in written


def test_the_chance_goes_by_the_share_that_ails(tmp_path: Path) -> None:
    report = report_on(tmp_path, 5, 200, 0.12)
    rare = replace(report, question=replace(report.question, ailing=0.01))
    chances = [report_data(one)["machines"][0]["chance_right"] for one in (rare, report)]
    assert 0.5 < chances[0] < chances[1] <= 1.0


def test_subgroups_are_reported(tmp_path: Path) -> None:
    rng = random.Random(3)
    rows = [
        f"2025-03-{1 + i // 12:02}T{2 * (i % 12):02}:{5 * can:02},M1,{rng.gauss(10.2, 0.007):.4f}\n"
        for i in range(60)
        for can in range(3)
    ]
    path = tmp_path / "depths.csv"
    path.write_text("time,machine,depth (mm)\n" + "".join(rows))
    report = report_of(read_readings(path), Question(10.2))
    (one,) = report_data(report)["machines"]
    assert one["subgroup_chart"]["n"] == 3
    assert one["subgroup_chart"]["subgroups"] == 60
    assert any("in subgroups, of 3 cans" in line for line in report_lines(report))


@pytest.mark.parametrize("share", [1.0, 0.1])
def test_play_that_comes_and_goes_is_said_to_only_if_it_does(share: float, tmp_path: Path) -> None:
    rng = random.Random(5)

    def depth(machine: int) -> float:
        play = rng.gauss(0.0, 0.06) if machine == 0 and rng.random() < share else 0.0
        return rng.gauss(10.2, 0.007) + play

    rows = [
        f"2025-03-{1 + i // 20:02}T{i % 20:02}:{7 * m:02},M{m},{depth(m):.4f}"
        for i in range(300)
        for m in range(4)
    ]
    path = tmp_path / "depths.csv"
    path.write_text("time,machine,depth (mm)\n" + "\n".join(rows) + "\n")
    data = report_data(report_of(read_readings(path), Question(10.2)))["machines"][0]
    assert data["verdict"] == "spread not explained"
    assert ("is intermittent" in data["evidence"]) == (share < 1.0)
