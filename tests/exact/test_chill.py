"""The chill as a lumped body: two bodies that share their heat, and the area the ring touches."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from exact.build import MM, ZERO, Part, fixed, lines
from exact.errors import Record
from lapheat.case.alloys import Alloy
from lapheat.case.file import read_case_text
from lapheat.march.chill import advance
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.problem import CHILL, ChillRing, Problem
from lapheat.problem.setup import problem_of
from support.case_texts import BASE, FIXTURE

AREA = 1.0 * MM * 1.0 * MM  # of the wall that touches the chill
HOT = 600.0


def chilled(conductance: float, mass: float) -> Problem:
    """A block of 1 mm, all of one temperature, with one wall on a chill of `mass` [kg]."""
    part = Part.swept((lines(0.0, 1.0 * MM, 2), [0.0, 1.0 * MM]), step=1.0 * MM)
    film = {"right": conductance}
    problem = part.problem(fixed(1e4, 8000.0, 500.0), start=ZERO + 20.0, film=film, air=ZERO + 20.0)
    right = np.array([name == "right" for name in problem.wall_names()])
    metal = Alloy.constant("chill", 8900.0, 400.0, 400.0, 0.1)
    ring = ChillRing(
        metal, metal.table(), mass, conductance * AREA, float(metal.enthalpy(problem.start))
    )
    return replace(problem, sink=np.where(right, CHILL, problem.sink), chill=ring)


def cooled(problem: Problem, time: float, dt: float) -> tuple[State, float]:
    """State after `time` [s] in steps of `dt`, the block hot and the chill cold at the start."""
    state = State(problem)
    state.h[:] = problem.alloys[0].enthalpy(ZERO + HOT)
    state.refresh()
    state.observe()
    stepper = CompiledStepper(problem, threads=1)
    lost = 0.0
    for _ in range(round(time / dt)):
        lost += advance(stepper, state, dt)
        state.observe()
    return state, lost


@pytest.mark.parametrize("dt", [0.05, 0.4])
def test_block_and_chill_draw_together(dt: float, record: Record) -> None:
    """Two lumped bodies: their difference fades as exp(-G (1/C1 + 1/C2) t); Incropera, 5.1."""
    conductance, mass = 1000.0, 8e-6
    problem = chilled(conductance, mass)
    one, two, touch = 1e-9 * 8000.0 * 500.0, mass * 400.0, conductance * AREA
    time = 2.0
    state, lost = cooled(problem, time, dt)
    apart = (HOT - 20.0) * np.exp(-touch * (1.0 / one + 1.0 / two) * time)
    together = (one * HOT + two * 20.0) / (one + two)
    chill = together - apart * one / (one + two)
    block = together + apart * two / (one + two)
    off = [state.chill - ZERO - chill, *(state.temperature(0) - ZERO - block)]
    check = f"chill and block as two temperatures, steps of {dt:g} s"
    record(check, "Incropera 5.1, two bodies", np.abs(off).max(), 2.0 * dt + 0.2, "K")
    assert lost == pytest.approx(state.taken()[CHILL], rel=1e-12)


@pytest.mark.parametrize("conductance", [1e2, 5e4])
@pytest.mark.parametrize("mass", [1e-6, 1e-3])
def test_a_chill_is_stable_however_thin_and_however_tight(conductance: float, mass: float) -> None:
    """It never gets hotter than the block was, nor the block colder than the chill was."""
    state, lost = cooled(chilled(conductance, mass), 1.0, 0.5)
    assert ZERO + 20.0 <= state.chill <= ZERO + HOT + 1e-6
    assert state.temperature(0).min() >= ZERO + 20.0 - 1e-6
    assert state.chill_peak <= ZERO + HOT + 1e-6
    # what left the block is what warmed the chill
    kept = mass * 400.0 * (state.chill - ZERO - 20.0)
    assert kept == pytest.approx(lost, rel=1e-9)
    assert state.stored() + lost == pytest.approx(1e-9 * 8000.0 * 500.0 * (HOT - 20.0), rel=1e-9)


@pytest.mark.parametrize("detail", ["coarse", "standard"])
@pytest.mark.parametrize("length", [3.0, 12.0, 40.0])
def test_the_ring_touches_what_its_length_says(detail: str, length: float) -> None:
    """Of 40 mm, 20 mm stand above the flange's face and 6.35 mm, the lap, below it."""
    case = read_case_text(BASE + FIXTURE, "x", [f"fixture.chill_length={length} mm"], detail)
    problem = problem_of(case)
    bore, inside = 17.4e-3, min(0.5 * length, 6.35) + 0.5 * length
    expected = 1000.0 * 2.0 * pi * bore * inside * MM
    walls = problem.sink == CHILL
    found = problem.grid.film[walls] @ problem.grid.wall_area[walls] * problem.mesh.layers
    assert problem.chill is not None
    assert problem.chill.touch == pytest.approx(found, rel=1e-12)
    assert found == pytest.approx(expected, rel=1e-3)
    # a ring of 6 mm in a bore of 34.8 mm, copper of 8940 kg/m3 (the alloy's own source)
    volume = pi * (17.4**2 - 11.4**2) * length * 1e-9
    assert problem.chill.mass == pytest.approx(volume * case.alloys["copper"].density, rel=1e-9)
    assert np.all(problem.grid.emissivity[problem.sink != 0] == 0.0)
    names = {problem.wall_names()[w] for w in np.flatnonzero(problem.sink == CHILL)}
    assert names == {"tube bore"}
