"""The compiled stepper: explicit stabilised steps by `kernel.advance`."""

from __future__ import annotations

import time
from math import ceil, sqrt
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from . import kernel
from .arrays import Grid
from .problem import Problem
from .state import State

__all__ = ["CompiledStepper", "ThreadChoice", "stages_for"]


def stages_for(dt: float, explicit_limit: float) -> int:
    """Odd number of stages that keeps a step of `dt` [s] stable (Meyer et al. 2014, eq. 20)."""
    stages = ceil(0.5 * (sqrt(9.0 + 16.0 * dt / explicit_limit) - 1.0))
    return max(3, stages + 1 - stages % 2)


STILL = 16.0  # [K] a cell may move in a step without its tables being looked up at every stage
RUNS = 8  # of such cells that are told apart in a row
TRIAL_EVERY = 128  # steps between looks at whether all threads still pay
TRIAL_STEPS = 5  # in a row of each kind in a look; the first, which may start threads, not counted
BESIDE = 4  # stages that take as long as what a step does beside its stages


class CompiledStepper:
    """Explicit stabilised march on `threads` threads (all of numba's by default).

    Every stage ends at a barrier, so that a core busy with something else would hold up all of
    them: now and then some steps on all threads are timed against some on one, and the faster
    stays. The numbers are the same either way.
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
        self._choice = ThreadChoice(self.threads)

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J]."""
        stages = stages_for(dt, state.problem.explicit_limit)
        if self.threads == 1:
            self._advance(kernel.advance, state, dt, stages, 1)
            return float(self._gave.sum())
        use = self._choice.next()
        before = numba.get_num_threads()
        numba.set_num_threads(use)
        began = time.perf_counter()
        try:
            taken = self._advance(kernel.advance_threaded, state, dt, stages, use)
        finally:
            numba.set_num_threads(before)
        self._choice.took(time.perf_counter() - began, taken * stages + BESIDE)
        return float(self._gave.sum())

    def _advance(self, kernel_step: Any, state: State, dt: float, stages: int, threads: int) -> int:
        """Take the step; returns how often it had to be taken."""
        p = state.problem
        taken = kernel_step(
            state.h, state.phi, state.slope, state.skin, state.peak_h,
            self._rate, self._ds, self._us, self._skins, dt, stages, self._cuts[threads],
            self._still, self._hot, self._moving, self._runs, self._quiet, self._counts,
            p.grid, p.tables, state.alive, state.rod, state.contact,
            state.heat_from, state.heat, state.air, state.extra,
            self._flows, self._loss, self._fade, self._sun, self._scratch, self._lost, self._gave,
        )  # fmt: skip
        state.lost += self._gave
        return int(taken)


class ThreadChoice:
    """Whether the coming step is taken by all threads or by one.

    Every `TRIAL_EVERY` steps `TRIAL_STEPS` by each are timed; the faster goes on. Means count, not
    the fastest: what holds up a barrier now and then is just what is looked for.
    """

    def __init__(self, threads: int) -> None:
        self._kinds = (threads, 1)
        self._step = -1  # the first step of all may have to compile
        self._in_use = 0
        self._spent = [[0.0, 0.0], [0.0, 0.0]]  # of each kind: seconds, stages

    def next(self) -> int:
        """Threads for the coming step."""
        place, tried = divmod(self._step % TRIAL_EVERY, TRIAL_STEPS)
        if place > 1 or self._step < 0:
            return self._kinds[self._in_use]
        if place == tried == 0:
            self._spent = [[0.0, 0.0], [0.0, 0.0]]
        return self._kinds[place]

    def took(self, seconds: float, stages: float) -> None:
        """Take note of how long that step took, and of its stages."""
        place, tried = divmod(self._step % TRIAL_EVERY, TRIAL_STEPS)
        self._step += 1
        if place > 1 or self._step == 0 or tried == 0:
            return
        self._spent[place][0] += seconds
        self._spent[place][1] += stages
        if place == 1 and tried == TRIAL_STEPS - 1:
            paces = [spent / max(done, 1.0) for spent, done in self._spent]
            self._in_use = paces.index(min(paces))


def _shares(grid: Grid, threads: int) -> NDArray[np.int64]:
    """First row of each thread's share and the end of the last; walls and filler count extra."""
    links = np.diff(grid.first) - (grid.beside_factor != 0.0).sum(axis=1)
    weight = np.cumsum(1.0 + 0.4 * np.diff(grid.wall_first) + 0.8 * links + 2.0 * (grid.slot >= 0))
    inner = np.searchsorted(weight, weight[-1] * np.arange(1, threads) / threads)
    return np.array([0, *inner, len(weight)], dtype=np.int64)
