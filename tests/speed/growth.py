"""How cost grows with cells, simulated time and threads; where a run's time goes; memory."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numba
import numpy as np
from bench import Table, exponent, seconds
from marches import DEMO, course, demo, refined

from lapheat.api import simulate
from lapheat.case.case import Case
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.outcomes.from_history import outcomes_of
from lapheat.problem.problem import Problem
from lapheat.problem.setup import job_of, problem_of

__all__ = ["whole_run", "with_cells", "with_memory", "with_threads", "with_time"]

SIZES = (2.15, 3.0, 4.2, 5.8, 8.2)  # cells in the length of a spot: 20 thousand to 1 million cells


def _threads() -> str:
    most = numba.get_num_threads()
    return f"{most} thread{'s' * (most > 1)}"


def with_cells(table: Table, short: bool) -> None:
    """The first segment and ten seconds of cooling on ever finer meshes."""
    table.begin(f"(d) cost against cells, one segment and its cooling ({_threads()})")
    cells, cost, pace = [], [], []
    for per_spot in SIZES[:3] if short else SIZES:
        job = job_of(demo(refined(per_spot), 1))
        problem = job.problem
        repeats = 3 if problem.mesh.cells < 100_000 else 1
        runs = [course(job, CompiledStepper(problem)) for _ in range(repeats)]
        run = sorted(runs, key=lambda r: r.wall)[repeats // 2]
        stages = run.stages(problem)
        cells.append(problem.mesh.cells)
        cost.append(run.wall / float(run.time[-1]))
        pace.append(1e9 * run.wall / stages / problem.mesh.cells)
        how = f"{run.steps} steps, {stages} stages, all in all {pace[-1]:.2f} ns a cell and stage"
        table.add(f"a simulated second, {cells[-1]:,} cells", cost[-1], "s", how=how)
    table.add("grows as cells to the power", exponent(cells, cost), "", "at most 1.4")
    table.add("time a cell and stage: to the power", exponent(cells, pace), "")


def with_time(table: Table, short: bool) -> None:
    """The demo at coarse, looked at as its segments end."""
    table.begin(f"(e) cost against simulated time ({_threads()})")
    job = job_of(demo("coarse", 3 if short else None))
    count = len(job.schedule.segments)
    runs = [course(job, CompiledStepper(job.problem)) for _ in range(3)]
    run = sorted(runs, key=lambda r: r.wall)[1]
    at, clock = [], []
    for share in range(1, 5):
        i = int(np.searchsorted(run.time, share / 4 * run.time[-1])) if share < 4 else run.steps
        at.append(float(run.time[i]))
        clock.append(float(run.clock[i] - run.clock[0]))
        table.add(
            f"coarse, {count} segments, first {at[-1]:.0f} s", clock[-1], "s", how=f"{i} steps"
        )
    table.add("grows as simulated time to the power", exponent(at, clock), "")


def with_threads(table: Table, short: bool) -> None:
    """The demo's march by one thread and by all."""
    most = numba.get_num_threads()
    table.begin(f"(f) one thread and {most}")
    for detail in ("coarse",) if short else ("coarse", "standard"):
        job = job_of(demo(detail))
        taken = []
        for threads in sorted({1, most}):
            runs = [course(job, CompiledStepper(job.problem, threads)).wall for _ in range(3)]
            taken.append(sorted(runs)[1])
            what = f"march of the whole demo, {detail}, {threads} thread{'s' * (threads > 1)}"
            table.add(what, taken[-1], "s")
        if most > 1:
            table.add("  one thread over all", taken[0] / taken[1], "times", "1.7")


def _command(*arguments: str) -> None:
    code = "from lapheat.cli import main; main()"
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, stdout=subprocess.DEVNULL)


class _Timed:
    """The compiled stepper with a clock of its own."""

    name = "compiled"

    def __init__(self, problem: Problem) -> None:
        self._stepper, self.taken = CompiledStepper(problem), 0.0

    def advance(self, state: State, dt: float) -> float:
        began = time.perf_counter()
        lost = self._stepper.advance(state, dt)
        self.taken += time.perf_counter() - began
        return lost


def _in_steps(case: Case) -> float:
    """Share of a march's time that its steps take; the rest is arc, surfaces and samples."""
    job = job_of(case)
    stepper = _Timed(job.problem)
    wall = course(job, stepper).wall
    return stepper.taken / wall


def whole_run(table: Table, short: bool) -> None:
    """Start-up, set-up, march and figures of the demo."""
    detail = "coarse" if short else "standard"
    table.begin(f"(g) one {detail} run of the demo ({_threads()})")
    times = 1 if short else 3
    table.add("lapheat --help", seconds(lambda: _command("--help"), times), "s", "0.5")
    check = seconds(lambda: _command("check", str(DEMO)), times)
    table.add("lapheat check", check, "s", "1.5")
    case = demo(detail)
    table.add("set-up", seconds(lambda: problem_of(case), 3), "s")
    runs = sorted((simulate(case) for _ in range(3)), key=lambda r: r.history.wall_s)
    history = runs[1].history
    how = f"{history.steps} steps, {history.simulated:.0f} s simulated"
    table.add("march", history.wall_s, "s", "0.4" if short else "3", how=how)
    table.add("  of it in the compiled step", 100.0 * _in_steps(case), "%")
    table.add("outcomes", seconds(lambda: outcomes_of(history), 3), "s")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "demo"
        runs[1].save(out)
        table.add("files and figures", seconds(lambda: runs[1].save(out), times), "s")
        whole = ("run", str(DEMO), "--detail", detail, "--out", str(out))
        wanted = "" if short else "6"
        table.add("the whole command", seconds(lambda: _command(*whole), times), "s", wanted)


# what a child process runs: a quick march of one segment, and what it needed at its most
CHILD = """
import resource, sys
sys.path.insert(0, sys.argv[1])
from marches import demo, refined
from lapheat.api import simulate
from lapheat.case.case import Case
case = demo(refined(float(sys.argv[2])), 1, dwell=0.0, speed=0.01)
print(simulate(case).outcomes.mesh.cells)
try:  # what Linux tells of rusage is the parent's where the parent is the larger
    lines = open("/proc/self/status").read().splitlines()
    print(1024 * next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")))
except OSError:
    print((1 if sys.platform == "darwin" else 1024) * resource.getrusage(0).ru_maxrss)
"""


def _peak(per_spot: float) -> tuple[int, int]:
    """Cells, and the most memory a process of its own had [bytes]."""
    command = [sys.executable, "-c", CHILD, str(Path(__file__).parent), str(per_spot)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    cells, peak = (int(line) for line in done.stdout.split())
    return cells, peak


def with_memory(table: Table, short: bool) -> None:
    """Peak memory of a run from case to outcomes, each in a process of its own."""
    table.begin("(h) memory, most of a run from case to outcomes")
    before = None
    for per_spot in (4.2, 5.8) if short else (2.15, 4.2, 5.8, 8.2):
        cells, peak = _peak(per_spot)
        table.add(f"a run of {cells:,} cells", 1e-6 * peak, "MB", "4000")
        if before is not None:
            each = (peak - before[1]) / (cells - before[0])
            table.add("  a cell more than the last", each, "bytes", "at most 400")
        before = cells, peak
    if before is not None:
        all_in = before[1] / before[0]
        table.add("  a cell, the program and its libraries with it", all_in, "bytes")
