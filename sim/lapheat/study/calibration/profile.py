"""Whether a fit is the best there is and its intervals as wide as they must be, by true runs.

The intervals of a Jacobian are those of a valley that is smooth and straight. A mesh that follows
the spot makes it rough, and a clock that is free lets spot and clock go together along a bend;
then fits from two starts end apart, each with a narrow interval. So each unknown is moved off,
the others following along a straight line and the clock anew, until the sum of squares has risen
by what the interval allows. That is at least as narrow as the profile likelihood (Seber and Wild
1989, Nonlinear Regression, 5.4), in which the others would be fitted again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..runs.rounds import Planner
from .fit import Fit, Fitted

__all__ = ["Place", "Profile", "look_around", "most_looks", "widened"]

Array = NDArray[np.float64]

TURNS = 6  # looks, at half an interval off and then twice as far each time
ENOUGH = 0.5  # of the rise expected, at one half interval: the interval of the Jacobian holds
BETTER = 0.998  # of the sum of squares: worth another fit


class Place(NamedTuple):
    """Sum of squares at a place [K2], and its whole x, clock included."""

    squares: float
    x: Array


@dataclass(frozen=True)
class Profile:
    """What was found around a fit.

    Attributes
    ----------
    ends : (k, 2) of each unknown, over its start
    free : (2, n) least and most of what else was free, of all places that fit as well
    better : a better x, clock included; None if the fit is the best
    """

    ends: Array
    free: Array
    better: Array | None


def look_around(
    found: Fit,
    fitted: Sequence[Fitted],
    squares: Callable[[Sequence[Array]], Planner[list[Place]]],
    allowed: float,
) -> Planner[Profile]:
    """Move each unknown off a fit until the sum of squares has risen.

    Parameters
    ----------
    found : the fit
    fitted : its unknowns with the intervals of the Jacobian
    squares : of several x (k,), the place that each leads to, all at once
    allowed : rise of the sum of squares at the ends of an interval [K2]
    """
    count = len(fitted)
    starts = np.array([item.unknown.start for item in fitted])
    low = np.array([item.unknown.low for item in fitted]) / starts
    high = np.array([item.unknown.high for item in fitted]) / starts
    x, j = found.x[:count], found.jacobian
    least = float(found.residuals @ found.residuals)
    best, better = BETTER * least, None
    as_good = [found.x]
    ends = np.array([[item.low, item.high] for item in fitted]) / starts[:, None]
    open_ends = {(i, side) for i in range(count) for side in (0, 1)}
    for turn in range(TURNS):
        places, points = sorted(open_ends), []
        for i, side in places:
            others = [n for n in range(j.shape[1]) if n != i]
            follow = np.linalg.lstsq(j[:, others], -j[:, i], rcond=1e-7)[0]
            step = np.zeros(j.shape[1])
            step[i], step[others] = 1.0, follow
            half = max(abs(float(ends[i, side] - x[i])), 1e-3 * float(x[i]))
            half = half if turn == 0 else 2.0 * half
            points.append(np.clip(x + (2 * side - 1) * half * step[:count], low, high))
        if not points:
            break
        found_there = yield from squares(points)
        for (i, side), point, (sum_, whole) in zip(places, points, found_there, strict=True):
            if sum_ < best:
                best, better = sum_, whole
            if sum_ - least < allowed:
                as_good.append(whole)
            wanted = ENOUGH * allowed if turn == 0 else allowed
            at_bound = bool(point[i] in (low[i], high[i]))
            if turn > 0 or at_bound:
                ends[i, side] = point[i]
            if sum_ - least >= wanted or at_bound:
                open_ends.discard((i, side))
    for i, side in open_ends:
        ends[i, side] = (low, high)[side][i]
    least_x, most_x = np.min(as_good, axis=0), np.max(as_good, axis=0)
    ends = np.stack(
        [np.minimum(ends[:, 0], least_x[:count]), np.maximum(ends[:, 1], most_x[:count])], axis=1
    )
    return Profile(ends, np.stack([least_x[count:], most_x[count:]]), better)


def most_looks(unknowns: int) -> int:
    """Points that `look_around` asks for at most."""
    return 2 * TURNS * unknowns


def widened(fitted: Sequence[Fitted], profile: Profile) -> tuple[Fitted, ...]:
    """Give the unknowns the intervals of a profile where they are the wider."""
    result = []
    for item, (low, high) in zip(fitted, profile.ends.tolist(), strict=True):
        start = item.unknown.start
        result.append(
            replace(item, low=min(item.low, low * start), high=max(item.high, high * start))
        )
    return tuple(result)
