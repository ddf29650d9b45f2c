"""Calibration: known values found again within their intervals, and what it cannot tell."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter
from typer.testing import CliRunner

from lapheat import read_case
from lapheat.case.file import CaseError
from lapheat.cli.app import app
from lapheat.march.errors import MarchError
from lapheat.study.calibration.fit import Fit, Fitted, blind_spots, correlation, fit, intervals
from lapheat.study.calibration.histories import dependence, fit_readings, thinned
from lapheat.study.calibration.measured import Readings
from lapheat.study.calibration.points import Curve, ProbeRuns, run_probes
from lapheat.study.calibration.readings import calibrate
from lapheat.study.calibration.unknowns import unknowns_of
from lapheat.study.runs import Planner, Source
from lapheat.study.runs.executors import Row
from study.beads import (
    BEAD,
    JOINT,
    NAMES,
    SOURCE,
    TIME,
    TRUTH,
    Emulator,
    as_csv,
    emulator,
    readings,
    runs_of,
    unknowns,
)
from study.stand_in import at_once, now, stood_in


@pytest.fixture(scope="module")
def runs() -> ProbeRuns:
    return runs_of()


@pytest.fixture(scope="module")
def truth(runs: ProbeRuns) -> Curve:
    (curve,) = now(runs([TRUTH]))
    return curve


@pytest.fixture(scope="module")
def emulated(runs: ProbeRuns) -> Emulator:
    return emulator(runs)


def interval_of(found: Fit, given: Readings, fit: str = "efficiency,spot") -> tuple[Fitted, ...]:
    series = found.residuals.reshape(given.values.shape)
    return intervals(unknowns(fit), found, correlation(list(series.T)))


def test_intervals_hold_the_truth_in_90_of_100_seeds(truth: Curve, emulated: Emulator) -> None:
    held = np.zeros(2, dtype=int)
    for seed in range(100):
        given = readings(truth, seed)
        found = interval_of(now(fit_readings(emulated, unknowns(), given)), given)
        held += [f.low <= t <= f.high for f, t in zip(found, TRUTH, strict=True)]
    assert (held >= 90).all(), held
    assert (held <= 99).all(), held  # nor are they so wide that they hold anything


def test_true_runs_find_what_the_parabolas_find(
    runs: ProbeRuns, truth: Curve, emulated: Emulator
) -> None:
    given = readings(truth, 3)
    true = now(fit_readings(runs, unknowns(), given))
    near = now(fit_readings(emulated, unknowns(), given))
    half = [f.high - f.value for f in interval_of(true, given)]
    apart = (true.x - near.x) * [u.start for u in unknowns()]
    assert (np.abs(apart) < 0.5 * np.array(half)).all()


def test_a_single_far_probe_is_not_enough(truth: Curve) -> None:
    far = Curve(truth.time, truth.values[:, 2:])
    found = now(calibrate(runs_of(("far",)), readings(far, 0, ("far",))))
    assert len(found.blind) >= 1
    assert "hardly see spot" in found.blind[0]
    assert "two spots of the arc's path" in found.blind[0]
    assert found.fitted[1].high - found.fitted[1].low > 1e-3


def test_three_probes_are(runs: ProbeRuns, truth: Curve) -> None:
    found = now(calibrate(runs, readings(truth, 3)))
    assert found.blind == ()
    assert found.rms == pytest.approx(5.0, abs=0.5)
    assert found.before_rms > 2.0 * found.rms
    assert found.own_rms is None  # the bead is coarse of its own
    assert found.case.arc.efficiency == pytest.approx(TRUTH[0], rel=0.02)
    assert found.case.arc.spot == pytest.approx(TRUTH[1], rel=0.05)


def test_the_mesh_of_the_fit_and_the_case_s_own_are_told_apart(truth: Curve) -> None:
    source = Source(BEAD.replace('"coarse"', '"standard"'), "bead.toml")
    found = now(calibrate(runs_of(source=source), readings(truth, 3)))
    assert (found.detail, found.case.detail) == ("coarse", "standard")
    assert found.own_rms is not None
    assert found.own_rms > found.rms


def test_film_and_lap_of_a_joint_are_found_too() -> None:
    source, end = Source(JOINT, "joint.toml"), 90.0
    names = [probe.name for probe in source.case().probes]
    truth = {"efficiency": 0.68, "spot": 2.2e-3, "clearance": 0.06e-3, "convection": 25.0}
    runs = runs_of(names, ",".join(truth), source, end)
    (curve,) = now(runs([list(truth.values())]))
    assert curve.time[-1] >= end  # the cooling is followed as long as it was recorded
    time = np.arange(0.0, end, 0.5)
    noise = 5.0 * np.random.default_rng(0).normal(size=(len(time), len(names)))
    found = now(calibrate(runs, Readings(tuple(names), time, curve.at(time) + noise)))
    assert found.blind == ()
    for item in found.fitted:
        off = abs(item.value - truth[item.unknown.name])
        assert off < item.high - item.low, item  # twice half an interval
        assert off < 0.3 * truth[item.unknown.name], item


def test_a_late_clock_is_found(truth: Curve, emulated: Emulator) -> None:
    given = readings(truth, 1)
    early = Readings(NAMES, TIME[4:], truth.at(TIME[4:] - 1.5))
    found = now(fit_readings(emulated, unknowns(), early, free_clock=True))
    # the arc struck 1.5 s after the record began
    assert found.x[2] == pytest.approx(1.5, abs=0.02)
    assert found.x[:2] * [0.75, 2e-3] == pytest.approx(TRUTH, rel=5e-3)
    assert now(fit_readings(emulated, unknowns(), given, free_clock=True)).x[2] == pytest.approx(
        0.0, abs=0.1
    )


# Two probes two and four spots off the arc's path: a wider spot there looks like a later arc.
PAIR = (
    BEAD[: BEAD.index("[[probe]]")]
    + """
