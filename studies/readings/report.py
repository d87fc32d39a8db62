"""From readings to an answer: charts, capability, components, diagnosis, pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.studies.diagnosis.diagnosis import Diagnosis, diagnose
from domemargin.studies.diagnosis.notes import notes_of
from domemargin.studies.diagnosis.scatter import KnownScatter, Slopes, explained_spread
from domemargin.studies.readings.calibration import NO_TESTS, Calibration, calibrate
from domemargin.studies.readings.components import (
    Components,
    GaugeStudy,
    depth_components,
    gauge_study,
)
from domemargin.studies.readings.control_capability import Capability, capability
from domemargin.studies.readings.control_charts import Chart, individuals_chart
from domemargin.studies.readings.pressure import Margin, PressureCurve, margin_of, pressure_curve
from domemargin.studies.readings.readings import Readings
from domemargin.studies.text.readings_words import (
    LOCK_OUT,
    REMEDIES,
    Remedy,
    checks,
    evidence,
    rate,
)

if TYPE_CHECKING:
    from domemargin.profiles import Profile


@dataclass(frozen=True)
class Question:
    """What is asked of readings.

    target : depth aimed at, mm.  low, high : tolerance of depth, mm.  required : pressure to
    hold, MPa.  wanted : margin asked for, as a share.  scatter, slopes : what is known of sheet
    and process, and of doming.  remedies : ways to win depth.  notes : to be passed on.
    """

    target: float | None = None
    low: float | None = None
    high: float | None = None
    required: float | None = None
    wanted: float = 0.0
    scatter: KnownScatter = field(default_factory=KnownScatter)
    slopes: Slopes = field(default_factory=Slopes)
    remedies: tuple[Remedy, ...] = REMEDIES
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """All that the readings say; charts, capabilities and margins have one entry a machine.

    margins : by the model; calibrated : after own tests, empty where there are none.
    """

    readings: Readings
    question: Question
    diagnosis: Diagnosis
    notes: tuple[str, ...]
    charts: tuple[Chart | None, ...]
    capabilities: tuple[Capability | None, ...]
    components: Components
    gauge: GaugeStudy | None
    curve: PressureCurve | None = None
    calibration: Calibration = NO_TESTS
    margins: tuple[Margin, ...] = ()
    calibrated: tuple[Margin, ...] = ()


def report_of(readings: Readings, question: Question, profile: Profile | None = None) -> Report:
    """Everything, from one call.

    profile : the bottom, for pressures; without it, or without a required pressure, there are
    none.  Raises InputError where the bottom cannot be solved.
    """
    gauge = gauge_study(readings)
    scatter = question.scatter
    if gauge is not None:
        scatter = replace(scatter, gauge_reading=gauge.together)
    explained = explained_spread(scatter, question.slopes)
    diagnosis = diagnose(readings, explained, question.target)
    parts = [readings.depth[readings.rows_of(i)] for i in readings.machine.used()]
    limits = (question.low, question.high)
    report = Report(
        readings, question, diagnosis, (*question.notes, *notes_of(readings, diagnosis)),
        charts=tuple(individuals_chart(part) if part.size > 1 else None for part in parts),
        capabilities=tuple(
            capability(part, *limits, explained.reading)
            if limits != (None, None) and part.size > 2 else None
            for part in parts
        ),
        components=depth_components(readings), gauge=gauge,
    )  # fmt: skip
    if profile is None or question.required is None:
        return report
    levels = np.array([one.mean for one in diagnosis.findings])
    tested = np.flatnonzero(~np.isnan(readings.reversal))
    seen = np.append(levels, readings.depth[tested])
    curve = pressure_curve(profile, float(seen.min()), float(seen.max()), scatter)
    calibration = calibrate(
        curve.at(readings.depth[tested]), readings.reversal[tested], curve.sheet
    )

    def margins(by: Calibration) -> tuple[Margin, ...]:
        assert question.required is not None
        return tuple(
            margin_of(one, curve, question.required, explained, question.wanted, by)
            for one in diagnosis.findings
        )

    return replace(
        report, curve=curve, calibration=calibration, margins=margins(NO_TESTS),
        calibrated=margins(calibration) if calibration.tests else (),
    )  # fmt: skip


def report_data(report: Report) -> dict[str, Any]:
    """The report as plain data for JSON; pressures MPa, lengths mm."""
    from domemargin.fea.core.record import CAUTION

    machines = []
    for i, one in enumerate(report.diagnosis.findings):
        chart, index = report.charts[i], report.capabilities[i]
        row: dict[str, Any] = {
            "machine": one.machine, "line": one.line, "verdict": one.verdict,
            "evidence": evidence(one, report.diagnosis), "also": list(one.also),
            "check": list(checks(one, report.diagnosis)), "error_rate": rate(one.verdict),
            "readings": one.readings, "more_needed": one.more, "mean_mm": one.mean,
            "from_target_mm": one.deviation, "from_target_error_mm": one.deviation_se,
            "spread_mm": one.spread, "unexplained_mm": one.unexplained,
            "unexplained_95_mm": [one.unexplained_low, one.unexplained_high],
            "movement": {"kind": one.shape.kind, "change_mm": one.shape.change,
                         "chance": one.shape.chance, "at_day": one.shape.at_day},
            "lots": [{"lot": name, "level_mm": level} for name, level in one.lots],
            "misread_lines": list(one.misreads),
        }  # fmt: skip
        if chart is not None:
            row["chart"] = {
                "centre_mm": chart.centre, "limits_mm": [chart.low, chart.high],
                "mean_moving_range_mm": chart.range_centre,
                "moving_range_limit_mm": chart.range_high,
                "beyond": int(chart.beyond.size), "ranges_beyond": int(chart.range_beyond.size),
                "run_points": int(chart.runs.size),
            }  # fmt: skip
        if index is not None:
            row["capability"] = {
                "cp": None if index.cp is None else list(index.cp), "cpk": list(index.cpk),
                "outside": [index.outside, index.outside_low, index.outside_high],
            }  # fmt: skip
        for name, margins in (("pressure", report.margins), ("calibrated", report.calibrated)):
            if margins:
                row[name] = _margin_data(margins[i])
        machines.append(row)
    explained, done = report.diagnosis.explained, report.calibration
    data = {
        "readings": len(report.readings), "start": report.readings.start,
        "days": report.readings.days,
        "set_aside": [
            {"line": one.line, "reason": one.reason} for one in report.readings.set_aside
        ],
        "target_mm": report.diagnosis.target, "target_given": report.diagnosis.target_given,
        "explained_mm": {"between_lots": explained.lot, "can_to_can": explained.can,
                         "gauge": explained.reading, "set": explained.set,
                         "slopes": report.question.slopes.source},
        "components_mm": report.components.deviation,
        "gauge_study_mm": None if report.gauge is None else {
            "repeatability": report.gauge.repeatability,
            "reproducibility": report.gauge.reproducibility,
            "cans": report.gauge.cans, "readings": report.gauge.readings},
        "notes": [*report.readings.notes, *report.notes], "machines": machines,
        "lock_out": LOCK_OUT, "caution": CAUTION,
    }  # fmt: skip
    if report.curve is not None:
        data |= {
            "required_mpa": report.question.required,
            "mpa_per_mm": report.curve.slope(report.diagnosis.target),
            "sheet_scatter": report.curve.sheet,
            "calibration": {
                "tests": done.tests, "level": done.level, "level_sd": done.level_sd,
                "scale": done.scale, "scale_sd": done.scale_sd,
                "contradictions": list(done.contradictions)},
            "remedies": [
                {"remedy": one.name, "depth_mm": one.depth,
                 "mpa": one.depth * report.curve.slope(report.diagnosis.target), "cost": one.cost}
                for one in report.question.remedies
            ],
        }  # fmt: skip
    return data


def _margin_data(margin: Margin) -> dict[str, Any]:
    loss = margin.loss
    return {
        "mpa": margin.pressure, "spread_mpa": margin.pressure_sd,
        "level_error_mpa": margin.level_sd, "chance_of_level_below": margin.short,
        "margin": margin.margin, "below": [margin.below, margin.below_low, margin.below_high],
        "tolerable_loss_mm": None if loss is None or math.isnan(loss) else loss,
    }  # fmt: skip
