"""How long a plain explicit step of a march may be."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..case.alloys import Alloy
from ..constants import STEFAN_BOLTZMANN
from .arrays import IN_FILLER, PLAIN, Grid, Tables

__all__ = ["explicit_limit"]


def explicit_limit(grid: Grid, tables: Tables, alloys: Sequence[Alloy]) -> float:
    """Longest step that keeps every cell's own share of its next value above zero [s].

    ``dt = min over cells of m / (sum over faces of G / c)``, with the mass m of a cell [kg] and::

        inside a part:  G / c = A / (d_1 + d_2) max(d phi / dh)            [kg/s]
        across parts:   G / c = A / (d_1 / k_1 + d_2 / k_2) / c
        walls:          G / c = A / (d / k + 1 / (h + 4 eps sigma (3000 K)^3)) / c

    Area A [m2], distances d [m], largest conductivity k [W/(m K)], smallest specific heat c
    [J/(kg K)], film h [W/(m2 K)]. Every slope is at its steepest, for all temperatures below
    3000 K. The fastest rate of change is at most twice the largest such share in a second
    (Gershgorin, from memory), so the step is stable too.
    """
    steepest = (np.diff(tables.phi).max(axis=1) * tables.per_step)[grid.alloy]  # d phi / d h
    table = [a.table() for a in alloys]
    k_max = np.array([t.k_max for t in table])[grid.alloy]
    c_min = np.array([t.c_min for t in table])[grid.alloy]
    rate = 2.0 * grid.along * steepest
    owner = np.repeat(np.arange(len(grid.mass)), np.diff(grid.first))
    inside = (grid.kind == PLAIN) | (grid.kind == IN_FILLER)
    np.add.at(rate, owner[inside], (grid.factor * steepest[owner])[inside])
    a, b = owner[~inside], grid.other[~inside]
    r = grid.near[~inside] / k_max[a] + grid.far[~inside] / k_max[b]
    np.add.at(rate, a, grid.area[~inside] / r / c_min[a])
    cell = np.repeat(np.arange(len(grid.mass)), np.diff(grid.wall_first))
    hot = 4.0 * STEFAN_BOLTZMANN * grid.emissivity * 3000.0**3 + grid.film
    through = grid.wall_area / (grid.wall_near / k_max[cell] + 1.0 / np.maximum(hot, 1e-300))
    np.add.at(rate, cell, through / c_min[cell])
    return float((grid.mass / rate).min())
