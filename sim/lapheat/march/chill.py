"""Steps of a part with a chill in its bore, which warms by the heat it takes."""

from __future__ import annotations

from math import ceil, exp

import numpy as np

from ..problem.problem import CHILL, Problem
from .state import State, Stepper

__all__ = ["advance"]

# Longest step over the chill's own time, its capacity over what it touches: a chill that is held
# for a step can then not overshoot, whatever it touches.
LONGEST = 0.5


def advance(stepper: Stepper, state: State, dt: float) -> float:
    """March `state` by `dt` [s]; returns the heat lost through its walls [J].

    The chill follows ``C dT/dt = G (T_w - T)``: capacity C [J/K], conductance G = `touch` [W/K],
    bore T_w [K], all of the chill at one temperature T [K] (lumped, from memory; it holds while
    the chill conducts far better than its contact).

    It is held for a step at the mean temperature it will have if the bore stays as warm as it is,
    ``T_w - (T_w - T) (1 - exp(-x)) / x`` with ``x = dt G / C``. A step is at most half of C / G.
    Then the chill is warmed by exactly the heat that the wall lost to it.
    """
    ring = state.problem.chill
    if ring is None:
        return stepper.advance(state, dt)
    pieces = ceil(dt * ring.touch / (LONGEST * state.chill_capacity(ring)))
    lost = 0.0
    for _ in range(pieces):
        x = dt / pieces * ring.touch / state.chill_capacity(ring)
        wall = _wall_temperature(state)
        mean = wall - (wall - state.chill) * (1.0 - exp(-x)) / x
        state.air[state.problem.sink == CHILL] = mean
        lost += stepper.advance(state, dt / pieces)
        state.warm_chill(ring)
    return lost


def _wall_temperature(state: State) -> float:
    """Mean temperature of the cells at the bore that the chill touches, by conductance [K].

    The cells, not their walls: half a cell of metal conducts far better than the contact.
    """
    p: Problem = state.problem
    walls = np.flatnonzero(p.sink == CHILL)
    weight = p.grid.film[walls] * p.grid.wall_area[walls]
    cells = state.skin[0, p.grid.skin[p.base.wall_cell[walls]]].mean(axis=1)
    return float(weight @ cells / weight.sum())
