"""What every stepper must do, whoever computes its steps.

A later stepper joins `STEPPERS`, with the bound it is held to in `APART`.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from math import exp

import numpy as np
import pytest

from exact.build import MM, Part, Rig, fixed
from lapheat.history.records import History
from lapheat.march import march as march_module
from lapheat.march.march import march
from lapheat.march.state import State, Stepper
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.problem import Job, Problem
from lapheat.problem.setup import job_of
from support.joints import Array, Substeps, rough_state, small_case, temperatures, wetted

STEPPERS: dict[str, Callable[[Problem], Stepper]] = {
    "compiled": lambda problem: CompiledStepper(problem, threads=1),
    "fipy": FipyStepper,
}
# how far a run may be from one of next to no error in time, as a share of each rise
APART = {"compiled": 0.01, "fipy": 0.003}


@pytest.fixture(scope="module")
def job() -> Job:
    return job_of(small_case())


@pytest.fixture(scope="module")
def problem(job: Job) -> Problem:
    return job.problem


@pytest.fixture(scope="module", params=STEPPERS)
def make(request: pytest.FixtureRequest) -> Callable[[Problem], Stepper]:
    return STEPPERS[request.param]


@pytest.fixture(scope="module")
def stepper(problem: Problem, make: Callable[[Problem], Stepper]) -> Stepper:
    return make(problem)


# --- one step --------------------------------------------------------------------------------


def test_a_long_step_keeps_heat(problem: Problem, stepper: Stepper) -> None:
    """Gained + lost = put in, to round-off, and each wall's loss has its name."""
    state = rough_state(problem, 4)
    assert problem.torch is not None
    area = problem.grid.wall_area[problem.torch.wall]
    live = np.ones(state.h.shape)
    live[problem.fillet_cells] = state.alive
    # `stored` leaves out filler that is yet to come
    given = float((area @ state.heat).sum() + (state.extra * live).sum())
    before = state.stored()
    dt = 100.0 * problem.explicit_limit
    lost = stepper.advance(state, dt)
    assert (state.stored() - before + lost) / (given * dt) == pytest.approx(1.0, abs=1e-11)
    assert state.lost.sum() == pytest.approx(lost, rel=1e-12)


def test_uniform_stays_uniform(problem: Problem, stepper: Stepper) -> None:
    """All parts, filler too, at the temperature of the air: nothing flows."""
    state = State(problem)
    state.alive[:] = 1.0
    state.refresh()
    for _ in range(3):
        assert abs(stepper.advance(state, 1.0)) < 1e-6  # [J]; temperatures are read from tables
    np.testing.assert_allclose(cells(state), problem.start, rtol=0.0, atol=1e-4)


