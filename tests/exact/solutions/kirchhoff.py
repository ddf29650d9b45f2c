"""Conductivity and specific heat growing alike with temperature, adiabatic surfaces."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .common import Array

__all__ = ["linear_from_rise", "rise_from_linear"]


def rise_from_linear(linear: ArrayLike, b: float) -> Array:
    """Rise theta [K] from the linear solution U [K]: theta = (sqrt(1 + 2 b U) - 1)/b.

    When k = k0 (1 + b theta) and c = c0 (1 + b theta) and no surface loses heat,
    U = theta + b theta^2/2 obeys the equation with k0 and c0 and the same sources.

    Source: Kirchhoff transformation, Carslaw and Jaeger 1959, section 1.6.
    """
    u = np.asarray(linear, float)
    return np.asarray(2.0 * u / (1.0 + np.sqrt(1.0 + 2.0 * b * u)))


def linear_from_rise(rise: ArrayLike, b: float) -> Array:
    """Return U = theta + b theta^2/2, the inverse of `rise_from_linear`."""
    theta = np.asarray(rise, float)
    return np.asarray(theta + 0.5 * b * theta**2)
