"""The fit that stays: from several starts where the clock is free, looked around by true runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from ...march.errors import MarchError
from .clock import OFFSET, Curve, best_clock, fit_readings
from .fit import Fit, Fitted, correlation, intervals, spread_of
from .measured import Readings
from .profile import look_around, widened
from .unknowns import Unknown

__all__ = ["Settled", "settled"]

Array = NDArray[np.float64]
Histories = Callable[[Sequence[Sequence[float]]], list[Curve]]

FITS = 4  # each from a better place that was found around the last
# [K] root mean square by which histories of neighbouring spots differ as the mesh follows the spot,
# measured on a bead at coarse and at standard: 0.3 to 0.5. Fits nearer than that are as good where
# spot and clock go together along a flat valley.
MESH = 0.5
SPOTS = (0.6, 0.8, 1.25, 1.6)  # more starts over the case's spot: it goes together with the clock


@dataclass(frozen=True)
class Settled:
    """A fit that stays.

    Attributes
    ----------
    found : the fit
    together : correlation of its neighbouring residuals
    fitted : its unknowns
    clock : its value with its 95 % interval [s], None if it was held
    least : sum of squares [K2]; allowed : its rise at the ends of the intervals
    torn : unknowns that another fit, as good, puts outside the interval of this one
    """

    found: Fit
    together: float
    fitted: tuple[Fitted, ...]
    clock: tuple[float, float, float] | None
    least: float
    allowed: float
    torn: tuple[Fitted, ...] = ()


def settled(
    runs: Histories, unknowns: Sequence[Unknown], readings: Readings, free_clock: bool
) -> Settled:
    """Fit from several starts, where a free clock makes several minima, and look around the best.

    A fit that the readings cannot tell from the best widens the intervals to its own.

    Parameters
    ----------
    runs : histories at several points of the unknowns [SI]
    unknowns : what is fitted
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc

    Raises
    ------
    MarchError
        A run of the first fit failed.
    """
    there = np.isfinite(readings.values)
    starts = np.array([unknown.start for unknown in unknowns])

    def histories(points: Sequence[Array]) -> list[Curve | None]:
        """Of each point; None of one that could not be computed: it is only looked at."""
        wanted = [list(x * starts) for x in points]
        try:
            return [*runs(wanted)]
        except MarchError:
            return [_one(runs, point) for point in wanted]

    def squares(points: Sequence[Array]) -> list[tuple[float, Array]]:
        found = []
        for x, curve in zip(points, histories(points), strict=True):
            if curve is None:
                found.append((inf, np.array([*x, *([0.0] if free_clock else [])])))
                continue
            late = [best_clock(curve, readings)] if free_clock else []
            off = (curve.at(readings.time - sum(late)) - readings.values)[there]
            found.append((float(off @ off), np.array([*x, *late])))
        return found

    def settle(begin: Array | None) -> Settled:
        for _ in range(FITS):
            found = fit_readings(runs, unknowns, readings, free_clock, begin)
            series = np.full(readings.values.shape, np.nan)
            series[there] = found.residuals
            together = correlation([column[np.isfinite(column)] for column in series.T])
            fitted = intervals(unknowns, found, together)
            spread, variance = spread_of(found, together)
            mesh = MESH * sqrt(len(found.residuals)) if free_clock else 0.0
            allowed = (spread * sqrt(variance) + mesh) ** 2
            profile = look_around(found, fitted, squares, allowed)
            begin = profile.better
            if begin is None:
                break
        clock = None
        if free_clock:
            late = Unknown("clock", "", unknowns[0].kind, 1.0, *OFFSET, "")
            own = intervals([*unknowns, late], found, together)[-1]
            low, high = profile.free[:, 0].tolist()
            clock = own.value, min(own.low, low), max(own.high, high)
        least = float(found.residuals @ found.residuals)
        return Settled(found, together, widened(fitted, profile), clock, least, allowed)

    fits = [settle(None)]
    names = [unknown.name for unknown in unknowns]
    if free_clock and "spot" in names:
        i = names.index("spot")
        points = np.ones((len(SPOTS), len(unknowns)))
        points[:, i] = np.clip(SPOTS, unknowns[i].low / starts[i], unknowns[i].high / starts[i])
        for sum_, begin in squares([*points]):
            with suppress(MarchError):
                if isfinite(sum_):
                    fits.append(settle(begin))
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
        clock = clock[0], min(low for _, low, _ in clocks), max(high for _, _, high in clocks)
    return replace(best, fitted=tuple(fitted), clock=clock, torn=tuple(torn))


def _one(runs: Histories, point: Sequence[float]) -> Curve | None:
    try:
        return runs([point])[0]
    except MarchError:
        return None
