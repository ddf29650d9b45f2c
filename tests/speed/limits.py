"""What one stage of the compiled march must move, and how fast this machine moves it.

Bytes a cell and stage, from `rows.later_inside`, which is all that `step._stage` does for a cell
inside a part that is not looked up (8 bytes each; what one row needs once is shared by all its
layers):

    reads   the rise u1 of the last stage: of five rows and two layers, of which one row is new
            and the rest still in cache                                                  8
            the rise u of two stages before                                              8
            slope, and the rate at the start of the step                                16
    writes  the new rise over u                                                          8

40 bytes in all; every line that is written has been read. A scaled copy moves 24 a number: 8 read,
8 written and, as its line is fetched before it is written, 8 more. Cells at walls and joints, and
those looked up, move more: what the limit says is the least.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

import numba
import numpy as np
from bench import Table, seconds
from marches import demo, refined
from numba import prange

from lapheat.case.case import Case
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper, stages_for
from lapheat.march.steps import arc_step
from lapheat.problem.problem import Problem
from lapheat.problem.setup import problem_of

__all__ = ["stage_against_limit"]

STAGE_BYTES = 40
COPY_BYTES = 24
ARRAYS = 4  # of a run's size that a stage reads or writes: u twice, slope, rate


@numba.njit(parallel=True, fastmath=True)  # type: ignore[untyped-decorator]
def scaled_copy(a, b, threads, times):  # type: ignore[no-untyped-def]
    n = len(a)
    for _ in range(times):
        for t in prange(threads):
            for i in range(n * t // threads, n * (t + 1) // threads):
                b[i] = 1.5 * a[i]


@numba.njit(parallel=True, fastmath=True)  # type: ignore[untyped-decorator]
def streams(u1, u, slope, rate, threads, times):  # type: ignore[no-untyped-def]
    """Read and write what a stage does, with hardly any arithmetic."""
    n = len(u)
    for _ in range(times):
        for t in prange(threads):
            for i in range(n * t // threads, n * (t + 1) // threads):
                u[i] = 0.5 * u1[i] - 0.5 * u[i] + slope[i] * rate[i]


def _pace(work: Callable[[int], Any], bytes_a_time: float, repeats: int) -> float:
    """Bytes a second; a measurement lasts some 30 ms."""
    work(1)
    once = seconds(lambda: work(2), 2) / 2.0
    times = max(2, round(0.03 / once))
    return bytes_a_time * times / seconds(lambda: work(times), repeats)


def _copy(numbers: int, threads: int, repeats: int) -> float:
    a, b = np.ones(numbers), np.zeros(numbers)
    return _pace(lambda n: scaled_copy(a, b, threads, n), COPY_BYTES * numbers, repeats)


def _streams(cells: int, threads: int, repeats: int) -> float:
    arrays = [np.full(cells, 0.01) for _ in range(ARRAYS)]
    return _pace(lambda n: streams(*arrays, threads, n), STAGE_BYTES * cells, repeats)


def repeat_choice(threads: int) -> Generator[int, float, None]:
    """Choose the same number of threads for every step."""
    while True:
        yield threads


def _stage(case: Case, problem: Problem, threads: int, repeats: int, hot: bool) -> float:
    """Seconds a stage, from steps as long as the arc's; hot is after three seconds of arc."""
    state, stepper = State(problem), CompiledStepper(problem, threads)
    stepper._choices = repeat_choice(threads)  # no look at one thread
    stepper._use = next(stepper._choices)
    dt = arc_step(case)
    if hot:
        state.burn((0.0, case.arc.power), (0.0, case.arc.power))
        for _ in range(round(3.0 / dt)):
            stepper.advance(state, dt)
    stepper.advance(state, dt)
    count = max(1, round(0.1 / seconds(lambda: stepper.advance(state, dt), 1)))

    def some() -> None:
        for _ in range(count):
            stepper.advance(state, dt)

    return seconds(some, repeats) / count / stages_for(dt, problem.explicit_limit)


def stage_against_limit(table: Table, short: bool) -> None:
    """Nanoseconds a cell and stage against what the machine's memory lets through."""
    table.begin("(c) a stage against this machine's limit")
    repeats = 3 if short else 7
    most = numba.get_num_threads()
    for threads in sorted({1, most}):
        numba.set_num_threads(threads)
        of = f"{threads} thread{'s' * (threads > 1)}"
        large = _copy(20_000_000, threads, repeats)
        table.add(f"copy, 320 MB, {of}", 1e-9 * large, "GB/s", how="written lines fetched: counted")
        details = ["coarse", "standard"] if short else ["coarse", "standard", refined(8.2)]
        for detail in details:
            case = demo(detail)
            problem = problem_of(case)
            cells = problem.mesh.cells
            size = ARRAYS * cells // 2
            near = _copy(size, threads, repeats)
            same = _streams(cells, threads, repeats)
            mega = f"{8e-6 * ARRAYS * cells:.2g} MB"
            table.add(f"copy, {mega} as in {cells:,} cells, {of}", 1e-9 * near, "GB/s")
            floor = table.add("  a stage's limit by this copy", 1e9 * STAGE_BYTES / near, "ns/cell")
            bare = table.add(
                "  a stage's reads and writes without its arithmetic",
                1e9 * STAGE_BYTES / same,
                "ns/cell",
            )
            for hot in (False, True):
                pure = 1e9 * _stage(case, problem, threads, repeats, hot) / cells
                kind = "three seconds under the arc" if hot else "all cold"
                table.add(f"  a stage, {kind}", pure, "ns/cell", how="whole steps over stages")
                table.add("    limit over stage", floor / pure, "", "0.5", how="by the copy")
                table.add("    limit over stage", bare / pure, "", how="by its reads and writes")
    numba.set_num_threads(most)
