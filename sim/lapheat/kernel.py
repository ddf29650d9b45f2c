"""The compiled march: one file, arrays in and out.

Fields are (section cells, layers): the inner loops run along a row of layers, where every
geometric factor is one number. The state is specific enthalpy `h` [J/kg]; heat flows between
cells of one part as differences of the conductivity integral ``phi = integral k dT`` [W/m], so
that a face needs no division, and across parts through ``area / (d1/k1 + d2/k2 + 1/contact)``.

The step is the second-order super-time-stepping of Meyer, Balsara and Aslam (2014), J. Comput.
Phys. 257, 594-626 (RKL2); heat lost is carried through the same stages, so the ledger closes.
"""

from __future__ import annotations

from math import isnan, nan

import numpy as np
from numba import njit, prange

from .arrays import IN_FILLER, LAP, PLAIN
from .constants import STEFAN_BOLTZMANN

__all__ = ["advance", "advance_threaded", "observe", "refresh", "sample"]


# a division that may raise would keep its loop from being vectorised
_fast = njit(cache=True, error_model="numpy", fastmath={"contract", "nsz", "arcp"})


@_fast
def _node(h, low, per_step, last):  # type: ignore[no-untyped-def]
    x = (h - low) * per_step
    i = min(max(np.int32(x), np.int32(0)), last)  # 32 bits: the conversion then vectorises
    return i, x - i


@_fast
def _look_up(h, low, per_step, value, rise, out):  # type: ignore[no-untyped-def]
    last = np.int32(value.shape[0] - 1)
    for k in range(h.shape[0]):
        i, f = _node(h[k], low, per_step, last)
        out[k] = value[i] + f * rise[i]


@_fast
def _look_up_held(h, low, per_step, value, rise, out):  # type: ignore[no-untyped-def]
    """As `_look_up`, but held beyond the ends: a conductivity must stay positive."""
    last = np.int32(value.shape[0] - 1)
    for k in range(h.shape[0]):
        i, f = _node(h[k], low, per_step, last)
        out[k] = value[i] + min(max(f, 0.0), 1.0) * rise[i]


@_fast
def _row_state(c, h, grid, tables, phi, skin_t, skin_k):  # type: ignore[no-untyped-def]
    """Conductivity integral, and for skin cells temperature and conductivity, of row `c`."""
    a = grid.alloy[c]
    low, per_step = tables.low[a], tables.per_step[a]
    _look_up(h, low, per_step, tables.phi[a], tables.phi_rise[a], phi[c])
    s = grid.skin[c]
    if s >= 0:
        t, k = tables.temperature, tables.conductivity
        _look_up(h, low, per_step, t[a], tables.temperature_rise[a], skin_t[s])
        _look_up_held(h, low, per_step, k[a], tables.conductivity_rise[a], skin_k[s])


@njit(cache=True, error_model="numpy")
def refresh(h, grid, tables, phi, skin_t, skin_k):  # type: ignore[no-untyped-def]
    """Bring `phi`, `skin_t` and `skin_k` in line with the enthalpies `h`."""
    for c in range(h.shape[0]):
        _row_state(c, h[c], grid, tables, phi, skin_t, skin_k)


@_fast
def _surface(tc, resistance, q, film, eps, air):  # type: ignore[no-untyped-def]
    """Temperature of a face that gains `q` [W/m2] and loses by film and radiation."""
    ts = tc + resistance * q
    a4 = air * air * air * air
    for _ in range(2):  # Newton; the film alone needs one
        cube = ts * ts * ts
        loss = film * (ts - air) + eps * (cube * ts - a4)
        slope = film + 4.0 * eps * cube
        ts -= (ts - tc - resistance * (q - loss)) / (1.0 + resistance * slope)
    return ts


@_fast
def _through(acc, own, other, factor):  # type: ignore[no-untyped-def]
    """Heat from the cells of row `other` into those of `own`, inside one part."""
    for k in range(acc.shape[0]):
        acc[k] += factor * (other[k] - own[k])


@_fast
def _through_filler(acc, own, other, factor, here, there):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        acc[k] += factor * here[k] * there[k] * (other[k] - own[k])


@_fast
def _across(acc, t, t_other, k_own, k_other, area, near, far, gate):  # type: ignore[no-untyped-def]
    """Heat between base and filler, where `gate` is 1."""
    for k in range(acc.shape[0]):
        r = near / k_own[k] + far / k_other[k]
        acc[k] += area * gate[k] * (t_other[k] - t[k]) / r


