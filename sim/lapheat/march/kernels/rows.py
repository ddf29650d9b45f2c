"""What the compiled march does with one row of cells: the same section cell in every layer.

Where an argument is called `c`, `r`, `s`, `w` or `i` it is a row of the arrays before it. Row
functions take whole arrays and the row's index, and numbers that belong together as the tuples of
`fields`: numba counts every view and every array read off a tuple in and out again.

Symbols: temperature T of cell, T_s of face, T_a of air [K]; phi = int k dT [W/m]; area A [m2];
distance d from cell to face [m]; conductivity k [W/(m K)]; R = d / k [m2 K/W]; film h [W/(m2 K)];
eps, emissivity times sigma [W/(m2 K4)]. Forms are textbook ones from memory; stages: `weights`.
Inside a part they are exact for k(T) in steady 1-D flow; at faces k is that of the cell's own T.
"""

from __future__ import annotations

import numpy as np

from .jit import fast, sums

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = [
    "across_lap",
    "along_filler",
    "divide",
    "face_loss",
    "find_node",
    "find_runs",
    "first_stage",
    "follow",
    "follow_back",
    "follow_skin",
    "gather",
    "later_inside",
    "later_quiet",
    "later_stage",
    "lit_face_loss",
    "lit_wall",
    "look_up",
    "look_up_skin",
    "loss_at",
    "mark_moved",
    "raise_peak",
    "read_row",
    "read_skin",
    "settled",
    "start_wall",
    "surface_at",
    "through_filler",
    "under_filler",
    "wall",
    "wrap",
]


@fast
def find_node(h, low, per_step, last):  # type: ignore[no-untyped-def]
    """Node below an enthalpy and how far on to the next; beyond the ends the last ones go on."""
    x = (h - low) * per_step
    i = min(max(np.int32(x), np.int32(0)), last)  # 32 bits: the conversion then vectorises
    return i, x - i


@fast
def wrap(phi, c, closed):  # type: ignore[no-untyped-def]
    """Fill the columns before the first layer and after the last: what neighbours they have."""
    last = phi.shape[1] - 2
    phi[c, 0] = phi[c, last] if closed else phi[c, 1]
    phi[c, last + 1] = phi[c, 1] if closed else phi[c, last]


@fast
def read_row(h, c, nodes, value, phi, slope):  # type: ignore[no-untyped-def]
    """Conductivity integral [W/m] and its rise with enthalpy [kg/(m s)] of a row."""
    a, low, per_step = nodes
    last = np.int32(value.shape[1] - 2)
    for k in range(h.shape[1]):
        i, f = find_node(h[c, k], low, per_step, last)
        phi[c, k + 1] = value[a, i] + f * (value[a, i + 1] - value[a, i])
        slope[c, k] = per_step * (value[a, i + 1] - value[a, i])


@fast
def raise_peak(peak, h, c):  # type: ignore[no-untyped-def]
    """Raise the highest enthalpy of a row."""
    for k in range(h.shape[1]):
        peak[c, k] = h[c, k] if h[c, k] > peak[c, k] else peak[c, k]


@fast
def read_skin(h, c, nodes, t, q, skin, s):  # type: ignore[no-untyped-def]
    """Temperature [K], resistivity [m K/W] and their rises with enthalpy."""
    a, low, per_step = nodes
    last = np.int32(t.shape[1] - 2)
    for k in range(h.shape[1]):
        i, f = find_node(h[c, k], low, per_step, last)
        inside = 1.0 if 0.0 <= f <= 1.0 else 0.0  # a resistivity must stay positive
        skin[0, s, k] = t[a, i] + f * (t[a, i + 1] - t[a, i])
        skin[1, s, k] = q[a, i] + min(max(f, 0.0), 1.0) * (q[a, i + 1] - q[a, i])
        skin[2, s, k] = per_step * (t[a, i + 1] - t[a, i])
        skin[3, s, k] = inside * per_step * (q[a, i + 1] - q[a, i])


