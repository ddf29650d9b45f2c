"""Chance from few runs: a smooth response, integrated over the scatter.

Counting gives a chance within about 1 / sqrt(runs). Margin and slack are smooth in what varies, so
64 runs fix the response nearly everywhere, and the chance is how much of the scatter lies below
zero of it. The interval comes from responses that the runs leave possible (draws of the Gaussian
process) and from the finite number of points. It is not used where runs are predicted badly from
the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .bench import HALF, points, wilson
from .surrogate import MOST, RUNS_AN_INPUT, TRUSTED, Surrogate, near

__all__ = ["Smooth", "chances_below"]

Array = NDArray[np.float64]

ENDS = ("chance", "low", "high")
POINTS = 1024  # of the scatter
DRAWS = 256
WIDER = 1.5  # length scales are fitted too, which draws do not know


@dataclass(frozen=True)
class Smooth:
    """A chance and its 95 % interval; `q2` of the response. `used` False: it is counted instead."""

    chance: float
    low: float
    high: float
    q2: float
    used: bool


def chances_below(at: Array, measures: Sequence[Array], seed: int) -> tuple[Smooth, ...]:
    """Chance that each measure lies below zero; last, that any of them does.

    ``chance = mean over draws and points of (response < 0)`` [-]. The response is fitted to
    ``150 K tanh(measure / 150 K)``, which has the same sign and hardly feels far values. It is used
    where its `q2` is 0.9 or more and there are 5 runs an input or more; else `wilson` is.

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
        response = _response(at, values)
        if response is None or response.q2 < TRUSTED:
            found.append(replace(counted, q2=0.0 if response is None else response.q2))
            continue
        drawn.append(response.draws(bench, DRAWS, rng) < 0.0)
        found.append(_integrated(drawn[-1], response.q2, fitted))
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


def _response(at: Array, values: Array) -> Surrogate | None:
    few = len(values) < RUNS_AN_INPUT * at.shape[1]
    if few or not np.isfinite(values).all() or float(np.ptp(values)) < 1e-9:
        return None
    return Surrogate.fit(at, near(values))


def _integrated(below: NDArray[np.bool_], q2: float, runs: int) -> Smooth:
    """Chance from draws (draws, points), with the interval that they and the points leave.

    Half width: ``max(1.96 sqrt((1.5 s)^2 + max(p (1 - p), 1 / N) / 4N), 1 / 2n)``. p is the chance,
    s its standard deviation over the draws, N the 1024 points and n the fitted runs [-]. The 1.5
    and the 4 are estimates. The upper end is no less than 3 / n: what happens that often is missed
    by n runs once in twenty times, and no smooth response need know of it.
    """
    each = below.mean(axis=1)
    chance = float(each.mean())
    # points fill the scatter evenly: their error is that of four times as many independent ones
    own = np.sqrt(max(chance * (1.0 - chance), 1.0 / POINTS) / (4.0 * POINTS))
    half = max(HALF * float(np.hypot(WIDER * each.std(), own)), 0.5 / runs)
    high = min(max(chance + half, 3.0 / runs), 1.0)
    return Smooth(chance, max(chance - half, 0.0), high, q2, True)
