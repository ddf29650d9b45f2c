"""Reading the surfaces after a step, compiled: temperatures, peaks, probes."""

from __future__ import annotations

from math import isnan, nan

import numpy as np

from ...constants import STEFAN_BOLTZMANN
from ...problem.arrays import NEITHER
from .fields import Wall
from .jit import fast, plain
from .rows import find_node, surface_at

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["observe", "sample"]

BIOT = 0.02  # heat lost to heat conducted over half a cell, from which a wall is read straight


@fast
def bend(surface, w, skin, s, phi, c, back, wall):  # type: ignore[no-untyped-def]
    """Turn the straight line from a cell to its wall into a parabola.

    A cell stores or gives off the difference between the flux q at its wall and p at its back
    [W/m2]. Where that is even over the cell, the wall is ``T_c + near (2 q + p) / (3 k)`` (the
    integral of a flux that is linear in depth). T_c is the cell's mean [K], `near` half its depth
    [m], k its conductivity [W/(m K)] and ``p = (phi_c - phi_back) / by``.

    The correction fades out with ``1 - Bi / 0.02``, ``Bi = (film + 4 eps T_c^3) near / k`` [-].
    Walls that lose much stay as they are: what they lose follows the straight line and sets how hot
    they are. `back` is the cell behind and how far its point is off [m].
    """
    behind, by = back
    _, near, film, eps, _ = wall
    for k in range(surface.shape[1]):
        mean, r = skin[0, s, k], near * skin[1, s, k]
        on = r * (phi[c, k + 1] - phi[behind, k + 1]) / by
        biot = r * (film + 4.0 * eps * mean * mean * mean)
        share = max(0.0, 1.0 - biot / BIOT) / 3.0
        surface[w, k] += share * (on - (surface[w, k] - mean))


@fast
def raise_near(peak, surface, i, k, alive, cover, closed):  # type: ignore[no-untyped-def]
    """Raise the peaks about the hottest layer `k` of a row by what lies between the layers.

    It is the top of the parabola through a layer and its neighbours, ``T + lean^2 / (2 bow)``, with
    ``lean = (T_right - T_left) / 2`` and ``bow = 2 T - T_left - T_right`` [K]. It counts where it
    lies inside the layer, ``|lean| <= bow / 2``, and filler covers none of the three.

    An arc is between two layers where a segment starts. What an arc passes has its turn at the top.
    Returns the highest top [K], or the layer's own.
    """
    layers, top = surface.shape[1], surface[i, k]
    for m in range(k - 1, k + 2):
        n = m % layers if closed else m
        left, right = ((n - 1) % layers, (n + 1) % layers) if closed else (n - 1, n + 1)
        if left < 0 or right >= layers:
            continue
        if cover >= 0 and alive[cover, left] + alive[cover, n] + alive[cover, right] > 0.0:
            continue
        t = surface[i, n]
        lean = 0.5 * (surface[i, right] - surface[i, left])
        bow = 2.0 * t - surface[i, right] - surface[i, left]
        if bow > 0.0 and abs(lean) <= 0.5001 * bow:
            between = t + 0.5 * lean * lean / bow
            peak[i, n] = max(peak[i, n], between)
            top = max(top, between)
    return top


