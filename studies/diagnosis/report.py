"""From readings to an answer: charts, capability, components, diagnosis, pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from domemargin.profiles.errors import InputError
from domemargin.studies.diagnosis.diagnosis import Diagnosis, diagnose
from domemargin.studies.diagnosis.doming import Remedy
from domemargin.studies.diagnosis.notes import notes_of
from domemargin.studies.diagnosis.pressure import Margin, PressureCurve, margin_of, pressure_curve
from domemargin.studies.diagnosis.rates import AILING, chance_right
from domemargin.studies.diagnosis.scatter import (
    KnownScatter,
    Slopes,
    explained_spread,
    scatter_parts,
)
from domemargin.studies.diagnosis.words import (
    LOCK_OUT,
    REMEDIES,
    checks,
    evidence,
    filled,
    rate,
)
from domemargin.studies.readings.calibration import NO_TESTS, Calibration, calibrate
from domemargin.studies.readings.components import (
    Components,
    GaugeStudy,
    depth_components,
    gauge_study,
    once_a_can,
)
from domemargin.studies.readings.control_capability import Capability, Gauge, capability
from domemargin.studies.readings.control_charts import (
    Chart,
    SubgroupChart,
    individuals_chart,
    subgroup_chart,
    subgroup_size,
)
from domemargin.studies.readings.readings import Readings
from domemargin.studies.verdict.answer import plant_calibration
from domemargin.studies.verdict.budget import MODEL, Part, Verdict, combined, verdict_of
from domemargin.studies.verdict.calibration import Calibration as OwnTests

if TYPE_CHECKING:
    from domemargin.profiles import Profile


@dataclass(frozen=True)
class Question:
    """What the user asks about the readings.

    target : depth aimed at, mm.  low, high : tolerance of depth, mm.  required : pressure to
    hold, MPa.  wanted : margin asked for, as a share.  scatter, slopes : what is known of sheet
    and process, and of doming.  remedies : ways to win depth.  notes : to be passed on.
    gauge_measured : whether the gauge's scatter was measured, so that it may be taken off.
    ailing : share of faulty machines, on which the chance of being right depends.
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
    gauge_measured: bool = False
    ailing: float = AILING


@dataclass(frozen=True)
class Report:
    """All results from the readings; charts, subgroups, capabilities and margins have one entry a
    machine.

    readings : one of a can.  subgroups : None where readings do not come in subgroups.
    capabilities : as observed.  corrected : less the gauge, empty where it was not measured.
    margins : by the model; calibrated : after own tests, empty where there are none.
    """

    readings: Readings
    question: Question
    diagnosis: Diagnosis
    notes: tuple[str, ...]
    charts: tuple[Chart | None, ...]
    subgroups: tuple[SubgroupChart | None, ...]
    capabilities: tuple[Capability | None, ...]
    corrected: tuple[Capability | None, ...]
    components: Components
    gauge: GaugeStudy | None
    curve: PressureCurve | None = None
    calibration: Calibration = NO_TESTS
    margins: tuple[Margin, ...] = ()
    calibrated: tuple[Margin, ...] = ()


def report_of(
    readings: Readings,
    question: Question,
    profile: Profile | None = None,
    own: OwnTests | None = None,
) -> Report:
    """The whole report, from one call.

    profile : the bottom, for pressures; without it, or without a required pressure, there are
    none.  Raises InputError where the bottom cannot be solved.
    """
    gauge = gauge_study(readings)
    scatter = question.scatter
    if gauge is not None:
        scatter = replace(scatter, gauge_reading=gauge.together)
    measured = None
    if gauge is not None or question.gauge_measured:
        measured = Gauge(scatter.gauge_reading, math.inf if gauge is None else gauge.freedom)
    cans = once_a_can(readings)
    notes = list(question.notes)
    if len(cans) < len(readings):
        notes.append(f"{len(readings) - len(cans)} readings repeat a can: they make the gauge "
                     "study, and every can counts once.")  # fmt: skip
    readings = cans
    explained = explained_spread(scatter, question.slopes)
    diagnosis = diagnose(readings, explained, question.target)
    parts = [readings.rows_of(i) for i in readings.machine.used()]
    depths = [readings.depth[rows] for rows in parts]
    clean = [
        depth[~np.isin(readings.file_line[rows], one.misreads)] if one.misreads else depth
        for depth, rows, one in zip(depths, parts, diagnosis.findings)
    ]
    limits = (question.low, question.high)

    def capabilities(by: Gauge | None) -> tuple[Capability | None, ...]:
        asked = limits != (None, None)
        return tuple(
            capability(part, *limits, by) if asked and part.size > 2 else None for part in clean
        )

    report = Report(
        readings, question, diagnosis, (*notes, *notes_of(readings, diagnosis)),
        charts=tuple(individuals_chart(part) if part.size > 1 else None for part in depths),
        subgroups=tuple(_subgroups(readings, rows) for rows in parts),
        capabilities=capabilities(None), corrected=capabilities(measured) if measured else (),
        components=depth_components(readings), gauge=gauge,
    )  # fmt: skip
    if profile is None or question.required is None:
        return report
    levels = np.array([one.mean for one in diagnosis.findings])
    tested = np.flatnonzero(~np.isnan(readings.reversal))
    seen = np.append(levels, readings.depth[tested])
    curve = pressure_curve(profile, float(seen.min()), float(seen.max()), scatter)
    if own is not None:
        if tested.size:
            raise InputError(
                "--calibration is given, and the readings hold a column reversal; give one of the "
                "two",
                "--calibration",
            )
        outside = own.outside(profile)
        if outside:
            said = f"The calibration does not hold for this bottom: {outside}."
            report = replace(report, notes=(*report.notes, said))
    calibration = (
        plant_calibration(own)
        if own is not None and not own.outside(profile)
        else calibrate(curve.at(readings.depth[tested]), readings.reversal[tested], curve.sheet)
    )

    off = measured.deviation if measured else 0.0

    def margins(by: Calibration) -> tuple[Margin, ...]:
        assert question.required is not None
        return tuple(
            margin_of(one, curve, question.required, off, question.wanted, by)
            for one in diagnosis.findings
        )

    return replace(
        report, curve=curve, calibration=calibration, margins=margins(NO_TESTS),
        calibrated=margins(calibration) if calibration.tests else (),
    )  # fmt: skip