[[probe]]
name = "near"
on = "tube"
angle = "45 deg"
height = "-4 mm"
[[probe]]
name = "mid"
on = "tube"
angle = "45 deg"
height = "8 mm"
"""
)
PAIR_TRUTH = (0.68, 1.9e-3)


def pair_of(spot: str, until: float = 60.0) -> ProbeRuns:
    source = Source(PAIR.replace('spot = "2 mm"', f'spot = "{spot}"'), "pair.toml")
    return runs_of(("near", "mid"), source=source, until=until)


def record_of(shift: float) -> Readings:
    """A record in which the arc strikes `shift` seconds after the clock began."""
    (curve,) = now(pair_of("1.9 mm", 110.0)([PAIR_TRUTH]))
    time = np.arange(0.0, 45.0, 0.5)
    noise = 2.0 * np.random.default_rng(0).normal(size=(len(time), 2))
    return Readings(("near", "mid"), time, curve.at(time - shift) + noise)


@pytest.mark.parametrize(("shift", "spot"), [(1.0, "1.3 mm"), (1.0, "2.5 mm"), (-3.0, "1.6 mm")])
def test_a_free_clock_does_not_hide_what_it_makes_uncertain(shift: float, spot: str) -> None:
    """Fits from one start alone ended at 1.2 to 2.4 mm, each 0.05 mm sure of itself."""
    found = now(calibrate(pair_of(spot), record_of(shift), free_clock=True))
    for item, value in zip(found.fitted, PAIR_TRUTH, strict=True):
        assert item.low <= value <= item.high, item
    assert found.offset is not None
    assert found.offset[1] <= shift <= found.offset[2]
    assert found.fitted[1].high - found.fitted[1].low > 0.3e-3


# Widest interval of a value, as a share of it, and of the clock [s]. Half a millimetre of a place
# is a fifth of the spot, and costs a third of a second to either side.
WIDEST = [("0 mm", 0.4, 0.2), ("0.5 mm", 0.65, 0.8)]


@pytest.mark.parametrize(("place", "share", "late"), WIDEST)
def test_a_near_probe_tells_spot_and_clock(
    truth: Curve, place: str, share: float, late: float
) -> None:
    """One of the three probes is within two spots of the arc's path.

    Readings in the same second count as one, so noise of 3 K every 0.4 s counts as 5 K.
    """
    noise = 0.63 * (readings(truth, 0).values - truth.at(TIME))
    text = BEAD.replace('on = "tube"', f'on = "tube"\nplace_error = "{place}"')
    runs = runs_of(source=Source(text, "bead.toml"))
    found = now(calibrate(runs, Readings(NAMES, TIME, truth.at(TIME - 1.5) + noise), True))
    assert found.blind == ()
    for item, value in zip(found.fitted, TRUTH, strict=True):
        assert item.low <= value <= item.high, item
        assert item.high - item.low < share * value
    assert found.offset is not None
    assert found.offset[1] <= 1.5 <= found.offset[2] < found.offset[1] + late


def test_a_clock_that_is_off_is_hinted_at() -> None:
    found = now(calibrate(pair_of("1.9 mm"), record_of(4.2)))
    assert "clock some +4 s off" in found.hint
    assert "try --clock" in found.hint
    assert now(calibrate(pair_of("1.6 mm"), record_of(0.0))).hint == ""


def test_a_record_that_began_long_after_the_arc_asks_for_longer_runs() -> None:
    """Its last readings are 20 s past the end that the record alone would ask for."""
    runs = pair_of("1.6 mm", 45.0)
    found = now(calibrate(runs, record_of(-20.0), free_clock=True))
    assert runs.until == 45.0  # what was handed over is as it was
    assert found.offset is not None
    assert found.offset[1] <= -20.0 <= found.offset[2]
    assert found.fitted[0].low <= PAIR_TRUTH[0] <= found.fitted[0].high


def test_gaps_in_a_record_are_left_out(truth: Curve, emulated: Emulator) -> None:
    given = readings(truth, 2)
    given.values[10:30, 0] = np.nan
    found = now(fit_readings(emulated, unknowns(), given))
    assert len(found.residuals) == given.values.size - 20
    assert found.x[0] * 0.75 == pytest.approx(TRUTH[0], rel=0.01)


def test_too_few_readings_are_refused(runs: ProbeRuns, truth: Curve) -> None:
    few = Readings(("near",), TIME[20:22], truth.at(TIME[20:22])[:, :1])
    with pytest.raises(CaseError, match="at least 3 readings"):
        now(calibrate(runs, few))


def broken(task: object) -> Row:
    del task
    return {"failed": "no reason"}


def test_a_run_that_fails_is_told_with_its_values() -> None:
    planner = stood_in(runs_of()([(0.75, 2e-3)]), {run_probes: broken})
    with pytest.raises(MarchError, match=r"arc.efficiency = 0.75, arc.spot = 2.0* ?mm: no reason"):
        now(planner)


# Dense records.


def drifting(truth: Curve, rate: float, seed: int, lasts: float = 1.0) -> Readings:
    """Noise of 3 K on each of `rate` readings a s, over an error of 4 K that lasts so long [s]."""
    rng, step, end = np.random.default_rng(seed), 0.01, 40.0
    time = np.arange(0.0, end, step)
    fades = np.exp(-step / lasts)
    kicks = 4.0 * np.sqrt(1.0 - fades**2) * rng.normal(size=(len(time), len(NAMES)))
    slow = lfilter([1.0], [1.0, -fades], kicks, axis=0)
    values = truth.at(time) + slow + 3.0 * rng.normal(size=slow.shape)
    every = round(1.0 / (rate * step))
    return Readings(NAMES, time[::every], values[::every])


def test_a_log_at_100_hertz_claims_no_more_than_one_at_1(runs: ProbeRuns, truth: Curve) -> None:
    found = [now(calibrate(runs, drifting(truth, rate, 0))) for rate in (1.0, 100.0)]
    assert [f.given for f in found] == [120, 12000]
    assert [np.isfinite(f.readings.values).sum() for f in found] == [120, 1200]
    for slow, fast in zip(*(f.fitted for f in found), strict=True):
        half = 0.5 * (slow.high - slow.low)
        assert 0.5 * (fast.high - fast.low) == pytest.approx(half, rel=0.25)
        assert abs(fast.value - slow.value) < half


@pytest.mark.parametrize(
    ("rate", "lasts"), [(1.0, 1.0), (10.0, 0.5), (10.0, 1.0), (10.0, 2.0), (10.0, 5.0)]
)
def test_intervals_of_dense_records_hold_the_truth(
    truth: Curve, emulated: Emulator, rate: float, lasts: float
) -> None:
    """By neighbours' correlation alone, those of 10 readings a second held both in 66 of 100."""
    held = np.zeros(2, dtype=int)
    for seed in range(100):
        given = drifting(truth, rate, seed, lasts)
        found = now(fit_readings(emulated, unknowns(), given))
        known = intervals(unknowns(), found, dependence(given, found.residuals))
        held += [f.low <= t <= f.high for f, t in zip(known, TRUTH, strict=True)]
    assert (held >= 88).all(), held
    assert held[0] <= 99, held


