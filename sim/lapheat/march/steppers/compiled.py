"""The compiled stepper: explicit stabilised steps by `step.advance`."""

from __future__ import annotations

import time
from collections.abc import Generator
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from ...problem.arrays import Grid
from ...problem.problem import Problem
from ..kernels import step as kernel
from ..kernels.fields import Watch, Work
from ..kernels.weights import rkl2_weights
from ..state import State
from ..steps import stages_for

__all__ = ["CompiledStepper", "stages_for", "thread_choices"]


STILL = 16.0  # [K] a cell may move in a step without its tables being looked up at every stage
RUNS = 8  # of such cells in a row that are kept apart
TRIAL_EVERY = 128  # steps between looks at whether all threads pay
TRIAL_STEPS = 3  # of all threads in a look
LATE, AWAY = 3.0, 20.0  # times the pace of one thread: held up; the same where threads may start
BESIDE = 4  # stages that take as long as what a step does beside its stages


class CompiledStepper:
    """Explicit stabilised march on `threads` threads (all of numba's by default).

    Every stage ends at a barrier, so that a core busy with something else holds up all of them:
    `thread_choices` finds whether they pay. The numbers are the same either way.
    """

    name = "compiled"

    def __init__(self, problem: Problem, threads: int | None = None) -> None:
        grid = problem.grid
        nc, layers = problem.mesh.shape
        skins, lit = int(grid.skin.max()) + 1, int(grid.lit.max(initial=-1)) + 1
        walls = len(problem.wall)
        self.threads = min(threads or numba.get_num_threads(), numba.get_num_threads(), nc)
        hot = np.zeros((nc, layers), dtype=np.bool_)
        self.memory = Watch(
            still=STILL * np.array([a.table().c_min for a in problem.alloys]),
            hot=hot,
            moving=np.zeros_like(hot),
            runs=np.zeros((nc, RUNS + 1, 2), dtype=np.int64),
            counts=np.zeros(nc, dtype=np.int64),
        )
        self._work = Work(
            cuts=_shares(grid, self.threads),
            scratch=np.zeros((self.threads, 2, layers)),
            quiet=np.zeros(nc, dtype=np.bool_),
            rate=np.empty((nc, layers)),
            h_rise=np.zeros((2, nc, layers)),
            phi_rise=np.zeros((2, nc, layers + 2)),
            skin_now=np.empty((2, 2, skins, layers)),
            link_flow=np.zeros((len(grid.other), layers)),
            loss=np.empty((walls, layers)),
            loss_slope=np.empty((walls, layers)),
            arc_gain=np.empty((3, lit, layers)),
            wall_loss=np.zeros((2, walls)),
            heat_out=np.zeros((2, walls)),
        )
        self._work_of_one = self._work._replace(cuts=_shares(grid, 1))
        self._choices = thread_choices(self.threads)
        self._use = next(self._choices)

    def advance(self, state: State, dt: float) -> float:
        """March by `dt` [s]; returns the heat lost through the walls [J]."""
        stages = stages_for(dt, state.problem.explicit_limit)
        if self.threads == 1:
            self._step(kernel.advance, state, dt, stages, self._work_of_one)
        else:
            before = numba.get_num_threads()
            numba.set_num_threads(self._use)
            work = self._work if self._use > 1 else self._work_of_one
            began = time.perf_counter()
            try:
                taken = self._step(kernel.advance_threaded, state, dt, stages, work)
            finally:
                numba.set_num_threads(before)
            pace = (time.perf_counter() - began) / (taken * stages + BESIDE)
            self._use = self._choices.send(pace)
        lost = self._work.heat_out[0]
        state.lost += lost
        return float(lost.sum())

    def _step(self, step: Any, state: State, dt: float, stages: int, work: Work) -> int:
        """Take the step; returns how often it had to be taken."""
        grid, tables, weights = state.problem.grid, state.problem.tables, rkl2_weights(stages)
        fields, given = state.fields(), state.given()
        return int(step(dt, weights, fields, given, self.memory, work, grid, tables))


def thread_choices(threads: int) -> Generator[int, float, None]:
    """Threads for one step after the other: all or one; it is sent the pace of each step taken.

    A look is a few steps on one, then a few on all; the faster on average goes on. A core that
    is busy otherwise can make a step on all a hundred times as slow: one such step ends the look,
    two in a row end their use, and the less all pay, the longer it is until the next look.
    """
    until_next = TRIAL_EVERY
    yield 1  # may have to compile
    while True:
        yield 1  # the first after a change of their number may end or start threads
        one = 0.5 * ((yield 1) + (yield 1))
        late = (yield threads) > AWAY * one
        paces: list[float] = []
        while not late and len(paces) < TRIAL_STEPS:
            paces.append((yield threads))
            late = paces[-1] > LATE * one
        use = threads if not late and sum(paces) < one * len(paces) else 1
        until_next = TRIAL_EVERY if use > 1 else 2 * until_next
        strikes = 0
        for _ in range(until_next):
            late = (yield use) > LATE * one and use > 1
            strikes = strikes + 1 if late else 0
            use = 1 if strikes == 2 else use


def _shares(grid: Grid, threads: int) -> NDArray[np.int64]:
    """First row of each thread's share and the end of the last; walls and filler count extra."""
    links = np.diff(grid.first) - (grid.beside_factor != 0.0).sum(axis=1)
    weight = np.cumsum(1.0 + 0.4 * np.diff(grid.wall_first) + 0.8 * links + 2.0 * (grid.slot >= 0))
    inner = np.searchsorted(weight, weight[-1] * np.arange(1, threads) / threads)
    return np.array([0, *inner, len(weight)], dtype=np.int64)