def test_what_is_symmetric_stays_symmetric(
    problem: Problem, make: Callable[[Problem], Stepper]
) -> None:
    """An arc that stands between two layers, seen in a mirror there."""
    layers = problem.mesh.layers
    found = lit(problem, make(problem), 0)
    mirror = (-1 - np.arange(layers)) % layers
    np.testing.assert_allclose(found[:, mirror], found, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("turn", [1, 7])
def test_the_start_angle_does_not_matter(
    problem: Problem, make: Callable[[Problem], Stepper], turn: int
) -> None:
    """An arc `turn` layers on: the same field, turned, to round-off."""
    turned, first = (lit(problem, make(problem), layer) for layer in (turn, 0))
    np.testing.assert_allclose(np.roll(turned, -turn, axis=1), first, rtol=0.0, atol=1e-9)


def test_filler_yet_to_come_stays_as_it_is(problem: Problem, stepper: Stepper) -> None:
    state = rough_state(problem, 5)
    state.extra = np.zeros((0, problem.mesh.layers))
    before = state.h[problem.fillet_cells].copy()
    stepper.advance(state, 0.1)
    dead = state.alive == 0.0
    np.testing.assert_array_equal(state.h[problem.fillet_cells][dead], before[dead])
    assert (state.h[problem.fillet_cells][~dead] != before[~dead]).all()


def test_state_follows_the_enthalpies(problem: Problem, stepper: Stepper) -> None:
    state = rough_state(problem, 6)
    stepper.advance(state, 0.05)
    left = state.phi.copy(), state.slope.copy(), state.skin.copy()
    state.refresh()
    for found, expected in zip(left, (state.phi, state.slope, state.skin), strict=True):
        np.testing.assert_array_equal(found, expected)


def test_nothing_is_printed(
    problem: Problem, stepper: Stepper, capfd: pytest.CaptureFixture[str]
) -> None:
    stepper.advance(rough_state(problem, 8), 0.1)
    assert capfd.readouterr() == ("", "")


def cells(state: State) -> Array:
    """(nc, layers) temperatures of all cells [K]."""
    return np.stack([state.temperature(k) for k in range(state.h.shape[1])], axis=1)


def lit(problem: Problem, stepper: Stepper, layer: int) -> Array:
    """Temperatures [K] after an arc has stood before the beginning of a layer, filler laid."""
    state = State(problem)
    state.alive[:] = 1.0
    state.refresh()
    state.light(layer * 2.0 * np.pi / problem.mesh.layers, 400.0)
    for _ in range(5):
        stepper.advance(state, 0.1)
    found = cells(state)
    assert found.max() - found.min() > 300.0  # else a stepper that does nothing would do
    return found


# --- a body as one temperature ---------------------------------------------------------------


def test_a_body_as_one_temperature_follows_its_exponential(
    make: Callable[[Problem], Stepper],
) -> None:
    """``T - T_air = (T_0 - T_air) exp(-2 h t / (rho c d))``: at least the first order in time.

    A sheet 1 mm thick in a film on both sides, so conductive that hardly a gradient is left.
    """
    rho, c, thickness, film, start, air = 7800.0, 620.0, MM, 50.0, 1300.0, 293.15
    part = Part.swept(([0.0, 1.0], [0.0, 0.5 * thickness, thickness]))
    walls = {"bottom": film, "top": film}
    problem = part.problem(fixed(k=5e3, rho=rho, c=c), start=start, air=air, film=walls)
    time = rho * c * thickness / (2.0 * film)
    error = []
    for steps in (3, 6, 12):
        rig = Rig(problem)
        rig.stepper = make(problem)
        rig.go(time, time / steps)
        exact = air + (start - air) * exp(-1.0)
        error.append(float(np.abs(rig.cells() - exact).max()) / (start - air))
    assert error[2] < 1e-3
    assert np.log2(error[0] / error[1]) > 1.0
    assert np.log2(error[1] / error[2]) > 1.0


# --- a run -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def runs(job: Job, problem: Problem) -> dict[str, History]:
    """A quarter of the ring in two segments, with little of the cooling, by every stepper."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(march_module, "COOL_AT_LEAST", 0.5)
        patch.setattr(march_module, "COOL_TO", np.inf)
        steppers = [make(problem) for make in STEPPERS.values()]
        return {one.name: march(job, one) for one in [*steppers, Substeps(problem)]}


def test_every_run_keeps_heat_and_says_who_made_it(runs: dict[str, History]) -> None:
    assert list(runs) == [*STEPPERS, Substeps.name]
    for name, run in runs.items():
        assert abs(run.ledger.imbalance) < 1e-11
        assert run.march == name


def furthest(one: History, other: History) -> float:
    """Largest difference of any temperature of the outcomes, as a share of its rise."""
    a, b = temperatures(one), temperatures(other)
    assert list(a) == list(b)
    return max(abs(b[place] - value) / (value - 293.15) for place, value in a.items())


@pytest.mark.parametrize("name", STEPPERS)
def test_temperatures_are_those_of_short_steps(runs: dict[str, History], name: str) -> None:
    assert furthest(runs[Substeps.name], runs[name]) < APART[name]


@pytest.mark.parametrize("pair", list(combinations(STEPPERS, 2)), ids="-".join)
def test_temperatures_of_two_steppers_agree(runs: dict[str, History], pair: list[str]) -> None:
    assert furthest(*(runs[name] for name in pair)) < 0.01


@pytest.mark.parametrize("name", STEPPERS)
def test_wet_shares_agree(runs: dict[str, History], name: str) -> None:
    """Within 0.02, or the one face that is more than that of so small a joint."""
    other, fine = (
        np.array([(s.tube_side_wet, s.flange_side_wet) for s in run.segments]).mean(axis=0)
        for run in (runs[name], runs[Substeps.name])
    )
    assert ((fine > 0.1) & (fine < 0.9)).all()  # else any march would do
    faces = np.array([(~np.isnan(side)).sum() for side in wetted(runs[Substeps.name])])
    assert (np.abs(other - fine) < np.maximum(0.02, 1.5 / faces)).all()


@pytest.mark.parametrize("name", STEPPERS)
def test_peaks_under_filler_agree_face_by_face(runs: dict[str, History], name: str) -> None:
    for fine, other in zip(wetted(runs[Substeps.name]), wetted(runs[name]), strict=True):
        laid = ~np.isnan(fine)
        np.testing.assert_array_equal(laid, ~np.isnan(other))
        assert laid.any()
        assert (np.abs(other - fine)[laid] < 2.0 * APART[name] * (fine - 293.15)[laid]).all()
