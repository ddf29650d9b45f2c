"""The compiled march: one file, arrays in and out.

Fields are (section cells, layers): the inner loops run along a row of layers, where every
geometric factor is one number. The state is specific enthalpy `h` [J/kg]; heat flows between
cells of one part as differences of the conductivity integral ``phi = integral k dT`` [W/m], so
that a face needs no division, and across parts through ``area / (d1/k1 + d2/k2 + 1/contact)``.

The step is the second-order super-time-stepping of Meyer, Balsara and Aslam (2014), J. Comput.
Phys. 257, 594-626 (RKL2); heat lost is carried through the same stages, so the ledger closes.

Inside a step `phi`, skin and losses follow the enthalpy along their tangents at its start, which
keeps second order and needs no table; where a stretch of a row moves further than `still` they
are looked up at every stage. Flows are equal and opposite either way.
"""

from __future__ import annotations

from math import isnan, nan
from types import FunctionType

import numpy as np
from numba import njit, prange

from .arrays import IN_FILLER, LAP, UNDER_FILLER  # compiled in: numba sees no change of theirs
from .constants import STEFAN_BOLTZMANN

__all__ = ["advance", "advance_threaded", "observe", "refresh", "sample"]


# a division that may raise would keep its loop from being vectorised
_MATH = {"contract", "nsz", "arcp"}
_fast = njit(cache=True, error_model="numpy", fastmath=_MATH)
_sums = njit(cache=True, error_model="numpy", fastmath=_MATH | {"reassoc"})


@_fast
def _node(h, low, per_step, last):  # type: ignore[no-untyped-def]
    x = (h - low) * per_step
    i = min(max(np.int32(x), np.int32(0)), last)  # 32 bits: the conversion then vectorises
    return i, x - i


# Row functions take whole arrays and the row's index, and loops over rows take the arrays out of
# their tuples first: numba counts every view and every array read off a tuple in and out again.


@_fast
def _wrap(phi, c, closed):  # type: ignore[no-untyped-def]
    """Fill the columns before the first layer and after the last: what neighbours they have."""
    last = phi.shape[1] - 2
    phi[c, 0] = phi[c, last] if closed else phi[c, 1]
    phi[c, last + 1] = phi[c, 1] if closed else phi[c, last]


@_fast
def _read(h, c, low, per_step, value, a, phi, slope):  # type: ignore[no-untyped-def]
    last = np.int32(value.shape[1] - 2)
    for k in range(h.shape[1]):
        i, f = _node(h[c, k], low, per_step, last)
        phi[c, k + 1] = value[a, i] + f * (value[a, i + 1] - value[a, i])
        slope[c, k] = per_step * (value[a, i + 1] - value[a, i])


@_fast
def _raise(peak, h, c):  # type: ignore[no-untyped-def]
    for k in range(h.shape[1]):
        peak[c, k] = h[c, k] if h[c, k] > peak[c, k] else peak[c, k]


@_fast
def _read_skin(h, c, low, per_step, t, q, a, skin, s):  # type: ignore[no-untyped-def]
    last = np.int32(t.shape[1] - 2)
    for k in range(h.shape[1]):
        i, f = _node(h[c, k], low, per_step, last)
        inside = 1.0 if 0.0 <= f <= 1.0 else 0.0  # a resistivity must stay positive
        skin[0, s, k] = t[a, i] + f * (t[a, i + 1] - t[a, i])
        skin[1, s, k] = q[a, i] + min(max(f, 0.0), 1.0) * (q[a, i + 1] - q[a, i])
        skin[2, s, k] = per_step * (t[a, i + 1] - t[a, i])
        skin[3, s, k] = inside * per_step * (q[a, i + 1] - q[a, i])


