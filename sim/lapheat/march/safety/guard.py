"""What every step of a march is held to: numbers, temperatures a metal can have, closed heat."""

from __future__ import annotations

from math import degrees

import numpy as np

from ...case.case import Case
from ...problem.problem import Job, Problem
from ..errors import MarchError
from ..kernels.guard import look
from ..recorder import Recorder
from ..state import State

__all__ = ["Guard"]

HOTTEST = 20e3  # [K] an argon arc's own plasma; no metal under it is hotter (from memory)
COLDER = 50.0  # [K] below the coldest thing about; shipped cases fall 1e-5 K below it
DRIFT = 1e-6  # of the heat that came and went; both marches close to 1e-14
ROUND = 1e-9  # of the heat in the cold part, for the first steps


class Guard:
    """Looks at all cells after a step; it reads the state and never changes it."""

    def __init__(self, job: Job, state: State) -> None:
        self.job, problem = job, job.problem
        coldest = min(problem.start, float(problem.air.min(initial=np.inf))) - COLDER
        alloys, of = range(len(problem.alloys)), problem.grid.alloy
        self.low = np.array([_enthalpy(problem, a, coldest) for a in alloys])[of]
        self.high = np.array([_enthalpy(problem, a, HOTTEST) for a in alloys])[of]
        self.begun, _ = look(state.h, problem.grid.mass, self.low, self.high)

    def check(self, state: State, record: Recorder) -> None:
        """Let the state of a step pass, or say what is wrong with it and where.

        The heat is ``arc + filler - lost - stored`` [J]. What is left of it may be a millionth of
        ``arc + filler + lost``.

        Raises
        ------
        MarchError
            A temperature is not a number or beyond what a metal can have, or heat has come up or
            gone.
        """
        grid = self.job.problem.grid
        heat, strange = look(state.h, grid.mass, self.low, self.high)
        if strange:
            raise MarchError(self._strange(state))
        came = record.arc_heat + record.filler_heat
        drift = came - record.lost - (heat - self.begun)
        if not abs(drift) <= DRIFT * (came + abs(record.lost)) + ROUND * abs(self.begun):
            gone = "is missing" if drift > 0.0 else "came from nowhere"
            raise MarchError(f"the heat does not add up: {abs(drift):.3g} J of {came:.3g} J {gone}")

    def _strange(self, state: State) -> str:
        """Say which cell is wrong: one that is not a number, else the farthest outside."""
        h = state.h
        off = np.maximum(self.low[:, None] - h, h - self.high[:, None])
        off[np.isnan(h)] = np.inf
        cell, layer = (int(i) for i in np.unravel_index(int(off.argmax()), h.shape))
        where = _place(self.job.problem, self.job.case, cell, layer)
        if not np.isfinite(h[cell, layer]):
            return f"a temperature came out as not a number {where}"
        kelvin = float(state.temperature(layer)[cell])
        return f"a temperature came out as {kelvin:.5g} K, which no metal has, {where}"


def _enthalpy(problem: Problem, alloy: int, temperature: float) -> float:
    """Specific enthalpy at a temperature [K] on an alloy's table or on its lines beyond [J/kg]."""
    t = problem.tables.temperature[alloy]
    i = int(np.clip(np.searchsorted(t, temperature) - 1, 0, len(t) - 2))
    node = i + (temperature - t[i]) / (t[i + 1] - t[i])
    return float(problem.tables.low[alloy] + node / problem.tables.per_step[alloy])


def _place(problem: Problem, case: Case, cell: int, layer: int) -> str:
    """Part, angle, height and radius of a cell, in words."""
    section = problem.mesh.section
    part = ("tube", "flange", "fillet")[section.region[cell]]
    corners = section.cells[cell]
    r, z = 1e3 * section.vertices[corners[corners >= 0]].mean(axis=0)
    angle = degrees(problem.mesh.layer_angles()[layer])
    line = "arc line" if case.flange is None else "flange face"
    return (
        f"in the {part} at {angle:.0f} deg, {r:.2f} mm from the axis, {z:+.2f} mm from the {line}"
    )
