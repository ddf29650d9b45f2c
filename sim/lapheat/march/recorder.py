"""What a march writes down as it goes: trace, hottest section, heat ledger, segments."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..history.records import Clock, Ledger, Snapshot, Trace
from ..problem.problem import Job
from .frames import Frames
from .state import State

__all__ = ["Progress", "Recorder", "Report"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Progress:
    """Where a march is: segment `done` of `count`, time [s], hottest base surfaces [K]."""

    segment: int
    done: int
    count: int
    time: float
    tube: float
    flange: float


Report = Callable[[Progress], None]


class Recorder:
    """The record of one march while it grows; the first row is the start.

    Attributes
    ----------
    sides : surfaces at a start point: tube and flange, or the tube alone
    sample : (n,) what the job's samples read at the last row [K]
    samples : those of every row
    arc_heat, filler_heat, lost : heat so far [J]
    arc_on : time with the arc on [s]
    steps : how many were taken
    starts : of each segment as run, once it is laid
    frames : what is kept of the fields
    """

    def __init__(
        self, job: Job, state: State, report: Report | None, keep: Collection[str] = ()
    ) -> None:
        self._job, self._state, self._report = job, state, report
        section, problem = job.problem.mesh.section, job.problem
        self.sides = 2 if problem.lap is not None else 1
        self.arc_heat = self.filler_heat = self.lost = self.arc_on = 0.0
        self.steps = 0
        self.starts: list[Clock] = []
        self.frames = Frames(state, keep)
        self.samples: list[Array] = []
        self._time: list[float] = []
        self._current: list[float] = []
        self._segment: list[int] = []
        self._angle: list[float] = []
        self._hottest: list[tuple[float, float]] = []
        # what cannot melt still has a hottest place
        parts = [grid[0, 0] for grid in (section.tube, section.flange) if grid is not None]
        alloys = [problem.alloys[problem.grid.alloy[cell]] for cell in parts]
        self._solidus = [a.solidus if a.solidus is not None else 1e6 for a in alloys]
        self.snapshot = self._picture(0.0, 0)
        self._margin = -np.inf
        self.sample = state.sample(job.samples)

    def write(self, time: float, segment: int, angle: float, current: float) -> None:
        """Add a row: time [s], segment being laid or last laid, angle [rad], current [A]."""
        state = self._state
        tube, flange = float(state.best[0, 0]), float(state.best[1, 0])
        self.sample = state.sample(self._job.samples)
        self._time.append(time)
        self._current.append(current)
        self._segment.append(segment)
        self._angle.append(angle)
        self._hottest.append((tube, flange))
        self.samples.append(self.sample)
        for part in range(self.sides):
            margin = state.best[part, 0] - self._solidus[part]
            if margin > self._margin:
                self._margin = margin
                self.snapshot = self._picture(time, int(state.best[part, 2]))
        count = len(self._job.schedule.segments)
        self.frames.offer(time, segment, angle, current, len(self.starts) == count)
        if self._report is not None:
            self._report(Progress(segment, len(self.starts), count, time, tube, flange))

    def _picture(self, time: float, layer: int) -> Snapshot:
        problem, state = self._job.problem, self._state
        temperature = state.temperature(layer)
        alive = np.ones(len(temperature), dtype=np.bool_)
        alive[problem.fillet_cells] = state.alive[:, layer] > 0.0
        return Snapshot(time, (layer + 0.5) * problem.mesh.step, temperature, alive)

    def start_temperature(self, number: int) -> float:
        """Hotter side of the base at a segment's start point at the last row [K]."""
        at = (number - 1) * self.sides
        return float(self.sample[at : at + self.sides].max())

    def probes(self) -> Array:
        """(n, p) probes of every row so far [K]."""
        return np.array(self.samples)[:, self._job.case.segment_count * self.sides :]

    def trace(self) -> Trace:
        """Everything written so far."""
        samples, hottest = np.array(self.samples), np.array(self._hottest)
        starts = self._job.case.segment_count
        points = samples[:, : starts * self.sides].reshape(len(samples), starts, self.sides)
        return Trace(
            time=np.array(self._time),
            current=np.array(self._current),
            segment=np.array(self._segment),
            angle=np.array(self._angle),
            tube=hottest[:, 0],
            flange=hottest[:, 1] if self.sides == 2 else np.full(len(hottest), np.nan),
            starts=points.max(axis=2),
            probes=self.probes(),
        )

    def ledger(self) -> Ledger:
        """Heat of the whole march so far."""
        _, chill, bench = map(float, self._state.taken())
        stored = self._state.stored()
        return Ledger(self.arc_heat, self.filler_heat, self.lost, stored, chill, bench)
