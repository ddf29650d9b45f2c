"""The FiPy march against the compiled one with tacks, chill and bench on a small joint."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.case.case import Bench, Chill, Fixture, Flange, Tack
from lapheat.history.records import History
from lapheat.march import march as march_module
from lapheat.march.march import march
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.problem import Job, Problem
from lapheat.problem.setup import job_of
from support.joints import Substeps, rough_state, small_case, temperatures


@pytest.fixture(scope="module")
def job() -> Job:
    """One segment over a tack, a tack by a short arc on the far side, a chill and a bench."""
    case = small_case()
    return job_of(
        replace(
            case,
            tube=replace(case.tube, length=12e-3),
            flange=Flange("low-carbon steel", 3e-3, 24e-3),
            travel=replace(case.travel, coverage=0.125),
            alloys=case.alloys | {"copper": builtin("copper")},
            tacks=(Tack(0.5, 2e-3), Tack(pi, 3e-3, 90.0, 0.6)),
            fixture=Fixture(Chill("copper", 6e-3, 1e-3, 5000.0), Bench(2000.0, 350.0)),
        )
    )


@pytest.fixture(scope="module")
def problem(job: Job) -> Problem:
    return job.problem


@pytest.fixture(scope="module")
def stepper(problem: Problem) -> FipyStepper:
    return FipyStepper(problem)


@pytest.fixture(scope="module")
def runs(job: Job, stepper: FipyStepper) -> tuple[History, History]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(march_module, "COOL_AT_LEAST", 0.5)
        patch.setattr(march_module, "COOL_TO", np.inf)
        # in steps half as long: struck cold, FiPy's own error in time is the larger one
        one, other = Substeps(job.problem), stepper
        return march(job, one, shorter=2.0), march(job, other, shorter=2.0)


def test_each_wall_loses_the_same(problem: Problem, stepper: FipyStepper) -> None:
    found = []
    for one in (CompiledStepper(problem, threads=1), stepper):
        state = rough_state(problem, 1)
        total = one.advance(state, problem.explicit_limit / 4096)
        assert state.lost.sum() == pytest.approx(total, rel=1e-12)
        found.append(state.lost.copy())
    np.testing.assert_allclose(found[1], found[0], rtol=1e-5, atol=1e-9 * np.abs(found[0]).max())


def test_temperatures_agree(runs: tuple[History, History]) -> None:
    compiled, fipy = (temperatures(run) | {"chill": run.chill_peak} for run in runs)
    assert compiled["chill"] > 320.0
    for place, value in compiled.items():
        assert abs(fipy[place] - value) < 0.005 * (value - 293.15), place


def test_heat_by_name_agrees_and_closes(runs: tuple[History, History]) -> None:
    compiled, fipy = (run.ledger for run in runs)
    for name in ("arc", "filler", "lost", "chill", "bench"):
        value = getattr(compiled, name)
        assert abs(value) > 1.0
        assert getattr(fipy, name) == pytest.approx(value, rel=0.01), name
    assert max(abs(compiled.imbalance), abs(fipy.imbalance)) < 1e-11


def test_the_gap_and_what_filled_agree(runs: tuple[History, History]) -> None:
    compiled, fipy = runs
    assert 0.0 < compiled.hot_clearance < 0.099e-3
    assert fipy.hot_clearance == pytest.approx(compiled.hot_clearance, abs=0.1e-6)
    assert fipy.lap_filled == pytest.approx(compiled.lap_filled, abs=0.02)
    assert compiled.lap_filled > 0.0
