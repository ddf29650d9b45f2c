"""The compiled march against FiPy's and against finite elements, at the same error.

The error of a march is how far its hottest tube and flange surface are off those of the same march
with steps many times finer; what is compared takes the longest steps that keep it below `NEAR`.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any, NamedTuple

import numba
import numpy as np
from bench import Table, seconds
from elements import TOLERANCE, Elements
from marches import Course, course, demo
from numpy.typing import NDArray
from scipy.sparse.linalg import splu
from skfem.utils import build_pc_diag, build_pc_ilu, solver_iter_pcg

from lapheat.case.case import Case
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.problem import Job, Problem
from lapheat.problem.setup import job_of, problem_of

__all__ = ["against_elements", "against_fipy"]

NEAR = 5.0  # [K]
FINE = 16.0  # times finer is the march that errors are told from


def _threads() -> str:
    most = numba.get_num_threads()
    return f"{most} thread{'s' * (most > 1)}"


def _described(found: Course, error: float) -> str:
    mean = found.time[-1] / found.steps
    return f"{found.steps} steps of {mean:.3f} s in the mean, off by {error:.2f} K"


def _compiled(job: Job, until: float, shorter: float, repeats: int) -> Course:
    runs = [
        course(job, CompiledStepper(job.problem), until, shorter) for _ in range(max(1, repeats))
    ]
    return sorted(runs, key=lambda run: run.wall)[len(runs) // 2]


def _window(case: Case, layers: int) -> float:
    """End of the first dwell and some layers of travel [s]; every march has a step end there."""
    problem = problem_of(case)
    each = problem.mesh.step / (case.travel.speed / case.tube.radius)
    return case.travel.dwell + layers * each


def against_fipy(table: Table, short: bool) -> None:
    """Both marches of the program on one mesh."""
    table.begin(f"(a) against the FiPy march with conjugate gradients ({_threads()}, FiPy uses 1)")
    paces = (1.0,) if short else (0.25, 0.5, 1.0, 2.0)
    chosen = 1.0
    plan = [("coarse", 2)] if short else [("coarse", 12), ("standard", 3)]
    for detail, layers in plan:
        case = demo(detail, 1)
        until = _window(case, layers)
        job = job_of(case)
        problem = job.problem
        _compiled(job, until, 1.0, 1)  # whatever must be compiled is
        fine = _compiled(job, until, FINE, 1)
        ours = _longest([_compiled(job, until, pace, 3) for pace in paces], fine)
        table.add(
            f"compiled, {problem.mesh.cells:,} cells, first {until:.2f} s",
            ours.wall, "s", how=_described(ours, ours.off(fine)),
        )  # fmt: skip
        found = []
        # coarse settles what steps FiPy needs; standard takes those
        for pace in paces if detail == "coarse" else (chosen,):
            found.append(course(job, FipyStepper(problem), until, pace))
            if found[-1].off(fine) < NEAR:
                chosen = pace
                break
        theirs = _longest(found, fine)
        table.add(
            f"FiPy, {problem.mesh.cells:,} cells, the same",
            theirs.wall, "s", how=_described(theirs, theirs.off(fine)),
        )  # fmt: skip
        table.add("  FiPy over compiled", theirs.wall / ours.wall, "times", "100")


def _longest(runs: list[Course], fine: Course) -> Course:
    """The quickest of those near enough; with none, the nearest."""
    near = [run for run in runs if run.off(fine) < NEAR]
    return min(near, key=lambda r: r.wall) if near else min(runs, key=lambda r: r.off(fine))


# the bare joint: both models get the very same arc, from the strike on


class Bare(NamedTuple):
    """An arc that stands for `dwell` and then travels for `way` [s], in equal steps `dt` [s]."""

    dwell: float
    way: float
    power: float
    rate: float  # [rad/s]

    def ends(self, dt: float) -> NDArray[np.float64]:
        """Times at the ends of steps [s]: whole steps of about `dt` in either spell."""
        one = np.linspace(0.0, self.dwell, round(self.dwell / dt) + 1)
        two = np.linspace(self.dwell, self.dwell + self.way, round(self.way / dt) + 1)
        return np.concatenate([one, two[1:]])

    def angle(self, time: float) -> float:
        """Where the arc is [rad]."""
        return max(0.0, time - self.dwell) * self.rate


class Peaks(NamedTuple):
    """Hottest tube and flange surface [K], time taken [s], steps, iterations of Newton's method."""

    tube: float
    flange: float
    wall: float
    steps: int
    iterations: int = 0

    def off(self, other: Peaks) -> float:
        return max(abs(self.tube - other.tube), abs(self.flange - other.flange))


def _march(problem: Problem, plan: Bare, dt: float) -> Peaks:
    state, stepper, best = State(problem), CompiledStepper(problem), np.zeros(2)
    ends = plan.ends(dt)
    began = time.perf_counter()
    for before, after in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        state.burn((plan.angle(before), plan.power), (plan.angle(after), plan.power))
        stepper.advance(state, after - before)
        state.observe()
        np.maximum(best, state.best[:, 0], out=best)
    return Peaks(*best.tolist(), time.perf_counter() - began, len(ends) - 1)


