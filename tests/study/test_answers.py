"""Fits to trials that melted or wet, or did not: by their likelihood, on made-up joints."""

from __future__ import annotations

import json
from collections.abc import Sequence
from math import log, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import expit
from typer.testing import CliRunner

from lapheat.cli.app import app
from lapheat.study.calibration.answers import AnswerFit, fit_answers, one_sided, surprise
from lapheat.study.calibration.measured import TrialPieces
from lapheat.study.calibration.points import Measures
from lapheat.study.runs import Planner
from study.beads import BEAD, unknowns
from study.stand_in import at_once, now

CURRENTS = np.array([50.0, 60.0, 70.0, 80.0, 90.0])
SCATTER = 40.0
SIZE = SCATTER * sqrt(3.0) / pi
TRUTH = 0.65


def measures(efficiency: float) -> Measures:
    """Joint that melts above 52.5 A of heat and wets above 42."""
    heat = efficiency * CURRENTS
    return Measures(margin=20.0 * (52.5 - heat), surplus=15.0 * (heat - 42.0))


def runs(points: Sequence[Sequence[float]], doing: str = "") -> Planner[list[Measures]]:
    del doing
    return at_once([measures(point[0]) for point in points])


def fitted_to(pieces: TrialPieces) -> AnswerFit:
    return now(fit_answers(runs, unknowns("efficiency"), pieces, CURRENTS, SCATTER))


def made_up(seed: int, count: int = 12) -> TrialPieces:
    rng = np.random.default_rng(seed)
    at = rng.integers(0, len(CURRENTS), size=count)
    true = measures(TRUTH)
    melted = rng.random(count) < expit(-true.margin[at] / SIZE)
    wet = rng.random(count) < expit(true.surplus[at] / SIZE)
    return TrialPieces(CURRENTS[at], melted.astype(float), wet.astype(float))


def log_likelihood(trials: TrialPieces, efficiency: float) -> float:
    """Written out as the sum it is."""
    m, total = measures(efficiency), 0.0
    for amps, melted, wet in zip(trials.current, trials.melted, trials.wet, strict=True):
        i = int(np.flatnonzero(amps == CURRENTS)[0])
        p, q = expit(-m.margin[i] / SIZE), expit(m.surplus[i] / SIZE)
        total += log(p if melted else 1.0 - p) + log(q if wet else 1.0 - q)
    return total


def test_squares_sum_to_minus_twice_the_log_likelihood() -> None:
    trials = made_up(0)
    for efficiency in (0.5, 0.65, 0.8):
        off = surprise(trials, CURRENTS, measures(efficiency), SCATTER)
        assert np.sum(off**2) == pytest.approx(-2.0 * log_likelihood(trials, efficiency))


def test_the_fit_is_the_most_likely() -> None:
    trials = made_up(1, 24)
    fit = fitted_to(trials)
    (found,) = fit.fitted
    best = minimize_scalar(
        lambda e: -log_likelihood(trials, e), bounds=(0.4, 0.95), method="bounded"
    )
    assert found.value == pytest.approx(best.x, abs=2e-3)
    assert fit.after.margin == pytest.approx(measures(found.value).margin)
    assert fit.blind == ()


def test_intervals_hold_the_truth_in_90_of_100_seeds() -> None:
    held = 0
    for seed in range(100):
        (found,) = fitted_to(made_up(seed)).fitted
        held += found.low <= TRUTH <= found.high
    assert 90 <= held < 100


def test_trials_that_all_went_one_way_are_told() -> None:
    trials = TrialPieces(CURRENTS[:3], np.ones(3), np.full(3, np.nan))
    (told,) = one_sided(trials)
    assert told == "every trial melted: they only bound it; it takes one that stayed solid"
    assert told in fitted_to(trials).blind


# 6 trials on a real bead; it melts near 38 A at the case's own efficiency
@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("answers")
    (folder / "bead.toml").write_text(BEAD)
    rows = "current_A,melted\n30,no\n34,no\n34,no\n38,yes\n38,no\n42,yes\n"
    (folder / "trials.csv").write_text(rows)
    return folder


def test_the_command_fits_efficiency_to_trials(folder: Path) -> None:
    args = ["calibrate", str(folder / "bead.toml"), str(folder / "trials.csv"), "--workers", "1"]
    done = CliRunner().invoke(app, args)
    assert done.exit_code == 0, done.output
    told = json.loads((folder / "bead.calibration" / "calibration.json").read_text())
    assert told["answers"] == 6
    assert told["log_likelihood"] > told["before_log_likelihood"] - 1e-9
    efficiency = told["fitted"]["efficiency"]
    assert 0.3 < efficiency["low"] < efficiency["value"] < efficiency["high"] <= 1.0
    rows = (folder / "bead.calibration" / "calibration.csv").read_text().splitlines()
    margins = [float(row.split(",")[4]) for row in rows[1:]]
    assert margins[0] > 0.0 > margins[-1]  # at 30 and 42 A
    assert (folder / "bead.calibration" / "figures" / "calibration.png").exists()


def test_what_a_joint_cannot_answer_is_refused(folder: Path) -> None:
    (folder / "wet.csv").write_text("current_A,wet\n30,no\n")
    args = ["calibrate", str(folder / "bead.toml"), str(folder / "wet.csv")]
    done = CliRunner().invoke(app, args)
    assert done.exit_code == 2
    assert "a bead-on-tube has no filler" in done.output
    args[2] = str(folder / "trials.csv")
    done = CliRunner().invoke(app, [*args, "--clock"])
    assert done.exit_code == 2
    assert "--clock" in done.output
