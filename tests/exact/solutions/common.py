"""Pieces the solutions share: one spell of arc, safe exponentials, quadrature, modal response."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "STEFAN_BOLTZMANN",
    "Array",
    "Run",
    "Waves",
    "decay",
    "gauss",
    "panels",
    "response",
    "times_and_points",
]

Array = NDArray[np.float64]
Waves = NDArray[np.complex128]

STEFAN_BOLTZMANN = 5.670374419e-8  # [W/(m^2 K^4)], CODATA 2018


@dataclass(frozen=True)
class Run:
    """One spell of arc, moving in a straight line (or round a tube) at constant power.

    Attributes
    ----------
    start : position of the arc when it strikes, along the travel [m]; round a tube [rad]
    begin, end : when it strikes and when it goes out [s]
    speed : along the heated surface, negative for travel against the coordinate [m/s]
    power : net power into the work [W]
    """

    start: float
    begin: float
    end: float
    speed: float
    power: float


def decay(x: ArrayLike) -> Array:
    """Return exp(-x), held at exp(-200) so that products of several never underflow."""
    return np.asarray(np.exp(-np.minimum(x, 200.0)))


def gauss(edges: ArrayLike, order: int = 10) -> tuple[Array, Array]:
    """Return the nodes and weights of Gauss-Legendre quadrature on each panel between `edges`."""
    edge = np.asarray(edges, dtype=float)
    node, weight = np.polynomial.legendre.leggauss(order)
    half = 0.5 * np.diff(edge)[:, None]
    middle = 0.5 * (edge[1:] + edge[:-1])[:, None]
    return (middle + half * node).ravel(), (half * weight).ravel()


def panels(first: float, last: float, spot: float, diffusivity: float, speed: float) -> Array:
    """Return panel edges in elapsed time, each short against the blurred spot seen moving.

    A Gaussian of variance spot^2 + 2 alpha theta passing at `speed` changes over the time it
    needs to move its own width, or to grow by its own width, whichever is less.
    """
    edges = [first]
    while edges[-1] < last:
        variance = spot**2 + 2.0 * diffusivity * edges[-1]
        step = 0.5 * variance / diffusivity
        if speed != 0.0:
            step = min(step, np.sqrt(variance) / abs(speed))
        edges.append(min(edges[-1] + step, last))
    return np.array(edges)


def response(
    rate: Array, frequency: Array, run: Run, strength: Waves | float = 1.0
) -> Callable[[float], Waves]:
    """Return a(t) of da/dt = -rate a + strength exp(i frequency (t - run.begin)), a = 0 before.

    The forcing lasts as long as the run does; `rate` [1/s] may hold zeros; the shapes broadcast.
    """

    def while_on(t: float) -> Waves:
        span = t - run.begin
        z = rate + 1j * frequency
        still = np.abs(z) * span < 1e-9
        grown = np.exp(1j * frequency * span) - decay(rate * span)
        return np.asarray(strength * np.where(still, span, grown / np.where(still, 1.0, z)))

    final: list[Waves] = []

    def at(t: float) -> Waves:
        if t <= run.begin:
            return np.zeros(np.broadcast_shapes(rate.shape, frequency.shape), dtype=complex)
        if t <= run.end:
            return while_on(t)
        if not final:
            final.append(while_on(run.end))
        return np.asarray(final[0] * decay(rate * (t - run.end)))

    return at


def times_and_points(t: ArrayLike, *points: ArrayLike) -> tuple[Array, list[Array]]:
    """Return times (n,) and points each (p,), whatever was given for them."""
    flat = np.broadcast_arrays(*(np.asarray(point, dtype=float) for point in points))
    return np.atleast_1d(np.asarray(t, dtype=float)).ravel(), [a.ravel() for a in flat]
