"""The compiled step: arrays in and out.

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

from types import FunctionType

import numpy as np
from numba import prange

from .arrays import IN_FILLER, LAP, UNDER_FILLER
from .constants import STEFAN_BOLTZMANN
from .jit import fast, plain
from .rows import (
    across_parts,
    along_filler,
    face_loss,
    find_runs,
    first_stage,
    follow,
    follow_skin,
    gather,
    later_stage,
    lit_face_loss,
    lit_wall,
    look_up,
    look_up_skin,
    mark_moved,
    raise_peak,
    read_row,
    read_skin,
    through_filler,
    wall,
    wrap,
)

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["advance", "advance_threaded", "refresh"]


@plain
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
        raise_peak(peak, h, c)
        read_row(h, c, low[a], per_step[a], phi_t, a, phi, slope)
        wrap(phi, c, grid.closed)
        if s >= 0:
            read_skin(h, c, low[a], per_step[a], t, q, a, skin, s)


@fast
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
            along_filler(acc, flow, phi1, c, along[c], alive, s, closed)
            for m in range(first[c], first[c + 1]):
                if kinds[m] == IN_FILLER:
                    o = other[m]
                    through_filler(acc, phi1, c, o, factor[m], alive, s, slot[o])
            acc += rod[s]
        else:
            gather(
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
                    across_parts(acc, skin1, own, n, face[m], near[m], far[m], gate, resistance)
            for w in range(wall_first[c], wall_first[c + 1]):
                i = lit[w]
                if i < 0:
                    lost[w] = wall(acc, d1, c, loss, fade, w)
                else:
                    lost[w] = lit_wall(acc, d1, c, loss, fade, w, sun, i, gone)
        scale = dt / mass[c]
        if j == 1:
            first_stage(d, rate, c, acc, scale, mut)
        else:
            later_stage(d, d1, rate, c, acc, scale, mu, nu, mut, gat)
        follow(d, c, phi, slope, phi2)
        if linked:
            follow_skin(d, c, skin, skin2, own)
        for p in range(runs.shape[1]):
            a0, a1 = runs[c, p, 0], runs[c, p, 1]
            if a1 == 0:
                break
            look_up(h, d, c, a0, a1, low[a], per_step[a], phi_t, a, phi2)
            if linked:
                look_up_skin(h, d, c, a0, a1, low[a], per_step[a], t_t, k_t, a, skin2, own)
        wrap(phi2, c, closed)


@fast
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
                face_loss(
                    loss, fade, w, skin, s, gate,
                    grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w],
                )  # fmt: skip
            else:
                lit_face_loss(
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
                if mark_moved(ds[end], c, still[grid.alloy[c]], hot, moving):
                    missed[t] += 1
        if attempt == 1 or missed.sum() == 0:
            break
        moving |= hot
        ds[0] = 0.0
        for c in range(len(h)):
            find_runs(moving, c, grid.closed, hot, runs)
    for t in prange(threads):
        lo, hi = cuts[t], cuts[t + 1]
        h[lo:hi] += ds[end, lo:hi]
        for c in range(lo, hi):
            find_runs(moving, c, grid.closed, hot, runs)
        refresh(h, np.arange(lo, hi), grid, tables, phi, slope, skin, peak)


def _twin(name: str) -> FunctionType:
    """`_advance` under a name of its own: numba's cache files are told apart by it alone."""
    twin = FunctionType(_advance.__code__, globals(), name)
    twin.__qualname__ = name
    return twin


advance = fast(_twin("advance"))
advance_threaded = fast(_twin("advance_threaded"), parallel=True)
