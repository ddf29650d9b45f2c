"""The compiled step: arrays in and out.

Fields are (section cells, layers): the inner loops run along a row of layers, where every
geometric factor is one number. The state is specific enthalpy `h` [J/kg]; heat flows between
cells of one part as differences of the conductivity integral ``phi = integral k dT`` [W/m], so
that a face needs no division, and across parts through ``area / (d1/k1 + d2/k2 + 1/contact)``.

The step is the second-order super-time-stepping of Meyer, Balsara and Aslam (RKL2, see
`weights.rkl2_weights`). Heat lost is carried through the same stages, so the ledger closes.

Inside a step `phi`, skin and losses follow the enthalpy along their tangents at its start, which
keeps second order and needs no table; where a stretch of a row moves further than `still` they
are looked up at every stage. Flows are equal and opposite either way.

The first stage gathers all heat, later ones what it has changed by since, so that all they need
are rises, of the enthalpy and of `phi`. A row that holds no filler, passes no heat to another part
and has no cell looked up is quiet: there ``phi_rise = slope * h_rise`` exactly, and `phi_rise`
alone is marched, of four arrays in place of seven. At the end ``h_rise = phi_rise / slope``; no
slope is 0, as `phi` rises with enthalpy in every table, melting spread over a range and
conductivities above 0.
"""

from __future__ import annotations

from types import FunctionType

import numpy as np
from numba import prange

from ...constants import STEFAN_BOLTZMANN
from ...problem.arrays import IN_FILLER, LAP, UNDER_FILLER
from .fields import Face, Nodes, Sides, Stage, Wall, Weights
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
def refresh(rows, fields, grid, tables):  # type: ignore[no-untyped-def]
    """Bring what follows from the enthalpies of some rows in line with them."""
    h, phi, slope, skin, peak = fields
    low, per_step, phi_t, t_t, r_t = tables
    for c in rows:
        s = grid.skin[c]
        nodes = Nodes(grid.alloy[c], low[grid.alloy[c]], per_step[grid.alloy[c]])
        raise_peak(peak, h, c)
        read_row(h, c, nodes, phi_t, phi, slope)
        wrap(phi, c, grid.closed)
        if s >= 0:
            read_skin(h, c, nodes, t_t, r_t, skin, s)