def _subgroups(readings: Readings, rows: slice) -> SubgroupChart | None:
    found = subgroup_size(readings.day[rows])
    return None if found is None else subgroup_chart(readings.depth[rows], *found)


def report_data(report: Report) -> dict[str, Any]:
    """The report as plain data for JSON; pressures MPa, lengths mm."""
    from domemargin.fea.core.record import CAUTION

    machines = []
    for i, one in enumerate(report.diagnosis.findings):
        chart, index = report.charts[i], report.capabilities[i]
        row: dict[str, Any] = {
            "machine": one.machine, "line": one.line, "verdict": one.verdict,
            "causes": [
                {"cause": cause, "evidence": evidence(one, report.diagnosis, cause),
                 "check": list(checks(one, report.diagnosis, cause))} for cause in one.causes
            ],
            "chance_right": chance_right(one.verdict, report.question.ailing),
            "evidence_filled": filled(one),
            "evidence": evidence(one, report.diagnosis), "also": list(one.also),
            "check": list(checks(one, report.diagnosis)),
            "error_rate": rate(one.verdict, report.question.ailing),
            "readings": one.readings, "more_needed": one.more, "mean_mm": one.mean,
            "from_target_mm": one.deviation, "from_target_error_mm": one.deviation_se,
            "spread_mm": one.spread, "unexplained_mm": one.unexplained,
            "unexplained_95_mm": [one.unexplained_low, one.unexplained_high],
            "movement": {"kind": one.shape.kind, "change_mm": one.shape.change,
                         "chance": one.shape.chance, "at_day": one.shape.at_day,
                         "steps": [{"day": step.day, "size_mm": step.size, "error_mm": step.error,
                                    "logged": step.logged} for step in one.shape.steps]},
            "effective_readings": one.effective, "far_cans": one.far,
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
        group = report.subgroups[i]
        if group is not None:
            row["subgroup_chart"] = {
                "n": group.n, "subgroups": int(group.means.size), "centre_mm": group.centre,
                "limits_mm": [group.low, group.high], "mean_range_mm": group.range_centre,
                "range_limits_mm": [group.range_low, group.range_high],
                "beyond": int(group.beyond.size), "ranges_beyond": int(group.range_beyond.size),
                "run_points": int(group.runs.size),
            }  # fmt: skip
        if index is not None:
            row["capability"] = _capability_data(index)
            if report.corrected:
                less = report.corrected[i]
                row["capability_less_gauge"] = None if less is None else _capability_data(less)
        for name, margins in (("pressure", report.margins), ("calibrated", report.calibrated)):
            if margins:
                row[name] = _margin_data(margins[i], report.question.required)
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
                         "slopes": report.question.slopes.source,
                         "gauge_measured": bool(report.corrected or report.gauge
                                                or report.question.gauge_measured),
                         "by_cause": scatter_parts(report.question.scatter,
                                                   report.question.slopes)},
        "ailing": report.question.ailing,
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


def _capability_data(index: Capability) -> dict[str, Any]:
    return {
        "cp": None if index.cp is None else [_finite(value) for value in index.cp],
        "cpk": [_finite(value) for value in index.cpk],
        "outside": [index.outside, index.outside_low, index.outside_high],
        "effective_readings": index.effective,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def verdict_on(margin: Margin, required: float) -> Verdict:
    """The verdict on a machine's mean can, by the uncertainty of its level."""
    part = Part("level", MODEL, margin.level_sd, "own tests, readings")
    return verdict_of(combined(margin.pressure, (part,)), required)


def _margin_data(margin: Margin, required: float | None) -> dict[str, Any]:
    loss = margin.loss
    return {
        "mpa": margin.pressure, "spread_mpa": margin.pressure_sd,
        "level_error_mpa": margin.level_sd, "chance_of_level_below": margin.short,
        "verdict": None if required is None else verdict_on(margin, required).word,
        "margin": margin.margin, "below": [margin.below, margin.below_low, margin.below_high],
        "tolerable_loss_mm": None if loss is None or math.isnan(loss) else loss,
    }  # fmt: skip
