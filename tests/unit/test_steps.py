"""Steps of a pause, and mesh lines where a count changes."""

from __future__ import annotations

from dataclasses import replace
from math import erfc, exp, pi, sqrt

import numpy as np
import pytest

from exact.build import ZERO, Part, Rig, fixed, lines
from invariance.small import SMALL, text_of
from lapheat.case.case import Case
from lapheat.case.file import read_case_text
from lapheat.joint.section import graded
from lapheat.march.steps import LONGEST_STEP, arc_step, rest_step, rest_steps


@pytest.fixture
def case() -> Case:
    return read_case_text(text_of(SMALL), "small.toml")


@pytest.mark.parametrize("seconds", [0.0, 0.01, 1.0, 10.0, 15.0, 400.0])
def test_steps_of_a_pause_fill_it(case: Case, seconds: float) -> None:
    steps = rest_steps(case, seconds)
    gone = np.concatenate([[0.0], np.cumsum(steps)])
    assert gone[-1] == pytest.approx(seconds)
    longest = [rest_step(case, t) for t in gone[:-1]]
    assert (np.array(steps) <= 1.1 * np.array(longest)).all()  # the one where growth ends
    assert max(steps, default=0.0) <= LONGEST_STEP * (1.0 + 1e-9)
    assert (np.diff(steps) > -1e-9).all()


def test_steps_of_a_pause_go_with_the_cells(case: Case) -> None:
    """At standard 3.5 cells in a spot for 2: the first step and the growth are 2 / 3.5 of these."""
    finer = replace(case, detail="standard")
    assert rest_step(case, 0.0) == pytest.approx(arc_step(case))
    for gone in (0.0, 1.0, 10.0):
        assert rest_step(finer, gone) == pytest.approx(rest_step(case, gone) * 2.0 / 3.5)
        assert rest_step(case, gone, 2.0) == pytest.approx(0.5 * rest_step(case, gone))


def test_first_cells_hardly_feel_a_change_of_the_count() -> None:
    """From 5 to 6 cells the first two change by less than a hundredth."""
    found = {len(ends): ends for ends in (graded(x * 1e-3, 0.5e-3, 1.3, 6e-3) for x in (6.1, 6.2))}
    before, after = found[6], found[7]
    np.testing.assert_allclose(before[1:3], after[1:3], rtol=0.01)


@pytest.mark.parametrize(("bent", "least", "most"), [(False, 6e-3, 7e-3), (True, 0.0, 1e-5)])
def test_parabola_reads_a_heated_wall(bent: bool, least: float, most: float) -> None:
    """Insulated slab under a steady flux (Carslaw and Jaeger 1959, 3.8), in 4 cells."""
    k, rho, c, flux, thickness, time = 25.0, 8000.0, 500.0, 2e6, 2e-3, 0.8
    part = Part.swept((lines(0.0, 4e-3, 1), lines(0.0, thickness, 4)))
    problem = part.problem(fixed(k=k, rho=rho, c=c), lit_surfaces=("top",), bent=bent)
    rig = Rig(problem)
    rig.state.heat[:] = flux
    rig.go(time, 0.02, first=0.002)
    root = sqrt(k / (rho * c) * time)
    exact = 0.0
    for n in range(20):  # images of a half space
        for z in (2 * n * thickness, 2 * (n + 1) * thickness):
            x = z / (2.0 * root)
            exact += 2.0 * root / k * flux * (exp(-x * x) / sqrt(pi) - x * erfc(x))
    top = [n == "top" for n in problem.wall_names()].index(True)
    rise = float(rig.state.surface[top, 0]) - ZERO
    assert least <= abs(rise / exact - 1.0) < most
