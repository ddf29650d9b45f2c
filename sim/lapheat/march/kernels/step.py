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

The first stage gathers all heat, later ones what it has changed by since, so that all they need
are rises: `d` of the enthalpy and `u` of `phi`. A row that holds no filler, passes no heat to
another part and has no cell looked up is quiet: there ``u = slope * d`` exactly, and `u` alone is
marched, of four arrays in place of seven. At the end ``d = u / slope``; no slope is 0, as `phi`
rises with enthalpy in every table, melting spread over a range and conductivities above 0.
"""

from __future__ import annotations

from types import FunctionType

import numpy as np
from numba import prange

from ...constants import STEFAN_BOLTZMANN
from ...problem.arrays import IN_FILLER, LAP, UNDER_FILLER
from .jit import fast, plain
from .rows import (
    across_lap,
    along_filler,
    divide,
    face_loss,
    find_runs,
    first_stage,
    follow,
    follow_back,
    follow_skin,
    gather,
    later_inside,
    later_quiet,
    later_stage,
    lit_face_loss,
    lit_wall,
    look_up,
    look_up_skin,
    mark_moved,
    raise_peak,
    read_row,
    read_skin,
    start_wall,
    through_filler,
    under_filler,
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
    lo, hi, j, mu, nu, mut, gat, gone, dt, h, rate, ds, phi, slope, skin, us, skins, runs, quiet,
    grid, tables, alive, rod, contact, flows, loss, fade, sun, extra, work, lost,
):  # fmt: skip
    """Stage `j` for the rows `lo` to `hi`, `gone` of the step; what walls lose [W] -> `lost`.

    The first stage gathers all heat, later ones what it has changed by since.
    """
    old, new, begins = (j - 1) % 2, j % 2, j == 1
    u1, skin1 = (phi, skin) if begins else (us[old], skins[old])
    d1, d, u2, skin2 = ds[old], ds[new], us[new], skins[new]
    acc, flow, start = work[0], work[1], 1.0 if j == 1 else 0.0
    alloy, mass, along, skins_of, slots = grid.alloy, grid.mass, grid.along, grid.skin, grid.slot
    link_first, other, kinds, rows = grid.first, grid.other, grid.kind, grid.row
    factor, face, near, far = grid.factor, grid.area, grid.near, grid.far
    beside, f, closed = grid.beside, grid.beside_factor, grid.closed
    wall_first, lit, linked = grid.wall_first, grid.lit, grid.linked
    low, per_step, phi_t, t_t, k_t = tables
    for c in range(lo, hi):
        slot, skin_of, a = slots[c], skins_of[c], alloy[c]
        more, at_start = mut * dt / mass[c], mut + gat
        if skin_of < 0 and quiet[c] and not begins:
            later_inside(
                u2, u1, slope, rate, c, beside[c, 0], beside[c, 1], beside[c, 2], beside[c, 3],
                f[c, 0], f[c, 1], f[c, 2], f[c, 3], along[c], more, mu, nu, at_start,
            )  # fmt: skip
            wrap(u2, c, closed)
            continue
        if slot >= 0:
            along_filler(acc, flow, u1, c, along[c], alive, slot, closed)
            for m in range(link_first[c], link_first[c + 1]):
                if kinds[m] == IN_FILLER:
                    o = other[m]
                    through_filler(acc, u1, c, o, factor[m], alive, slot, slots[o])
        else:
            gather(
                acc, u1, c, beside[c, 0], beside[c, 1], beside[c, 2], beside[c, 3],
                f[c, 0], f[c, 1], f[c, 2], f[c, 3], along[c],
            )  # fmt: skip
        if begins and slot >= 0:
            acc += rod[slot]
        if begins and extra.shape[0] > 0:
            acc += extra[c]
        if linked[c]:
            for m in range(link_first[c], link_first[c + 1]):
                n = skins_of[other[m]]
                if kinds[m] == LAP:
                    across_lap(
                        acc, skin1, skin_of, n, face[m], near[m], far[m], contact, rows[m],
                        flows, m, start,
                    )  # fmt: skip
                elif kinds[m] == UNDER_FILLER:
                    under_filler(
                        acc, skin1, skin_of, n, face[m], near[m], far[m], alive, rows[m],
                        flows, m, start,
                    )  # fmt: skip
        # four calls, as a choice of array kept in a variable would be counted in and out
        for w in range(wall_first[c], wall_first[c + 1]):
            i = lit[w]
            if begins:
                lost[0, w] = start_wall(acc, loss, w, sun, i)
            elif i < 0 and quiet[c]:
                lost[0, w] = lost[1, w] + wall(acc, u1, 1, c, fade, w)
            elif i < 0:
                lost[0, w] = lost[1, w] + wall(acc, d1, 0, c, fade, w)
            elif quiet[c]:
                lost[0, w] = lost[1, w] + lit_wall(acc, u1, 1, c, fade, w, sun, i, gone)
            else:
                lost[0, w] = lost[1, w] + lit_wall(acc, d1, 0, c, fade, w, sun, i, gone)
        if begins:
            first_stage(d, rate, c, acc, dt / mass[c], mut)
        elif quiet[c]:
            later_quiet(u2, u1, slope, rate, c, acc, more, mu, nu, at_start)
        else:
            later_stage(d, d1, rate, c, acc, more, mu, nu, at_start)
        if begins or not quiet[c]:
            follow(d, c, slope, u2)
        if linked[c]:
            follow_skin(d, c, skin, skin2, skin_of)
        for p in range(runs.shape[1]):
            a0, a1 = runs[c, p, 0], runs[c, p, 1]
            if a1 == 0:
                break
            look_up(h, d, c, a0, a1, low[a], per_step[a], phi_t, a, phi, u2)
            if linked[c]:
                look_up_skin(h, d, c, a0, a1, low[a], per_step[a], t_t, k_t, a, skin2, skin_of)
        wrap(u2, c, closed)


@fast
def _begin(  # type: ignore[no-untyped-def]
    lo, hi, grid, slope, skin, ds, us, runs, quiet, alive, heat_from, heat_to, air,
    flows, loss, fade, sun, work,
):  # fmt: skip
    """Make the rows `lo` to `hi` ready for a step: which are quiet, what their walls lose."""
    gate = work[0]
    ds[0, lo:hi] = 0.0
    us[0, lo:hi] = 0.0
    for c in range(lo, hi):
        slot, skin_of = grid.slot[c], grid.skin[c]
        quiet[c] = slot < 0 and runs[c, 0, 1] == 0 and not grid.linked[c]
        if grid.linked[c]:
            flows[grid.first[c] : grid.first[c + 1]] = 0.0
        for w in range(grid.wall_first[c], grid.wall_first[c + 1]):
            cover, i = grid.cover[w], grid.lit[w]
            for k in range(gate.shape[0]):
                gate[k] = 1.0
                if cover >= 0:
                    gate[k] = 1.0 - alive[cover, k]
                elif slot >= 0:
                    gate[k] = alive[slot, k]
            eps = STEFAN_BOLTZMANN * grid.emissivity[w]
            if i < 0:
                face_loss(
                    loss, fade, w, skin, skin_of, gate,
                    grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w],
                )  # fmt: skip
            else:
                lit_face_loss(
                    loss, fade, sun, i, heat_from, heat_to, w, skin, skin_of, gate,
                    grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w],
                )  # fmt: skip
            if quiet[c]:
                divide(fade, w, slope, c)


@fast
def _judge(lo, hi, end, grid, slope, ds, us, quiet, still, hot, moving, counts):  # type: ignore[no-untyped-def]
    """Bring the rises of quiet rows to enthalpy and mark what moved; rows that moved unforeseen."""
    missed = 0
    for c in range(lo, hi):
        if quiet[c]:
            follow_back(us[end], c, slope, ds[end])
        counts[c], unforeseen = mark_moved(ds[end], c, still[grid.alloy[c]], hot, moving)
        missed += unforeseen
    return missed


def _advance(  # type: ignore[no-untyped-def]
    h, phi, slope, skin, peak, rate, ds, us, skins, dt, stages, cuts, still, hot, moving, runs,
    quiet, counts, grid, tables, alive, rod, contact, heat_from, heat_to, air, extra,
    flows, loss, fade, sun, scratch, lost, gave,
):  # fmt: skip
    """One step of `dt` [s] in `stages` (>= 2) stages; heat lost through each wall [J] -> `gave`.

    `h` and what `refresh` makes of it are replaced. Returns how often the step was taken, 1 or 2.

    Parameters
    ----------
    rate, ds, us, skins, flows, loss, fade, sun, quiet, counts, scratch : work space, of which
        rate : (nc, layers) rise of the whole step at its first rate [J/kg]
        ds : (2, nc, layers) rise of enthalpy at the last two stages [J/kg]
        us : (2, nc, layers + 2) rise of the conductivity integral [W/m]
        skins : (2, 2, skins, layers) temperature [K] and resistivity [m K/W]
        flows : (links, layers) across parts as the step begins [W]
        loss : (w, layers) of walls as it begins [W]
        fade : (w, layers) its rise with enthalpy [kg/s], in quiet rows with `us` [m]
        sun : (3, lit, layers) gain as it begins, its rise, the loss's rise over the step [W]
        quiet : (nc,) rows marched by `us` alone; counts : (nc,) cells that moved in each
        scratch : (threads, 2, layers)
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
    missed, taken = np.zeros(threads, dtype=np.int64), 0
    for attempt in range(2):
        for t in prange(threads):
            _begin(
                cuts[t], cuts[t + 1], grid, slope, skin, ds, us, runs, quiet, alive,
                heat_from, heat_to, air, flows, loss, fade, sun, scratch[t],
            )  # fmt: skip
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
                    h, rate, ds, phi, slope, skin, us, skins, runs, quiet, grid, tables,
                    alive, rod, contact, flows, loss, fade, sun, extra, scratch[t], lost,
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
            missed[t] = _judge(
                cuts[t], cuts[t + 1], end, grid, slope, ds, us, quiet, still, hot, moving, counts
            )
        taken = attempt + 1
        if taken == 2 or missed.sum() == 0:
            break
        moving |= hot
        for c in range(len(h)):
            find_runs(moving, c, grid.closed, hot, runs)
    for t in prange(threads):
        lo, hi = cuts[t], cuts[t + 1]
        h[lo:hi] += ds[end, lo:hi]
        for c in range(lo, hi):
            if counts[c] == 0:
                hot[c] = False
                runs[c, 0] = 0
            else:
                find_runs(moving, c, grid.closed, hot, runs)
        refresh(h, np.arange(lo, hi), grid, tables, phi, slope, skin, peak)
    return taken


def _twin(name: str) -> FunctionType:
    """`_advance` under a name of its own: numba's cache files are told apart by it alone."""
    twin = FunctionType(_advance.__code__, globals(), name)
    twin.__qualname__ = name
    return twin


advance = fast(_twin("advance"))
advance_threaded = fast(_twin("advance_threaded"), parallel=True)