@fast
def loss_at(ts, film, eps, air):  # type: ignore[no-untyped-def]
    """Flux lost by a face, ``h (T_s - T_a) + eps (T_s^4 - T_a^4)`` [W/m2], and its slope."""
    cube = ts * ts * ts
    loss = film * (ts - air) + eps * (cube * ts - air * air * air * air)
    return loss, film + 4.0 * eps * cube


@fast
def surface_at(tc, resistance, q, film, eps, air):  # type: ignore[no-untyped-def]
    """Face that gains `q`: ``T_s = T + R (q - loss(T_s))``, the loss on its tangent at T + R q."""
    ts = tc + resistance * q
    loss, slope = loss_at(ts, film, eps, air)
    return ts - resistance * loss / (1.0 + resistance * slope)


@fast
def gather(acc, phi, r, sides):  # type: ignore[no-untyped-def]
    """Heat inside a part -> `acc`: ``sum of A / (d_1 + d_2) (phi_2 - phi_1)`` into row `r` [W]."""
    a, b, c, d, to_a, to_b, to_c, to_d, along = sides
    for k in range(acc.shape[0]):
        x = phi[r, k + 1]
        acc[k] = (
            to_a * (phi[a, k + 1] - x)
            + to_b * (phi[b, k + 1] - x)
            + to_c * (phi[c, k + 1] - x)
            + to_d * (phi[d, k + 1] - x)
            + along * ((phi[r, k + 2] - x) + (phi[r, k] - x))
        )


@fast
def through_filler(acc, phi, c, o, factor, alive, s, p):  # type: ignore[no-untyped-def]
    """Heat between two filler cells [W], as in `gather`, where both have been laid."""
    for k in range(acc.shape[0]):
        acc[k] += factor * alive[s, k] * alive[p, k] * (phi[o, k + 1] - phi[c, k + 1])


@fast
def across_lap(acc, skin, face, contact, p, flow, m, first):  # type: ignore[no-untyped-def]
    """Heat across the lap, ``A (T_2 - T_1) / (R_1 + R_2 + R_lap)`` [W]; row `p` of `contact`.

    The first stage (`first` 1.0) finds `flow` 0 and keeps it there; later ones (0.0) add what it
    has changed by.
    """
    own, other, area, near, far = face
    for k in range(acc.shape[0]):
        r = near * skin[1, own, k] + far * skin[1, other, k] + contact[p, k]
        now = area * (skin[0, other, k] - skin[0, own, k]) / r
        before = flow[m, k]
        acc[k] += now - before
        flow[m, k] = before + first * now


@fast
def under_filler(acc, skin, face, alive, p, flow, m, first):  # type: ignore[no-untyped-def]
    """As `across_lap` with R_lap 0, between base and filler, row `p` of `alive`, once laid."""
    own, other, area, near, far = face
    for k in range(acc.shape[0]):
        r = near * skin[1, own, k] + far * skin[1, other, k]
        now = area * alive[p, k] * (skin[0, other, k] - skin[0, own, k]) / r
        before = flow[m, k]
        acc[k] += now - before
        flow[m, k] = before + first * now


@fast
def along_filler(acc, flow, phi, c, factor, alive, s, closed):  # type: ignore[no-untyped-def]
    """Heat from layer to layer of filler -> `acc`, where both have been laid."""
    last = acc.shape[0] - 1
    for k in range(last):
        flow[k] = factor * alive[s, k] * alive[s, k + 1] * (phi[c, k + 2] - phi[c, k + 1])
    flow[last] = factor * closed * alive[s, last] * alive[s, 0] * (phi[c, 1] - phi[c, last + 1])
    acc[0] = flow[0] - flow[last]
    for k in range(last):
        acc[k + 1] = flow[k + 1] - flow[k]


@fast
def face_loss(loss, loss_slope, w, skin, s, gate, wall):  # type: ignore[no-untyped-def]
    """What an unlit wall loses as the step begins [W], and its rise with enthalpy [kg/s].

    ``A loss(T) / (1 + R slope)``: the loss is taken along its tangent at the temperature the face
    would have without it. Under film and radiation the two are a few kelvin apart at most.
    """
    area, near, film, eps, air = wall
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = loss_at(skin[0, s, k], film, eps, air)
        share = area * gate[k] / (1.0 + r * steep)
        loss[w, k] = share * lost
        loss_slope[w, k] = share * steep * skin[2, s, k]


