"""The compiled stepper: explicit stabilised steps by `kernel.advance`."""

from __future__ import annotations

import time
from math import ceil, inf, sqrt
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from . import kernel
from .arrays import Grid
from .problem import Problem
from .state import State

__all__ = ["CompiledStepper", "stages_for"]


def stages_for(dt: float, explicit_limit: float) -> int:
    """Odd number of stages that keeps a step of `dt` [s] stable (Meyer et al. 2014, eq. 20)."""
    stages = ceil(0.5 * (sqrt(9.0 + 16.0 * dt / explicit_limit) - 1.0))
    return max(3, stages + 1 - stages % 2)


STILL = 16.0  # [K] a cell may move in a step without its tables being looked up at every stage
RUNS = 8  # of such cells that are told apart in a row
TRIAL_EVERY = 128  # steps between looks at whether all threads still pay
TRIAL_STEPS = 3  # in a row of each kind in a look: starting threads spoils the first of them
BESIDE = 4  # stages that take as long as what a step does beside its stages


class CompiledStepper:
    """Explicit stabilised march on `threads` threads (all of numba's by default).

    Every stage ends at a barrier, so that a core busy with something else would hold up all of
    them: now and then a step on one thread is timed against one on all, and the faster stays.
    The numbers are the same either way.
    """

    name = "compiled"

    def __init__(self, problem: Problem, threads: int | None = None) -> None:
        grid = problem.grid
        nc, layers = problem.mesh.shape
        skins, lit = int(grid.skin.max()) + 1, int(grid.lit.max(initial=-1)) + 1
        walls = len(problem.wall)
        self.threads = min(threads or numba.get_num_threads(), numba.get_num_threads(), nc)
        self._rate = np.empty((nc, layers))
        self._ds = np.zeros((2, nc, layers))
        self._us = np.zeros((2, nc, layers + 2))
        self._skins = np.empty((2, 2, skins, layers))
        self._hot = np.zeros((nc, layers), dtype=np.bool_)
        self._moving = np.zeros_like(self._hot)
        self._runs = np.zeros((nc, RUNS + 1, 2), dtype=np.int64)
        self._quiet = np.zeros(nc, dtype=np.bool_)
        self._counts = np.zeros(nc, dtype=np.int64)
        self._still = STILL * np.array([a.table().c_min for a in problem.alloys])
        self._flows = np.zeros((len(grid.other), layers))
        self._loss = np.empty((walls, layers))
        self._fade = np.empty((walls, layers))
        self._sun = np.empty((3, lit, layers))
        self._scratch = np.zeros((self.threads, 2, layers))
        self._lost = np.zeros((3, walls))
        self._gave = np.zeros(walls)
        self._cuts = {n: _shares(grid, n) for n in {1, self.threads}}
        self._steps = 0
        self._in_use = self.threads
        self._pace = {1: inf, self.threads: inf}  # seconds a stage, fastest of the last trial

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J]."""
        stages = stages_for(dt, state.problem.explicit_limit)
        if self.threads == 1:
            return self._advance(kernel.advance, state, dt, stages, 1)
        trial = self._steps % TRIAL_EVERY - 1  # the first step of all may have to compile
        tried = 0 <= trial < 2 * TRIAL_STEPS
        use = (self.threads, 1)[trial // TRIAL_STEPS] if tried else self._in_use
        if trial == 0:
            self._pace = {1: inf, self.threads: inf}
        self._steps += 1
        began = time.perf_counter()
        before = numba.get_num_threads()
        numba.set_num_threads(use)
        try:
            lost = self._advance(kernel.advance_threaded, state, dt, stages, use)
        finally:
            numba.set_num_threads(before)
        pace = (time.perf_counter() - began) / (stages + BESIDE)
        self._pace[use] = min(self._pace[use], pace)
        if trial == 2 * TRIAL_STEPS - 1:
            self._in_use = min(self._pace, key=self._pace.__getitem__)
        return lost

    def _advance(
        self, kernel_step: Any, state: State, dt: float, stages: int, threads: int
    ) -> float:
        p = state.problem
        kernel_step(
            state.h, state.phi, state.slope, state.skin, state.peak_h,
            self._rate, self._ds, self._us, self._skins, dt, stages, self._cuts[threads],
            self._still, self._hot, self._moving, self._runs, self._quiet, self._counts,
            p.grid, p.tables, state.alive, state.rod, state.contact,
            state.heat_from, state.heat, state.air, state.extra,
            self._flows, self._loss, self._fade, self._sun, self._scratch, self._lost, self._gave,
        )  # fmt: skip
        state.lost += self._gave
        return float(self._gave.sum())


def _shares(grid: Grid, threads: int) -> NDArray[np.int64]:
    """First row of each thread's share and the end of the last; walls and filler count extra."""
    links = np.diff(grid.first) - (grid.beside_factor != 0.0).sum(axis=1)
    weight = np.cumsum(1.0 + 0.4 * np.diff(grid.wall_first) + 0.8 * links + 2.0 * (grid.slot >= 0))
    inner = np.searchsorted(weight, weight[-1] * np.arange(1, threads) / threads)
    return np.array([0, *inner, len(weight)], dtype=np.int64)
