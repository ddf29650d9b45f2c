"""One look at every cell, compiled: the heat it holds, and whether a metal can be like that."""

from __future__ import annotations

from .jit import sums

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["look"]


@sums
def look(h, mass, low, high):  # type: ignore[no-untyped-def]
    """Heat in all cells [J], and how many are outside ``low <= h <= high`` or not a number.

    Parameters
    ----------
    h : (nc, layers) specific enthalpy [J/kg]
    mass : (nc,) of a cell [kg]
    low, high : (nc,) what a row may hold [J/kg]
    """
    heat, strange = 0.0, 0
    for c in range(h.shape[0]):
        row, least, most = 0.0, low[c], high[c]
        for k in range(h.shape[1]):
            row += h[c, k]
            strange += not (h[c, k] >= least and h[c, k] <= most)
        heat += mass[c] * row
    return heat, strange
