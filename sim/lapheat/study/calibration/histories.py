"""Least squares over probes' histories: the clock, several starts, and the fit that is best."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isfinite, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from ...constants import ZERO_CELSIUS
from ...march.errors import MarchError
from ..runs.rounds import Planner
from .fit import (
    TOLERANCE,
    Fit,
    Fitted,
    correlation,
    fit,
    intervals,
    most_points,
    spread_of,
    unweighted,
    weighted,
    weighting,
)
from .measured import Readings
from .points import Curve, ProbeRuns
from .profile import Place, look_around, most_looks, widened
from .unknowns import Unknown

__all__ = [
    "OFFSET",
    "BestFit",
    "Clock",
    "Places",
    "best_clock",
    "best_fit",
    "dependence",
    "fit_readings",
    "most_points_of_best",
    "off",
    "thinned",
]

Array = NDArray[np.float64]
Histories = Callable[[Sequence[Sequence[float]]], Planner[list[Curve]]]

OFFSET = (-60.0, 60.0)  # [s] that the clock of a record may be off
CLOCK_STEP = 0.25  # [s] between clocks tried
CLOSEST = 0.1  # [s] between readings used: what is closer costs time and shows nothing new
# [s] Readings nearer to each other count as one. The error of a bead, of its place and of the model
# lasts about that long, below noise that hides it from neighbours' correlation. Common practice,
# no source.
ALIKE = 1.0
SHARE = 0.0075  # of degC: class 2 thermocouple type K above 333 degC, IEC 60584-1
# of the rise: the worst place and time of a joint against the independent model, see the README
MESH_SHARE = {"coarse": 0.014, "standard": 0.007, "fine": 0.003}
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
    together : see `dependence`
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


@dataclass(frozen=True)
class Places:
    """What the uncertain places of the probes do to their n readings.

    The residuals of one probe err together: their covariance is ``s^2 (I + G G^T / w^2)``, G [K]
    its `columns`. w is the root of the number of its readings times what thermocouple and mesh are
    off: so many readings tell a place no better than one that wrong would. Residuals are weighted
    by the inverse root of that matrix, so that a fit leans on what places hardly change.

    Attributes
    ----------
    columns : (n, 4 probes) change as one probe moves to a neighbour, over sqrt(2) [K]. Their
        squares sum to the variance of a reading, where the field has a slope and where it has a top
    error : (n,) standard deviation of thermocouple and mesh [K]
    """

    columns: Array
    error: Array

    @classmethod
    def of(
        cls, around: Curve, readings: Readings, late: float, start: float, detail: str
    ) -> Places:
        """Read them off a run.

        Parameters
        ----------
        around : from `ProbeRuns.around`
        readings : as measured
        late : the clock's lead [s]
        start : temperature before the arc [K]
        detail : of the mesh
        """
        there = np.isfinite(readings.values)
        count = there.shape[1]
        at = around.at(readings.time - late).reshape(len(readings.time), count, 5)
        columns = np.zeros((*there.shape, count, 4))
        for j in range(count):
            columns[:, j, j] = (at[:, j, 1:] - at[:, j, :1]) / sqrt(2.0)
        measured = readings.values[there]
        tolerance = np.maximum(TOLERANCE, SHARE * np.abs(measured - ZERO_CELSIUS))
        error = np.hypot(tolerance, MESH_SHARE[detail] * (measured - start))
        return cls(columns[there].reshape(-1, 4 * count), error)

    @property
    def expected(self) -> Array:
        """Standard deviation of each residual (n,) [K]."""
        return np.asarray(np.sqrt(self.error**2 + np.sum(self.columns**2, axis=1)))

    @cached_property
    def _roots(self) -> tuple[Array, Array]:
        """Directions (n, m) of residuals, and by what the weighting divides along each (m,)."""
        parts = []
        for j in range(0, self.columns.shape[1], 4):
            mine = self.columns[:, j : j + 4]
            moved = np.abs(mine).sum(axis=1) > 0.0
            size = sqrt(max(float(np.sum(self.error[moved] ** 2)), 1e-9))
            parts.append(weighting(mine / size))
        return np.concatenate([u for u, _ in parts], axis=1), np.concatenate([r for _, r in parts])

    def weighted(self, residuals: Array) -> Array:
        """Residuals (n,) or columns of them (n, m), weighted [K]."""
        return weighted(residuals, self._roots)

    def plain(self, columns: Array) -> Array:
        """Columns (n, m) of residuals [K] before they were weighted."""
        return unweighted(columns, self._roots)


def thinned(readings: Readings) -> Readings:
    """First reading of each probe in every 0.1 s: a log at 100 Hz is given no more weight.

    Means would hide how much single readings scatter, and blunt the peak of a passing arc.
    """
    values = np.full(readings.values.shape, np.nan)
    bins = np.floor(readings.time / CLOSEST + 1e-6)
    for j, column in enumerate(readings.values.T):
        there = np.flatnonzero(np.isfinite(column))
        kept = there[np.unique(bins[there], return_index=True)[1]]
        values[kept, j] = column[kept]
    used = np.isfinite(values).any(axis=1)
    return replace(readings, time=readings.time[used], values=values[used])


def dependence(readings: Readings, residuals: Array) -> float:
    """Correlation of residuals (n,) over all lags, at least that of one new reading a second.

    Of n readings with the correlation r only ``n (1 - r) / (1 + r)`` are independent, see
    `intervals`. Of m seconds with a reading in them it is m at most: ``r >= (n - m) / (n + m)``.
    """
    there = np.isfinite(readings.values)
    series = np.full(there.shape, np.nan)
    series[there] = residuals
    seconds = np.floor(readings.time / ALIKE + 1e-6)
    apart = sum(len(np.unique(seconds[column])) for column in there.T)
    count = len(residuals)
    found = correlation([column[np.isfinite(column)] for column in series.T])
    return max(found, (count - apart) / (count + apart))


def off(curve: Curve, readings: Readings, late: float = 0.0, places: Places | None = None) -> Array:
    """Computed less measured where something was measured (n,) [K].

    Parameters
    ----------
    curve : computed
    readings : as measured
    late : the clock's lead [s]
    places : by which they are weighted
    """
    there = np.isfinite(readings.values)
    residuals = np.asarray((curve.at(readings.time - late) - readings.values)[there])
    return residuals if places is None else places.weighted(residuals)


def best_clock(curve: Curve, readings: Readings, places: Places | None = None) -> float:
    """Seconds in `OFFSET` by which a record's clock must be ahead to fit a curve best."""

    def squares(late: float) -> float:
        return float(np.sum(off(curve, readings, late, places) ** 2))

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
    places: Places | None = None,
) -> Planner[Fit]:
    """Least squares of computed less measured, over all readings [K].

    Parameters
    ----------
    runs : histories at several points of the unknowns [SI]
    unknowns : what is fitted
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc [s]
    begin : unknowns over their starts, and the clock, to begin with
    places : by which the residuals are weighted
    """
    starts = np.array([unknown.start for unknown in unknowns])
    count = len(unknowns)

    def residuals(points: Sequence[Array]) -> Planner[list[Array]]:
        curves = yield from runs([list(x[:count] * starts) for x in points])
        return [
            off(curve, readings, float(x[count]) if free_clock else 0.0, places)
            for x, curve in zip(points, curves, strict=True)
        ]

    if free_clock and begin is None:
        (curve,) = yield from runs([list(starts)])
        begin = np.array([*[1.0] * count, best_clock(curve, readings, places)])
    return (yield from fit(unknowns, residuals, [OFFSET] if free_clock else [], begin))


