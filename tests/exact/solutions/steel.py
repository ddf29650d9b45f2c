"""Property formulas of EN 1993-1-2. Temperatures in degC, 20 to 1200."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .common import Array

__all__ = [
    "carbon_conductivity",
    "carbon_specific_heat",
    "stainless_conductivity",
    "stainless_enthalpy",
    "stainless_specific_heat",
]


def carbon_specific_heat(temperature: ArrayLike) -> Array:
    """Specific heat of carbon steel [J/(kg K)], with its peak at 735 degC.

    Source: EN 1993-1-2:2005, section 3.4.1.2.
    """
    t = np.asarray(temperature, float)
    low = 425.0 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    rising = 666.0 + 13002.0 / (738.0 - np.minimum(t, 735.0))
    falling = 545.0 + 17820.0 / (np.maximum(t, 735.0) - 731.0)
    return np.asarray(
        np.select([t < 600.0, t < 735.0, t < 900.0], [low, rising, falling], default=650.0)
    )


def carbon_conductivity(temperature: ArrayLike) -> Array:
    """Conductivity of carbon steel [W/(m K)]: 54 - 0.0333 T below 800 degC, then 27.3.

    Source: EN 1993-1-2:2005, section 3.4.1.3.
    """
    t = np.asarray(temperature, float)
    return np.asarray(np.where(t < 800.0, 54.0 - 0.0333 * t, 27.3))


def stainless_conductivity(temperature: ArrayLike) -> Array:
    """Conductivity of stainless steel [W/(m K)]: 14.6 + 0.0127 T.

    Source: EN 1993-1-2:2005, annex C.
    """
    return np.asarray(14.6 + 0.0127 * np.asarray(temperature, float))


def stainless_specific_heat(temperature: ArrayLike) -> Array:
    """Specific heat of stainless steel [J/(kg K)], held above 1200 degC.

    450 + 0.280 T - 2.91e-4 T^2 + 1.34e-7 T^3. Source: EN 1993-1-2:2005, annex C.
    """
    t = np.minimum(np.asarray(temperature, float), 1200.0)
    return np.asarray(450.0 + 0.280 * t - 2.91e-4 * t**2 + 1.34e-7 * t**3)


def stainless_enthalpy(temperature: ArrayLike) -> Array:
    """Integral of `stainless_specific_heat` from 0 degC [J/kg]."""
    t = np.asarray(temperature, float)
    low = np.minimum(t, 1200.0)
    part = 450.0 * low + 0.140 * low**2 - 0.97e-4 * low**3 + 0.335e-7 * low**4
    return np.asarray(part + stainless_specific_heat(1200.0) * np.maximum(t - 1200.0, 0.0))