def test_thinning_keeps_every_probe_of_a_log_that_takes_turns() -> None:
    time = np.arange(0.0, 1.0, 0.02)
    values = np.full((len(time), 2), np.nan)
    values[0::2, 0] = 300.0 + time[0::2]
    values[1::2, 1] = 400.0 + time[1::2]
    found = thinned(Readings(("a", "b"), time, values))
    np.testing.assert_allclose(np.isfinite(found.values).sum(axis=0), 10)
    assert np.isfinite(found.values).any(axis=1).all()
    for j, start in enumerate((300.0, 400.0)):
        there = np.isfinite(found.values[:, j])
        np.testing.assert_allclose(found.values[there, j], start + found.time[there])
    seldom = Readings(("a",), np.array([0.0, 0.1, 0.3, 2.0]), np.full((4, 1), 300.0))
    np.testing.assert_array_equal(thinned(seldom).time, seldom.time)
    # of four readings three share a second, so two are on their own
    assert dependence(seldom, np.array([1.0, -1.0, 1.0, -1.0])) == pytest.approx(1.0 / 3.0)


# The fit itself, on straight lines with exact answers.


def lines(seed: int, noise: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    slopes = np.stack([np.linspace(100.0, 300.0, 50), np.linspace(200.0, -100.0, 50)], axis=1)
    return slopes, noise * rng.normal(size=50)


def test_intervals_are_those_of_linear_regression() -> None:
    slopes, noise = lines(1)
    target = slopes @ [1.1, 0.9] + noise
    found = now(fit(unknowns(), lambda points: at_once([slopes @ x - target for x in points])))
    known, rest, *_ = np.linalg.lstsq(slopes, target, rcond=None)
    np.testing.assert_allclose(found.x, known, atol=1e-6)
    np.testing.assert_allclose(found.jacobian, slopes, rtol=1e-9)
    # t(0.975, 48) = 2.0106: any table of Student's t
    error = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)) * rest[0] / 48.0)
    for item, x, half in zip(intervals(unknowns(), found), known, 2.0106 * error, strict=True):
        start = item.unknown.start
        assert item.value == pytest.approx(start * x)
        assert item.high - item.value == pytest.approx(start * half, rel=1e-4)
        assert item.value - item.low == pytest.approx(start * half, rel=1e-4)