@fast
def lit_face_loss(  # type: ignore[no-untyped-def]
    loss, loss_slope, w, skin, s, gate, wall, arc_gain, q, q_end, i
):
    """As `face_loss` under the arc, whose flux [W/m2] goes from row `i` of `q` to that of `q_end`.

    The tangent is at T + R q. Gain, its rise and the loss's rise [W] in the step go to `arc_gain`.
    """
    area, near, film, eps, air = wall
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = loss_at(skin[0, s, k] + r * q[i, k], film, eps, air)
        lost_end, steep_end = loss_at(skin[0, s, k] + r * q_end[i, k], film, eps, air)
        share, share_end = 1.0 / (1.0 + r * steep), 1.0 / (1.0 + r * steep_end)
        bare = area * gate[k]
        loss[w, k] = bare * share * lost
        loss_slope[w, k] = bare * 0.5 * (share * steep + share_end * steep_end) * skin[2, s, k]
        arc_gain[0, i, k] = bare * q[i, k]
        arc_gain[1, i, k] = bare * (q_end[i, k] - q[i, k])
        arc_gain[2, i, k] = bare * (share_end * lost_end - share * lost)


@sums
def start_wall(acc, loss, w, arc_gain, i):  # type: ignore[no-untyped-def]
    """What a wall takes from `acc` as the step begins, with the arc's gain where it is lit.

    Returns the loss summed over the layers [W].
    """
    total = 0.0
    for k in range(acc.shape[0]):
        acc[k] += (arc_gain[0, i, k] if i >= 0 else 0.0) - loss[w, k]
        total += loss[w, k]
    return total


@sums
def wall(acc, x, at, c, loss_slope, w):  # type: ignore[no-untyped-def]
    """What a wall has come to take from `acc` since; returns it summed over the layers [W].

    ``loss_slope x``, `x` the rise of h or phi, whose column `at` is the first layer.
    """
    total = 0.0
    for k in range(acc.shape[0]):
        lost = loss_slope[w, k] * x[c, k + at]
        acc[k] -= lost
        total += lost
    return total


@sums
def lit_wall(acc, x, at, c, loss_slope, w, arc_gain, i, time_share):  # type: ignore[no-untyped-def]
    """As `wall`, with the arc's gain and the loss it causes at `time_share` of the step."""
    total = 0.0
    for k in range(acc.shape[0]):
        lost = time_share * arc_gain[2, i, k] + loss_slope[w, k] * x[c, k + at]
        acc[k] += time_share * arc_gain[1, i, k] - lost
        total += lost
    return total


@fast
def settled(x):  # type: ignore[no-untyped-def]
    """`x`, or 0 where it is tiny.

    Ahead of the heat a rise falls by orders of magnitude a cell, and numbers too small for full
    precision would make a stage several times slower. What is not a number stays so.
    """
    return 0.0 if abs(x) < 1e-200 else x


@fast
def first_stage(d, rate, c, acc, scale, mu_tilde):  # type: ignore[no-untyped-def]
    """Rise `d` after the first stage, and `rate`: the rise of a step at its first rate [J/kg]."""
    for k in range(acc.shape[0]):
        rate[c, k] = scale * acc[k]
        d[c, k] = mu_tilde * scale * acc[k]


@fast
def later_stage(d, d1, rate, c, acc, weights):  # type: ignore[no-untyped-def]
    """Rise `d` after a later stage, in place of the one two stages before; see `Weights`.

    ``mu d_(j-1) + nu d_(j-2) + mu~ dt acc / m + (mu~ + gamma~) rate`` [J/kg], m the mass [kg].
    """
    mu, nu, per_heat, at_start = weights
    for k in range(acc.shape[0]):
        d[c, k] = settled(mu * d1[c, k] + nu * d[c, k] + per_heat * acc[k] + at_start * rate[c, k])


@fast
def later_quiet(u, u1, slope, rate, c, acc, weights):  # type: ignore[no-untyped-def]
    """As `later_stage` for the rise `u` of the conductivity integral, which goes with that."""
    mu, nu, per_heat, at_start = weights
    for k in range(acc.shape[0]):
        gain = slope[c, k] * (per_heat * acc[k] + at_start * rate[c, k])
        u[c, k + 1] = settled(mu * u1[c, k + 1] + nu * u[c, k + 1] + gain)


