"""Least squares for a few unknowns: the fit, its intervals, and what it cannot distinguish."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import t as student

from ..runs.rounds import Planner
from .unknowns import Unknown

__all__ = [
    "NORMAL",
    "TOLERANCE",
    "UNSURE",
    "Fit",
    "Fitted",
    "blind_spots",
    "correlation",
    "fit",
    "intervals",
    "most_points",
    "moved_by",
    "spread_of",
    "steps_inside",
    "unweighted",
    "weighted",
    "weighting",
    "widened_by",
]

Array = NDArray[np.float64]
Residuals = Callable[[Sequence[Array]], Planner[list[Array]]]

STEP = 0.03  # of each unknown's start, for its column of the Jacobian
MOST = 20  # fits tried
CHANGE = 0.25  # of a value: what a measurement should be able to see
TOLERANCE = 2.5  # [K] of a class 2 thermocouple type K, IEC 60584-1, up to 333 degC
NORMAL = 1.959963984540054  # standard deviations in half a 95 % interval
UNSURE = 0.5  # half an interval over the value: no longer known
INVOLVED = 0.2  # component of a direction that belongs to it


@dataclass(frozen=True)
class Fit:
    """A minimum of the sum of squares.

    Attributes
    ----------
    x : unknowns over their starts, then what else was free
    residuals : (n,) at it
    jacobian : (n, len(x)) at it
    """

    x: Array
    residuals: Array
    jacobian: Array


@dataclass(frozen=True)
class Fitted:
    """An unknown with its value and 95 % interval [SI]; `at_bound` if it ended on a bound.

    `shared` is half the interval that errors common to many readings alone would make [SI].
    """

    unknown: Unknown
    value: float
    low: float
    high: float
    at_bound: bool
    shared: float = 0.0


class _Wanted(Exception):  # noqa: N818 - not an error: least squares wants to know these points
    def __init__(self, points: Sequence[Array]) -> None:
        super().__init__()
        self.points = points


def fit(
    unknowns: Sequence[Unknown],
    residuals_at: Residuals,
    free: Sequence[tuple[float, float]] = (),
    begin: Array | None = None,
) -> Planner[Fit]:
    """Find the least squares.

    `least_squares` calls back for residuals and cannot wait for a round of runs. So it begins
    anew whenever it wants a point that is not known, and takes the same way up to it: all that
    it is given is the same. That costs milliseconds.

    Parameters
    ----------
    unknowns : each starts at 1, its start over itself
    residuals_at : (n,) at each of several x, all at once
    free : bounds of what else is free; starts at 0
    begin : x to begin with, in place of those

    References
    ----------
    Branch, M. A., Coleman, T. F. and Li, Y. (1999), SIAM J. Sci. Comput. 21, 1 (the trust region
    method of `scipy.optimize.least_squares`).
    """
    low = np.array([*(u.low / u.start for u in unknowns), *(a for a, _ in free)])
    high = np.array([*(u.high / u.start for u in unknowns), *(b for _, b in free)])
    start = np.array([*[1.0] * len(unknowns), *[0.0] * len(free)]) if begin is None else begin
    known: dict[bytes, Array] = {}

    def told(points: Sequence[Array]) -> list[Array]:
        missing = [x for x in points if _name(x) not in known]
        if missing:
            raise _Wanted(missing)
        return [known[_name(x)] for x in points]

    def residuals(x: Array) -> Array:
        return told([x])[0]

    def jacobian(x: Array) -> Array:
        steps = steps_inside(x, high)
        there, here = told([*(x + np.diag(steps))]), residuals(x)
        return np.stack([(r - here) / s for r, s in zip(there, steps, strict=True)], axis=1)

    inside = np.clip(start, low + 1e-6 * (high - low), high - 1e-6 * (high - low))
    while True:
        try:
            found = least_squares(
                *(residuals, inside, jacobian), (low, high), ftol=1e-6, xtol=1e-4, max_nfev=MOST
            )
        except _Wanted as wanted:
            points = wanted.points
        else:
            return Fit(np.asarray(found.x), np.asarray(found.fun), np.asarray(found.jac))
        for x, values in zip(points, (yield from residuals_at(points)), strict=True):
            known[_name(x)] = values


def most_points(unknowns: int) -> int:
    """Points of the unknowns that a fit asks for at most: each try, with its Jacobian."""
    return MOST * (1 + unknowns)


def _name(x: Array) -> bytes:
    return np.round(x, 12).tobytes()


def steps_inside(x: Array, high: Array) -> Array:
    """Steps for the columns of a Jacobian at `x`, away from the upper bounds."""
    return np.where(x + STEP > high, -STEP, STEP)


def correlation(series: Sequence[Array]) -> float:
    """Correlation of neighbours that would leave as few residuals independent as all lags do.

    The sum of the correlations over all lags, ``1 + 2 (r_1 + r_2 + ...)``, is ended where two in
    a row sum to no more than 0: the initial positive sequence of Geyer (1992), Statistical
    Science 7, 473.
    """
    squares = sum(float(r @ r) for r in series)
    if squares <= 0.0:
        return 0.0
    total = -1.0
    for lag in range(0, max(map(len, series)) - 1, 2):
        pair = sum(float(r[k:] @ r[: len(r) - k]) for r in series for k in (lag, lag + 1)) / squares
        if pair <= 0.0:
            break
        total += 2.0 * pair
    return float(np.clip((total - 1.0) / (total + 1.0), 0.0, 0.99))


def spread_of(found: Fit, together: float, sigma: float | None = None) -> tuple[float, float]:
    """Half a 95 % interval in standard deviations, and the variance; see `intervals`."""
    n, k = found.jacobian.shape
    fewer = (1.0 + together) / (1.0 - together)
    freedom = max(n / fewer - k, 1.0)
    spread = float(student.ppf(0.975, freedom)) if sigma is None else NORMAL
    variance = float(found.residuals @ found.residuals) / max(n - k, 1)
    return spread, fewer * (variance if sigma is None else sigma**2)


def intervals(
    unknowns: Sequence[Unknown], found: Fit, together: float = 0.0, sigma: float | None = None
) -> tuple[Fitted, ...]:
    """95 % intervals from the Jacobian.

    Parameters
    ----------
    unknowns : what was fitted
    found : the fit
    together : correlation of neighbouring residuals, of which only so many are then independent:
        n (1 - r) / (1 + r) (Bayley and Hammersley 1946, J. Roy. Stat. Soc. Suppl. 8, 184)
    sigma : of the residuals if it is known; else it is estimated from them

    References
    ----------
    Seber, G. A. F. and Wild, C. J. (1989), Nonlinear Regression, 5.1.
    """
    spread, variance = spread_of(found, together, sigma)
    information = found.jacobian.T @ found.jacobian
    cover = variance * np.linalg.pinv(information, rcond=1e-14)
    # along what moves nothing that was measured, values may be anywhere between their bounds
    sizes, directions = np.linalg.eigh(information)
    blind = np.abs(directions[:, sizes <= 1e-14 * sizes[-1]]).max(axis=1, initial=0.0)
    result = []
    for i, unknown in enumerate(unknowns):
        value = float(found.x[i]) * unknown.start
        half = spread * float(np.sqrt(max(cover[i, i], 0.0))) * unknown.start
        close = 1e-3 * (unknown.high - unknown.low)
        seen = float(blind[i]) < 1e-6
        result.append(
            Fitted(
                unknown,
                value,
                max(value - half, unknown.low) if seen else unknown.low,
                min(value + half, unknown.high) if seen else unknown.high,
                bool(value < unknown.low + close or value > unknown.high - close),
            )
        )
    return tuple(result)


def moved_by(jacobian: Array, columns: Array) -> Array:
    """Standard deviation of each x from errors that readings have in common (k,).

    A least-squares fit moves by ``-(J^T J)^-1 J^T g`` for an error g of the residuals: errors in
    common do not average out over readings (Seber and Wild 1989, Nonlinear Regression, 6.1).

    Parameters
    ----------
    jacobian : (n, k)
    columns : (n, m) one standard deviation of each error
    """
    return np.asarray(np.sqrt(np.sum((np.linalg.pinv(jacobian, rcond=1e-7) @ columns) ** 2, 1)))


def widened_by(fitted: Sequence[Fitted], found: Fit, columns: Array) -> tuple[Fitted, ...]:
    """Intervals with errors in common put over them; `columns` as of `moved_by`."""
    result = []
    for item, deviation in zip(fitted, moved_by(found.jacobian, columns).tolist(), strict=False):
        u, half = item.unknown, NORMAL * deviation * item.unknown.start
        low = max(item.value - hypot(item.value - item.low, half), u.low)
        high = min(item.value + hypot(item.high - item.value, half), u.high)
        result.append(replace(item, low=low, high=high, shared=half))
    return tuple(result)


def weighting(columns: Array) -> tuple[Array, Array]:
    """Directions (n, m) of residuals and what to divide by along each, for errors in common.

    Of ``I + G G^T`` they are the vectors and the roots of the values above 1.

    Parameters
    ----------
    columns : (n, m) G: one standard deviation of each error in common, over that of a residual
    """
    directions, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return directions, np.sqrt(1.0 + sizes**2)


def weighted(residuals: Array, weights: tuple[Array, Array]) -> Array:
    """Residuals (n,) or columns of them (n, m) by the inverse root of ``I + G G^T``.

    Then they are independent (generalised least squares, Seber and Wild 1989, 2.1.4).
    """
    directions, roots = weights
    along = directions.T @ residuals
    return np.asarray(residuals + (directions * (1.0 / roots - 1.0)) @ along)


def unweighted(residuals: Array, weights: tuple[Array, Array]) -> Array:
    """Undo `weighted`."""
    directions, roots = weights
    return weighted(residuals, (directions, 1.0 / roots))


def blind_spots(
    unknowns: Sequence[Unknown],
    jacobian: Array,
    fitted: Sequence[Fitted],
    tolerance: float = TOLERANCE,
    what: str = "reading",
    wide: Collection[str] = (),
    unit: str = "K",
) -> tuple[str, ...]:
    """What the data cannot determine, in sentences; empty if all is well.

    A direction of the unknowns is blind if a quarter of their values along it moves no reading by
    more than a thermocouple's own tolerance: the directions are the right singular vectors of the
    Jacobian, scaled to each unknown's value.

    Parameters
    ----------
    unknowns : what was fitted
    jacobian : (n, >= unknowns) by unknowns over their starts [`unit`], then by what else was free
    fitted : from `intervals`
    tolerance : change that a measurement can see [`unit`]
    what : is measured
    wide : names of unknowns whose wide interval needs no sentence
    unit : of what is measured
    """
    count = len(unknowns)
    scaled = jacobian[:, :count] * [f.value / f.unknown.start for f in fitted]
    if jacobian.shape[1] > count:  # what a free offset can make up for says nothing
        q, _ = np.linalg.qr(jacobian[:, count:])
        scaled = scaled - q @ (q.T @ scaled)
    _, _, directions = np.linalg.svd(scaled, full_matrices=False)
    told = []
    blind: set[str] = set()
    for direction in directions[::-1]:
        change = CHANGE * direction / np.abs(direction).max()
        moves = float(np.abs(scaled @ change).max())
        if moves >= tolerance:
            break
        inside = [i for i in np.argsort(-np.abs(change)) if abs(change[i]) > INVOLVED * CHANGE]
        names = [unknowns[i].name for i in inside]
        blind.update(names)
        if len(names) == 1:
            told.append(
                f"the {what}s hardly see {names[0]}: {100 * CHANGE:.0f} % of it moves none by more "
                f"than {moves:.1f} {unit}; it takes {unknowns[inside[0]].sees}"
            )
        else:
            sides = " with ".join(f"{100 * change[i]:+.0f} % of {unknowns[i].name}" for i in inside)
            takes = " and ".join(dict.fromkeys(unknowns[i].sees for i in inside))
            told.append(
                f"the {what}s cannot tell {' from '.join(names)}: {sides} moves none by more than "
                f"{moves:.1f} {unit}; it takes {takes}"
            )
    for item in fitted:
        if item.unknown.name in blind:
            continue
        if item.at_bound:
            told.append(
                f"{item.unknown.name} ended on its bound, {item.unknown.shown(item.value)}: the "
                f"{what}s ask for more than --bounds allows, or something else is wrong"
            )
        elif item.unknown.name not in wide and item.high - item.low > 2.0 * UNSURE * item.value:
            told.append(
                f"{item.unknown.name} is known only from {item.unknown.shown(item.low)} to "
                f"{item.unknown.shown(item.high)}; it takes {item.unknown.sees}"
            )
    return tuple(told)