@fast
def _stage(t, stage, fields, given, watch, work, grid, tables):  # type: ignore[no-untyped-def]
    """One stage for the rows of thread `t`; what walls lose goes to `work.wall_loss` [W].

    The first stage gathers all heat, later ones what it has changed by since.
    """
    j, mu, nu, mu_tilde, gamma_tilde, time_share, dt = stage
    before, now, begins = (j - 1) % 2, j % 2, j == 1
    h, phi, slope, skin, _ = fields
    alive, rod, contact, extra = given.alive, given.rod, given.contact, given.extra
    runs, quiet, rate, lost = watch.runs, work.quiet, work.rate, work.wall_loss
    d1, d = work.h_rise[before], work.h_rise[now]
    u1, u = phi if begins else work.phi_rise[before], work.phi_rise[now]
    skin1, skin2 = skin if begins else work.skin_now[before], work.skin_now[now]
    link_flow, loss, loss_slope = work.link_flow, work.loss, work.loss_slope
    arc_gain, acc, flow = work.arc_gain, work.scratch[t, 0], work.scratch[t, 1]
    alloy, mass, along, skins_of, slots = grid.alloy, grid.mass, grid.along, grid.skin, grid.slot
    link_first, other, kinds, rows = grid.first, grid.other, grid.kind, grid.row
    factor, area, near, far = grid.factor, grid.area, grid.near, grid.far
    beside, f, closed = grid.beside, grid.beside_factor, grid.closed
    wall_first, lit, linked = grid.wall_first, grid.lit, grid.linked
    low, per_step, phi_t, t_t, r_t = tables
    first = 1.0 if begins else 0.0
    for c in range(work.cuts[t], work.cuts[t + 1]):
        slot, skin_of, a = slots[c], skins_of[c], alloy[c]
        weights = Weights(mu, nu, mu_tilde * dt / mass[c], mu_tilde + gamma_tilde)
        sides = Sides(
            beside[c, 0], beside[c, 1], beside[c, 2], beside[c, 3],
            f[c, 0], f[c, 1], f[c, 2], f[c, 3], along[c],
        )  # fmt: skip
        if skin_of < 0 and quiet[c] and not begins:
            later_inside(u, u1, slope, rate, c, sides, weights)
            wrap(u, c, closed)
            continue
        if slot >= 0:
            along_filler(acc, flow, u1, c, along[c], alive, slot, closed)
            for m in range(link_first[c], link_first[c + 1]):
                if kinds[m] == IN_FILLER:
                    o = other[m]
                    through_filler(acc, u1, c, o, factor[m], alive, slot, slots[o])
        else:
            gather(acc, u1, c, sides)
        if begins and slot >= 0:
            acc += rod[slot]
        if begins and extra.shape[0] > 0:
            acc += extra[c]
        if linked[c]:
            for m in range(link_first[c], link_first[c + 1]):
                face = Face(skin_of, skins_of[other[m]], area[m], near[m], far[m])
                if kinds[m] == LAP:
                    across_lap(acc, skin1, face, contact, rows[m], link_flow, m, first)
                elif kinds[m] == UNDER_FILLER:
                    under_filler(acc, skin1, face, alive, rows[m], link_flow, m, first)
        # four calls, as a choice of array kept in a variable would be counted in and out
        for w in range(wall_first[c], wall_first[c + 1]):
            i = lit[w]
            if begins:
                lost[0, w] = start_wall(acc, loss, w, arc_gain, i)
            elif i < 0 and quiet[c]:
                lost[0, w] = lost[1, w] + wall(acc, u1, 1, c, loss_slope, w)
            elif i < 0:
                lost[0, w] = lost[1, w] + wall(acc, d1, 0, c, loss_slope, w)
            elif quiet[c]:
                more = lit_wall(acc, u1, 1, c, loss_slope, w, arc_gain, i, time_share)
                lost[0, w] = lost[1, w] + more
            else:
                more = lit_wall(acc, d1, 0, c, loss_slope, w, arc_gain, i, time_share)
                lost[0, w] = lost[1, w] + more
        if begins:
            first_stage(d, rate, c, acc, dt / mass[c], mu_tilde)
        elif quiet[c]:
            later_quiet(u, u1, slope, rate, c, acc, weights)
        else:
            later_stage(d, d1, rate, c, acc, weights)
        if begins or not quiet[c]:
            follow(d, c, slope, u)
        if linked[c]:
            follow_skin(d, c, skin, skin2, skin_of)
        for p in range(runs.shape[1]):
            run, nodes = (runs[c, p, 0], runs[c, p, 1]), Nodes(a, low[a], per_step[a])
            if run[1] == 0:
                break
            look_up(h, d, c, run, nodes, phi_t, phi, u)
            if linked[c]:
                look_up_skin(h, d, c, run, nodes, t_t, r_t, skin2, skin_of)
        wrap(u, c, closed)


@fast
def _begin(t, fields, given, watch, work, grid):  # type: ignore[no-untyped-def]
    """Make the rows of thread `t` ready for a step: which are quiet, what their walls lose."""
    slope, skin, alive = fields.slope, fields.skin, given.alive
    heat_from, heat_to, air = given.heat_from, given.heat_to, given.air
    quiet, runs, link_flow, gate = work.quiet, watch.runs, work.link_flow, work.scratch[t, 0]
    loss, loss_slope, arc_gain = work.loss, work.loss_slope, work.arc_gain
    lo, hi = work.cuts[t], work.cuts[t + 1]
    work.h_rise[0, lo:hi] = 0.0
    work.phi_rise[0, lo:hi] = 0.0
    for c in range(lo, hi):
        slot, skin_of = grid.slot[c], grid.skin[c]
        quiet[c] = slot < 0 and runs[c, 0, 1] == 0 and not grid.linked[c]
        if grid.linked[c]:
            link_flow[grid.first[c] : grid.first[c + 1]] = 0.0
        for w in range(grid.wall_first[c], grid.wall_first[c + 1]):
            cover, i = grid.cover[w], grid.lit[w]
            for k in range(gate.shape[0]):
                gate[k] = 1.0
                if cover >= 0:
                    gate[k] = 1.0 - alive[cover, k]
                elif slot >= 0:
                    gate[k] = alive[slot, k]
            eps = STEFAN_BOLTZMANN * grid.emissivity[w]
            one = Wall(grid.wall_area[w], grid.wall_near[w], grid.film[w], eps, air[w])
            if i < 0:
                face_loss(loss, loss_slope, w, skin, skin_of, gate, one)
            else:
                lit_face_loss(
                    loss, loss_slope, w, skin, skin_of, gate, one, arc_gain, heat_from, heat_to, i
                )
            if quiet[c]:
                divide(loss_slope, w, slope, c)


