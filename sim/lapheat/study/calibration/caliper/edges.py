"""Edges that show on a bead: what each marks, and how far a computed track is off it.

At an edge the wall just reached what the edge marks. So the computed peak half a measured width
off the middle is compared with that temperature. Over the fall of temperature there the difference
is a distance, which a caliper can be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from ....case.case import Case
from ....case.file import CaseError, Fault
from ....constants import ZERO_CELSIUS
from ..measured import Edge
from .tracks import Track

__all__ = ["Level", "Looked", "levels_of", "look"]

Array = NDArray[np.float64]

TINT_ERROR = 30.0  # [K] of the temperature where colour begins (estimate)
CRAYON_ERROR = 0.01  # of a crayon's temperature [degC]; common practice, no source
MESH = 0.005  # of the rise: a coarse bead is 0.4 % off its closed form, see the README


@dataclass(frozen=True)
class Level:
    """Temperature that an edge marks and its standard deviation [K]."""

    kelvin: float
    error: float


@dataclass(frozen=True)
class Looked:
    """What a caliper would see of tracks, of n widths that were measured.

    Attributes
    ----------
    off : (n,) computed peak at the measured edge less what the edge marks [K]
    error : (n,) standard deviation of that from reading and mesh, of a width of 0 from what its
        edge marks too [K]
    common : (n, temperatures) one standard deviation of what edges mark, outside and in the bore
        alike; 0 for a width of 0 [K]
    shows : (n,) the width is above 0; one of 0 only bounds the fit and narrows no interval
    """

    off: Array
    error: Array
    common: Array
    shows: NDArray[np.bool_]


def levels_of(case: Case, edges: Sequence[Edge]) -> tuple[Level, ...]:
    """Temperature of each edge: melting somewhere between solidus and liquidus, each as likely.

    Raises
    ------
    CaseError
        The tube never melts, and a melted width was measured.
    """
    alloy = case.alloys[case.tube.alloy]
    found = []
    for edge in edges:
        if edge.kind != "melt":
            off = CRAYON_ERROR * abs(edge.level - ZERO_CELSIUS)
            found.append(Level(edge.level, TINT_ERROR if edge.kind == "tint" else off))
        elif alloy.solidus is None or alloy.liquidus is None:
            raise CaseError([Fault("", edge.name, "widths", "none: the tube's alloy never melts")])
        else:
            half = 0.5 * (alloy.liquidus - alloy.solidus)
            found.append(Level(alloy.solidus + half, half / sqrt(3.0)))
    return tuple(found)


def look(
    tracks: Sequence[Track],
    widths: Array,
    edges: Sequence[Edge],
    levels: Sequence[Level],
    air: float,
    reading: float,
) -> Looked:
    """Compare tracks with measured widths.

    A width of 0 says that the edge's temperature was not reached: what is below it is no residual.

    Parameters
    ----------
    tracks : computed, one a bead
    widths : (beads, edges) measured [m]; nan where none was
    edges, levels : what was measured, and at which temperature
    air : temperature before the arc [K]
    reading : standard deviation of a width [m]
    """
    marks = [(edge.kind, level.kelvin) for edge, level in zip(edges, levels, strict=True)]
    apart = list(dict.fromkeys(marks))
    off, error, common = [], [], []
    for track, row in zip(tracks, widths, strict=True):
        for n, (edge, level, width) in enumerate(zip(edges, levels, row.tolist(), strict=True)):
            if not isfinite(width):
                continue
            peak, fall = track.at(edge.side, 0.5 * width)
            _, beside = track.at(edge.side, 0.5 * max(width, reading))
            lacking = peak - level.kelvin
            off.append(max(lacking, 0.0) if width == 0.0 else lacking)
            mesh = MESH * (level.kelvin - air)
            # one of 0 bounds alone: what its edge marks is no error that it shares with others
            alone, shared = (level.error, 0.0) if width == 0.0 else (0.0, level.error)
            error.append(hypot(0.5 * reading * max(fall, beside), mesh, alone))
            common.append([shared if mark == marks[n] else 0.0 for mark in apart])
    shows = widths[np.isfinite(widths)] > 0.0
    return Looked(np.array(off), np.array(error), np.array(common), shows)
