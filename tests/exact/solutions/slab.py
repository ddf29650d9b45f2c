"""Wall, rod and bar in one dimension."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from .common import STEFAN_BOLTZMANN, Array, decay

__all__ = [
    "radiating_bar",
    "rod_convective",
    "rod_roots",
    "sine_driven",
    "wall_convective",
    "wall_roots",
]


def wall_roots(biot: float, count: int) -> Array:
    """Return the first `count` positive roots of zeta tan(zeta) = Bi."""

    def f(zeta: float) -> float:
        return float(zeta * np.sin(zeta) - biot * np.cos(zeta))

    return np.array([brentq(f, n * np.pi, (n + 0.5) * np.pi, xtol=1e-14) for n in range(count)])


def rod_roots(biot: float, count: int) -> Array:
    """Return the first `count` positive roots of zeta J1(zeta) = Bi J0(zeta)."""

    def f(zeta: float) -> float:
        return float(zeta * j1(zeta) - biot * j0(zeta))

    low = np.concatenate([[0.0], jn_zeros(1, count)[: count - 1]])
    high = jn_zeros(0, count)
    return np.array([brentq(f, a, b, xtol=1e-14) for a, b in zip(low, high, strict=True)])


def wall_convective(
    x: ArrayLike,
    t: ArrayLike,
    *,
    thickness: float,
    k: float,
    rho: float,
    c: float,
    h: float,
    start: float,
    ambient: float,
    terms: int = 200,
) -> Array:
    """Temperature of a wall, adiabatic at x = 0, a film `h` at x = `thickness`.

    (T - Ta)/(T0 - Ta) = sum_n C_n cos(zeta_n x/L) exp(-zeta_n^2 alpha t/L^2),
    C_n = 4 sin(zeta_n) / (2 zeta_n + sin(2 zeta_n)), zeta_n tan(zeta_n) = h L/k.
    x [m] and t [s] broadcast; temperatures in any one scale. At t = 0 the start value is
    returned, where the series converges slowly.

    Source: Carslaw and Jaeger 1959, section 3.11; Incropera, Fundamentals of Heat and Mass
    Transfer, section 5.5 (half the wall of a wall cooled on both faces).
    """
    place, time = np.broadcast_arrays(np.asarray(x, float), np.asarray(t, float))
    zeta = wall_roots(h * thickness / k, terms)
    weight = 4.0 * np.sin(zeta) / (2.0 * zeta + np.sin(2.0 * zeta))
    fourier = k / (rho * c) * time / thickness**2
    shape = np.cos(zeta * place[..., None] / thickness)
    theta = np.sum(weight * shape * decay(zeta**2 * fourier[..., None]), axis=-1)
    return np.asarray(np.where(time > 0.0, ambient + (start - ambient) * theta, start))


def rod_convective(
    r: ArrayLike,
    t: ArrayLike,
    *,
    radius: float,
    k: float,
    rho: float,
    c: float,
    h: float,
    start: float,
    ambient: float,
    terms: int = 100,
) -> Array:
    """Temperature of a long solid cylinder with a film `h` at its surface.

    (T - Ta)/(T0 - Ta) = sum_n C_n J0(zeta_n r/R) exp(-zeta_n^2 alpha t/R^2),
    C_n = (2/zeta_n) J1(zeta_n) / (J0^2(zeta_n) + J1^2(zeta_n)), zeta_n J1 = (h R/k) J0.
    r [m] and t [s] broadcast; at t = 0 the start value is returned.

    Source: Carslaw and Jaeger 1959, section 7.7; Incropera, section 5.6.
    """
    place, time = np.broadcast_arrays(np.asarray(r, float), np.asarray(t, float))
    zeta = rod_roots(h * radius / k, terms)
    weight = 2.0 / zeta * j1(zeta) / (j0(zeta) ** 2 + j1(zeta) ** 2)
    fourier = k / (rho * c) * time / radius**2
    shape = j0(zeta * place[..., None] / radius)
    theta = np.sum(weight * shape * decay(zeta**2 * fourier[..., None]), axis=-1)
    return np.asarray(np.where(time > 0.0, ambient + (start - ambient) * theta, start))


def sine_driven(
    x: ArrayLike,
    t: ArrayLike,
    *,
    length: float,
    k: float,
    rho: float,
    c: float,
    amplitude: float,
    period: float,
    terms: int = 1000,
) -> Array:
    """Temperature of a bar at 0 throughout, held at 0 at x = 0, sine-driven at x = `length`.

    T(L, t) = A sin(w t), w = 2 pi / `period` [rad/s]. By Duhamel:
    T = A (x/L) sin(w t) + sum_n 2 A w (-1)^n/(n pi) sin(n pi x/L)
    [b cos(w t) + w sin(w t) - b exp(-b t)] / (b^2 + w^2), b = alpha (n pi/L)^2.
    x [m] and t [s] broadcast.

    Source: Carslaw and Jaeger 1959, section 3.6. With A = 100, period 80 s, L = 0.1 m, k = 35,
    c = 440.5, rho = 7200 this is test T3 of The Standard NAFEMS Benchmarks (1990).
    """
    place, time = np.broadcast_arrays(np.asarray(x, float), np.asarray(t, float))
    place, time = place[..., None], time[..., None]
    omega = 2.0 * np.pi / period
    n = np.arange(1, terms + 1)
    rate = k / (rho * c) * (n * np.pi / length) ** 2
    forced = rate * np.cos(omega * time) + omega * np.sin(omega * time)
    part = (forced - rate * decay(rate * time)) / (rate**2 + omega**2)
    sign = np.where(n % 2 == 0, 1.0, -1.0)
    series = 2.0 * omega * sign / (n * np.pi) * np.sin(n * np.pi * place / length) * part
    steady = place[..., 0] / length * np.sin(omega * time[..., 0])
    return np.asarray(amplitude * (steady + series.sum(axis=-1)))


def radiating_bar(
    hot: float, *, length: float, k: float, emissivity: float, ambient: float
) -> float:
    """Steady temperature [K] of the end of a bar that radiates, its other end held at `hot` [K].

    k (T_hot - T)/L = eps sigma (T^4 - Ta^4), solved for T.

    Source: Fourier and Stefan-Boltzmann laws. With 1000 K, 0.1 m, k = 55.563, eps = 0.98 and
    300 K this is test T2 of The Standard NAFEMS Benchmarks (1990).
    """

    def surplus(end: float) -> float:
        radiated = emissivity * STEFAN_BOLTZMANN * (end**4 - ambient**4)
        return k * (hot - end) / length - radiated

    return float(brentq(surplus, min(hot, ambient), max(hot, ambient), xtol=1e-10))
