"""The FiPy march against the compiled one: the same equations, solved in two ways."""

from __future__ import annotations

import subprocess
import sys
from math import pi

import numpy as np
import pytest
from numpy.typing import NDArray

from lapheat.case.alloys import builtin
from lapheat.case.case import (
    Arc,
    Case,
    Fillet,
    Flange,
    Lap,
    Limits,
    Probe,
    Surroundings,
    Travel,
    Tube,
)
from lapheat.history.records import History
from lapheat.joint.mesh import sweep_line
from lapheat.joint.section import Region, SectionBuilder
from lapheat.march import march as march_module
from lapheat.march.errors import MarchError
from lapheat.march.march import march
from lapheat.march.state import State, Stepper
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.assemble import assemble
from lapheat.problem.problem import Job, Problem
from lapheat.problem.setup import job_of

PARTS = (Region.TUBE, Region.FLANGE)
ALLOYS = ("304L", "low-carbon steel", "CuSi3Mn1")

Array = NDArray[np.float64]


def small_case() -> Case:
    """A 12 mm tube in a small plate under a wide arc: a mesh of few cells."""
    return Case(
        title="small joint",
        joint="tube-to-flange",
        tube=Tube("304L", 12e-3, 1e-3, 20e-3),
        flange=Flange("low-carbon steel", 3e-3, 30e-3),
        lap=Lap(3e-3, 0.1e-3),
        fillet=Fillet("CuSi3Mn1", 2e-3, 1.6e-3),
        arc=Arc(94.0, 14.0, True, 0.6, 2.5e-3, 0.25 * pi, 0.5e-3),
        travel=Travel(4e-3, 4.8e-3, 1.0, coverage=0.25),
        surroundings=Surroundings(293.15, 10.0, 5.0),
        limits=Limits(50.0, 0.95),
        detail="coarse",
        probes=(
            Probe("wall", "tube", 0.8, 5e-3, 0.0, 0.5e-3),
            Probe("plate", "flange", 2.5, 0.0, 5e-3, 0.0),
        ),
        alloys={name: builtin(name) for name in ALLOYS},
    )


@pytest.fixture(scope="module")
def job() -> Job:
    return job_of(small_case())


@pytest.fixture(scope="module")
def problem(job: Job) -> Problem:
    return job.problem


@pytest.fixture(scope="module")
def stepper(problem: Problem) -> FipyStepper:
    return FipyStepper(problem)


def rough_state(problem: Problem, seed: int) -> State:
    """Every cell at its own temperature, from cold through melting, everything switched on."""
    rng = np.random.default_rng(seed)
    state = State(problem)
    for cell, alloy in enumerate(problem.grid.alloy):
        warm = rng.uniform(300.0, 1900.0, problem.mesh.layers)
        state.h[cell] = problem.alloys[alloy].enthalpy(warm)
    state.alive[:] = rng.random(problem.mesh.layers) < 0.6
    state.contact[:] = rng.uniform(1e-6, 1e-3, state.contact.shape)
    state.air[:] = rng.uniform(280.0, 600.0, len(state.air))
    state.extra = rng.uniform(0.0, 0.5, state.h.shape)
    state.refresh()
    if problem.torch is not None:
        state.light(1.0, 300.0)
    return state


def step_of(problem: Problem, stepper: Stepper, seed: int, dt: float) -> tuple[Array, float]:
    """Heat gained by each cell [J] and heat lost [J] of one step from a rough state."""
    state = rough_state(problem, seed)
    before = state.h.copy()
    lost = stepper.advance(state, dt)
    return problem.grid.mass[:, None] * (state.h - before), lost