@_fast
def _across_lap(acc, t, t_other, k_own, k_other, area, near, far, contact):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        r = near / k_own[k] + far / k_other[k] + contact[k]
        acc[k] += area * (t_other[k] - t[k]) / r


@_fast
def _along(acc, flow, phi, factor, closed):  # type: ignore[no-untyped-def]
    """Heat from layer to layer -> `acc` (overwritten)."""
    last = phi.shape[0] - 1
    for k in range(last):
        flow[k] = factor * (phi[k + 1] - phi[k])
    flow[last] = factor * (phi[0] - phi[last]) if closed else 0.0
    acc[0] = flow[0] - flow[last]
    for k in range(last):
        acc[k + 1] = flow[k + 1] - flow[k]


@_fast
def _along_filler(acc, flow, phi, factor, alive):  # type: ignore[no-untyped-def]
    last = phi.shape[0] - 1
    for k in range(last):
        flow[k] = factor * alive[k] * alive[k + 1] * (phi[k + 1] - phi[k])
    flow[last] = factor * alive[last] * alive[0] * (phi[0] - phi[last])
    acc[0] = flow[0] - flow[last]
    for k in range(last):
        acc[k + 1] = flow[k + 1] - flow[k]


@njit(cache=True, fastmath=True)
def _sum(values):  # type: ignore[no-untyped-def]
    total = 0.0
    for k in range(values.shape[0]):
        total += values[k]
    return total


