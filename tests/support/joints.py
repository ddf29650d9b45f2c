"""Small joints, states and steppers for tests of one step or of a short march."""

from __future__ import annotations

from math import pi

import numpy as np
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
from lapheat.case.file import read_case_text
from lapheat.history.records import History
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.problem import Problem

Array = NDArray[np.float64]

ALLOYS = ("304L", "low-carbon steel", "CuSi3Mn1")
CASE = """
[tube]
outside_diameter = "{od} mm"
wall = "1 mm"
length = "20 mm"
[flange]
thickness = "3 mm"
outside_diameter = "{plate} mm"
[arc]
current = "60 A"
voltage = "10 V"
spot = "2 mm"
[travel]
speed = "3 mm/s"
segment = "{segment} mm"
pause = "1 s"
[numerics]
detail = "coarse"
"""


def case_of(*sets: str, od: float = 20.0, plate: float = 50.0, segment: float = 8.0):
    text = CASE.format(od=od, plate=plate, segment=segment)
    return read_case_text(text, "joint", sets)


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


class Substeps:
    """The compiled march in eight times as many steps: next to no error in time."""

    name = "fine"

    def __init__(self, problem: Problem) -> None:
        self.inner = CompiledStepper(problem, threads=1)

    def advance(self, state: State, dt: float) -> float:
        return sum(self.inner.advance(state, dt / 8) for _ in range(8))
