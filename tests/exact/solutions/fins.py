"""Fins: sheet, tube and ring, steady and heated at the base."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import i0e, i1e, k0e, k1e

from .common import Array, decay

__all__ = ["annular_conductance", "heated_edge", "sheet_with_tip_loss", "tube_conductance"]


def sheet_with_tip_loss(
    x: ArrayLike,
    *,
    length: float,
    thickness: float,
    k: float,
    h: float,
    base: float,
    h_tip: float | None = None,
) -> tuple[Array, float]:
    """Steady rise (shape of x) and heat per metre of width [W/m] of a sheet fin, tip losing too.

    theta/theta_b = [cosh m(L-x) + (h_t/mk) sinh m(L-x)] / [cosh mL + (h_t/mk) sinh mL],
    m^2 = 2 h/(k d), `h` on both faces, `h_tip` (the same unless given) on the tip; x [m] from
    the base; `base` rise [K].

    Source: Incropera, Fundamentals of Heat and Mass Transfer, table 3.4, case A.
    """
    m = np.sqrt(2.0 * h / (k * thickness))
    ratio = (h if h_tip is None else h_tip) / (m * k)
    rest = m * (length - np.asarray(x, float))
    full = m * length
    bottom = np.cosh(full) + ratio * np.sinh(full)
    theta = base * (np.cosh(rest) + ratio * np.sinh(rest)) / bottom
    heat = k * thickness * m * base * (np.sinh(full) + ratio * np.cosh(full)) / bottom
    return np.asarray(theta), float(heat)


def heated_edge(
    x: ArrayLike,
    t: ArrayLike,
    *,
    length: float,
    thickness: float,
    k: float,
    rho: float,
    c: float,
    h: float,
    flux: float,
    terms: int = 4000,
) -> Array:
    """Rise of a sheet heated from t = 0 at its edge x = 0, far edge insulated, film on both faces.

    `flux` is heat per metre of width [W/m]; x [m] and t [s] broadcast. Steady part
    q cosh m(L-x)/(k d m sinh mL), less the modes
    q (2 - [n=0])/(k d L) cos(n pi x/L) exp(-alpha (m^2 + b^2) t)/(m^2 + b^2), b = n pi/L.

    Source: Carslaw and Jaeger 1959, section 4.7 (rod losing heat at its surface).
    """
    place, time = np.broadcast_arrays(np.asarray(x, float), np.asarray(t, float))
    m = np.sqrt(2.0 * h / (k * thickness))
    n = np.arange(terms)
    square = m**2 + (n * np.pi / length) ** 2
    weight = np.where(n == 0, 1.0, 2.0) / (length * square)
    fade = decay(k / (rho * c) * square * time[..., None])
    modes = np.sum(weight * np.cos(n * np.pi * place[..., None] / length) * fade, axis=-1)
    steady = np.cosh(m * (length - place)) / (m * np.sinh(m * length))
    return np.asarray(flux / (k * thickness) * (steady - modes))


def annular_conductance(
    inner: float, outer: float, *, thickness: float, k: float, h: float
) -> float:
    """Heat per kelvin [W/K] a ring fin takes at its inner radius, both faces losing, rim insulated.

    2 pi r1 k d m [K1(m r1) I1(m r2) - I1(m r1) K1(m r2)] / [K0(m r1) I1(m r2) + I0(m r1) K1(m r2)],
    m^2 = 2 h/(k d).

    Source: Incropera, Fundamentals of Heat and Mass Transfer, section 3.6.4.
    """
    m = np.sqrt(2.0 * h / (k * thickness))
    a, b = m * inner, m * outer
    shift = decay(2.0 * (b - a))  # from the exponentially scaled Bessel functions
    top = k1e(a) * i1e(b) - shift * i1e(a) * k1e(b)
    bottom = k0e(a) * i1e(b) + shift * i0e(a) * k1e(b)
    return float(2.0 * np.pi * inner * k * thickness * m * top / bottom)


def tube_conductance(
    mid_radius: float, *, wall: float, length: float, k: float, h_total: float
) -> float:
    """Heat per kelvin [W/K] a thin tube takes at one end, the far end insulated.

    2 pi r d k m tanh(m L), m^2 = h_total/(k d), `h_total` the films outside and inside together.

    Source: Incropera, Fundamentals of Heat and Mass Transfer, table 3.4, case B.
    """
    m = np.sqrt(h_total / (k * wall))
    return float(2.0 * np.pi * mid_radius * wall * k * m * np.tanh(m * length))
