"""How the temperature of a heated wall is read from its cells."""

from __future__ import annotations

from math import erfc, exp, pi, sqrt

import pytest

from exact.build import ZERO, Part, Rig, fixed, lines


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
