"""The compiled stepper: explicit stabilised steps by `kernel.advance`."""

from __future__ import annotations

from math import ceil, sqrt

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


class CompiledStepper:
    """Explicit stabilised march on `threads` threads (all of numba's by default)."""

    name = "compiled"

    def __init__(self, problem: Problem, threads: int | None = None) -> None:
        nc, layers = problem.mesh.shape
        skins = int(problem.grid.skin.max()) + 1
        self.threads = min(threads or numba.get_num_threads(), nc)
        self._rate = np.empty((nc, layers))
        self._ys = np.empty((2, nc, layers))
        self._phi = np.empty((2, nc, layers))
        self._skin_t = np.empty((2, skins, layers))
        self._skin_k = np.empty((2, skins, layers))
        self._scratch = np.zeros((self.threads, 4, layers))
        self._lost = np.zeros(len(problem.wall))

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J]."""
        p = state.problem
        self._phi[0] = state.phi
        self._skin_t[0] = state.skin_t
        self._skin_k[0] = state.skin_k
        stages = stages_for(dt, p.explicit_limit)
        advance = kernel.advance if self.threads == 1 else kernel.advance_threaded
        lost = advance(
            state.h, self._rate, self._ys, self._phi, self._skin_t, self._skin_k,
            dt, stages, self.threads, p.grid, p.tables, state.alive,
            state.contact, state.heat, state.air, state.extra, self._scratch, self._lost,
        )  # fmt: skip
        end = stages % 2
        state.phi[:] = self._phi[end]
        state.skin_t[:] = self._skin_t[end]
        state.skin_k[:] = self._skin_k[end]
        return float(lost)
