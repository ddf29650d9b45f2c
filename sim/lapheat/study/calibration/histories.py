"""Least squares over probes' histories: the clock, several starts, and the fit that is best."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from ...march.errors import MarchError
from ..runs.rounds import Planner
from .fit import Fit, Fitted, correlation, fit, intervals, spread_of
from .measured import Readings
from .points import Curve, ProbeRuns
from .profile import Place, look_around, widened
from .unknowns import Unknown

__all__ = ["OFFSET", "BestFit", "Clock", "best_clock", "best_fit", "fit_readings", "off"]

Array = NDArray[np.float64]
Histories = Callable[[Sequence[Sequence[float]]], Planner[list[Curve]]]

OFFSET = (-60.0, 60.0)  # [s] that the clock of a record may be off
CLOCK_STEP = 0.25  # [s] between clocks tried
FITS = 4  # each from a better place that was found around the last
# [K] root mean square by which histories of neighbouring spots differ as the mesh follows the spot,
# measured on a bead at coarse and at standard: 0.3 to 0.5. Fits nearer than that are as good where
# spot and clock go together along a flat valley.
MESH = 0.5
SPOTS = (0.6, 0.8, 1.25, 1.6)  # more starts over the case's spot: it goes together with the clock


class Clock(NamedTuple):
    """Seconds by which a record's clock is ahead of the arc, with the 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class BestFit:
    """The fit that is best.

    Attributes
    ----------
    found : the fit
    together : correlation of its neighbouring residuals
    fitted : its unknowns
    clock : None if it was held
    least : sum of squares [K2]; allowed : its rise at the ends of the intervals
    torn : unknowns whose value in another fit, as good, is outside the interval of this one
    """

    found: Fit
    together: float
    fitted: tuple[Fitted, ...]
    clock: Clock | None
    least: float
    allowed: float
    torn: tuple[Fitted, ...] = ()


def off(curve: Curve, readings: Readings, late: float = 0.0) -> Array:
    """Computed less measured where something was measured, `late` [s] the clock's lead [K]."""
    there = np.isfinite(readings.values)
    return np.asarray((curve.at(readings.time - late) - readings.values)[there])


def best_clock(curve: Curve, readings: Readings) -> float:
    """Seconds in `OFFSET` by which a record's clock must be ahead to fit a curve best."""

    def squares(late: float) -> float:
        return float(np.sum(off(curve, readings, late) ** 2))

    grid = np.arange(OFFSET[0], OFFSET[1] + 0.5 * CLOCK_STEP, CLOCK_STEP)
    near = float(grid[int(np.argmin([squares(late) for late in grid.tolist()]))])
    ends = max(near - CLOCK_STEP, OFFSET[0]), min(near + CLOCK_STEP, OFFSET[1])
    return float(minimize_scalar(squares, bounds=ends, method="bounded").x)


def fit_readings(
    runs: Histories,
    unknowns: Sequence[Unknown],
    readings: Readings,
    free_clock: bool = False,
    begin: Array | None = None,
) -> Planner[Fit]:
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
    count = len(unknowns)

    def residuals(points: Sequence[Array]) -> Planner[list[Array]]:
        curves = yield from runs([list(x[:count] * starts) for x in points])
        return [
            off(curve, readings, float(x[count]) if free_clock else 0.0)
            for x, curve in zip(points, curves, strict=True)
        ]

    if free_clock and begin is None:
        (curve,) = yield from runs([list(starts)])
        begin = np.array([*[1.0] * count, best_clock(curve, readings)])
    return (yield from fit(unknowns, residuals, [OFFSET] if free_clock else [], begin))


def best_fit(runs: ProbeRuns, readings: Readings, free_clock: bool) -> Planner[BestFit]:
    """Fit from several starts, as a free clock makes several minima; then search about the best.

    A fit within `allowed` of the best sum of squares widens the intervals to its own.

    Parameters
    ----------
    runs : of the case
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc

    Raises
    ------
    MarchError
        A run of the first fit failed.
    """
    unknowns = runs.unknowns
    fits = [(yield from _around(runs, readings, free_clock, None))]
    names = [unknown.name for unknown in unknowns]
    if free_clock and "spot" in names:
        i = names.index("spot")
        spot = unknowns[i]
        points = np.ones((len(SPOTS), len(unknowns)))
        points[:, i] = np.clip(SPOTS, spot.low / spot.start, spot.high / spot.start)
        for place in (yield from _squares(runs, readings, free_clock, [*points])):
            with suppress(MarchError):
                if isfinite(place.squares):
                    fits.append((yield from _around(runs, readings, free_clock, place.x)))
    return _widest(fits)


def _squares(
    runs: ProbeRuns, readings: Readings, free_clock: bool, points: Sequence[Array]
) -> Planner[list[Place]]:
    """Sum of squares at points, each at its best clock; inf where a run failed: one only looks."""
    starts = np.array([unknown.start for unknown in runs.unknowns])
    curves = yield from runs.tried([list(x * starts) for x in points])
    found = []
    for x, curve in zip(points, curves, strict=True):
        late = best_clock(curve, readings) if free_clock and curve is not None else 0.0
        apart = np.array([inf]) if curve is None else off(curve, readings, late)
        found.append(Place(float(apart @ apart), np.array([*x, late]) if free_clock else x))
    return found


def _around(
    runs: ProbeRuns, readings: Readings, free_clock: bool, begin: Array | None
) -> Planner[BestFit]:
    """Fit from one start, and again from any better place that is found around it."""
    unknowns, there = runs.unknowns, np.isfinite(readings.values)

    def squares(points: Sequence[Array]) -> Planner[list[Place]]:
        return _squares(runs, readings, free_clock, points)

    for _ in range(FITS):
        found = yield from fit_readings(runs, unknowns, readings, free_clock, begin)
        series = np.full(readings.values.shape, np.nan)
        series[there] = found.residuals
        together = correlation([column[np.isfinite(column)] for column in series.T])
        fitted = intervals(unknowns, found, together)
        spread, variance = spread_of(found, together)
        mesh = MESH * sqrt(len(found.residuals)) if free_clock else 0.0
        allowed = (spread * sqrt(variance) + mesh) ** 2
        profile = yield from look_around(found, fitted, squares, allowed)
        begin = profile.better
        if begin is None:
            break
    clock = None
    if free_clock:
        late = Unknown("clock", "", unknowns[0].kind, 1.0, *OFFSET, "")
        own = intervals([*unknowns, late], found, together)[-1]
        low, high = profile.free[:, 0].tolist()
        clock = Clock(own.value, min(own.low, low), max(own.high, high))
    least = float(found.residuals @ found.residuals)
    return BestFit(found, together, widened(fitted, profile), clock, least, allowed)


def _widest(fits: Sequence[BestFit]) -> BestFit:
    """Best of some fits, its intervals as wide as those of all that are as good."""
    best = min(fits, key=lambda one: one.least)
    as_good = [one for one in fits if one.least <= best.least + best.allowed]
    fitted, torn = [], []
    for i, item in enumerate(best.fitted):
        low = min(other.fitted[i].low for other in as_good)
        high = max(other.fitted[i].high for other in as_good)
        fitted.append(replace(item, low=low, high=high))
        if any(not item.low <= other.fitted[i].value <= item.high for other in as_good):
            torn.append(fitted[-1])
    clocks = [other.clock for other in as_good if other.clock is not None]
    clock = best.clock
    if clock is not None:
        low, high = min(other.low for other in clocks), max(other.high for other in clocks)
        clock = Clock(clock.value, low, high)
    return replace(best, fitted=tuple(fitted), clock=clock, torn=tuple(torn))
