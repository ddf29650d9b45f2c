"""The lap: filler drawn in where it is hot and joined, and what the gap conducts."""

from __future__ import annotations

import numpy as np

from .constants import STEFAN_BOLTZMANN
from .jit import plain

__all__ = ["fill_lap"]


@plain
def fill_lap(  # type: ignore[no-untyped-def]
    surface, walls, alive, root, filled, contact, gas_t, gas_k, gap, emissivity, filler_k, flow
):
    """Let filler into hot lap faces that join filled ones, then set the lap's resistance.

    Parameters
    ----------
    surface : (w + 2 nlap, layers) surface temperatures; lap rows follow the `walls` walls [K]
    root : row of `alive` of the fillet cell at the mouth of the lap
    filled : (nlap, layers) bool, from the mouth down; contact : (nlap, layers) [m2 K/W]
    gas_t, gas_k : gas conductivity against temperature [K], [W/(m K)]
    gap [m], emissivity (effective) [-], filler_k [W/(m K)], flow [K]
    """
    rows, layers = filled.shape
    grew = True
    while grew:  # one row of faces a sweep, whichever way the filler runs
        grew = False
        before = filled.copy()
        for i in range(rows):
            for k in range(layers):
                hot = min(surface[walls + i, k], surface[walls + rows + i, k]) >= flow
                if before[i, k] or not hot:
                    continue
                joined = alive[root, k] > 0.0 if i == 0 else before[i - 1, k]
                joined = joined or (i + 1 < rows and before[i + 1, k])
                joined = joined or before[i, (k + 1) % layers] or before[i, (k - 1) % layers]
                if joined:
                    filled[i, k] = True
                    grew = True
    for i in range(rows):
        for k in range(layers):
            if filled[i, k]:
                contact[i, k] = gap / filler_k
            else:
                t = 0.5 * (surface[walls + i, k] + surface[walls + rows + i, k])
                radiation = 4.0 * STEFAN_BOLTZMANN * emissivity * t * t * t
                contact[i, k] = 1.0 / (np.interp(t, gas_t, gas_k) / gap + radiation)
