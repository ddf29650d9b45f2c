"""Timing the base, compiled: how long each of its faces is how hot."""

from __future__ import annotations

import numpy as np

from ...problem.arrays import NEITHER, TUBE
from .jit import fast, plain

# numba types compiled functions at their first call: hence `no-untyped-def` below

__all__ = ["tick"]

FERRITE, AUSTENITE = -1.0, -2.0  # instead of the time since a face fell through 800 degC
LEVEL = 1e-6  # [K] a face that moves by less in a step stays where it is


@fast
def share_above(low, high, level):  # type: ignore[no-untyped-def]
    """Share of a step above a level, as temperature runs straight from `low` to `high` or back."""
    if low >= level:
        return 1.0
    return (high - level) / (high - low) if high > level else 0.0


@fast
def until(curve, place):  # type: ignore[no-untyped-def]
    """Value of a table at a place in nodes, level beyond its ends."""
    last = len(curve) - 1
    place = min(max(place, 0.0), float(last))
    i = min(np.int64(place), np.int64(last - 1))
    return curve[i] + (place - i) * (curve[i + 1] - curve[i])


@plain
def tick(before, after, dt, base, grid, filler, clocks, times):  # type: ignore[no-untyped-def]
    """Add a step to what the faces of the base have spent where, straight lines in between.

    Cooling starts as a face that passed A3 falls through 800 degC and ends as it falls through 500,
    unless it rises above 800 degC again. The last such time of a face counts.

    Parameters
    ----------
    before, after : surface temperatures as the step began and as it ends [K]
    dt : length of the step [s]
    filler : `Given.alive` and where the lap is filled: filler covers those faces
    clocks, times : see `Clocks` and `Times`
    """
    alive, filled = filler
    used, copper, above, falling, cooling = times
    curves, level, start, end = clocks.curves, clocks.copper, clocks.cooling_from, clocks.cooling_to
    walls, laps, layers = len(base.wall_cell), len(base.lap_link), after.shape[1]
    for i in range(after.shape[0]):
        part, top = base.part[i], 0.0
        if part == NEITHER:
            continue
        for k in range(layers):
            top = max(top, before[i, k], after[i, k])
        if top < clocks.lowest:
            continue
        cover = grid.cover[i] if i < walls else -1
        lap = (i - walls) % laps if i >= walls else -1
        for k in range(layers):
            was, now = before[i, k], after[i, k]
            low, high = min(was, now), max(was, now)
            if high < clocks.lowest:
                continue
            if high > level[part]:
                wet = (cover >= 0 and alive[cover, k] > 0.0) or (lap >= 0 and filled[lap, k])
                copper[i, k] += dt * share_above(low, high, level[part]) if wet else 0.0
            if part == TUBE:
                # a face that stays where it is counts by the pace of its node
                wide = LEVEL if high - low < LEVEL else 0.0
                span = high - low + 2.0 * wide
                first = (low - wide - clocks.low) * clocks.per_kelvin
                last = (high + wide - clocks.low) * clocks.per_kelvin
                for c in range(curves.shape[0]):
                    used[c, i, k] += dt * (until(curves[c], last) - until(curves[c], first)) / span
                continue
            above[i, k] += dt * share_above(low, high, clocks.a1)
            if high >= clocks.a3 or (falling[i, k] >= 0.0 and now >= start):
                falling[i, k] = AUSTENITE
            if falling[i, k] >= 0.0:
                falling[i, k] += dt
            elif falling[i, k] == AUSTENITE and was >= start and now < start:
                falling[i, k] = dt * (start - now) / (was - now)
            if falling[i, k] >= 0.0 and now < end:
                cooling[i, k] = falling[i, k] - dt * (end - now) / (was - now)
                falling[i, k] = FERRITE