@njit(cache=True, error_model="numpy")
def refresh(h, rows, grid, tables, phi, slope, skin, peak):  # type: ignore[no-untyped-def]
    """Bring what follows from the enthalpies `h` of some rows in line with them.

    Parameters
    ----------
    phi : (nc, 1 + layers + 1) conductivity integral [W/m], with its neighbours at both ends
    slope : (nc, layers) its rise with enthalpy [kg/(m s)]
    skin : (4, skins, layers) temperature [K], resistivity [m K/W], their rises with enthalpy
    peak : (nc, layers) raised to the enthalpy [J/kg]
    """
    low, per_step, phi_t, t, q = tables
    for c in rows:
        a, s = grid.alloy[c], grid.skin[c]
        _raise(peak, h, c)
        _read(h, c, low[a], per_step[a], phi_t, a, phi, slope)
        _wrap(phi, c, grid.closed)
        if s >= 0:
            _read_skin(h, c, low[a], per_step[a], t, q, a, skin, s)


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
def _gather(acc, phi, r, a, b, c, d, fa, fb, fc, fd, along):  # type: ignore[no-untyped-def]
    """Heat inside one part -> `acc`: into row `r` from rows `a` to `d` and from layer to layer."""
    for k in range(acc.shape[0]):
        x = phi[r, k + 1]
        acc[k] = (
            fa * (phi[a, k + 1] - x)
            + fb * (phi[b, k + 1] - x)
            + fc * (phi[c, k + 1] - x)
            + fd * (phi[d, k + 1] - x)
            + along * ((phi[r, k + 2] - x) + (phi[r, k] - x))
        )


@_fast
def _through_filler(acc, phi, c, o, factor, alive, s, p):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        acc[k] += factor * alive[s, k] * alive[p, k] * (phi[o, k + 1] - phi[c, k + 1])


@_fast
def _across(acc, skin, own, other, area, near, far, gate, contact):  # type: ignore[no-untyped-def]
    """Heat from one part to another where `gate` is 1, through a `contact` resistance."""
    for k in range(acc.shape[0]):
        r = near * skin[1, own, k] + far * skin[1, other, k] + contact[k]
        acc[k] += area * gate[k] * (skin[0, other, k] - skin[0, own, k]) / r


@_fast
def _along_filler(acc, flow, phi, c, factor, alive, s, closed):  # type: ignore[no-untyped-def]
    last = acc.shape[0] - 1
    for k in range(last):
        flow[k] = factor * alive[s, k] * alive[s, k + 1] * (phi[c, k + 2] - phi[c, k + 1])
    flow[last] = factor * closed * alive[s, last] * alive[s, 0] * (phi[c, 1] - phi[c, last + 1])
    acc[0] = flow[0] - flow[last]
    for k in range(last):
        acc[k + 1] = flow[k + 1] - flow[k]


