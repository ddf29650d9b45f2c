"""The lap: how wide it is when hot, filler drawn in where it is hot and joined, its conductance.

**How the gap changes when hot.** Each radius grows by itself times a mean thermal strain:

- The bore of an elastic plate, free at its rim, grows by the mean strain of the *whole plate* and
  not by that of its own wall, which the cold plate around it holds back:
  ``u(a) = 2 alpha a / (b^2 - a^2) int_a^b T r dr`` (Timoshenko and Goodier, Theory of Elasticity,
  thermal stress in a circular disk). By the reciprocal theorem it holds in the mean round the bore
  for any T(r, angle), as the two stresses of a ring under inner pressure have one sum everywhere.
- A thin tube grows by the mean strain round its circumference. Its wall evens that out along the
  axis over about sqrt(R t), some millimetres, so the mean over the lap is taken.

So the gap is one number for the whole lap. Not in it: a hot spot bulges the tube out there,
and hot metal that is held back yields.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...constants import STEFAN_BOLTZMANN
from ...problem.arrays import Growth
from .jit import plain, sums
from .rows import find_node

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["TOUCHING", "fill_lap", "hot_gap"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# [m] Rough walls that touch still leave a gap as wide as their highest peaks: an estimate for a
# drawn tube in a drilled bore. Gas conduction across it stays finite.
TOUCHING = 10e-6


@sums
def _mean_strain(h, cells, share, alloy, low, per_step, strain):  # type: ignore[no-untyped-def]
    """Mean thermal strain by volume of some cells in all layers [-]: ``sum of share x strain``."""
    last = np.int32(strain.shape[1] - 2)
    total = 0.0
    for i in range(cells.shape[0]):
        c = cells[i]
        a, here = alloy[c], 0.0
        for k in range(h.shape[1]):
            j, f = find_node(h[c, k], low[a], per_step[a], last)
            here += strain[a, j] + f * (strain[a, j + 1] - strain[a, j])
        total += here * share[i]
    return total


def hot_gap(growth: Growth, h: Array, alloy: Ints, low: Array, per_step: Array) -> float:
    """Radial gap of the lap as hot as it is [m]; below 0 the tube has outgrown its bore.

    ``gap = g + (R + g) e_flange - R e_tube``: cold gap g [m], tube radius R [m], and the mean
    thermal strains from 20 degC, by volume, of the whole flange and of the tube in the lap [-].
    Source and limits are in the module's docstring. It holds for free elastic parts.

    Parameters
    ----------
    growth : what grows and how
    h : (nc, layers) specific enthalpy [J/kg]
    alloy : (nc,) of each cell
    low, per_step : (alloys,) where the nodes of its table are, see `arrays.Tables`
    """
    g = growth
    tube = _mean_strain(h, g.tube, g.tube_share, alloy, low, per_step, g.strain)
    bore = _mean_strain(h, g.bore, g.bore_share, alloy, low, per_step, g.strain)
    return float(g.cold + (g.radius + g.cold) * bore - g.radius * tube)


@plain
def fill_lap(surface, walls, alive, filled, contact, gap):  # type: ignore[no-untyped-def]
    """Let filler into hot lap faces that join filled ones, then set the lap's resistance.

    A face fills when both its sides are at `flow` or above and a neighbour is filled; at the mouth
    the filler of the fillet counts. Then, by the mean T of its two sides [K]::

        bare:    1 / R = k_gas(T) / gap + 4 sigma eps T^3    [W/(m2 K)]
        filled:      R = gap / k_filler                      [m2 K/W]

    with conductivities k [W/(m K)], the width of the gap [m] and the effective emissivity eps of
    two parallel grey walls. Radiation is linear about T (textbook form, from memory), so it holds
    where the sides differ by little against T. Gas conducts as a still layer. Beyond the ends of
    its table k_gas stays level.

    Parameters
    ----------
    surface : (w + 2 nlap, layers) surface temperatures; lap rows follow the `walls` walls [K]
    alive : (fillet cells, layers) 1 where filler has been laid
    filled : (nlap, layers) bool, from the mouth down; contact : (nlap, layers) [m2 K/W]
    gap : a `Gap`
    """
    root, width, emissivity, filler_k, flow, gas_t, gas_k = gap
    rows, layers = filled.shape
    grew = False  # unless filler could enter a face: most steps need no sweep
    for i in range(rows):
        for k in range(layers):
            hot = min(surface[walls + i, k], surface[walls + rows + i, k]) >= flow
            grew = grew or (hot and not filled[i, k])
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
            t = 0.5 * (surface[walls + i, k] + surface[walls + rows + i, k])
            radiation = 4.0 * STEFAN_BOLTZMANN * emissivity * t * t * t
            gas = gas_k[0]  # the ends go on level
            for n in range(len(gas_t) - 1):
                on = (t - gas_t[n]) / (gas_t[n + 1] - gas_t[n])
                gas += (gas_k[n + 1] - gas_k[n]) * min(max(on, 0.0), 1.0)
            bare = 1.0 / (gas / width + radiation)
            contact[i, k] = width / filler_k if filled[i, k] else bare
