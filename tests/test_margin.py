"""Tolerable depth loss, slopes, surrogate, indices, against known answers."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import study_stand_in as stand_in

from domemargin.fea.bottom.accuracy import refined_limit
from domemargin.fea.bottom.reversal import reversal
from domemargin.fea.core.settings import Settings
from domemargin.profiles import InputError, load_profile
from domemargin.profiles.units import PSI
from domemargin.studies.figures.compare import compare_figure
from domemargin.studies.figures.margin import margin_figure
from domemargin.studies.margin.compare import compare
from domemargin.studies.margin.margin import margin_report
from domemargin.studies.margin.scatter import scatter_report
from domemargin.studies.margin.sensitivity import indices_of, sensitivity
from domemargin.studies.margin.slopes import slope_of
from domemargin.studies.margin.surrogate import SurrogateError, fitted, surrogate_of
from domemargin.studies.margin.tolerable import RESOLUTION, tolerable_loss
from domemargin.studies.study.engines import Processes, Serial
from domemargin.studies.study.runner import run_study
from domemargin.studies.study.store import StoreError
from domemargin.studies.study.study import Plan, Scatter, Scattered, Study, Varied
from domemargin.studies.study.study_file import load_study, ready_studies
from domemargin.studies.study.table import read_table
from domemargin.studies.study.varied import bottom_at

GAUGES = (0.265, 0.267, 0.27, 0.2725, 0.275)


def depth_study() -> Study:
    study = load_study("depth-gauge")
    varied = [replace(v, values=GAUGES) if v.name == "bottom_gauge" else v for v in study.varied]
    return replace(study, varied=tuple(varied))


def bisected(study: Study, gauge: float) -> float:
    """The loss by halving on the solver, nothing else: to 0.0006 mm."""
    settings = replace(study.settings, resolution=RESOLUTION)

    def holds(loss: float) -> bool:
        point = {"die_set_back": loss, "bottom_gauge": gauge}
        pressure = reversal(bottom_at(study.profile, point), settings).reversal_pressure_mpa
        assert pressure is not None
        return pressure >= study.requirement()

    low, high = 0.0, 1.2
    while high - low > 0.0006:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.slow
@pytest.mark.parametrize("gauge", GAUGES)
def test_tolerable_loss_is_that_of_bisection(gauge: float) -> None:
    found = tolerable_loss(depth_study(), {"bottom_gauge": gauge})
    assert found.loss is not None
    assert found.loss == pytest.approx(bisected(depth_study(), gauge), abs=0.005)


def test_tolerable_loss_is_that_of_bisection_at_one_gauge() -> None:
    found = tolerable_loss(depth_study(), {"bottom_gauge": 0.27})
    assert found.loss is not None
    assert found.loss == pytest.approx(bisected(depth_study(), 0.27), abs=0.005)
    assert found.error is not None
    assert found.error < 0.02


@pytest.mark.parametrize("gauge", [0.265, pytest.param(0.275, marks=pytest.mark.slow)])
def test_a_finer_solve_brings_the_error_of_the_loss_below_a_micrometre(gauge: float) -> None:
    """Against three times the elements and layers: the root they give by the same slope."""
    study, at = depth_study(), {"bottom_gauge": gauge}
    found = tolerable_loss(study, at, judge=refined_limit)
    finest = tolerable_loss(
        study, at, judge=lambda bottom, ceiling: refined_limit(bottom, ceiling, 3.0, 48, 0.0002)
    )
    assert found.loss is not None
    assert found.error is not None
    assert finest.loss is not None
    assert found.error < 0.001
    assert abs(found.loss - finest.loss) < 2.0 * found.error


def test_tolerable_loss_of_a_straight_response() -> None:
    """8 psi a mm and 500 psi a mm of gauge: the loss is 500 dg / 8."""
    study = replace(depth_study(), required=90.0 * PSI)
    for gauge in (0.267, 0.272):
        found = tolerable_loss(study, {"bottom_gauge": gauge}, solve=stand_in.straight)
        assert found.loss == pytest.approx(500.0 * (gauge - 0.265) / 8.0, abs=1e-3)
        assert found.rule == "die_set_back"
    left = tolerable_loss(study, {"bottom_gauge": 0.272}, margin=0.01, solve=stand_in.straight)
    assert left.loss == pytest.approx((3.5 - 0.9) / 8.0, abs=1e-3)
    # a good guess changes nothing but the number of solves
    near = tolerable_loss(study, {"bottom_gauge": 0.272}, guess=0.43, solve=stand_in.straight)
    assert near.loss == pytest.approx(3.5 / 8.0, abs=1e-3)
    far = tolerable_loss(study, {"bottom_gauge": 0.272}, guess=0.05, solve=stand_in.straight)
    assert far.loss == pytest.approx(3.5 / 8.0, abs=1e-3)


def test_no_tolerable_loss_has_its_reason() -> None:
    study = replace(depth_study(), required=90.0 * PSI)
    below = tolerable_loss(study, {"bottom_gauge": 0.26}, solve=stand_in.straight)
    assert below.loss is None
    assert "with no depth lost" in below.reason
    above = tolerable_loss(study, {"bottom_gauge": 0.29}, solve=stand_in.straight)
    assert above.loss is None
    assert "more than 0.9 mm" in above.reason
    broken = tolerable_loss(study, {"bottom_gauge": 0.261}, solve=stand_in.moody)
    assert broken.loss is None
    assert "the step became too short" in broken.reason
    slip = tolerable_loss(study, {"bottom_gauge": 0.263}, solve=stand_in.moody)
    assert slip.loss is None
    assert "a slip in the program" in slip.reason


def test_slopes_of_a_straight_response() -> None:
    base = load_profile("north")
    for name, psi in (("die_set_back", -0.08), ("bottom_gauge", 5.0), ("dome_radius", 0.01)):
        slope = slope_of(base, Settings(growth_at=()), name, stand_in.straight)
        assert slope.psi == pytest.approx(psi, rel=1e-6)
    metal = slope_of(base, Settings(), "yield_strength", stand_in.straight)
    assert metal.psi == pytest.approx(0.2, rel=1e-6)
    assert metal.per == "1 MPa"


def test_the_error_of_a_slope_covers_a_wider_difference() -> None:
    """On the solver: a difference over four times the step must agree within the errors."""
    base = load_profile("north")
    settings = Settings(growth_at=(), resolution=RESOLUTION)
    slope = slope_of(base, settings, "bottom_gauge")
    assert slope.psi is not None
    assert slope.error is not None
    ends = [reversal(base.replaced(bottom_gauge=0.265 + d), settings) for d in (-0.004, 0.004)]
    low, high = (r.reversal_pressure_mpa for r in ends)
    assert low is not None
    assert high is not None
    wide = (high - low) / PSI / 0.008 * 0.01
    assert abs(slope.psi - wide) < max(2.0 * slope.error, 0.02 * slope.psi)
    # gauge counts to a power between 1 (membrane) and 2 (bending): common practice, no source
    power = slope.psi / 0.01 * 0.265 / (0.5 * (low + high) / PSI)
    assert 1.0 < power < 2.0


ISHIGAMI = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[-math.pi, math.pi]] * 3}


def ishigami(x: np.ndarray) -> np.ndarray:
    return np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_indices_of_the_ishigami_function() -> None:
    """Analytic values for a = 7, b = 0.1: Ishigami & Homma 1990; Saltelli et al., Sensitivity
    Analysis, 2000 (value from memory)."""
    from SALib.sample import sobol

    points = sobol.sample(ISHIGAMI, 4096, calc_second_order=False, seed=1)
    found = indices_of(ISHIGAMI, ishigami(points))
    assert [i.first for i in found] == pytest.approx([0.3139, 0.4424, 0.0], abs=0.02)
    assert [i.total for i in found] == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.02)
    for index, exact in zip(found, (0.5576, 0.4424, 0.2437)):
        assert abs(index.total - exact) <= 2.0 * index.total_error


def test_the_stated_error_of_a_surrogate_is_that_of_new_points() -> None:
    rng = np.random.default_rng(0)

    def response(x: np.ndarray) -> np.ndarray:
        return 0.6 + 0.02 * x[:, 0] + 0.03 * np.sin(2.0 * x[:, 1]) * x[:, 0] + 0.001 * x[:, 1] ** 3

    x = rng.uniform(-1.0, 1.0, (60, 2))
    found = fitted(("a", "b"), x, response(x) + rng.normal(0.0, 2e-4, 60))
    new = rng.uniform(-0.95, 0.95, (2000, 2))
    real = float(np.sqrt(np.mean((found(new) - response(new)) ** 2)))
    assert 0.3 * real < found.error < 4.0 * real
    found.require(found.error)
    with pytest.raises(SurrogateError, match="it must be at most"):
        found.require(0.5 * found.error)


def test_leave_one_out_by_formula_is_leave_one_out() -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor

    from domemargin.studies.margin.surrogate import fitted_process, left_out_errors

    rng = np.random.default_rng(2)
    x = rng.uniform(-1.0, 1.0, (25, 2))
    y = np.sin(3.0 * x[:, 0]) + x[:, 1]
    process = fitted_process(x, y)
    by_formula = left_out_errors(process, x, y)
    for i in (0, 7, 24):
        keep = np.arange(25) != i
        without = GaussianProcessRegressor(process.kernel_, alpha=0.0, optimizer=None)
        scale, shift = process._y_train_std, process._y_train_mean
        without.fit(x[keep], (y[keep] - shift) / scale)
        left = y[i] - (shift + scale * without.predict(x[i : i + 1])[0])
        assert by_formula[i] == pytest.approx(left, rel=1e-6, abs=1e-9)


def test_points_that_a_sobol_plan_lost_are_filled_in_and_counted(tmp_path: Path) -> None:
    varied = (Varied("bottom_gauge", (), 0.255, 0.275), Varied("dome_depth", (), 10.2, 10.6))
    study = Study("s", load_profile("north"), varied, Plan("saltelli", 64, 3), required=0.62)
    run_study(study, tmp_path / "s.sqlite", Serial, stand_in.MOODY)
    table = read_table(tmp_path / "s.sqlite")
    lost = int(table["reversal_pressure_mpa"].isna().sum())
    assert 0 < lost < len(table) / 2
    surrogate = surrogate_of(study, table)
    found = sensitivity(study, table, surrogate)
    assert (found.filled, found.of, found.on) == (lost, 64 * 4, "the solver")
    # variances of a straight response: (500 x 0.02)^2 to (8 x 0.4)^2
    assert found.indices[0].total == pytest.approx(10.0**2 / (10.0**2 + 3.2**2), abs=0.05)


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("study") / "study.sqlite"
    run_study(replace(depth_study(), required=91.0 * PSI), path, Serial, stand_in.STRAIGHT)
    return path


def test_a_margin_report_of_a_straight_response(solved: Path) -> None:
    report = margin_report(solved, engine=Serial, solve=stand_in.straight)
    assert report.counts == {"limit": 50}
    by_gauge = {t.at["bottom_gauge"]: t for t in report.tolerable}
    for gauge in GAUGES:
        exact = (90.0 + 500.0 * (gauge - 0.265) - 91.0) / 8.0
        if exact < 0.0:
            assert by_gauge[gauge].loss is None
        else:
            assert by_gauge[gauge].loss == pytest.approx(exact, abs=2e-3)
    assert report.surrogate is not None
    assert report.surrogate.error < 1e-6 * PSI
    other = margin_report(solved, required=90.0 * PSI, engine=Serial, solve=stand_in.straight)
    assert other.table["margin"][0] == pytest.approx(0.0, abs=1e-12)


def test_a_poor_surrogate_is_rejected_and_the_rest_reported(solved: Path) -> None:
    report = margin_report(solved, most_error=1e-30, engine=Serial, solve=stand_in.straight)
    assert report.surrogate is None
    assert report.sensitivity is None
    assert "cross-validated error" in report.why_no_surrogate
    assert len(report.tolerable) == len(GAUGES)


def test_inverse_solves_on_processes_are_those_here(solved: Path) -> None:
    one = margin_report(solved, engine=Serial, solve=stand_in.straight)
    two = margin_report(solved, engine=partial(Processes, 2), solve=stand_in.straight)
    assert one.tolerable == two.tolerable
    assert one.slopes == two.slopes


def test_figures_of_every_kind_of_plan_are_drawn(solved: Path, tmp_path: Path) -> None:
    from domemargin.studies.figures.margin import margin_figure

    figure = margin_figure(margin_report(solved, engine=Serial, solve=stand_in.straight))
    axes = figure.axes[0]
    assert axes.get_xlabel() == "depth lost, die set back (mm)"
    assert axes.get_ylabel() == "gauge (mm)"
    one = replace(depth_study(), varied=depth_study().varied[:1])
    box = replace(
        load_study("overnight"), plan=Plan("sobol", 64, 1), required=None
    )  # no requirement: pressures are shown
    for name, study in (("one", one), ("box", box)):
        path = tmp_path / f"{name}.sqlite"
        run_study(study, path, Serial, stand_in.STRAIGHT)
        report = margin_report(path, engine=Serial, solve=stand_in.straight)
        figure = margin_figure(report)
        figure.savefig(tmp_path / f"{name}.png")
        assert len(figure.axes) >= 1
    # all fail but one; all alike: no surface, and no error either
    nothing = replace(depth_study(), varied=(Varied("bottom_gauge", (0.26, 0.261), 0.26, 0.261),))
    for name, study in (("nothing", nothing), ("none", replace(nothing, required=None))):
        bare = tmp_path / f"{name}.sqlite"
        run_study(study, bare, Serial, stand_in.MOODY)
        margin_figure(margin_report(bare, engine=Serial, solve=stand_in.moody)).savefig(
            tmp_path / f"{name}.png"
        )
    assert report.sensitivity is not None
    # the stand-in does not know of the nose
    totals = {i.name: i.total for i in report.sensitivity.indices}
    assert totals["nose_radius"] < 0.01


def test_a_result_that_is_not_there(tmp_path: Path) -> None:
    from domemargin.studies.margin.margin import store_in

    with pytest.raises(StoreError, match="there is no study result"):
        store_in(tmp_path)


@pytest.mark.parametrize("name", ready_studies())
def test_every_ready_study_of_a_dome_of_two_radii_is_answered(name: str, tmp_path: Path) -> None:
    """In words where it cannot vary what it names, else by margin and compare."""
    if name in ("depth-dome-radius", "line-scatter", "overnight"):  # its radius is one of two
        with pytest.raises(InputError, match="cannot be varied for a dome of 2 radii"):
            load_study(name, "south")
        return
    study = load_study(name, "south")
    path = tmp_path / "study.sqlite"
    run_study(study, path, Serial, stand_in.STRAIGHT)
    margin = margin_report(path, engine=Serial, solve=stand_in.straight)
    slopes = {slope.name: slope for slope in margin.slopes}
    # made-up response: 8 psi a mm of depth, 500 psi a mm of gauge
    assert slopes["die_set_back"].psi == pytest.approx(-0.08, rel=1e-6)
    assert slopes["bottom_gauge"].psi == pytest.approx(5.0, rel=1e-6)
    for rejected_name in ("dome_radius", "springback"):
        assert slopes[rejected_name].psi is None
        assert "a dome of 2 radii" in slopes[rejected_name].reason
    margin_figure(margin).savefig(tmp_path / "margin.png")
    other = tmp_path / "north.sqlite"
    run_study(load_study(name), other, Serial, stand_in.STRAIGHT)
    comparison = compare(path, other)
    assert comparison.both == comparison.points
    assert "dome radius" in [row[0] for row in comparison.differing]
    compare_figure(comparison).savefig(tmp_path / "compare.png")


def test_the_scatter_of_a_dome_of_two_radii(tmp_path: Path) -> None:
    """Depth alone scatters, 0.03 mm about 10.4: by the made-up response 0.24 psi about the mean."""
    south = load_profile("south")
    depth = Scattered("dome_depth", "normal", south.shape.dome_depth, 0.03)
    required = stand_in.psi_of(south) * PSI
    study = replace(depth_study(), profile=south, varied=(), scatter=Scatter((depth,)),
                    required=required)  # fmt: skip
    report = scatter_report(study, tmp_path, Serial, stand_in.STRAIGHT, 4000, 16)
    assert report.deviation == pytest.approx(0.24 * PSI, rel=0.05)
    assert report.share == pytest.approx(0.5, abs=0.03)  # half the cans lie below the mean