def test_no_point_is_asked_for_twice() -> None:
    """Least squares begins anew with every round, and takes the same way."""
    slopes, noise = lines(1)
    asked: list[tuple[float, ...]] = []

    def residuals(points: Sequence[np.ndarray]) -> Planner[list[np.ndarray]]:
        asked.extend(tuple(x.tolist()) for x in points)
        return at_once([np.tanh(0.01 * (slopes @ (x - [1.2, 0.8]) + noise)) for x in points])

    found = now(fit(unknowns(), residuals))
    assert len(asked) == len(set(asked)) > 10
    np.testing.assert_array_equal(found.residuals, now(residuals([found.x]))[0])


def test_neighbours_that_err_together_widen_the_interval() -> None:
    rng = np.random.default_rng(0)
    series = np.zeros(4000)
    for i in range(1, 4000):
        series[i] = 0.6 * series[i - 1] + rng.normal()
    assert correlation([series]) == pytest.approx(0.6, abs=0.03)
    assert correlation([rng.normal(size=4000)]) < 0.05
    slopes, noise = lines(1)
    found = now(
        fit(unknowns(), lambda points: at_once([slopes @ (x - 1.0) + noise for x in points]))
    )
    plain, wide = (intervals(unknowns(), found, together)[0] for together in (0.0, 0.6))
    # sqrt(1.6 / 0.4) = 2, and fewer degrees of freedom
    assert 2.0 < (wide.high - wide.low) / (plain.high - plain.low) < 2.3


def test_two_unknowns_that_do_the_same_are_told_apart_from_none() -> None:
    slopes, _ = lines(1)
    slopes[:, 1] = 2.0 * slopes[:, 0]
    found = Fit(np.ones(2), np.zeros(50), slopes)
    known = intervals(unknowns(), found)
    for item in known:  # however small the noise
        assert (item.low, item.high) == (item.unknown.low, item.unknown.high)
    (told,) = blind_spots(unknowns(), slopes, known)
    assert "cannot tell efficiency from spot" in told
    assert "25 % of efficiency" in told
    assert "12 % of spot" in told or "13 % of spot" in told


def test_what_ends_on_its_bound_is_told() -> None:
    slopes, _ = lines(1)
    target = slopes @ [1.1, 9.0]
    found = now(fit(unknowns(), lambda points: at_once([slopes @ x - target for x in points])))
    told = blind_spots(unknowns(), found.jacobian, intervals(unknowns(), found))
    assert any("spot ended on its bound, 6 mm" in line for line in told)