@_fast
def _face(loss, fade, w, skin, s, gate, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """What an unlit wall loses as the step begins [W], and its rise with enthalpy [kg/s].

    The loss is taken along its tangent at the temperature the face would have without it: the
    two are a few kelvin apart at most.
    """
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = _lost(skin[0, s, k], film, eps, air)
        share = area * gate[k] / (1.0 + r * steep)
        loss[w, k] = share * lost
        fade[w, k] = share * steep * skin[2, s, k]


@_fast
def _lit_face(loss, fade, sun, i, q, q_end, w, skin, s, gate, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """As `_face` under the arc; gain, its rise and the loss's rise over the step -> `sun`."""
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = _lost(skin[0, s, k] + r * q[i, k], film, eps, air)
        lost_end, steep_end = _lost(skin[0, s, k] + r * q_end[i, k], film, eps, air)
        share, share_end = 1.0 / (1.0 + r * steep), 1.0 / (1.0 + r * steep_end)
        bare = area * gate[k]
        loss[w, k] = bare * share * lost
        fade[w, k] = bare * 0.5 * (share * steep + share_end * steep_end) * skin[2, s, k]
        sun[0, i, k] = bare * q[i, k]
        sun[1, i, k] = bare * (q_end[i, k] - q[i, k])
        sun[2, i, k] = bare * (share_end * lost_end - share * lost)


@_sums
def _wall(acc, d, c, loss, fade, w):  # type: ignore[no-untyped-def]
    total = 0.0
    for k in range(acc.shape[0]):
        lost = loss[w, k] + fade[w, k] * d[c, k]
        acc[k] -= lost
        total += lost
    return total


@_sums
def _lit_wall(acc, d, c, loss, fade, w, sun, i, gone):  # type: ignore[no-untyped-def]
    total = 0.0
    for k in range(acc.shape[0]):
        lost = loss[w, k] + gone * sun[2, i, k] + fade[w, k] * d[c, k]
        acc[k] += sun[0, i, k] + gone * sun[1, i, k] - lost
        total += lost
    return total


@_fast
def _first_stage(d, rate, c, acc, scale, mut):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        rate[c, k] = scale * acc[k]
        d[c, k] = mut * scale * acc[k]


@_fast
def _later_stage(d, d1, rate, c, acc, scale, mu, nu, mut, gat):  # type: ignore[no-untyped-def]
    for k in range(acc.shape[0]):
        d[c, k] = mu * d1[c, k] + nu * d[c, k] + mut * scale * acc[k] + gat * rate[c, k]


@_fast
def _follow(d, c, value, slope, out):  # type: ignore[no-untyped-def]
    for k in range(d.shape[1]):
        out[c, k + 1] = value[c, k + 1] + slope[c, k] * d[c, k]


@_fast
def _follow_skin(d, c, skin, out, s):  # type: ignore[no-untyped-def]
    for k in range(d.shape[1]):
        out[0, s, k] = skin[0, s, k] + skin[2, s, k] * d[c, k]
        out[1, s, k] = skin[1, s, k] + skin[3, s, k] * d[c, k]


@_fast
def _look_up(h, d, c, lo, hi, low, per_step, value, a, out):  # type: ignore[no-untyped-def]
    last = np.int32(value.shape[1] - 2)
    for k in range(lo, hi):
        i, f = _node(h[c, k] + d[c, k], low, per_step, last)
        out[c, k + 1] = value[a, i] + f * (value[a, i + 1] - value[a, i])


@_fast
def _look_up_skin(h, d, c, lo, hi, low, per_step, t, q, a, out, s):  # type: ignore[no-untyped-def]
    last = np.int32(t.shape[1] - 2)
    for k in range(lo, hi):
        i, f = _node(h[c, k] + d[c, k], low, per_step, last)
        out[0, s, k] = t[a, i] + f * (t[a, i + 1] - t[a, i])
        out[1, s, k] = q[a, i] + min(max(f, 0.0), 1.0) * (q[a, i + 1] - q[a, i])


@_fast
def _moved(d, c, still, hot, moving):  # type: ignore[no-untyped-def]
    """Mark the cells of a row that moved further than `still`; True if one came unforeseen."""
    missed = False
    for k in range(d.shape[1]):
        by = abs(d[c, k])
        moving[c, k] = by > still
        missed = missed or (by > 4.0 * still and not hot[c, k])
    return missed


@_fast
def _find(moving, c, closed, hot, runs):  # type: ignore[no-untyped-def]
    """Runs of moving cells and their neighbours in a row, as (first, end), ended by (0, 0)."""
    last, n, inside = moving.shape[1] - 1, 0, False
    for k in range(last + 1):
        near = moving[c, k] or moving[c, max(k - 1, 0)] or moving[c, min(k + 1, last)]
        if closed:
            near = near or (k == 0 and moving[c, last]) or (k == last and moving[c, 0])
        hot[c, k] = near
        if near and not inside and n < runs.shape[1] - 1:
            runs[c, n, 0] = k
            n += 1
        if near:
            runs[c, n - 1, 1] = k + 1
        inside = near
    runs[c, n] = 0


@_fast
def _stage(  # type: ignore[no-untyped-def]
    lo, hi, j, mu, nu, mut, gat, gone, dt, h, rate, ds, phi, slope, skin, phis, skins, runs,
    grid, tables, alive, rod, contact, loss, fade, sun, extra, work, lost,
):  # fmt: skip
    """Stage `j` for the rows `lo` to `hi`, `gone` of the step; what walls lose [W] -> `lost`."""
    old, new = (j - 1) % 2, j % 2
    phi1, skin1 = (phi, skin) if j == 1 else (phis[old], skins[old])
    d1, d, phi2, skin2 = ds[old], ds[new], phis[new], skins[new]
    acc, flow, none, ones = work[0], work[1], work[2], work[3]
    alloy, mass, along, skins_of, slot = grid.alloy, grid.mass, grid.along, grid.skin, grid.slot
    first, other, kinds, rows = grid.first, grid.other, grid.kind, grid.row
    factor, face, near, far = grid.factor, grid.area, grid.near, grid.far
    beside, f, closed = grid.beside, grid.beside_factor, grid.closed
    wall_first, lit = grid.wall_first, grid.lit
    low, per_step, phi_t, t_t, k_t = tables
    for c in range(lo, hi):
        s, own, a = slot[c], skins_of[c], alloy[c]
        linked = False
        if s >= 0:
            _along_filler(acc, flow, phi1, c, along[c], alive, s, closed)
            for m in range(first[c], first[c + 1]):
                if kinds[m] == IN_FILLER:
                    o = other[m]
                    _through_filler(acc, phi1, c, o, factor[m], alive, s, slot[o])
            acc += rod[s]
        else:
            _gather(
                acc, phi1, c, beside[c, 0], beside[c, 1], beside[c, 2], beside[c, 3],
                f[c, 0], f[c, 1], f[c, 2], f[c, 3], along[c],
            )  # fmt: skip
        if extra.shape[0] > 0:
            acc += extra[c]
        if own >= 0:
            for m in range(first[c], first[c + 1]):
                if kinds[m] in (LAP, UNDER_FILLER):
                    linked = True
                    gate, resistance = ones, none
                    if kinds[m] == LAP:
                        resistance = contact[rows[m]]
                    else:
                        gate = alive[rows[m]]
                    n = skins_of[other[m]]
                    _across(acc, skin1, own, n, face[m], near[m], far[m], gate, resistance)
            for w in range(wall_first[c], wall_first[c + 1]):
                i = lit[w]
                if i < 0:
                    lost[w] = _wall(acc, d1, c, loss, fade, w)
                else:
                    lost[w] = _lit_wall(acc, d1, c, loss, fade, w, sun, i, gone)
        scale = dt / mass[c]
        if j == 1:
            _first_stage(d, rate, c, acc, scale, mut)
        else:
            _later_stage(d, d1, rate, c, acc, scale, mu, nu, mut, gat)
        _follow(d, c, phi, slope, phi2)
        if linked:
            _follow_skin(d, c, skin, skin2, own)
        for p in range(runs.shape[1]):
            a0, a1 = runs[c, p, 0], runs[c, p, 1]
            if a1 == 0:
                break
            _look_up(h, d, c, a0, a1, low[a], per_step[a], phi_t, a, phi2)
            if linked:
                _look_up_skin(h, d, c, a0, a1, low[a], per_step[a], t_t, k_t, a, skin2, own)
        _wrap(phi2, c, closed)


@_fast
def _faces(lo, hi, grid, skin, alive, heat_from, heat_to, air, loss, fade, sun, work):  # type: ignore[no-untyped-def]
    """Losses and gains of the walls of the rows `lo` to `hi` over the step to come."""
    gate = work[0]
    for c in range(lo, hi):
        s, own = grid.skin[c], grid.slot[c]
        for w in range(grid.wall_first[c], grid.wall_first[c + 1]):
            cover, i = grid.cover[w], grid.lit[w]
            for k in range(gate.shape[0]):
                gate[k] = 1.0
                if cover >= 0:
                    gate[k] = 1.0 - alive[cover, k]
                elif own >= 0:
                    gate[k] = alive[own, k]
            eps = STEFAN_BOLTZMANN * grid.emissivity[w]
            if i < 0:
                _face(
                    loss, fade, w, skin, s, gate,
                    grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w],
                )  # fmt: skip
            else:
                _lit_face(
                    loss, fade, sun, i, heat_from, heat_to, w, skin, s, gate,
                    grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w],
                )  # fmt: skip


