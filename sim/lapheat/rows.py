"""What the compiled march does with one row of cells: the same section cell in every layer.

Where an argument is called `c`, `r`, `s`, `w` or `i` it is a row of the arrays before it. Row
functions take whole arrays and the row's index, and loops over rows take the arrays out of their
tuples first: numba counts every view and every array read off a tuple in and out again.
"""

from __future__ import annotations

import numpy as np

from .jit import fast, sums

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = [
    "across_parts",
    "along_filler",
    "face_loss",
    "find_node",
    "find_runs",
    "first_stage",
    "follow",
    "follow_skin",
    "gather",
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
    "surface_at",
    "through_filler",
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
def read_row(h, c, low, per_step, value, a, phi, slope):  # type: ignore[no-untyped-def]
    """Conductivity integral [W/m] and its rise with enthalpy [kg/(m s)] of a row."""
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
def read_skin(h, c, low, per_step, t, q, a, skin, s):  # type: ignore[no-untyped-def]
    """Temperature [K], resistivity [m K/W] and their rises with enthalpy."""
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
    """Flux lost by a face at `ts` [K] to film and radiation [W/m2], and its slope."""
    cube = ts * ts * ts
    loss = film * (ts - air) + eps * (cube * ts - air * air * air * air)
    return loss, film + 4.0 * eps * cube


@fast
def surface_at(tc, resistance, q, film, eps, air):  # type: ignore[no-untyped-def]
    """Temperature of a face that gains `q` [W/m2] and loses by film and radiation."""
    ts = tc + resistance * q
    loss, slope = loss_at(ts, film, eps, air)
    return ts - resistance * loss / (1.0 + resistance * slope)


@fast
def gather(acc, phi, r, a, b, c, d, fa, fb, fc, fd, along):  # type: ignore[no-untyped-def]
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


@fast
def through_filler(acc, phi, c, o, factor, alive, s, p):  # type: ignore[no-untyped-def]
    """Heat between two filler cells, where both have been laid."""
    for k in range(acc.shape[0]):
        acc[k] += factor * alive[s, k] * alive[p, k] * (phi[o, k + 1] - phi[c, k + 1])


@fast
def across_parts(acc, skin, own, other, area, near, far, gate, contact):  # type: ignore[no-untyped-def]
    """Heat from one part to another where `gate` is 1, through a `contact` resistance."""
    for k in range(acc.shape[0]):
        r = near * skin[1, own, k] + far * skin[1, other, k] + contact[k]
        acc[k] += area * gate[k] * (skin[0, other, k] - skin[0, own, k]) / r


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
def face_loss(loss, fade, w, skin, s, gate, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """What an unlit wall loses as the step begins [W], and its rise with enthalpy [kg/s].

    The loss is taken along its tangent at the temperature the face would have without it: the
    two are a few kelvin apart at most.
    """
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = loss_at(skin[0, s, k], film, eps, air)
        share = area * gate[k] / (1.0 + r * steep)
        loss[w, k] = share * lost
        fade[w, k] = share * steep * skin[2, s, k]


@fast
def lit_face_loss(loss, fade, sun, i, q, q_end, w, skin, s, gate, area, near, film, eps, air):  # type: ignore[no-untyped-def]
    """As `face_loss` under the arc; gain, its rise and the loss's rise over the step -> `sun`."""
    for k in range(gate.shape[0]):
        r = near * skin[1, s, k]
        lost, steep = loss_at(skin[0, s, k] + r * q[i, k], film, eps, air)
        lost_end, steep_end = loss_at(skin[0, s, k] + r * q_end[i, k], film, eps, air)
        share, share_end = 1.0 / (1.0 + r * steep), 1.0 / (1.0 + r * steep_end)
        bare = area * gate[k]
        loss[w, k] = bare * share * lost
        fade[w, k] = bare * 0.5 * (share * steep + share_end * steep_end) * skin[2, s, k]
        sun[0, i, k] = bare * q[i, k]
        sun[1, i, k] = bare * (q_end[i, k] - q[i, k])
        sun[2, i, k] = bare * (share_end * lost_end - share * lost)


@sums
def wall(acc, d, c, loss, fade, w):  # type: ignore[no-untyped-def]
    """Take what a wall loses from `acc`; returns it summed over the layers [W]."""
    total = 0.0
    for k in range(acc.shape[0]):
        lost = loss[w, k] + fade[w, k] * d[c, k]
        acc[k] -= lost
        total += lost
    return total


@sums
def lit_wall(acc, d, c, loss, fade, w, sun, i, gone):  # type: ignore[no-untyped-def]
    """As `wall`, with the arc's gain, `gone` of the step."""
    total = 0.0
    for k in range(acc.shape[0]):
        lost = loss[w, k] + gone * sun[2, i, k] + fade[w, k] * d[c, k]
        acc[k] += sun[0, i, k] + gone * sun[1, i, k] - lost
        total += lost
    return total


@fast
def first_stage(d, rate, c, acc, scale, mut):  # type: ignore[no-untyped-def]
    """Rise `d` after the first stage, and the rate at the start of the step."""
    for k in range(acc.shape[0]):
        rate[c, k] = scale * acc[k]
        d[c, k] = mut * scale * acc[k]


@fast
def later_stage(d, d1, rate, c, acc, scale, mu, nu, mut, gat):  # type: ignore[no-untyped-def]
    """Rise `d` after a later stage, in place of the one two stages before."""
    for k in range(acc.shape[0]):
        d[c, k] = mu * d1[c, k] + nu * d[c, k] + mut * scale * acc[k] + gat * rate[c, k]


@fast
def follow(d, c, value, slope, out):  # type: ignore[no-untyped-def]
    """Conductivity integral along its tangent."""
    for k in range(d.shape[1]):
        out[c, k + 1] = value[c, k + 1] + slope[c, k] * d[c, k]


@fast
def follow_skin(d, c, skin, out, s):  # type: ignore[no-untyped-def]
    """Temperature and resistivity along their tangents."""
    for k in range(d.shape[1]):
        out[0, s, k] = skin[0, s, k] + skin[2, s, k] * d[c, k]
        out[1, s, k] = skin[1, s, k] + skin[3, s, k] * d[c, k]


@fast
def look_up(h, d, c, lo, hi, low, per_step, value, a, out):  # type: ignore[no-untyped-def]
    """Conductivity integral of the cells `lo` to `hi` of a row from its table."""
    last = np.int32(value.shape[1] - 2)
    for k in range(lo, hi):
        i, f = find_node(h[c, k] + d[c, k], low, per_step, last)
        out[c, k + 1] = value[a, i] + f * (value[a, i + 1] - value[a, i])


@fast
def look_up_skin(h, d, c, lo, hi, low, per_step, t, q, a, out, s):  # type: ignore[no-untyped-def]
    """Temperature and resistivity of the cells `lo` to `hi` of a row from their tables."""
    last = np.int32(t.shape[1] - 2)
    for k in range(lo, hi):
        i, f = find_node(h[c, k] + d[c, k], low, per_step, last)
        out[0, s, k] = t[a, i] + f * (t[a, i + 1] - t[a, i])
        out[1, s, k] = q[a, i] + min(max(f, 0.0), 1.0) * (q[a, i + 1] - q[a, i])


@fast
def mark_moved(d, c, still, hot, moving):  # type: ignore[no-untyped-def]
    """Mark the cells of a row that moved further than `still`; True if one came unforeseen."""
    missed = False
    for k in range(d.shape[1]):
        by = abs(d[c, k])
        moving[c, k] = by > still
        missed = missed or (by > 4.0 * still and not hot[c, k])
    return missed


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