@pytest.mark.parametrize(
    ("names", "bounds", "option", "allowed"),
    [
        ("spott", (), "--fit", "efficiency, spot, convection"),
        ("", (), "--fit", "efficiency, spot, convection"),
        ("clearance", (), "--fit", "names with commas between"),
        ("spot,spot", (), "--fit", "each name once"),
        ("spot", ("efficiency=0.5:0.9",), "--bounds", "of what is fitted: spot"),
        ("spot", ("spot=1 mm",), "--bounds", "LOW below HIGH"),
        ("spot", ("spot=3 mm:5 mm",), "--bounds", "the case's own 2 mm"),
        ("spot", ("spot=1:5",), "--bounds", "a length each"),
        ("efficiency", ("efficiency=low:0.9",), "--bounds", "a number each"),
        ("efficiency", ("efficiency=0.1:0.9_9",), "--bounds", "a number each"),
    ],
)
def test_bad_unknowns_are_refused(
    names: str, bounds: tuple[str, ...], option: str, allowed: str
) -> None:
    with pytest.raises(CaseError) as caught:
        unknowns_of(SOURCE.case(), names, bounds)
    (fault,) = caught.value.faults
    assert fault.key == option
    assert allowed in fault.allowed


def test_bounds_are_kept() -> None:
    (spot,) = unknowns_of(SOURCE.case(), "spot", ("spot=1 mm : 0.1 in",))
    assert (spot.low, spot.high) == pytest.approx((1e-3, 2.54e-3))


# The command, on a shorter record of one probe.


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, truth: Curve) -> Path:
    folder = tmp_path_factory.mktemp("calibration")
    (folder / "bead.toml").write_text(BEAD)
    given = readings(truth, 5)
    (folder / "bead.csv").write_text(as_csv(given))
    args = ["calibrate", str(folder / "bead.toml"), str(folder / "bead.csv"), "--workers", "1"]
    done = CliRunner().invoke(app, [*args, "--set", "arc.spot=2.2 mm", "--fit", "efficiency"])
    assert done.exit_code == 0, done.output
    assert "The measurements tell each of them." in done.output
    assert "arc.efficiency" in done.output
    return folder


def test_the_command_leaves_the_files_of_the_contract(folder: Path) -> None:
    out = folder / "bead.calibration"
    assert sorted(path.name for path in out.iterdir()) == [
        *("calibration.csv", "calibration.json", "case.toml", "figures", "rows.jsonl")
    ]
    told = json.loads((out / "calibration.json").read_text())
    assert told["identifiable"] is True
    assert told["missing"] == []
    assert told["rms_K"] < told["before_rms_K"]
    efficiency = told["fitted"]["efficiency"]
    assert efficiency["unit"] == ""
    assert efficiency["low"] < efficiency["value"] < efficiency["high"]
    assert efficiency["value"] == pytest.approx(TRUTH[0], rel=0.02)
    lines = (out / "calibration.csv").read_text().splitlines()
    assert lines[0] == "time_s,probe,measured_C,before_C,after_C"
    assert len(lines) == 1 + 3 * len(TIME)
    assert (out / "figures" / "calibration.png").stat().st_size > 10_000


def test_the_fitted_case_runs_again_as_it_is(folder: Path) -> None:
    case = read_case(folder / "bead.calibration" / "case.toml")
    told = json.loads((folder / "bead.calibration" / "calibration.json").read_text())
    assert case.arc.efficiency == pytest.approx(told["fitted"]["efficiency"]["value"], rel=1e-5)
    assert case.arc.spot == pytest.approx(2.2e-3)
    assert [probe.name for probe in case.probes] == list(NAMES)
    # and what it computes is the column `after` of the table
    source = Source.of(folder / "bead.calibration" / "case.toml")
    (curve,) = now(ProbeRuns(source, (), None, NAMES, float(TIME[-1]))([()]))
    rows = (folder / "bead.calibration" / "calibration.csv").read_text().splitlines()[1:]
    after = np.array([float(row.split(",")[4]) for row in rows]).reshape(len(TIME), 3)
    np.testing.assert_allclose(curve.at(TIME) - 273.15, after, atol=0.02)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--fit", "spot,aim"], "--fit"),
        (["--bounds", "spot=9 mm:10 mm"], "--bounds"),
        (["--scatter", "5"], "--scatter"),
        (["--detail", "rough"], "numerics.detail"),
    ],
)
def test_bad_options_are_refused_and_nothing_is_written(
    folder: Path, tmp_path: Path, more: list[str], told: str
) -> None:
    args = ["calibrate", str(folder / "bead.toml"), str(folder / "bead.csv"), *more]
    done = CliRunner().invoke(app, [*args, "--out", str(tmp_path / "out")])
    assert done.exit_code == 2, done.output
    assert told in done.output
    assert list(tmp_path.iterdir()) == []


def test_a_bad_file_is_told_by_its_name(folder: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("time_s,nere_C\n0,20\n")
    done = CliRunner().invoke(app, ["calibrate", str(folder / "bead.toml"), str(bad)])
    assert done.exit_code == 2
    assert "bad.csv" in done.output
    assert 'did you mean "near"?' in done.output
