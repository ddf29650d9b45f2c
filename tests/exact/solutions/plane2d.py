"""Steady conduction in a rectangle, and one three-dimensional benchmark as data."""

from __future__ import annotations

from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from .common import Array, decay
from .slab import wall_roots

__all__ = ["ISO_10211_CASE_4", "convective_plate", "square_column"]

# ISO 10211 case 4, an iron bar through an insulation layer: no closed form, so the published
# answers are data. Layer 1 m x 1 m x 0.2 m, 0.1 W/(m K); bar 0.1 m x 0.05 m x 0.6 m, 50 W/(m K),
# square to the layer through its centre, flush with the cold face; surface resistance
# 0.10 m^2 K/W both sides, air at 1 and 0 degC. Geometry from memory, values as published.
ISO_10211_CASE_4 = MappingProxyType(
    {"heat_W": 0.540, "cold_surface_C": 0.805, "heat_share": 0.01, "surface_K": 0.005}
)


def convective_plate(
    x: ArrayLike,
    y: ArrayLike,
    *,
    width: float,
    height: float,
    k: float,
    h: float,
    bottom: float,
    terms: int = 400,
) -> Array:
    """Steady rise in a rectangle: bottom held, left insulated, right and top with a film `h`.

    T = T_b sum_n C_n cos(b_n x) Y_n(y), b_n tan(b_n a) = h/k,
    C_n = (sin(b_n a)/b_n) / (a/2 + sin(2 b_n a)/(4 b_n)), and Y_n the combination of cosh and
    sinh that is 1 at the bottom and meets the film at the top. x, y [m] broadcast.

    Source: Carslaw and Jaeger 1959, section 5.4, by separation of variables. With 0.6 m x 1.0 m,
    k = 52, h = 750, 100 degC it is test T4 of The Standard NAFEMS Benchmarks (1990),
    T(0.6, 0.2) = 18.3 degC.
    """
    beta = wall_roots(h * width / k, terms) / width
    along = np.asarray(x, float)[..., None]
    up = np.asarray(y, float)[..., None]
    weight = (np.sin(beta * width) / beta) / (
        width / 2.0 + np.sin(2.0 * beta * width) / (4.0 * beta)
    )

    def bracket(rest: Array | float) -> Array:
        fall = decay(2.0 * beta * rest)
        return beta * (1.0 + fall) + h / k * (1.0 - fall)

    profile = decay(beta * up) * bracket(height - up) / bracket(height)
    return np.asarray(bottom * np.sum(weight * np.cos(beta * along) * profile, axis=-1))


def square_column(
    x: ArrayLike, y: ArrayLike, *, width: float, height: float, top: float, terms: int = 2000
) -> Array:
    """Steady rise in a column cut at its mid-plane: top held, right side and bottom at zero.

    x from the plane of symmetry, 0 to `width`; y up from the bottom (both broadcast).
    T = T_top sum over odd n of 4 (-1)^((n-1)/2)/(n pi) cos(b x) sinh(b y)/sinh(b H),
    b = n pi/(2 width).

    Source: Carslaw and Jaeger 1959, section 5.3. With 20 x 40 units and 20 degC this is case 1
    of ISO 10211.
    """
    n = 2 * np.arange(terms) + 1
    sign = np.where(np.arange(terms) % 2 == 0, 1.0, -1.0)
    beta = n * np.pi / (2.0 * width)
    along = np.asarray(x, float)[..., None]
    up = np.asarray(y, float)[..., None]
    ratio = decay(beta * (height - up)) * (1.0 - decay(2.0 * beta * up))
    ratio = ratio / (1.0 - decay(2.0 * beta * height))
    series = 4.0 * sign / (n * np.pi) * np.cos(beta * along) * ratio
    return np.asarray(top * series.sum(axis=-1))