@fast
def _add_loss(stage, work):  # type: ignore[no-untyped-def]
    """Carry the heat lost through each wall on by a stage, as `_stage` does the enthalpy."""
    lost, heat_out = work.wall_loss, work.heat_out
    for w in range(lost.shape[1]):
        if stage.number == 1:
            lost[1, w] = lost[0, w]
            heat_out[1, w], heat_out[0, w] = 0.0, stage.mu_tilde * stage.dt * lost[0, w]
        else:
            before = heat_out[0, w]
            heat_out[0, w] = stage.mu * before + stage.nu * heat_out[1, w]
            rate = stage.mu_tilde * lost[0, w] + stage.gamma_tilde * lost[1, w]
            heat_out[0, w] += stage.dt * rate
            heat_out[1, w] = before


@fast
def _judge(t, end, fields, watch, work, grid):  # type: ignore[no-untyped-def]
    """Bring the rises of quiet rows to enthalpy and mark what moved; rows that moved unforeseen."""
    still, hot, moving, counts = watch.still, watch.hot, watch.moving, watch.counts
    slope, quiet, d, u = fields.slope, work.quiet, work.h_rise[end], work.phi_rise[end]
    missed = 0
    for c in range(work.cuts[t], work.cuts[t + 1]):
        if quiet[c]:
            follow_back(u, c, slope, d)
        counts[c], unforeseen = mark_moved(d, c, still[grid.alloy[c]], hot, moving)
        missed += unforeseen
    return missed


@fast
def _end(t, end, fields, watch, work, grid, tables):  # type: ignore[no-untyped-def]
    """Take the rises of thread `t` over into the fields; find what the next step looks up."""
    h, d = fields.h, work.h_rise[end]
    hot, moving, runs, counts = watch.hot, watch.moving, watch.runs, watch.counts
    lo, hi = work.cuts[t], work.cuts[t + 1]
    h[lo:hi] += d[lo:hi]
    for c in range(lo, hi):
        if counts[c] == 0:
            hot[c] = False
            runs[c, 0] = 0
        else:
            find_runs(moving, c, grid.closed, hot, runs)
    refresh(np.arange(lo, hi), fields, grid, tables)


def _advance(dt, weights, fields, given, watch, work, grid, tables):  # type: ignore[no-untyped-def]
    """One step of `dt` [s] in the stages that `weights` are for; `fields` are replaced.

    Heat lost through each wall [J] is left in ``work.heat_out[0]``. Returns how often the step was
    taken, 1 or 2: once more where a cell that was not looked up moved too far.
    """
    threads = len(work.cuts) - 1
    mu, nu, mu_tilde, gamma_tilde, time_share = weights
    stages = len(mu) - 1
    missed, taken = np.zeros(threads, dtype=np.int64), 0
    for attempt in range(2):
        for t in prange(threads):
            _begin(t, fields, given, watch, work, grid)
        for j in range(1, stages + 1):
            stage = Stage(j, mu[j], nu[j], mu_tilde[j], gamma_tilde[j], time_share[j], dt)
            for t in prange(threads):
                _stage(t, stage, fields, given, watch, work, grid, tables)
            _add_loss(stage, work)
        for t in prange(threads):
            missed[t] = _judge(t, stages % 2, fields, watch, work, grid)
        taken = attempt + 1
        if taken == 2 or missed.sum() == 0:
            break
        moving = watch.moving
        moving |= watch.hot
        for c in range(len(moving)):
            find_runs(moving, c, grid.closed, watch.hot, watch.runs)
    for t in prange(threads):
        _end(t, stages % 2, fields, watch, work, grid, tables)
    return taken


def _twin(name: str) -> FunctionType:
    """`_advance` under a name of its own: numba's cache files differ by it alone."""
    twin = FunctionType(_advance.__code__, globals(), name)
    twin.__qualname__ = name
    return twin


advance = fast(_twin("advance"))
advance_threaded = fast(_twin("advance_threaded"), parallel=True)
