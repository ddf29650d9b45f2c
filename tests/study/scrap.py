"""Made-up beads on a scrap tube, measured with a caliper: what a calibration should find again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lapheat.study.calibration.caliper.edges import levels_of
from lapheat.study.calibration.caliper.tracks import BeadRuns, Track
from lapheat.study.calibration.measured import Beads, Edge
from lapheat.study.calibration.unknowns import unknowns_of
from lapheat.study.runs import Planner, Source
from study.beads import BEAD, TRUTH
from study.stand_in import at_once, now

Array = NDArray[np.float64]

SOURCE = Source(BEAD[: BEAD.index("[[probe]]")], "scrap.toml")
SET = ((60.0, 3e-3), (70.0, 3e-3), (76.0, 4e-3))  # [A], [m/s]
EDGES = (
    Edge("melt_outside_width", "melt", "outside", np.nan),
    Edge("melt_bore_width", "melt", "bore", np.nan),
    Edge("tint_outside_width", "tint", "outside", 673.15),
    Edge("crayon_bore_width", "crayon", "bore", 616.15),
)
READING = 0.3e-3
EFFICIENCY, SPOT = (0.60, 0.68, 0.76), (1.9e-3, 2.3e-3, 2.7e-3)
PLACE = np.linspace(-18e-3, 18e-3, 145)


def runs_of(beads: Sequence[tuple[float, float]] = SET) -> BeadRuns:
    told = unknowns_of(SOURCE.case(), "efficiency,spot")
    return BeadRuns(SOURCE, told, "coarse", tuple(beads))


def measured(
    tracks: Sequence[Track],
    seed: int,
    edges: Sequence[Edge] = EDGES,
    strayed: bool = False,
    beads: Sequence[tuple[float, float]] = SET,
) -> Beads:
    """What a caliper would have shown; `strayed`: edges mark other temperatures than they should.

    What is no wider than its reading error is read as 0.
    """
    rng = np.random.default_rng(seed)
    levels = levels_of(SOURCE.case(), edges)
    kinds = {edge.kind: strayed * rng.normal() for edge in edges}
    marked = [v.kelvin + kinds[e.kind] * v.error for v, e in zip(levels, edges, strict=True)]
    true = np.array(
        [[t.width(e.side, k) for e, k in zip(edges, marked, strict=True)] for t in tracks]
    )
    read = np.where(true > READING, true + READING * rng.normal(size=true.shape), 0.0)
    current, speed = np.array(beads).T
    return Beads(current, speed, tuple(edges), np.maximum(read, 0.0), "mm/s", "mm")


@dataclass(frozen=True)
class Emulated(BeadRuns):
    """Tracks by parabolas through nine true runs around the truth, one of them at it."""

    table: Array = field(default_factory=lambda: np.empty(0))

    def __call__(
        self, points: Sequence[Sequence[float]], doing: str = ""
    ) -> Planner[list[list[Track]]]:
        del doing
        return at_once([[_track(values) for values in self._at(*point)] for point in points])

    def _at(self, efficiency: float, spot: float) -> Array:
        along = _weights(EFFICIENCY, efficiency), _weights(SPOT, spot)
        return np.asarray(np.einsum("i,j,ijbsy->bsy", *along, self.table))


def _track(values: Array) -> Track:
    return Track(PLACE, values[0], values[1])


def _weights(nodes: Sequence[float], x: float) -> Array:
    return np.array([np.prod([(x - o) / (node - o) for o in nodes if o != node]) for node in nodes])


def emulated() -> Emulated:
    runs = runs_of()
    true = now(runs(list(product(EFFICIENCY, SPOT))))
    sides = ("outside", "bore")
    table = [
        [[[t.at(side, y)[0] for y in PLACE.tolist()] for side in sides] for t in tracks]
        for tracks in true
    ]
    shape = (3, 3, len(SET), 2, len(PLACE))
    empty = Emulated(runs.source, runs.unknowns, runs.detail, runs.beads)
    return replace(empty, table=np.array(table).reshape(shape))


def truth(runs: BeadRuns) -> list[Track]:
    (tracks,) = now(runs([TRUTH]))
    return tracks
