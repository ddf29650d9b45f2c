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
    rows : (6,) each: time, current, segment, angle, hottest tube and flange
    highest : (p,) of each probe so far [K]
    """

    KEPT = (
        *("arc_heat", "filler_heat", "lost", "steps", "rows", "samples", "sample", "highest"),
        *("margin", "hot_time", "hot_layer", "hot_section", "hot_alive"),
    )

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
        self.rows: list[Array] = []
        # what cannot melt still has a hottest place
        parts = [grid[0, 0] for grid in (section.tube, section.flange) if grid is not None]
        alloys = [problem.alloys[problem.grid.alloy[cell]] for cell in parts]
        self._solidus = [a.solidus if a.solidus is not None else 1e6 for a in alloys]
        self._picture(0.0, 0)
        self.margin = -np.inf  # above the solidus, the highest so far [K]
        self.sample = state.sample(job.samples)
        self.highest = self._probes_now()

    def write(self, time: float, segment: int, angle: float, current: float) -> None:
        """Add a row: time [s], segment being laid or last laid, angle [rad], current [A]."""
        state = self._state
        tube, flange = float(state.best[0, 0]), float(state.best[1, 0])
        self.sample = state.sample(self._job.samples)
        self.rows.append(np.array([time, current, segment, angle, tube, flange]))
        self.samples.append(self.sample)
        np.maximum(self.highest, self._probes_now(), out=self.highest)
        for part in range(self.sides):
            margin = state.best[part, 0] - self._solidus[part]
            if margin > self.margin:
                self.margin = float(margin)
                self._picture(time, int(state.best[part, 2]))
        count = len(self._job.schedule.segments)
        self.frames.offer(time, segment, angle, current, len(self.starts) == count)
        if self._report is not None:
            self._report(Progress(segment, len(self.starts), count, time, tube, flange))

    def _picture(self, time: float, layer: int) -> None:
        problem, state = self._job.problem, self._state
        self.hot_time, self.hot_layer = time, layer
        self.hot_section = state.temperature(layer)
        self.hot_alive = np.ones(len(self.hot_section), dtype=np.bool_)
        self.hot_alive[problem.fillet_cells] = state.alive[:, layer] > 0.0

    @property
    def snapshot(self) -> Snapshot:
        """The hottest section so far."""
        angle = (self.hot_layer + 0.5) * self._job.problem.mesh.step
        return Snapshot(self.hot_time, angle, self.hot_section, self.hot_alive)

    def _probes_now(self) -> Array:
        return self.sample[self._job.case.segment_count * self.sides :].copy()

    def falling(self) -> bool:
        """Whether every probe is below its highest."""
        return bool((self._probes_now() < self.highest).all())

    def start_temperature(self, number: int) -> float:
        """Hotter side of the base at a segment's start point at the last row [K]."""
        at = (number - 1) * self.sides
        return float(self.sample[at : at + self.sides].max())

    def probes(self) -> Array:
        """(n, p) probes of every row so far [K]."""
        return np.array(self.samples)[:, self._job.case.segment_count * self.sides :]

    def trace(self) -> Trace:
        """Everything written so far."""
        samples, rows = np.array(self.samples), np.array(self.rows)
        starts = self._job.case.segment_count
        points = samples[:, : starts * self.sides].reshape(len(samples), starts, self.sides)
        return Trace(
            time=rows[:, 0].copy(),
            current=rows[:, 1].copy(),
            segment=rows[:, 2].astype(np.int64),
            angle=rows[:, 3].copy(),
            tube=rows[:, 4].copy(),
            flange=rows[:, 5].copy() if self.sides == 2 else np.full(len(rows), np.nan),
            starts=points.max(axis=2),
            probes=self.probes(),
        )

    def ledger(self) -> Ledger:
        """Heat of the whole march so far."""
        _, chill, bench = map(float, self._state.taken())
        stored = self._state.stored()
        return Ledger(self.arc_heat, self.filler_heat, self.lost, stored, chill, bench)