def _advance(  # type: ignore[no-untyped-def]
    h, phi, slope, skin, peak, rate, ds, phis, skins, dt, stages, cuts, still, hot, moving, runs,
    grid, tables, alive, rod, contact, heat_from, heat_to, air, extra,
    loss, fade, sun, scratch, lost, gave,
):  # fmt: skip
    """One step of `dt` [s] in `stages` (>= 2) stages; heat lost through each wall [J] -> `gave`.

    `h` and what `refresh` makes of it are replaced.

    Parameters
    ----------
    rate : (nc, layers), ds : (2, nc, layers), phis : (2, nc, layers + 2),
        skins : (2, 2, skins, layers), loss, fade : (w, layers), sun : (3, lit, layers),
        scratch : (threads, 4, layers) with rows 2 and 3 all 0 and all 1 : work space
    cuts : (threads + 1,) first row of each thread's share
    still : (alloys,) enthalpy by which a cell may move before it is looked up [J/kg]
    hot, moving : (nc, layers) which cells are looked up; which moved further than `still`
    runs : (nc, n, 2) the hot ones as (first, end) in each row, ended by (0, 0)
    alive : (fillet cells, layers) 1 where filler has been laid, else 0
    rod : (fillet cells, layers) heat that goes into the filler with the rod [W]
    contact : (lap rows, layers) resistance across the lap [m2 K/W]
    heat_from, heat_to : (lit, layers) arc flux into faces as the step begins and ends [W/m2]
    air : (w,) temperature beyond each wall [K]
    extra : (nc, layers) heat put into cells [W], or of no rows
    lost : (3, w) power [W]: now and at the start, and the heat lost a stage ago [J]
    """
    s, threads, walls = stages, len(cuts) - 1, lost.shape[1]
    w1 = 4.0 / (s * s + s - 2.0)
    end = s % 2
    missed = np.zeros(threads, dtype=np.int64)
    for t in prange(threads):
        ds[0, cuts[t] : cuts[t + 1]] = 0.0
        _faces(
            cuts[t], cuts[t + 1], grid, skin, alive, heat_from, heat_to, air,
            loss, fade, sun, scratch[t],
        )  # fmt: skip
    for attempt in range(2):
        b_prev, b_prev2, gone = 1.0 / 3.0, 1.0 / 3.0, 0.0  # gone: share of the step
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
                    cuts[t], cuts[t + 1], j, mu, nu, mut, gat, gone, dt,
                    h, rate, ds, phi, slope, skin, phis, skins, runs,
                    grid, tables, alive, rod, contact, loss, fade, sun, extra, scratch[t], lost[0],
                )  # fmt: skip
            gone = mut if j == 1 else (j * j + j - 2.0) * 0.25 * w1
            for w in range(walls):
                if j == 1:
                    lost[1, w] = lost[0, w]
                    lost[2, w], gave[w] = 0.0, mut * dt * lost[0, w]
                else:
                    before = gave[w]
                    gave[w] = mu * before + nu * lost[2, w]
                    gave[w] += dt * (mut * lost[0, w] + gat * lost[1, w])
                    lost[2, w] = before
            b_prev2, b_prev = b_prev, b
        for t in prange(threads):
            missed[t] = 0
            for c in range(cuts[t], cuts[t + 1]):
                if _moved(ds[end], c, still[grid.alloy[c]], hot, moving):
                    missed[t] += 1
        if attempt == 1 or missed.sum() == 0:
            break
        moving |= hot
        ds[0] = 0.0
        for c in range(len(h)):
            _find(moving, c, grid.closed, hot, runs)
    for t in prange(threads):
        lo, hi = cuts[t], cuts[t + 1]
        h[lo:hi] += ds[end, lo:hi]
        for c in range(lo, hi):
            _find(moving, c, grid.closed, hot, runs)
        refresh(h, np.arange(lo, hi), grid, tables, phi, slope, skin, peak)
    return attempt