def difference(problem: Problem, stepper: Stepper, seed: int, dt: float) -> tuple[float, float]:
    """How far the two marches are apart after one step, against the step's own change."""
    one, lost_one = step_of(problem, CompiledStepper(problem, threads=1), seed, dt)
    two, lost_two = step_of(problem, stepper, seed, dt)
    return (
        float(np.linalg.norm(one - two) / np.linalg.norm(one)),
        abs(lost_two - lost_one) / lost_one,
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_short_steps_agree(problem: Problem, stepper: FipyStepper, seed: int) -> None:
    apart, apart_lost = difference(problem, stepper, seed, problem.explicit_limit / 4096)
    assert apart < 1e-6
    assert apart_lost < 1e-6


def test_steps_draw_together_at_second_order(problem: Problem, stepper: FipyStepper) -> None:
    # both are of second order, so after one step they differ in the third power of dt; against
    # the step's own change, in the second (a little less: the tables have bends, and one random
    # field gives 1.65 to 1.94)
    orders = []
    for seed in range(1, 5):
        long = difference(problem, stepper, seed, problem.explicit_limit)
        short = difference(problem, stepper, seed, problem.explicit_limit / 8)
        orders.append([np.log2(a / b) / 3.0 for a, b in zip(long, short, strict=True)])
    assert (np.mean(orders, axis=0) > 1.8).all()


def test_short_steps_of_a_bar_agree() -> None:
    build = SectionBuilder()
    tube = build.block([1e-3, 1.5e-3, 2.5e-3], [0.0, 1e-3, 3e-3], Region.TUBE)
    build.block([2.5e-3, 3e-3, 4.5e-3], [0.0, 1e-3, 3e-3], Region.FLANGE)
    section = build.finish(
        ("side", "end"), lambda _g, _r, _z, nr, _nz: "side" if abs(nr) > 0.5 else "end", tube
    )
    problem = assemble(
        sweep_line(section, 5, 0.8e-3),
        [builtin("304L"), builtin("low-carbon steel")],
        {Region.TUBE: 0, Region.FLANGE: 1},
        film={"side": 300.0},
        emissivity={"side": 0.6, "end": 0.9},
        air={"side": 300.0, "end": 900.0},
        start=293.15,
        lap_resistance=2e-5,
    )
    apart, apart_lost = difference(problem, FipyStepper(problem), 3, problem.explicit_limit / 4096)
    assert apart < 1e-6
    assert apart_lost < 1e-6


def test_long_step_keeps_heat(problem: Problem, stepper: FipyStepper) -> None:
    state = rough_state(problem, 4)
    area = problem.grid.wall_area[problem.torch.wall] if problem.torch else np.empty(0)
    given = float((area @ state.heat).sum() + state.extra.sum())
    live = np.ones(state.h.shape)
    live[problem.fillet_cells] = state.alive
    given -= float((state.extra * (1.0 - live)).sum())  # `stored` leaves filler yet to come out
    before = state.stored()
    dt = 100.0 * problem.explicit_limit
    lost = stepper.advance(state, dt)
    assert (state.stored() - before + lost) / (given * dt) == pytest.approx(1.0, abs=1e-11)


def test_filler_yet_to_come_stays_as_it_is(problem: Problem, stepper: FipyStepper) -> None:
    state = rough_state(problem, 5)
    state.extra = np.zeros((0, problem.mesh.layers))
    before = state.h[problem.fillet_cells].copy()
    stepper.advance(state, 0.1)
    dead = state.alive == 0.0
    np.testing.assert_array_equal(state.h[problem.fillet_cells][dead], before[dead])
    assert (state.h[problem.fillet_cells][~dead] != before[~dead]).all()


def test_filler_just_laid_does_not_swing(problem: Problem, stepper: FipyStepper) -> None:
    """Filler laid between a hot wall and a cold plate, in one step far longer than it takes."""
    tube, flange = (np.flatnonzero(problem.mesh.section.region == r) for r in PARTS)
    fillet = problem.fillet_cells

    def after(one: Stepper, steps: int) -> Array:
        state = State(problem)
        state.h[tube] = problem.alloys[0].enthalpy(1500.0)
        state.h[flange] = problem.alloys[1].enthalpy(900.0)
        state.refresh()
        state.observe()
        state.lay(np.arange(problem.mesh.layers), 1500.0)
        for _ in range(steps):
            one.advance(state, 0.12 / steps)
        return state.temperature(0)[fillet]

    exact = after(CompiledStepper(problem, threads=1), 200)
    assert np.ptp(exact) > 50.0  # of the 600 K between the two sides
    np.testing.assert_allclose(after(stepper, 1), exact, atol=10.0)


def test_state_follows_the_enthalpies(problem: Problem, stepper: FipyStepper) -> None:
    state = rough_state(problem, 6)
    stepper.advance(state, 0.05)
    left = state.phi.copy(), state.slope.copy(), state.skin.copy()
    state.refresh()
    for found, expected in zip(left, (state.phi, state.slope, state.skin), strict=True):
        np.testing.assert_array_equal(found, expected)


def test_linear_solver_that_gives_up_is_told(
    problem: Problem, stepper: FipyStepper, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stepper._terms.solver, "iterations", 2)
    with pytest.raises(MarchError, match="linear solver"):
        stepper.advance(rough_state(problem, 7), 0.1)


def test_fipy_is_imported_late() -> None:
    # it reads sys.argv for flags of its own when it is
    code = "import sys, lapheat.march.steppers.fipy; sys.exit('fipy' in sys.modules)"
    path = f"import sys; sys.path[:0] = {sys.path!r}; "
    assert subprocess.run([sys.executable, "-c", path + code], check=False).returncode == 0


class Substeps:
    """The compiled march in eight times as many steps: next to no error in time."""

    name = "fine"

    def __init__(self, problem: Problem) -> None:
        self.inner = CompiledStepper(problem, threads=1)

    def advance(self, state: State, dt: float) -> float:
        return sum(self.inner.advance(state, dt / 8) for _ in range(8))


@pytest.fixture(scope="module")
def runs(job: Job, stepper: FipyStepper) -> dict[str, History]:
    """A quarter of the ring in two segments, with little of the cooling."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(march_module, "COOL_AT_LEAST", 0.5)
        patch.setattr(march_module, "COOL_TO", np.inf)
        steppers = CompiledStepper(job.problem, threads=1), stepper, Substeps(job.problem)
        return {one.name: march(job, one) for one in steppers}


@pytest.mark.parametrize(("name", "share"), [("compiled", 0.01), ("fine", 0.003)])
def test_temperatures_of_a_run_agree(runs: dict[str, History], name: str, share: float) -> None:
    other, fipy = temperatures(runs[name]), temperatures(runs["fipy"])
    assert list(other) == list(fipy)
    for place, value in other.items():
        assert abs(fipy[place] - value) < share * (value - 293.15), place


def test_peaks_under_filler_agree_face_by_face(runs: dict[str, History]) -> None:
    for fine, fipy in zip(wetted(runs["fine"]), wetted(runs["fipy"]), strict=True):
        laid = ~np.isnan(fine)
        np.testing.assert_array_equal(laid, ~np.isnan(fipy))
        assert laid.any()
        assert (np.abs(fipy - fine)[laid] < 0.01 * (fine - 293.15)[laid]).all()


@pytest.mark.parametrize("name", ["compiled", "fine"])
def test_wet_shares_agree(runs: dict[str, History], name: str) -> None:
    # within 0.02, or the one face that is more than that of so small a joint
    other, fipy = (
        np.array([(s.tube_side_wet, s.flange_side_wet) for s in run.segments]).mean(axis=0)
        for run in (runs[name], runs["fipy"])
    )
    assert ((fipy > 0.1) & (fipy < 0.9)).all()  # else any march would do
    faces = np.array([(~np.isnan(side)).sum() for side in wetted(runs["fipy"])])
    assert (np.abs(other - fipy) < np.maximum(0.02, 1.5 / faces)).all()


def test_every_run_keeps_heat(runs: dict[str, History]) -> None:
    for run in runs.values():
        assert abs(run.ledger.imbalance) < 1e-11


def test_run_says_which_march_made_it(runs: dict[str, History]) -> None:
    assert runs["fipy"].march == "fipy"


def test_nothing_is_printed(
    problem: Problem, stepper: FipyStepper, capfd: pytest.CaptureFixture[str]
) -> None:
    stepper.advance(rough_state(problem, 8), 0.1)
    assert capfd.readouterr() == ("", "")


def wetted(run: History) -> tuple[Array, Array]:
    """Peaks of the faces under filler [K], tube side and flange side."""
    return run.sides["tube"].peak, run.sides["flange"].peak


def temperatures(run: History) -> dict[str, float]:
    """Every temperature of a run that the outcomes tell [K]."""
    found = {
        "tube": max(s.tube_peak for s in run.segments),
        "bore": float(np.nanmax(run.surfaces["tube bore"].peak)),
        "flange": max(s.flange_peak for s in run.segments),
        "filler": float(np.nanmax(run.cell_peak[run.problem.fillet_cells])),
    }
    for segment in run.segments:
        found[f"{segment.number} tube"] = segment.tube_peak
        found[f"{segment.number} flange"] = segment.flange_peak
        if segment.number > 1:
            found[f"{segment.number} start"] = segment.start_temperature
    for i, probe in enumerate(run.case.probes):
        found[f"probe {probe.name}"] = float(run.trace.probes[:, i].max())
    return found