def _elements(model: Elements, plan: Bare, dt: float, most: int | None = None) -> Peaks:
    T = np.full(model.mesh.nvertices, model.air)
    now = before = model.contents(T)
    best, done, last = np.zeros(2), model.iterations, np.inf
    ends = plan.ends(dt)[: None if most is None else most + 1]
    began = time.perf_counter()
    for start, end in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        size = end - start
        w = size / last  # BDF2 of steps that change; Euler first
        factors = ((1 + 2 * w) / (1 + w) / size, (1 + w) / size, w * w / (1 + w) / size)
        T = model.step(T, (now, before), factors, model.arc(plan.angle(end), plan.power))
        now, before, last = model.contents(T), now, size
        mine = model.tube_points
        np.maximum(best, [T[mine].max(), T[~mine].max()], out=best)
    wall = time.perf_counter() - began
    return Peaks(*best.tolist(), wall, len(ends) - 1, model.iterations - done)


def _bare(detail: str, resistance: float) -> tuple[Case, Problem]:
    case = demo(detail)
    problem = problem_of(case)
    assert problem.lap is not None
    return case, replace(problem, lap=replace(problem.lap, resistance=resistance))


def _solvers(table: Table, model: Elements, plan: Bare, dt: float) -> None:
    T = np.full(model.mesh.nvertices, model.air)
    heat = model.contents(T)
    matrix, rest = model.system(T, (heat, heat), (1 / dt, 1 / dt, 0.0), model.arc(0.0, plan.power))
    table.add(
        "  one assembly",
        seconds(
            lambda: model.system(T, (heat, heat), (1 / dt, 1 / dt, 0.0), model.arc(0.0, 1.0)), 1
        ),
        "s",
    )
    ways: dict[str, Any] = {
        "conjugate gradients, diagonal": lambda: solver_iter_pcg(
            M=build_pc_diag(matrix), rtol=TOLERANCE
        )(matrix, rest),
        "conjugate gradients, incomplete factors": lambda: solver_iter_pcg(
            M=build_pc_ilu(matrix), rtol=TOLERANCE
        )(matrix, rest),
        "factorised": lambda: splu(matrix.tocsc()).solve(rest),
    }
    for name, way in ways.items():
        table.add(f"  one solve, {name}", seconds(way, 1), "s")


def against_elements(table: Table, short: bool) -> None:
    """The bare joint under the demo's arc: standing, then moving."""
    table.begin(f"(b) against scikit-fem, implicit ({_threads()}, scikit-fem uses 1)")
    resistance = 1e-4 / 0.03  # [m2 K/W] 0.1 mm of argon at 600 K
    case, problem = _bare("coarse", resistance)
    power = case.arc.power - case.rod_power
    rate = case.travel.speed / case.tube.radius
    plan = Bare(0.25, 0.25, power, rate) if short else Bare(3.0, 2.0, power, rate)
    total = plan.dwell + plan.way
    steps = (0.125, 0.0625) if short else (0.5, 0.25, 0.125, 0.0625)
    model = Elements(case, problem, resistance)
    runs = [_elements(model, plan, dt) for dt in steps]
    errors = [run.off(runs[-1]) for run in runs[:-1]]
    near = [i for i, error in enumerate(errors) if error < NEAR]
    # with none near enough the finest, whose error is less than that of the one before
    theirs = runs[near[0]] if near else runs[-1]
    error = errors[near[0]] if near else errors[-1]
    each = theirs.iterations / theirs.steps
    if not short:
        _solvers(table, model, plan, total / theirs.steps)
    for detail in ("coarse",) if short else ("coarse", "standard"):
        if detail != "coarse":
            case, problem = _bare(detail, resistance)
            model = Elements(case, problem, resistance)
        ours = _nearest(problem, plan)
        table.add(
            f"compiled, bare joint, {problem.mesh.cells:,} cells, {total:g} s of arc",
            ours[0].wall, "s", how=f"{ours[0].steps} steps, off by {ours[1]:.2f} K",
        )  # fmt: skip
        cells = f"{model.mesh.nelements:,} cells, {model.mesh.nvertices:,} unknowns"
        if detail == "coarse":
            step, taken = theirs.wall / theirs.steps, theirs.wall
            below = "off by" if near else "off by less than"
            how = f"{theirs.steps} steps, {below} {error:.2f} K (finest tried: {runs[-1].steps})"
            peaks = f"tube {runs[-1].tube - 273.15:.0f} against {ours[0].tube - 273.15:.0f} degC, "
            peaks += f"flange {runs[-1].flange - 273.15:.0f} against {ours[0].flange - 273.15:.0f}"
        else:
            some = _elements(model, plan, total / theirs.steps, 2)
            step = some.wall / some.iterations * each
            taken = step * theirs.steps
            how = f"2 steps timed; iterations a step and {theirs.steps} steps as at coarse"
            peaks = ""
        table.add(f"scikit-fem, {cells}", step, "s/step", how=f"{each:.1f} iterations a step")
        table.add("  all its steps", taken, "s", how=how)
        table.add("  scikit-fem over compiled", taken / ours[0].wall, "times", "100", how=peaks)


def _nearest(problem: Problem, plan: Bare) -> tuple[Peaks, float]:
    """The compiled march in the longest steps near enough, median of three, and its error [K]."""
    fine = _march(problem, plan, 0.25 / FINE)
    for dt in (0.5, 0.25, 0.125, 0.0625):
        runs = sorted((_march(problem, plan, dt) for _ in range(3)), key=lambda run: run.wall)
        if runs[1].off(fine) < NEAR:
            break
    return runs[1], runs[1].off(fine)
