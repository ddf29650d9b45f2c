"""Reading temperatures between cell points: probes and the start points of segments."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Samples", "lagrange", "stack"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


class Samples(NamedTuple):
    """Weighted sums over nodes: section cells, then surface rows (nc + row), each at a layer."""

    first: Ints  # (n + 1,) where each sample's nodes begin
    node: Ints  # (m,)
    layer: Ints  # (m,)
    weight: Array  # (m,)


Nodes = list[tuple[int, float]]


def lagrange(points: Sequence[float] | Array, at: float, order: int = 4) -> Nodes:
    """Weights of polynomial interpolation at `at` on the nearest `order` ascending points.

    ``w_i = product over j != i of (x - x_j) / (x_i - x_j)`` (Lagrange, from memory); they add up to
    1. A place beyond the outermost points is moved to the nearest of them, as a polynomial must not
    be used outside its points.

    Parameters
    ----------
    points : ascending, in the unit of `at`
    at : where to read, x
    order : number of points; fewer where there are fewer
    """
    x = np.asarray(points, dtype=float)
    n = min(order, len(x))
    low = int(np.clip(np.searchsorted(x, at) - n // 2, 0, len(x) - n))
    chosen = x[low : low + n]
    at = float(np.clip(at, x[0], x[-1]))  # never beyond the outermost nodes
    nodes: Nodes = []
    for i in range(n):
        others = np.delete(chosen, i)
        nodes.append((low + i, float(np.prod((at - others) / (chosen[i] - others)))))
    return nodes


def ring_nodes(layers: int, angle: float, order: int = 4) -> Nodes:
    """Layer weights at an angle [rad] of a closed ring."""
    at = angle / (2.0 * pi) * layers - 0.5
    low = int(np.floor(at)) - order // 2 + 1
    local = lagrange(np.arange(float(order)), at - low, order)
    return [((low + i) % layers, w) for i, w in local]


def stack(samples: Sequence[Sequence[tuple[int, int, float]]]) -> Samples:
    """Pack samples given as lists of (node, layer, weight)."""
    flat = [entry for sample in samples for entry in sample]
    first = np.concatenate([[0], np.cumsum([len(s) for s in samples])]).astype(np.int64)
    return Samples(
        first=first,
        node=np.array([f[0] for f in flat], dtype=np.int64),
        layer=np.array([f[1] for f in flat], dtype=np.int64),
        weight=np.array([f[2] for f in flat], dtype=float),
    )