@plain
def observe(fields, given, seen, grid, base, flow, dt):  # type: ignore[no-untyped-def]
    """Read every surface temperature and raise the peaks.

    With the resistances ``R = d / k`` from each cell to the face [m2 K/W] the face is at [K]::

        bare wall:    `surface_at`, then `bend`
        under filler: (T_1 R_2 + T_2 R_1) / (R_1 + R_2), then as `bend` without fading
        lap:          T_1 - q R_1 and T_2 + q R_2,  q = (T_1 - T_2) / (R_1 + R_2 + R_lap)

    (resistances in series, from memory). Of a step in which a covered face passes `flow`, the share
    ``(high - flow) / (high - low)`` counts as liquid.

    Parameters
    ----------
    flow : where time above counts [K]
    dt : length of the step that ends now, in which temperatures run in straight lines [s]

    Returns
    -------
    bool
        False when a temperature is not a number.
    """
    phi, skin = fields.phi, fields.skin
    alive, contact, heat, air = given.alive, given.contact, given.heat_to, given.air
    surface, peak, wet_peak, liquid, best = seen
    layers = surface.shape[1]
    skin_t, skin_r = skin[0], skin[1]
    walls = base.wall_cell.shape[0]
    laps = base.lap_link.shape[0]
    best[:, 0] = 0.0
    before = np.empty(layers)
    for w in range(walls):
        c = base.wall_cell[w]
        s, cover, lit, m = grid.skin[c], grid.cover[w], grid.lit[w], base.under[w]
        own = grid.slot[c]
        if cover >= 0:
            before[:] = surface[w]
        # every face as if it were bare, which vectorises, and then those that are not
        eps, near = STEFAN_BOLTZMANN * grid.emissivity[w], grid.wall_near[w]
        for k in range(layers):
            q = heat[lit, k] if lit >= 0 else 0.0
            bare = surface_at(skin_t[s, k], near * skin_r[s, k], q, grid.film[w], eps, air[w])
            surface[w, k] = nan if own >= 0 and alive[own, k] == 0.0 else bare
        if base.behind_by[w] > 0.0:
            back = base.behind[w], base.behind_by[w]
            one = Wall(grid.wall_area[w], near, grid.film[w], eps, air[w])
            bend(surface, w, skin, s, phi, c, back, one)
        if cover < 0:
            continue
        o = grid.skin[grid.other[m]]
        for k in range(layers):
            if alive[cover, k] > 0.0:
                r1, r2 = grid.near[m] * skin_r[s, k], grid.far[m] * skin_r[o, k]
                t = (skin_t[s, k] * r2 + skin_t[o, k] * r1) / (r1 + r2)
                b, by = base.behind[w], base.behind_by[w]
                if by > 0.0:
                    on = r1 * (phi[c, k + 1] - phi[b, k + 1]) / by
                    t = skin_t[s, k] + (2.0 * (t - skin_t[s, k]) + on) / 3.0
                high, low = max(t, before[k]), min(t, before[k])
                if high >= flow:
                    liquid[w, k] += dt * (1.0 if low >= flow else (high - flow) / (high - low))
                surface[w, k] = t
                if not wet_peak[w, k] >= t:
                    wet_peak[w, k] = t
    for i in range(laps):
        m = base.lap_link[i]
        o = grid.skin[grid.other[m]]
        s = grid.skin[base.lap_cell[i]]
        for k in range(layers):
            r1, r2 = grid.near[m] * skin_r[s, k], grid.far[m] * skin_r[o, k]
            q = (skin_t[s, k] - skin_t[o, k]) / (r1 + r2 + contact[i, k])
            surface[walls + i, k] = skin_t[s, k] - q * r1
            surface[walls + laps + i, k] = skin_t[o, k] + q * r2
    sane = True
    for i in range(surface.shape[0]):
        part, hottest = base.part[i], 0.0
        for k in range(layers):
            t = surface[i, k]
            peak[i, k] = peak[i, k] if peak[i, k] >= t else t
        if part == NEITHER:
            continue
        for k in range(layers):
            hottest = max(hottest, surface[i, k])
            sane = sane and not isnan(surface[i, k])
        at = 0
        for k in range(layers):
            if surface[i, k] == hottest:
                at = k
                break
        cover = grid.cover[i] if i < walls else -1
        hottest = raise_near(peak, surface, i, at, alive, cover, grid.closed)
        if hottest > best[part, 0]:
            best[part, 0], best[part, 1], best[part, 2] = hottest, i, at
    return sane


@plain
def sample(h, surface, alloy, tables, samples, out):  # type: ignore[no-untyped-def]
    """Weighted sums of temperatures [K] of cells and surface rows, see `Samples`."""
    first, node, layer, weight = samples
    low, per_step, _, temperature, _ = tables
    cells, last = h.shape[0], np.int32(temperature.shape[1] - 2)
    for n in range(len(out)):
        out[n] = 0.0
        for m in range(first[n], first[n + 1]):
            c, k = node[m], layer[m]
            if c < cells:
                a = alloy[c]
                i, f = find_node(h[c, k], low[a], per_step[a], last)
                t = temperature[a, i] + f * (temperature[a, i + 1] - temperature[a, i])
            else:
                t = surface[c - cells, k]
            out[n] += weight[m] * t
