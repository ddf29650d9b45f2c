"""Probes' histories at any clock, the clock that fits best, and the least squares over both."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from .fit import Fit, fit
from .measured import Readings
from .unknowns import Unknown

__all__ = ["OFFSET", "Curve", "best_clock", "fit_readings"]

Array = NDArray[np.float64]

OFFSET = (-60.0, 60.0)  # [s] that the clock of a record may be off
CLOCK_STEP = 0.25  # [s] between clocks tried


@dataclass(frozen=True)
class Curve:
    """What the probes of a run show: `time` (m,) [s], `values` (m, probes) [K]."""

    time: Array
    values: Array

    def at(self, time: Array) -> Array:
        """Temperatures at (n,) times, (n, probes) [K]; before and after the run its ends."""
        columns = [np.interp(time, self.time, column) for column in self.values.T]
        return np.stack(columns, axis=1)


def fit_readings(
    runs: Callable[[Sequence[Sequence[float]]], list[Curve]],
    unknowns: Sequence[Unknown],
    readings: Readings,
    free_clock: bool = False,
    begin: Array | None = None,
) -> Fit:
    """Least squares of computed less measured, over all readings [K].

    Parameters
    ----------
    runs : histories at several points of the unknowns [SI]
    unknowns : what is fitted
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc [s]
    begin : unknowns over their starts, and the clock, to begin with
    """
    starts = np.array([unknown.start for unknown in unknowns])
    there = np.isfinite(readings.values)
    count = len(unknowns)

    def batch(points: Sequence[Array]) -> list[Array]:
        curves = runs([list(x[:count] * starts) for x in points])
        found = []
        for x, curve in zip(points, curves, strict=True):
            late = float(x[count]) if free_clock else 0.0
            found.append((curve.at(readings.time - late) - readings.values)[there])
        return found

    if free_clock and begin is None:
        (curve,) = runs([list(starts)])
        begin = np.array([*[1.0] * count, best_clock(curve, readings)])
    return fit(unknowns, batch, [OFFSET] if free_clock else [], begin)


def best_clock(curve: Curve, readings: Readings) -> float:
    """Seconds in `OFFSET` by which a record's clock must be ahead to fit a curve best."""
    there = np.isfinite(readings.values)

    def squares(late: float) -> float:
        return float(np.sum((curve.at(readings.time - late) - readings.values)[there] ** 2))

    grid = np.arange(OFFSET[0], OFFSET[1] + 0.5 * CLOCK_STEP, CLOCK_STEP)
    near = float(grid[int(np.argmin([squares(late) for late in grid.tolist()]))])
    ends = max(near - CLOCK_STEP, OFFSET[0]), min(near + CLOCK_STEP, OFFSET[1])
    return float(minimize_scalar(squares, bounds=ends, method="bounded").x)
