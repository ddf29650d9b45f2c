"""Chance from few runs: a smooth response, integrated over the scatter.

Counting gives a chance within about 1 / sqrt(runs). Margin and slack are smooth in what varies, so
64 runs fix the response fairly well, and the chance is how much of the scatter lies below zero of
it. The interval comes from responses that the runs leave possible (draws of the Gaussian process)
and from the finite number of points. A process fitted to few runs is too sure of itself: it is
fitted anew without an eighth of the runs, eight times, and draws are spread by as much as those
runs miss it. It is not used where they are predicted badly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .bench import HALF, points, wilson
from .surrogate import MOST, RUNS_AN_INPUT, Surrogate, near, varies

__all__ = ["Smooth", "chances_below"]

Array = NDArray[np.float64]

ENDS = ("chance", "low", "high")
POINTS = 1024  # of the scatter
DRAWS = 256
FOLDS = 8  # parts of the runs that are left out in turn
LEAST = 0.5  # share of the variance explained in runs left out, from which it is used; a choice
WIDER = 1.25  # what draws do not know: where failures are rare 1 held the truth in 58 of 64 seeds


@dataclass(frozen=True)
class Smooth:
    """A chance, its 95 % interval and `q2` of runs left out; counted instead where not `used`."""

    chance: float
    low: float
    high: float
    q2: float
    used: bool


def chances_below(at: Array, measures: Sequence[Array], seed: int) -> tuple[Smooth, ...]:
    """Chance that each measure lies below zero; last, that any of them does.

    ``chance = mean over draws and points of (response < 0)`` [-]. The response is fitted to
    ``150 K tanh(measure / 150 K)``, which has the same sign and hardly feels far values. It is used
    where it explains half the variance of runs left out and there are 5 runs an input or more; else
    `wilson` is.

    Parameters
    ----------
    at : (n, d) runs, each input in its own standard deviations
    measures : (n,) each, of the runs [K]; one that is never finite cannot fail
    seed : of the points and draws
    """
    rng = np.random.default_rng(seed)
    bench = points(POINTS, at.shape[1], seed + 7)
    found, drawn, fitted = [], [], min(len(at), MOST)
    for values in measures:
        counted = _counted(values < 0.0)
        q2, over = _left_out(at, values)
        if q2 < LEAST:
            found.append(replace(counted, q2=q2))
            continue
        response = Surrogate.fit(at, near(values))
        middle = response(bench)
        drawn.append(middle + over * (response.draws(bench, DRAWS, rng) - middle) < 0.0)
        found.append(_integrated(drawn[-1], q2, fitted))
    if drawn and len(drawn) == len(measures):
        either = np.logical_or.reduce(drawn)
        any_of = _integrated(either, min(each.q2 for each in found), fitted)
    else:
        any_of = _counted(np.logical_or.reduce([values < 0.0 for values in measures]))
    # whatever way each was found, any of them happens at least as often as one of them
    ends = {name: max(getattr(e, name) for e in (any_of, *found)) for name in ENDS}
    return (*found, replace(any_of, **ends))


def _counted(below: NDArray[np.bool_]) -> Smooth:
    hits = int(below.sum())
    return Smooth(hits / max(len(below), 1), *wilson(hits, len(below)), 0.0, False)


def _left_out(at: Array, values: Array) -> tuple[float, float]:
    """Share of the variance explained in runs left out, and how far they miss over their spread.

    Neighbours are left out together: a few points of Sobol in a row lie all over the scatter. The
    second is the root mean square over what the process foretells, and no less than 1. Where
    nothing can be fitted the share is 0.
    """
    at, values = at[:MOST], values[:MOST]
    few = len(values) < RUNS_AN_INPUT * at.shape[1]
    if few or not np.isfinite(values).all() or float(np.ptp(values)) < 1e-9:
        return 0.0, 1.0
    response = near(values)
    missed, over = np.empty(len(values)), np.empty(len(values))
    part = np.arange(len(values)) * FOLDS // len(values)
    for out in (part == each for each in np.unique(part)):
        if not varies(response[~out]):
            return 0.0, 1.0
        rest = Surrogate.fit(at[~out], response[~out])
        missed[out] = response[out] - rest(at[out])
        over[out] = missed[out] / rest.spread(at[out])
    q2 = 1.0 - float(missed @ missed) / float(np.square(response - response.mean()).sum())
    return max(q2, 0.0), max(float(np.sqrt(np.mean(over * over))), 1.0)


def _integrated(below: NDArray[np.bool_], q2: float, runs: int) -> Smooth:
    """Chance from draws (draws, points), with the interval that they and the points leave.

    Half width: ``max(1.96 sqrt((1.25 s)^2 + max(p (1 - p), 1 / N) / 4N), 1 / 2n)``. p is the
    chance, s its standard deviation over the draws, N the 1024 points and n the fitted runs [-].
    The 4 is an estimate. The upper end is no less than 3 / n: what happens that often is missed
    by n runs once in twenty times, and no smooth response need know of it.
    """
    each = below.mean(axis=1)
    chance = float(each.mean())
    # points fill the scatter evenly: their error is that of four times as many independent ones
    own = np.sqrt(max(chance * (1.0 - chance), 1.0 / POINTS) / (4.0 * POINTS))
    half = max(HALF * float(np.hypot(WIDER * each.std(), own)), 0.5 / runs)
    high = min(max(chance + half, 3.0 / runs), 1.0)
    return Smooth(chance, max(chance - half, 0.0), high, q2, True)