@fast
def later_inside(u, u1, slope, rate, r, sides, weights):  # type: ignore[no-untyped-def]
    """`gather` and `later_quiet` in one loop."""
    a, b, c, d, to_a, to_b, to_c, to_d, along = sides
    mu, nu, per_heat, at_start = weights
    for k in range(rate.shape[1]):
        x = u1[r, k + 1]
        acc = (
            to_a * (u1[a, k + 1] - x)
            + to_b * (u1[b, k + 1] - x)
            + to_c * (u1[c, k + 1] - x)
            + to_d * (u1[d, k + 1] - x)
            + along * ((u1[r, k + 2] - x) + (u1[r, k] - x))
        )
        gain = slope[r, k] * (per_heat * acc + at_start * rate[r, k])
        u[r, k + 1] = settled(mu * x + nu * u[r, k + 1] + gain)


@fast
def follow(d, c, slope, u):  # type: ignore[no-untyped-def]
    """Rise of the conductivity integral along its tangent."""
    for k in range(d.shape[1]):
        u[c, k + 1] = slope[c, k] * d[c, k]


@fast
def follow_back(u, c, slope, d):  # type: ignore[no-untyped-def]
    """Rise of the enthalpy that belongs to one of the conductivity integral."""
    for k in range(d.shape[1]):
        d[c, k] = u[c, k + 1] / slope[c, k]


@fast
def divide(loss_slope, w, slope, c):  # type: ignore[no-untyped-def]
    """Turn the rise of a wall's loss with enthalpy into one with the conductivity integral."""
    for k in range(loss_slope.shape[1]):
        loss_slope[w, k] /= slope[c, k]


@fast
def follow_skin(d, c, skin, out, s):  # type: ignore[no-untyped-def]
    """Temperature and resistivity along their tangents."""
    for k in range(d.shape[1]):
        out[0, s, k] = skin[0, s, k] + skin[2, s, k] * d[c, k]
        out[1, s, k] = skin[1, s, k] + skin[3, s, k] * d[c, k]


@fast
def look_up(h, d, c, run, nodes, value, phi, u):  # type: ignore[no-untyped-def]
    """Rise of the conductivity integral of a `run` (first, end) of a row from its table."""
    lo, hi = run
    a, low, per_step = nodes
    last = np.int32(value.shape[1] - 2)
    for k in range(lo, hi):
        i, f = find_node(h[c, k] + d[c, k], low, per_step, last)
        u[c, k + 1] = value[a, i] + f * (value[a, i + 1] - value[a, i]) - phi[c, k + 1]


@fast
def look_up_skin(h, d, c, run, nodes, t, q, out, s):  # type: ignore[no-untyped-def]
    """Temperature and resistivity of a `run` (first, end) of a row from their tables."""
    lo, hi = run
    a, low, per_step = nodes
    last = np.int32(t.shape[1] - 2)
    for k in range(lo, hi):
        i, f = find_node(h[c, k] + d[c, k], low, per_step, last)
        out[0, s, k] = t[a, i] + f * (t[a, i + 1] - t[a, i])
        out[1, s, k] = q[a, i] + min(max(f, 0.0), 1.0) * (q[a, i + 1] - q[a, i])


@fast
def mark_moved(d, c, still, hot, moving):  # type: ignore[no-untyped-def]
    """Mark the cells of a row that moved further than `still`; how many; True if one unforeseen.

    They are counted first: that loop is vectorised, and in most rows nothing moved.
    """
    count = 0
    for k in range(d.shape[1]):
        count += abs(d[c, k]) > still
    missed = False
    for k in range(d.shape[1]):
        moving[c, k] = count > 0 and abs(d[c, k]) > still
        if count > 0:
            missed = missed or (abs(d[c, k]) > 4.0 * still and not hot[c, k])
    return count, missed


@fast
def find_runs(moving, c, closed, hot, runs):  # type: ignore[no-untyped-def]
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
