"""How long a plain explicit step of a march may be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import sparse

from .alloys import Alloy
from .arrays import IN_FILLER, PLAIN, Grid, Tables
from .constants import STEFAN_BOLTZMANN

__all__ = ["explicit_limit"]

ROUNDS = 60  # of iteration; each can only bring the bound down


def explicit_limit(grid: Grid, tables: Tables, alloys: Sequence[Alloy]) -> float:
    """Longest stable explicit step, whatever the temperatures below 3000 K [s].

    It is 2 over the fastest rate of change, which alternates from layer to layer and from cell to
    cell, so that in its rates every sign may be taken as plus: it is at most the largest
    eigenvalue of a matrix `B` without negative entries. For any positive vector x that one is at
    most the largest of ``(B x) / x`` (Collatz 1942, Math. Z. 48, 221-226), with x renewed as in
    power iteration.
    """
    table = [a.table() for a in alloys]
    k_max = np.array([t.k_max for t in table])[grid.alloy]
    c_min = np.array([t.c_min for t in table])[grid.alloy]
    steepest = (np.diff(tables.phi).max(axis=1) * tables.per_step)[grid.alloy]  # d phi / d h
    cells = np.arange(len(grid.mass))
    owner = np.repeat(cells, np.diff(grid.first))
    inside = (grid.kind == PLAIN) | (grid.kind == IN_FILLER)
    across = grid.area / (grid.near / k_max[owner] + grid.far / k_max[grid.other])
    own = 4.0 * grid.along * steepest
    np.add.at(own, owner, np.where(inside, grid.factor * steepest[owner], across / c_min[owner]))
    wall_cell = np.repeat(cells, np.diff(grid.wall_first))
    hot = 4.0 * STEFAN_BOLTZMANN * grid.emissivity * 3000.0**3 + grid.film
    through = grid.wall_area / (grid.wall_near / k_max[wall_cell] + 1.0 / np.maximum(hot, 1e-300))
    np.add.at(own, wall_cell, through / c_min[wall_cell])
    other = np.where(inside, grid.factor * steepest[grid.other], across / c_min[grid.other])
    row, column = np.concatenate([cells, owner]), np.concatenate([cells, grid.other])
    rates = sparse.csr_array((np.concatenate([own, other]) / grid.mass[row], (row, column)))
    x = np.ones(len(cells))
    for _ in range(ROUNDS):
        y = rates @ x
        fastest = float((y / x).max())
        x = np.maximum(y / y.max(), 1e-9)
    return 2.0 / fastest
