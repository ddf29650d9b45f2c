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
from types import FunctionType

import numpy as np
from numba import njit, prange

from .arrays import IN_FILLER, LAP, UNDER_FILLER  # compiled in: numba sees no change of theirs
from .constants import STEFAN_BOLTZMANN

__all__ = ["advance", "advance_threaded", "observe", "refresh"]


# a division that may raise would keep its loop from being vectorised
_fast = njit(cache=True, error_model="numpy", fastmath={"contract", "nsz", "arcp"})


@_fast
def _node(h, low, per_step, last):  # type: ignore[no-untyped-def]
    x = (h - low) * per_step
    i = min(max(np.int32(x), np.int32(0)), last)  # 32 bits: the conversion then vectorises
    return i, x - i


# Row functions take whole arrays and the row's index, and loops over rows take the arrays out of
# their tuples first: numba counts every view and every array read off a tuple in and out again.


@_fast
def _look_up(h, c, low, per_step, value, rise, a, out):  # type: ignore[no-untyped-def]
    last = np.int32(value.shape[1] - 1)
    for k in range(h.shape[1]):
        i, f = _node(h[c, k], low, per_step, last)
        out[c, k] = value[a, i] + f * rise[a, i]


@_fast
def _look_up_skin(h, c, low, per_step, t, t_rise, q, q_rise, a, skin_t, skin_k, s):  # type: ignore[no-untyped-def]
    last = np.int32(t.shape[1] - 1)
    for k in range(h.shape[1]):
        i, f = _node(h[c, k], low, per_step, last)
        skin_t[s, k] = t[a, i] + f * t_rise[a, i]
        # held beyond the ends: a conductivity must stay positive
        skin_k[s, k] = q[a, i] + min(max(f, 0.0), 1.0) * q_rise[a, i]


@njit(cache=True, error_model="numpy")
def refresh(h, rows, grid, tables, phi, skin_t, skin_k):  # type: ignore[no-untyped-def]
    """Bring `phi`, `skin_t` and `skin_k` in line with the enthalpies `h` of some rows."""
    low, per_step, phi_v, phi_r, t, t_rise, q, q_rise = tables
    for c in rows:
        a, s = grid.alloy[c], grid.skin[c]
        _look_up(h, c, low[a], per_step[a], phi_v, phi_r, a, phi)
        if s >= 0:
            _look_up_skin(h, c, low[a], per_step[a], t, t_rise, q, q_rise, a, skin_t, skin_k, s)


@_fast
def _lost(ts, film, eps, air):  # type: ignore[no-untyped-def]
    """Flux lost by a face at `ts` [K] to film and radiation [W/m2], and its slope."""
    cube = ts * ts * ts
    loss = film * (ts - air) + eps * (cube * ts - air * air * air * air)
    return loss, film + 4.0 * eps * cube


@_fast
def _surface(tc, resistance, q, film, eps, air):  # type: ignore[no-untyped-def]
    """Temperature of a face that gains `q` [W/m2] and loses by film and radiation."""
    ts = tc + resistance * q
    loss, slope = _lost(ts, film, eps, air)
    return ts - resistance * loss / (1.0 + resistance * slope)


@_fast
def _gather(acc, phi, r, a, b, c, d, fa, fb, fc, fd, along, closed):  # type: ignore[no-untyped-def]
    """Heat inside one part -> `acc`: into row `r` from rows `a` to `d` and from layer to layer."""
    last = phi.shape[1] - 1
    for k in range(1, last):
        x = phi[r, k]
        acc[k] = (
            fa * (phi[a, k] - x)
            + fb * (phi[b, k] - x)
            + fc * (phi[c, k] - x)
            + fd * (phi[d, k] - x)
            + along * ((phi[r, k + 1] - x) + (phi[r, k - 1] - x))
        )
    x, y = phi[r, 0], phi[r, last]
    around = along * (y - x) if closed else 0.0
    acc[0] = fa * (phi[a, 0] - x) + fb * (phi[b, 0] - x) + fc * (phi[c, 0] - x)
    acc[0] += fd * (phi[d, 0] - x) + along * (phi[r, 1] - x) + around
    acc[last] = fa * (phi[a, last] - y) + fb * (phi[b, last] - y) + fc * (phi[c, last] - y)
    acc[last] += fd * (phi[d, last] - y) + along * (phi[r, last - 1] - y) - around


@_fast
def _through_filler(acc, phi, c, o, factor, alive, s, p):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        acc[k] += factor * alive[s, k] * alive[p, k] * (phi[o, k] - phi[c, k])


@_fast
def _across(acc, t, k_of, own, other, area, near, far, gate, contact):  # type: ignore[no-untyped-def]
    """Heat from one part to another where `gate` is 1, through a `contact` resistance."""
    for k in range(acc.shape[0]):
        r = near / k_of[own, k] + far / k_of[other, k] + contact[k]
        acc[k] += area * gate[k] * (t[other, k] - t[own, k]) / r