@_fast
def _wall(acc, loss, q, open_, t, k_own, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """Heat through a wall with flux `q` falling on it; what the wall loses [W] -> `loss`."""
    a4 = air * air * air * air
    for k in range(acc.shape[0]):
        ts = _surface(t[k], near / k_own[k], q[k], film, eps, air)
        loss[k] = area * open_[k] * (film * (ts - air) + eps * (ts * ts * ts * ts - a4))
        acc[k] += q[k] * area * open_[k] - loss[k]


@_fast
def _row_heat(  # type: ignore[no-untyped-def]
    c, grid, phi, skin_t, skin_k, alive, contact, heat, air, extra, work, lost
):
    """Heat flowing into row `c` [W] -> ``work[0]``; heat its walls lose -> `lost`."""
    acc, flow, open_, none = work[0], work[1], work[2], work[3]
    s = grid.slot[c]
    own = grid.skin[c]
    if s >= 0:
        _along_filler(acc, flow, phi[c], grid.along[c], alive[s])
    else:
        _along(acc, flow, phi[c], grid.along[c], grid.closed)
    if extra.shape[0] > 0:
        for k in range(acc.shape[0]):
            acc[k] += extra[c, k]
    for m in range(grid.first[c], grid.first[c + 1]):
        o = grid.other[m]
        kind = grid.kind[m]
        if kind == PLAIN:
            _through(acc, phi[c], phi[o], grid.factor[m])
        elif kind == IN_FILLER:
            _through_filler(acc, phi[c], phi[o], grid.factor[m], alive[s], alive[grid.slot[o]])
        else:
            n = grid.skin[o]
            area, near, far, row = grid.area[m], grid.near[m], grid.far[m], grid.row[m]
            ta, tb, ka, kb = skin_t[own], skin_t[n], skin_k[own], skin_k[n]
            if kind == LAP:
                _across_lap(acc, ta, tb, ka, kb, area, near, far, contact[row])
            else:
                _across(acc, ta, tb, ka, kb, area, near, far, alive[row])
    for w in range(grid.wall_first[c], grid.wall_first[c + 1]):
        lit, cover = grid.lit[w], grid.cover[w]
        if cover >= 0:
            for k in range(acc.shape[0]):
                open_[k] = 1.0 - alive[cover, k]
        elif s >= 0:
            open_[:] = alive[s]
        else:
            open_[:] = 1.0
        q = none
        if lit >= 0:
            q = heat[lit]
        _wall(
            acc, flow, q, open_, skin_t[own], skin_k[own], grid.wall_area[w], grid.wall_near[w],
            grid.film[w], STEFAN_BOLTZMANN * grid.emissivity[w], air[w],
        )  # fmt: skip
        lost[w] = _sum(flow)


@_fast
def _first_stage(y, y0, h, rate, acc, scale, mut):  # type: ignore[no-untyped-def]
    for k in range(y.shape[0]):
        rate[k] = scale * acc[k]
        y0[k] = h[k]
        y[k] = h[k] + mut * rate[k]


@_fast
def _later_stage(y, y1, h, rate, acc, scale, mu, nu, mut, gat):  # type: ignore[no-untyped-def]
    rest = 1.0 - mu - nu
    for k in range(y.shape[0]):
        y[k] = mu * y1[k] + nu * y[k] + rest * h[k] + mut * scale * acc[k] + gat * rate[k]


@_fast
def _stage(  # type: ignore[no-untyped-def]
    lo, hi, j, mu, nu, mut, gat, dt, h, rate, ys, phis, skins_t, skins_k,
    grid, tables, alive, contact, heat, air, extra, work, lost,
):  # fmt: skip
    """Stage `j` for the rows `lo` to `hi`."""
    old, new = (j - 1) % 2, j % 2
    for c in range(lo, hi):
        _row_heat(
            c, grid, phis[old], skins_t[old], skins_k[old],
            alive, contact, heat, air, extra, work, lost,
        )  # fmt: skip
        scale = dt / grid.mass[c]
        if j == 1:
            _first_stage(ys[1, c], ys[0, c], h[c], rate[c], work[0], scale, mut)
        else:
            _later_stage(ys[new, c], ys[old, c], h[c], rate[c], work[0], scale, mu, nu, mut, gat)
        _row_state(c, ys[new, c], grid, tables, phis[new], skins_t[new], skins_k[new])


def _advance(  # type: ignore[no-untyped-def]
    h, rate, ys, phis, skins_t, skins_k, dt, stages, threads,
    grid, tables, alive, contact, heat, air, extra, scratch, lost,
):  # fmt: skip
    """One step of `dt` [s] in `stages` (>= 2) stages; returns heat lost [J].

    On entry ``phis[0]``, ``skins_*[0]`` belong to `h`; on return those at ``stages % 2`` belong
    to the new `h`.

    Parameters
    ----------
    h : (nc, layers) specific enthalpy [J/kg], replaced
    rate : (nc, layers) scratch
    ys : (2, nc, layers), phis : (2, nc, layers), skins_t, skins_k : (2, ns, layers) scratch
    alive : (fillet cells, layers) 1 where filler has been laid, else 0
    contact : (lap rows, layers) resistance across the lap [m2 K/W]
    heat : (lit, layers) flux from the arc into exposed faces [W/m2]
    air : (w,) temperature beyond each wall [K]
    extra : (nc, layers) heat put into cells [W], or of no rows
    scratch : (threads, 4, layers), zero in its last row; lost : (w,)
    """
    cells = h.shape[0]
    s = stages
    w1 = 4.0 / (s * s + s - 2.0)
    b_prev, b_prev2 = 1.0 / 3.0, 1.0 / 3.0
    e0 = 0.0  # heat lost after stages j - 1 and j - 2
    e1 = 0.0
    e2 = 0.0
    lost0 = 0.0
    for j in range(1, s + 1):
        b = 1.0 / 3.0 if j <= 2 else (j * j + j - 2.0) / (2.0 * j * (j + 1.0))
        if j == 1:
            mu, nu, mut, gat = 1.0, 0.0, b * w1, 0.0
        else:
            mu = (2.0 * j - 1.0) / j * b / b_prev
            nu = -(j - 1.0) / j * b / b_prev2
            mut = mu * w1
            gat = -(1.0 - b_prev) * mut
        for t in prange(threads):
            _stage(
                t * cells // threads, (t + 1) * cells // threads, j, mu, nu, mut, gat, dt,
                h, rate, ys, phis, skins_t, skins_k,
                grid, tables, alive, contact, heat, air, extra, scratch[t], lost,
            )  # fmt: skip
        power = 0.0
        for w in range(lost.shape[0]):
            power += lost[w]
        if j == 1:
            lost0 = power
            e2, e1 = 0.0, mut * dt * power
        else:
            e0 = mu * e1 + nu * e2 + mut * dt * power + gat * dt * lost0
            e2, e1 = e1, e0
        b_prev2, b_prev = b_prev, b
    end = s % 2
    for t in prange(threads):
        lo, hi = t * cells // threads, (t + 1) * cells // threads
        h[lo:hi] = ys[end, lo:hi]
    return e1


_MATH = {"contract", "nsz", "arcp"}
advance = njit(_advance, cache=True, error_model="numpy", fastmath=_MATH)
advance_threaded = njit(_advance, cache=True, parallel=True, error_model="numpy", fastmath=_MATH)


@njit(cache=True, error_model="numpy")
def observe(  # type: ignore[no-untyped-def]
    h, grid, tables, base, skin_t, skin_k, alive, contact, heat, air,
    surface, peak, cell_peak, wet_peak, best,
):  # fmt: skip
    """Read every surface temperature and raise the peaks.

    Parameters
    ----------
    surface, peak : (w + 2 nlap, layers) surface temperature now and at its highest [K]: walls
        (the face to filler where covered), then the lap's tube side, then its flange side
    cell_peak : (nc, layers) [K]
    wet_peak : (w, layers) peak of covered base faces since filler lay on them, nan before [K]
    best : (2, 3) hottest tube and flange surface now: value [K], row, layer

    Returns
    -------
    bool
        False when a temperature is not a number.
    """
    cells, layers = h.shape
    walls = base.wall_cell.shape[0]
    laps = base.lap_link.shape[0]
    best[:, 0] = 0.0
    for w in range(walls):
        c = base.wall_cell[w]
        s, cover, lit, m = grid.skin[c], grid.cover[w], grid.lit[w], base.under[w]
        own = grid.slot[c]
        for k in range(layers):
            tc, kc = skin_t[s, k], skin_k[s, k]
            if cover >= 0 and alive[cover, k] > 0.0:
                o = grid.skin[grid.other[m]]
                near, far = kc / grid.near[m], skin_k[o, k] / grid.far[m]
                t = (tc * near + skin_t[o, k] * far) / (near + far)
                if not wet_peak[w, k] >= t:
                    wet_peak[w, k] = t
            elif own >= 0 and alive[own, k] == 0.0:
                t = nan
            else:
                q = heat[lit, k] if lit >= 0 else 0.0
                eps = STEFAN_BOLTZMANN * grid.emissivity[w]
                t = _surface(tc, grid.wall_near[w] / kc, q, grid.film[w], eps, air[w])
            surface[w, k] = t
    for i in range(laps):
        m = base.lap_link[i]
        o = grid.skin[grid.other[m]]
        s = grid.skin[base.lap_cell[i]]
        for k in range(layers):
            r1, r2 = grid.near[m] / skin_k[s, k], grid.far[m] / skin_k[o, k]
            q = (skin_t[s, k] - skin_t[o, k]) / (r1 + r2 + contact[i, k])
            surface[walls + i, k] = skin_t[s, k] - q * r1
            surface[walls + laps + i, k] = skin_t[o, k] + q * r2
    sane = True
    for i in range(surface.shape[0]):
        part = base.part[i]
        for k in range(layers):
            t = surface[i, k]
            if not peak[i, k] >= t:
                peak[i, k] = t
            if part < 2:
                sane = sane and not isnan(t)
                if t > best[part, 0]:
                    best[part, 0], best[part, 1], best[part, 2] = t, i, k
    for c in range(cells):
        a = grid.alloy[c]
        last = np.int32(tables.phi.shape[1] - 1)
        for k in range(layers):
            i, f = _node(h[c, k], tables.low[a], tables.per_step[a], last)
            t = tables.temperature[a, i] + f * tables.temperature_rise[a, i]
            if t > cell_peak[c, k]:
                cell_peak[c, k] = t
    return sane


@njit(cache=True, error_model="numpy")
def sample(h, grid, tables, surface, first, node, layer, weight, out):  # type: ignore[no-untyped-def]
    """Interpolate temperatures: sums of `weight` times node `node` at `layer`.

    Nodes below the number of cells are cells, the rest surface rows.
    """
    cells = h.shape[0]
    for p in range(out.shape[0]):
        total = 0.0
        for n in range(first[p], first[p + 1]):
            c, k = node[n], layer[n]
            if c < cells:
                a = grid.alloy[c]
                i, f = _node(
                    h[c, k], tables.low[a], tables.per_step[a], np.int32(tables.phi.shape[1] - 1)
                )
                t = tables.temperature[a, i] + f * tables.temperature_rise[a, i]
            else:
                t = surface[c - cells, k]
            total += weight[n] * t
        out[p] = total
