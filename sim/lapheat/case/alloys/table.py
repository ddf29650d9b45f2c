"""Temperature and conductivity against enthalpy, evenly spaced, for a compiled kernel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["EnthalpyTable", "node_of"]


def node_of(
    position: NDArray[np.float64], size: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Node below each `position` in a table of `size` nodes, and the way on to the next [-].

    Beyond the ends the outermost straight lines go on.
    """
    i = np.clip(position.astype(np.int64), 0, size - 2)
    return i, position - i


@dataclass(frozen=True, eq=False)
class EnthalpyTable:
    """Values at the enthalpies ``h0 + i dh``; straight lines between, and on beyond the ends.

    Parameters
    ----------
    h0, dh : float
        First enthalpy and spacing [J/kg].
    temperature : ndarray, shape (size,)
        Temperature [K].
    conductivity : ndarray, shape (size,)
        Conductivity [W/(m K)].
    c_min : float
        Smallest specific heat without latent heat [J/(kg K)], for stability limits.
    k_max : float
        Largest conductivity [W/(m K)], likewise.
    """

    h0: float
    dh: float
    temperature: NDArray[np.float64]
    conductivity: NDArray[np.float64]
    c_min: float
    k_max: float

    def scaled(self, factor: float) -> EnthalpyTable:
        """Table of an alloy that conducts `factor` times as well."""
        k = factor * self.conductivity
        k.flags.writeable = False
        return replace(self, conductivity=k, k_max=factor * self.k_max)

    def lookup(self, h: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Temperature [K] and conductivity [W/(m K)] at enthalpies `h` [J/kg], any shape."""
        i, weight = node_of((np.asarray(h, dtype=float) - self.h0) / self.dh, self.temperature.size)
        T, k = self.temperature, self.conductivity
        return T[i] + weight * (T[i + 1] - T[i]), k[i] + weight * (k[i + 1] - k[i])