def best_fit(
    runs: ProbeRuns,
    readings: Readings,
    free_clock: bool,
    begin: Array | None = None,
    places: Places | None = None,
) -> Planner[BestFit]:
    """Fit from several starts, as a free clock makes several minima; then search about the best.

    A fit within `allowed` of the best sum of squares widens the intervals to its own.

    Parameters
    ----------
    runs : of the case
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc
    begin : of the first start; see `fit_readings`
    places : by which the residuals are weighted

    Raises
    ------
    MarchError
        A run of the first fit failed.
    """
    unknowns = runs.unknowns
    fits = [(yield from _around(runs, readings, free_clock, begin, places))]
    names = [unknown.name for unknown in unknowns]
    if free_clock and "spot" in names:
        i = names.index("spot")
        spot = unknowns[i]
        points = np.ones((len(SPOTS), len(unknowns)))
        points[:, i] = np.clip(SPOTS, spot.low / spot.start, spot.high / spot.start)
        for place in (yield from _squares(runs, readings, free_clock, [*points], places)):
            with suppress(MarchError):
                if isfinite(place.squares):
                    fits.append((yield from _around(runs, readings, free_clock, place.x, places)))
    return _widest(fits)


def most_points_of_best(unknowns: Sequence[Unknown], free_clock: bool) -> int:
    """Points that `best_fit` asks for at most."""
    spots = len(SPOTS) if free_clock and "spot" in [u.name for u in unknowns] else 0
    around = FITS * (most_points(len(unknowns)) + most_looks(len(unknowns)))
    return (1 + spots) * around + spots + int(free_clock)


def _squares(
    runs: ProbeRuns,
    readings: Readings,
    free_clock: bool,
    points: Sequence[Array],
    places: Places | None,
) -> Planner[list[Place]]:
    """Sum of squares at points, each at its best clock; inf where a run failed: one only looks."""
    starts = np.array([unknown.start for unknown in runs.unknowns])
    curves = yield from runs.tried([list(x * starts) for x in points])
    found = []
    for x, curve in zip(points, curves, strict=True):
        if curve is None:
            found.append(Place(inf, np.array([*x, 0.0]) if free_clock else x))
            continue
        late = best_clock(curve, readings, places) if free_clock else 0.0
        apart = off(curve, readings, late, places)
        found.append(Place(float(apart @ apart), np.array([*x, late]) if free_clock else x))
    return found


def _around(
    runs: ProbeRuns,
    readings: Readings,
    free_clock: bool,
    begin: Array | None,
    places: Places | None,
) -> Planner[BestFit]:
    """Fit from one start, and again from any better place that is found around it."""
    unknowns = runs.unknowns

    def squares(points: Sequence[Array]) -> Planner[list[Place]]:
        return _squares(runs, readings, free_clock, points, places)

    for _ in range(FITS):
        found = yield from fit_readings(runs, unknowns, readings, free_clock, begin, places)
        together = dependence(readings, found.residuals)
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
