"""The arc's heat on every exposed face it can see."""

from __future__ import annotations

from math import cos, exp, nan, sin, sqrt

import numpy as np

from ...problem.arrays import REACH
from .jit import plain

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["light"]


@plain
def light(torch, grid, alive, where, power, heat):  # type: ignore[no-untyped-def]
    """Spread `power` [W] over the faces the arc at angle (or place) `where` can see.

    The flux is a Gaussian across the torch axis (textbook form, from memory)::

        q = C exp(-rho^2 / (2 s^2)) max(0, n.a)    [W/m2]

    Here rho is the distance from the axis [m], s is ``torch.spot``, the standard deviation [m], n
    is the normal of the face and a the direction from work to torch. Four Gauss points a face are
    taken. C makes the sum of q times area exactly `power`. q is 0 beyond ``REACH`` spots from the
    axis, under laid filler, on filler not yet laid and where the tube stands in the way.

    Fills `heat` (lit, layers) [W/m2]. Returns the share of a full Gaussian, ``2 pi s^2``, that met
    the part before C was applied [-]. At a `power` of 0 or below all flux is 0 and nan is returned.
    With no exposed face in reach all flux is 0 and 0 is returned.
    """
    lit, layers = heat.shape
    heat[:, :] = 0.0
    if power <= 0.0:
        return nan
    reach = REACH * torch.spot
    two = 2.0 * torch.spot * torch.spot
    gauss = 0.5 / sqrt(3.0)
    total = 0.0
    nearest = torch.point_r.min()
    for k in range(2 * layers):  # half layers
        d = (k // 2 + 0.5 + (gauss if k % 2 else -gauss)) * torch.step - where
        if grid.closed:
            ahead_x, ahead_y = cos(d), sin(d)
            if nearest * abs(ahead_y) > reach:
                continue
        elif abs(d) > reach:
            continue
        for i in range(lit):
            cover, own = grid.cover[torch.wall[i]], torch.own[i]
            if cover >= 0 and alive[cover, k // 2] > 0.0:
                continue
            if own >= 0 and alive[own, k // 2] == 0.0:
                continue
            lean = ahead_x if grid.closed else 1.0
            facing = torch.normal_r[i] * lean * torch.cr + torch.normal_z[i] * torch.cz
            if facing <= 0.0:
                continue
            value = 0.0
            for p in range(2):
                r, z = torch.point_r[i, p], torch.point_z[i, p]
                x, y = (r * ahead_x, r * ahead_y) if grid.closed else (r, d)
                if abs(y) > reach:
                    continue
                dx, dz = x - torch.r, z - torch.z
                ahead = dx * torch.cr + dz * torch.cz
                rho2 = dx * dx + y * y + dz * dz - ahead * ahead
                if rho2 > reach * reach:
                    continue
                if abs(y) < torch.shade and torch.cr > 0.0:
                    # the way to the torch runs into the tube
                    side = sqrt(torch.shade * torch.shade - y * y)
                    if -side > x and z + (-side - x) * torch.cz / torch.cr < torch.height:
                        continue
                value += 0.25 * facing * exp(-rho2 / two)
            heat[i, k // 2] += value
            total += value * torch.area[i]
    if total <= 0.0:
        return 0.0
    scale = power / total
    for i in range(lit):
        for k in range(layers):
            heat[i, k] *= scale
    return total / (np.pi * two)