def _twin(name: str) -> FunctionType:
    """`_advance` under a name of its own: numba's cache files are told apart by it alone."""
    twin = FunctionType(_advance.__code__, globals(), name)
    twin.__qualname__ = name
    return twin


advance = njit(_twin("advance"), cache=True, error_model="numpy", fastmath=_MATH)
advance_threaded = njit(
    _twin("advance_threaded"), cache=True, parallel=True, error_model="numpy", fastmath=_MATH
)


@njit(cache=True, error_model="numpy")
def observe(  # type: ignore[no-untyped-def]
    grid, base, skin, alive, contact, heat, air, surface, peak, wet_peak, best
):
    """Read every surface temperature and raise the peaks.

    Parameters
    ----------
    surface, peak : (w + 2 nlap, layers) surface temperature now and at its highest [K]: walls
        (the face to filler where covered), then the lap's tube side, then its flange side
    wet_peak : (w, layers) peak of covered base faces since filler lay on them, nan before [K]
    best : (2, 3) hottest tube and flange surface now: value [K], row, layer

    Returns
    -------
    bool
        False when a temperature is not a number.
    """
    layers = surface.shape[1]
    skin_t, skin_r = skin[0], skin[1]
    walls = base.wall_cell.shape[0]
    laps = base.lap_link.shape[0]
    best[:, 0] = 0.0
    for w in range(walls):
        c = base.wall_cell[w]
        s, cover, lit, m = grid.skin[c], grid.cover[w], grid.lit[w], base.under[w]
        own = grid.slot[c]
        for k in range(layers):
            tc, rc = skin_t[s, k], skin_r[s, k]
            if cover >= 0 and alive[cover, k] > 0.0:
                o = grid.skin[grid.other[m]]
                near, far = grid.near[m] * rc, grid.far[m] * skin_r[o, k]
                t = (tc * far + skin_t[o, k] * near) / (near + far)
                if not wet_peak[w, k] >= t:
                    wet_peak[w, k] = t
            elif own >= 0 and alive[own, k] == 0.0:
                t = nan
            else:
                q = heat[lit, k] if lit >= 0 else 0.0
                eps = STEFAN_BOLTZMANN * grid.emissivity[w]
                t = _surface(tc, grid.wall_near[w] * rc, q, grid.film[w], eps, air[w])
            surface[w, k] = t
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
        part = base.part[i]
        for k in range(layers):
            t = surface[i, k]
            if not peak[i, k] >= t:
                peak[i, k] = t
            if part < 2:
                sane = sane and not isnan(t)
                if t > best[part, 0]:
                    best[part, 0], best[part, 1], best[part, 2] = t, i, k
    return sane


@njit(cache=True, error_model="numpy")
def sample(h, low, per_step, temperature, alloy, surface, first, node, layer, weight, out):  # type: ignore[no-untyped-def]
    """Weighted sums of temperatures [K] of cells and surface rows, see `sampling.Samples`."""
    cells, last = h.shape[0], np.int32(temperature.shape[1] - 2)
    for n in range(len(out)):
        out[n] = 0.0
        for m in range(first[n], first[n + 1]):
            c, k = node[m], layer[m]
            if c < cells:
                a = alloy[c]
                i, f = _node(h[c, k], low[a], per_step[a], last)
                t = temperature[a, i] + f * (temperature[a, i + 1] - temperature[a, i])
            else:
                t = surface[c - cells, k]
            out[n] += weight[m] * t
