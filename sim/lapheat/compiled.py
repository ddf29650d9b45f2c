"""The compiled stepper: explicit stabilised steps by `kernel.advance`."""

from __future__ import annotations

import time
from math import ceil, sqrt
from typing import Any

import numba
import numpy as np

from . import kernel
from .problem import Problem
from .state import State

__all__ = ["CompiledStepper", "stages_for"]


def stages_for(dt: float, explicit_limit: float) -> int:
    """Odd number of stages that keeps a step of `dt` [s] stable (Meyer et al. 2014, eq. 20)."""
    stages = ceil(0.5 * (sqrt(9.0 + 16.0 * dt / explicit_limit) - 1.0))
    return max(3, stages + 1 - stages % 2)


TRIAL_EVERY = 64  # steps between looks at whether all threads still pay


class CompiledStepper:
    """Explicit stabilised march on `threads` threads (all of numba's by default).

    Every stage ends at a barrier, so that a core busy with something else would hold up all of
    them: now and then a step on one thread is timed against one on all, and the faster stays.
    The numbers are the same either way.
    """

    name = "compiled"

    def __init__(self, problem: Problem, threads: int | None = None) -> None:
        nc, layers = problem.mesh.shape
        skins = int(problem.grid.skin.max()) + 1
        self.threads = min(threads or numba.get_num_threads(), numba.get_num_threads(), nc)
        self._rate = np.empty((nc, layers))
        self._ys = np.empty((2, nc, layers))
        self._phi = np.empty((2, nc, layers))
        self._skin_t = np.empty((2, skins, layers))
        self._skin_k = np.empty((2, skins, layers))
        self._scratch = np.zeros((self.threads, 5, layers))
        self._scratch[:, 4] = 1.0
        self._lost = np.zeros((4, len(problem.wall)))
        self._steps = 0
        self._in_use = self.threads
        self._pace = {1: 0.0, self.threads: 0.0}  # seconds a stage at the last trial

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J]."""
        stages = stages_for(dt, state.problem.explicit_limit)
        if self.threads == 1:
            return self._advance(kernel.advance, state, dt, stages, 1)
        # the first step of all may have to compile
        trial = self._steps % TRIAL_EVERY
        use = {1: self.threads, 2: 1}.get(trial, self._in_use)
        self._steps += 1
        began = time.perf_counter()
        before = numba.get_num_threads()
        numba.set_num_threads(use)
        try:
            lost = self._advance(kernel.advance_threaded, state, dt, stages, use)
        finally:
            numba.set_num_threads(before)
        self._pace[use] = (time.perf_counter() - began) / stages
        if trial == 2:
            self._in_use = min(self._pace, key=self._pace.__getitem__)
        return lost

    def _advance(
        self, kernel_step: Any, state: State, dt: float, stages: int, threads: int
    ) -> float:
        p = state.problem
        self._phi[0] = state.phi
        self._skin_t[0] = state.skin_t
        self._skin_k[0] = state.skin_k
        lost = kernel_step(
            state.h, self._rate, self._ys, self._phi, self._skin_t, self._skin_k,
            dt, stages, threads, p.grid, p.tables, state.alive, state.rod,
            state.contact, state.heat_from, state.heat, state.air, state.extra,
            self._scratch, self._lost,
        )  # fmt: skip
        end = stages % 2
        state.phi[:] = self._phi[end]
        state.skin_t[:] = self._skin_t[end]
        state.skin_k[:] = self._skin_k[end]
        state.lost += self._lost[1]
        return float(lost)