@_fast
def _along_filler(acc, flow, phi, c, factor, alive, s, closed):  # type: ignore[no-untyped-def]
    last = acc.shape[0] - 1
    for k in range(last):
        flow[k] = factor * alive[s, k] * alive[s, k + 1] * (phi[c, k + 1] - phi[c, k])
    flow[last] = factor * closed * alive[s, last] * alive[s, 0] * (phi[c, 0] - phi[c, last])
    acc[0] = flow[0] - flow[last]
    for k in range(last):
        acc[k + 1] = flow[k + 1] - flow[k]


@njit(cache=True, fastmath=True)
def _sum(values):  # type: ignore[no-untyped-def]
    total = 0.0
    for k in range(values.shape[0]):
        total += values[k]
    return total


# The loss is taken along its tangent at the temperature the face would have without it: the two
# are a few kelvin apart at most.


@_fast
def _wall(acc, lost, q, open_, t, k_own, s, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """Heat through a wall with flux `q` falling on it; what the wall loses [W] -> `lost`."""
    for k in range(acc.shape[0]):
        r = near / k_own[s, k]
        loss, slope = _lost(t[s, k] + r * q[k], film, eps, air)
        lost[k] = area * open_[k] * loss / (1.0 + r * slope)
        acc[k] += q[k] * area * open_[k] - lost[k]


@_fast
def _bare_wall(acc, lost, t, k_own, s, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """As `_wall`, where no arc and no filler ever comes."""
    for k in range(acc.shape[0]):
        loss, slope = _lost(t[s, k], film, eps, air)
        lost[k] = area * loss * k_own[s, k] / (k_own[s, k] + near * slope)
        acc[k] -= lost[k]


@_fast
def _first_stage(ys, h, rate, c, acc, scale, mut):  # type: ignore[no-untyped-def]
    for k in range(h.shape[1]):
        rate[c, k] = scale * acc[k]
        ys[0, c, k] = h[c, k]
        ys[1, c, k] = h[c, k] + mut * scale * acc[k]


@_fast
def _later_stage(y, y1, h, rate, c, acc, scale, mu, nu, mut, gat):  # type: ignore[no-untyped-def]
    rest = 1.0 - mu - nu
    for k in range(h.shape[1]):
        y[c, k] = (
            mu * y1[c, k] + nu * y[c, k] + rest * h[c, k] + mut * scale * acc[k] + gat * rate[c, k]
        )


@_fast
def _stage(  # type: ignore[no-untyped-def]
    lo, hi, j, mu, nu, mut, gat, dt, h, rate, ys, phis, skins_t, skins_k,
    grid, tables, alive, rod, contact, heat, air, extra, work, lost,
):  # fmt: skip
    """Stage `j` for the rows `lo` to `hi`; heat its walls lose [W] -> `lost`."""
    old, new = (j - 1) % 2, j % 2
    phi, skin_t, skin_k = phis[old], skins_t[old], skins_k[old]
    y1, y, phi2, skin_t2, skin_k2 = ys[old], ys[new], phis[new], skins_t[new], skins_k[new]
    acc, flow, open_, none, ones = work[0], work[1], work[2], work[3], work[4]
    alloy, mass, along, skin, slot = grid.alloy, grid.mass, grid.along, grid.skin, grid.slot
    first, other, kinds, rows = grid.first, grid.other, grid.kind, grid.row
    factor, face, near, far = grid.factor, grid.area, grid.near, grid.far
    beside, f, closed = grid.beside, grid.beside_factor, grid.closed
    wall_first, lit, cover = grid.wall_first, grid.lit, grid.cover
    area, half, film, grey = grid.wall_area, grid.wall_near, grid.film, grid.emissivity
    low, per_step, phi_v, phi_r, t_v, t_r, k_v, k_r = tables
    for c in range(lo, hi):
        s, own, a = slot[c], skin[c], alloy[c]
        if s >= 0:
            _along_filler(acc, flow, phi, c, along[c], alive, s, closed)
            for m in range(first[c], first[c + 1]):
                if kinds[m] == IN_FILLER:
                    o = other[m]
                    _through_filler(acc, phi, c, o, factor[m], alive, s, slot[o])
            acc += rod[s]
        else:
            _gather(
                acc, phi, c, beside[c, 0], beside[c, 1], beside[c, 2], beside[c, 3],
                f[c, 0], f[c, 1], f[c, 2], f[c, 3], along[c], closed,
            )  # fmt: skip
        if extra.shape[0] > 0:
            acc += extra[c]
        if own >= 0:
            for m in range(first[c], first[c + 1]):
                if kinds[m] in (LAP, UNDER_FILLER):
                    gate, resistance = ones, none
                    if kinds[m] == LAP:
                        resistance = contact[rows[m]]
                    else:
                        gate = alive[rows[m]]
                    n = skin[other[m]]
                    _across(acc, skin_t, skin_k, own, n, face[m], near[m], far[m], gate, resistance)
            for w in range(wall_first[c], wall_first[c + 1]):
                eps = STEFAN_BOLTZMANN * grey[w]
                if lit[w] < 0 and cover[w] < 0 and s < 0:
                    _bare_wall(
                        acc, flow, skin_t, skin_k, own, area[w], half[w], film[w], eps, air[w]
                    )
                else:
                    gate = ones
                    if cover[w] >= 0:
                        for k in range(acc.shape[0]):
                            open_[k] = 1.0 - alive[cover[w], k]
                        gate = open_
                    elif s >= 0:
                        gate = alive[s]
                    q = heat[lit[w]] if lit[w] >= 0 else none
                    _wall(
                        acc, flow, q, gate, skin_t, skin_k, own,
                        area[w], half[w], film[w], eps, air[w],
                    )  # fmt: skip
                lost[w] = _sum(flow)
        scale = dt / mass[c]
        if j == 1:
            _first_stage(ys, h, rate, c, acc, scale, mut)
        else:
            _later_stage(y, y1, h, rate, c, acc, scale, mu, nu, mut, gat)
        _look_up(y, c, low[a], per_step[a], phi_v, phi_r, a, phi2)
        if own >= 0:
            _look_up_skin(y, c, low[a], per_step[a], t_v, t_r, k_v, k_r, a, skin_t2, skin_k2, own)


def _advance(  # type: ignore[no-untyped-def]
    h, rate, ys, phis, skins_t, skins_k, dt, stages, threads,
    grid, tables, alive, rod, contact, heat_from, heat_to, air, extra, scratch, lost,
):  # fmt: skip
    """One step of `dt` [s] in `stages` (>= 2) stages; returns heat lost [J].

    On entry ``phis[0]`` and ``skins_*[0]`` belong to `h`; on return those at ``stages % 2`` do.

    Parameters
    ----------
    h : (nc, layers) specific enthalpy [J/kg], replaced
    rate : (nc, layers) scratch
    ys, phis : (2, nc, layers), skins_t, skins_k : (2, ns, layers) scratch
    alive : (fillet cells, layers) 1 where filler has been laid, else 0
    rod : (fillet cells, layers) heat that goes into the filler with the rod [W]
    contact : (lap rows, layers) resistance across the lap [m2 K/W]
    heat_from, heat_to : (lit, layers) arc flux into faces as the step begins and ends [W/m2]
    air : (w,) temperature beyond each wall [K]
    extra : (nc, layers) heat put into cells [W], or of no rows
    scratch : (threads, 5, layers), rows 3 and 4 all 0 and all 1
    lost : (4, w) scratch; on return row 1 is the heat each wall lost [J]
    """
    cells, s = h.shape[0], stages
    w1 = 4.0 / (s * s + s - 2.0)
    b_prev, b_prev2 = 1.0 / 3.0, 1.0 / 3.0
    heat, gone = np.empty_like(heat_from), 0.0  # share of the step gone by
    # of each wall: power now, heat lost after stages j - 1 and j - 2, power at the start
    power, e1, e2, power0 = lost[0], lost[1], lost[2], lost[3]
    for j in range(1, s + 1):
        b = 1.0 / 3.0 if j <= 2 else (j * j + j - 2.0) / (2.0 * j * (j + 1.0))
        if j == 1:
            mu, nu, mut, gat = 1.0, 0.0, b * w1, 0.0
        else:
            mu = (2.0 * j - 1.0) / j * b / b_prev
            nu = -(j - 1.0) / j * b / b_prev2
            mut = mu * w1
            gat = -(1.0 - b_prev) * mut
        for i in range(heat.shape[0]):
            for k in range(heat.shape[1]):
                heat[i, k] = heat_from[i, k] + gone * (heat_to[i, k] - heat_from[i, k])
        gone = mut if j == 1 else (j * j + j - 2.0) * 0.25 * w1
        for t in prange(threads):
            _stage(
                t * cells // threads, (t + 1) * cells // threads, j, mu, nu, mut, gat, dt,
                h, rate, ys, phis, skins_t, skins_k,
                grid, tables, alive, rod, contact, heat, air, extra, scratch[t], power,
            )  # fmt: skip
        for w in range(power.shape[0]):
            if j == 1:
                power0[w], e2[w], e1[w] = power[w], 0.0, mut * dt * power[w]
            else:
                e0 = mu * e1[w] + nu * e2[w] + mut * dt * power[w] + gat * dt * power0[w]
                e2[w], e1[w] = e1[w], e0
        b_prev2, b_prev = b_prev, b
    end = s % 2
    for t in prange(threads):
        lo, hi = t * cells // threads, (t + 1) * cells // threads
        h[lo:hi] = ys[end, lo:hi]
    return e1.sum()


def _twin(name: str) -> FunctionType:
    """`_advance` under a name of its own: numba's cache files are told apart by it alone."""
    twin = FunctionType(_advance.__code__, globals(), name)
    twin.__qualname__ = name
    return twin


_MATH = {"contract", "nsz", "arcp"}
advance = njit(_twin("advance"), cache=True, error_model="numpy", fastmath=_MATH)
advance_threaded = njit(
    _twin("advance_threaded"), cache=True, parallel=True, error_model="numpy", fastmath=_MATH
)


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
