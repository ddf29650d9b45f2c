"""The FiPy march against the compiled one: the same equations, solved in two ways."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.joint.mesh import sweep_line
from lapheat.joint.section import Region, SectionBuilder
from lapheat.march.errors import MarchError
from lapheat.march.state import State, Stepper
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.assemble import assemble
from lapheat.problem.problem import Job, Problem
from lapheat.problem.setup import job_of
from support.joints import Array, rough_state, small_case


@pytest.fixture(scope="module")
def job() -> Job:
    return job_of(small_case())


@pytest.fixture(scope="module")
def problem(job: Job) -> Problem:
    return job.problem


@pytest.fixture(scope="module")
def stepper(problem: Problem) -> FipyStepper:
    return FipyStepper(problem)


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


def test_filler_just_laid_does_not_swing(problem: Problem, stepper: Stepper) -> None:
    """Filler laid between a hot wall and a cold plate, in one step far longer than it takes."""
    region = problem.mesh.section.region
    tube, flange = (np.flatnonzero(region == part) for part in (Region.TUBE, Region.FLANGE))
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
