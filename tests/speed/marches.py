"""The demo and parts of it, marched with a clock running."""

from __future__ import annotations

import time
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lapheat.case.case import Case
from lapheat.case.file import read_case
from lapheat.joint.lines import DETAILS, Detail
from lapheat.march.march import Progress, march
from lapheat.march.state import Stepper
from lapheat.march.steppers.compiled import stages_for
from lapheat.problem.problem import Job, Problem

__all__ = ["DEMO", "Course", "course", "demo", "refined"]

DEMO = Path(__file__).parents[2] / "cases" / "flue-stub.toml"


def demo(detail: str, segments: int | None = None, **travel: float) -> Case:
    """The demo at a detail, all of it or its first segments, without probes."""
    case = replace(read_case(DEMO), detail=detail)
    if segments is not None:
        travel["coverage"] = segments / case.segment_count
    return replace(case, travel=replace(case.travel, **travel), probes=())


def refined(per_spot: float) -> str:
    """Name of a detail between or beyond the three: they are one map refined, see `joint`."""
    name = f"{per_spot:g} a spot"
    DETAILS[name] = Detail(
        per_spot=per_spot,
        wall_cells=round(1.45 * per_spot),
        leg_cells=round(1.75 * per_spot),
        growth=1.35 ** (2.0 / per_spot),
    )
    return name


@dataclass(frozen=True)
class Course:
    """A march step by step: `time` in the run, `clock` at it, `tube` and `flange` hottest so far.

    Row 0 is the start, the state built and the first step still to come. Times in s, temperatures
    in K; `flange` and `tube` are of surfaces at the ends of steps.
    """

    time: NDArray[np.float64]
    clock: NDArray[np.float64]
    tube: NDArray[np.float64]
    flange: NDArray[np.float64]

    @property
    def wall(self) -> float:
        """How long the march took [s]."""
        return float(self.clock[-1] - self.clock[0])

    @property
    def steps(self) -> int:
        """Number of steps."""
        return len(self.time) - 1

    def stages(self, problem: Problem) -> int:
        """Stages of all its steps by the compiled march."""
        return sum(stages_for(dt, problem.explicit_limit) for dt in np.diff(self.time).tolist())

    def off(self, other: Course) -> float:
        """Larger difference of the two peaks reached by the end [K]."""
        tube = abs(self.tube[-1] - other.tube[-1])
        return float(max(tube, abs(self.flange[-1] - other.flange[-1])))


class _EnoughError(Exception):
    pass


def course(job: Job, stepper: Stepper, until: float = np.inf, shorter: float = 1.0) -> Course:
    """March a job to time `until` [s] or to its end, steps so many times shorter than usual."""
    rows: list[tuple[float, float, float, float]] = []

    def note(at: Progress) -> None:
        rows.append((at.time, time.perf_counter(), at.tube, at.flange))
        if at.time >= until - 1e-6:
            raise _EnoughError

    with suppress(_EnoughError):
        march(job, stepper, note, shorter=shorter)
    at, clock, tube, flange = np.array(rows).T
    return Course(at, clock, np.maximum.accumulate(tube), np.maximum.accumulate(flange))
