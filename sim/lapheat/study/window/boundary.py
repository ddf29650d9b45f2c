"""Lines on which a measure known at scattered points is zero."""

from __future__ import annotations

from itertools import combinations, pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay, QhullError

__all__ = ["along", "level_lines", "triangles_of"]

Array = NDArray[np.float64]
Edge = tuple[int, int]


def triangles_of(places: Array) -> NDArray[np.int64]:
    """Triangles between points (n, 2); none where they do not span a plane."""
    if len(places) < 3:
        return np.empty((0, 3), dtype=np.int64)
    try:
        return np.asarray(Delaunay(places).simplices, dtype=np.int64)
    except QhullError:
        return np.empty((0, 3), dtype=np.int64)


def level_lines(places: Array, values: Array, level: float = 0.0) -> list[Array]:
    """Lines where a measure, taken as linear in each triangle between points, is at a level.

    Parameters
    ----------
    places : (n, 2) points
    values : (n,) the measure there; nan where it is not known

    Returns
    -------
    lines : (k, 2) points each, end to end; the first again at the end of a closed one
    """
    known = np.isfinite(values)
    places, above = places[known], values[known] - level
    # A node that is at the level itself counts as above it.
    crossing: dict[Edge, Array] = {}
    pairs: dict[Edge, list[Edge]] = {}
    for triangle in triangles_of(places):
        cut: list[Edge] = []
        for i, j in combinations(sorted(int(n) for n in triangle), 2):
            if (above[i] >= 0.0) != (above[j] >= 0.0):
                share = above[i] / (above[i] - above[j])
                crossing[i, j] = places[i] + share * (places[j] - places[i])
                cut.append((i, j))
        if cut:  # always two
            pairs.setdefault(cut[0], []).append(cut[1])
            pairs.setdefault(cut[1], []).append(cut[0])
    lines = []
    left = dict.fromkeys(sorted(pairs, key=lambda edge: (len(pairs[edge]), edge)))  # ends first
    while left:
        edge: Edge | None = next(iter(left))
        first, chain = edge, []
        while edge is not None:
            del left[edge]
            chain.append(edge)
            edge = next((other for other in pairs[edge] if other in left), None)
        if len(chain) > 2 and first in pairs[chain[-1]]:
            chain.append(chain[0])
        lines.append(np.array([crossing[edge] for edge in chain]))
    return lines


def along(line: Array, step: float) -> Array:
    """Points of a line (n, 2) and between them, at most `step` apart; (k, 2)."""
    parts = [line[:1]]
    for a, b in pairwise(line):
        count = max(1, ceil(float(np.abs(b - a).max()) / step))
        parts.append(a + np.arange(1, count + 1)[:, None] / count * (b - a))
    return np.concatenate(parts)
