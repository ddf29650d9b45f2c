"""Tasks that cost nothing, for tests of how many are run and kept; other processes import them."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from lapheat.study.runs.executors import Executor, Row, Serial, Task, Work
from lapheat.study.runs.rounds import Planner, drive
from lapheat.study.runs.store import RowFile, collect

if TYPE_CHECKING:
    from lapheat.study.chance.samples import Sample
    from lapheat.study.runs.trial import Trial

Found = TypeVar("Found")


@dataclass(frozen=True)
class Number:
    """A number to square; `marker` is a file by which one attempt tells the next that it was."""

    value: int
    marker: Path | None = None
    seconds: float = 0.0

    def key(self) -> str:
        return f"number {self.value}"


def square(task: Number) -> Row:
    time.sleep(task.seconds)
    return {"square": float(task.value**2), "failed": None}


def square_or_raise(task: Number) -> Row:
    if task.value % 3 == 0:
        raise ValueError(f"no square of {task.value}")
    return square(task)


def die_once(task: Number) -> Row:
    """Kill the process at the first attempt at every third number."""
    if task.value % 3 == 0 and task.marker is not None:
        mark = task.marker / str(task.value)
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return square(task)


def die_always(task: Number) -> Row:
    if task.value == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return square(task)


def threads(task: Number) -> Row:
    """What the worker was told of threads, and whether it listens to Ctrl-C."""
    ignored = signal.getsignal(signal.SIGINT) == signal.SIG_IGN
    names = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
    told = {name: os.environ.get(name) for name in names}
    return {**told, "ignored": ignored, **square(task)}


class Cut(Serial):
    """Interrupted after so many rows that are kept."""

    def __init__(self, after: int) -> None:
        self.left = after

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        for index, row in super().run(work, tasks):
            if self.left == 0:
                raise KeyboardInterrupt
            self.left -= hasattr(tasks[index], "key")  # others are cheap and not kept
            yield index, row


def stood_in(
    planner: Planner[Found], works: Mapping[Callable[..., Row], Callable[..., Row]]
) -> Planner[Found]:
    """A planner whose tasks are done by others than it says."""
    try:
        asked = next(planner)
        while True:
            rows = yield replace(asked, work=works.get(asked.work, asked.work))
            asked = planner.send(rows)
    except StopIteration as end:
        found: Found = end.value
        return found


def now(
    planner: Planner[Found], executor: Executor | None = None, store: RowFile | None = None
) -> Found:
    """What a planner finds, by default in this process and with no row kept."""
    return drive(planner, executor or Serial(), RowFile() if store is None else store)


def on_bench(sample: Sample, run: Callable[[Trial], Row]) -> Row:
    """Row by formula of a setting on a bench."""
    return run(sample.trial)


def by_formula(trial_row: Callable[[Trial], Row]) -> dict[Callable[..., Row], Callable[..., Row]]:
    """Stand-ins for the work of a window."""
    from lapheat.study.chance.samples import run_sample
    from lapheat.study.runs.trial import run_trial
    from lapheat.study.window.search import run_free

    return {
        run_trial: trial_row,
        run_free: partial(run_free, run=trial_row),
        run_sample: partial(on_bench, run=trial_row),
    }


def at_once(value: Found) -> Planner[Found]:
    """A planner that knows without asking."""
    yield from ()
    return value


def given(trial: Trial, key: str, default: float) -> float:
    """Value of a key of a trial, in the unit it was given in; the last of a key wins."""
    return float(dict(trial.inputs).get(key, str(default)).split()[0])


def smooth(trial: Trial) -> Row:
    """A joint by formula, with curved boundaries in current and speed."""
    over, fast = given(trial, "arc.current", 66.0) - 70.0, given(trial, "travel.speed", 2.0) - 2.0
    base = 40.0 - 3.0 * over + 40.0 * fast - 6.0 * fast**2
    filler = 20.0 + 2.0 * over - 30.0 * fast - 8.0 * fast**2
    if trial.detail is None:
        base, filler = base - 9.0, filler + 4.0
    return made_row(base, filler, 100.0 + 300.0 / (fast + 2.0))


def stepped(trial: Trial) -> Row:
    """A joint by formula whose segments are whole numbers: its boundaries are stairs."""
    segments = ceil(119.7 / given(trial, "travel.segment", 12.7))
    over, pause = segments - 9.0, given(trial, "travel.pause", 15.0) - 15.0
    base = 30.0 - 8.0 * over + 4.0 * pause - 0.1 * pause**2
    return made_row(base, 5.0 + 7.0 * over - 2.0 * pause, 60.0 + 9.0 * pause)


def hopeless(trial: Trial) -> Row:
    """A joint whose base melts everywhere, least at the slow end."""
    speed, current = given(trial, "travel.speed", 2.0), given(trial, "arc.current", 66.0)
    return made_row(-20.0 - 30.0 * speed - (current - 40.0), 50.0, 100.0)


def balanced(trial: Trial) -> Row:
    """Heat shared between a tube and a flange by the aim, a little curved in both."""
    current = given(trial, "arc.current", 66.0) / 66.0
    aim = given(trial, "arc.aim", 1.0) - given(trial, "travel.pause", 15.0) / 15.0
    tube = 1250.0 * current**0.9 - 60.0 * aim + 6.0 * aim**2
    flange = 1300.0 * current**0.8 + 90.0 * aim - 9.0 * aim**2
    if current < 0.7:
        return {"failed": "the computation failed: too cold"}
    margins = 1400.0 - tube, 1490.0 - flange
    sides = tube - 1160.0, flange - 1210.0
    return {
        "tube_margin_K": margins[0],
        "flange_margin_K": margins[1],
        "margin_K": min(margins),
        "base_slack_K": min(margins) - 50.0,
        "tube_side_surplus_K": sides[0] + 10.0,
        "flange_side_surplus_K": sides[1] + 10.0,
        "tube_side_slack_K": sides[0],
        "flange_side_slack_K": sides[1],
        "surplus_K": min(sides) + 10.0,
        "filler_slack_K": min(sides),
        "base_stays_solid": min(margins) >= 50.0,
        "filler_flows": min(sides) >= 0.0,
        "total_s": 100.0 + given(trial, "travel.pause", 15.0),
        "failed": None,
    }


def made_row(base: float, filler: float, total: float) -> Row:
    """Row with these slacks [K] and this total time [s]; margin 50 K, surplus 10 K are wanted."""
    return {
        "base_stays_solid": base >= 0.0,
        "filler_flows": filler >= 0.0,
        "margin_K": base + 50.0,
        "base_slack_K": base,
        "surplus_K": filler + 10.0,
        "filler_slack_K": filler,
        "filler_binding": "limits.wet_fraction",
        "total_s": total,
        "tube_margin_K": base + 50.0,
        "flange_margin_K": base + 80.0,
        "tube_side_wet": 1.0 if filler >= 0.0 else 0.0,
        "flange_side_wet": 1.0,
        "tube_side_surplus_K": filler + 10.0,
        "flange_side_surplus_K": filler + 20.0,
        "tube_side_slack_K": filler,
        "flange_side_slack_K": filler + 10.0,
        "stretch_surplus_K": filler + 15.0,
        "longest_dry_m": 0.0 if filler >= -5.0 else 0.004,
        "failed": None,
    }


def main(arguments: Sequence[str]) -> None:
    """Sweep COUNT numbers, keep the rows in a FILE, at the end write them to another."""
    kept, written = map(Path, arguments[:2])
    tasks = [Number(value, seconds=0.005) for value in range(int(arguments[2]))]
    with RowFile(kept, resume=True) as store:
        collect(Serial(), square, tasks, store)
        store.write_used(written)


if __name__ == "__main__":
    main(sys.argv[1:])
