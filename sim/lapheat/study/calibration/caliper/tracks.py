"""Runs of beads on a tube: how hot the wall got on both sides of each track.

A bead is one run of `travel.segment` on a cold tube. It is measured at the middle of its length.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from ....case.file import CaseError
from ....march.errors import MarchError
from ....version import mark
from ...runs.executors import Row
from ...runs.rounds import Planner, Round
from ...runs.store import numbers_of, reads
from ...runs.trial import Trial
from ..points import PointRuns, Points, all_ran

if TYPE_CHECKING:
    from ....history.records import History

__all__ = ["BeadRuns", "Track", "run_bead"]

Array = NDArray[np.float64]

SURFACES = {"outside": "tube outside", "bore": "tube bore"}
MIDDLE = 0.1  # of a bead's length, on either side of its middle: where it is measured
NEEDLE = 1e-5  # [m] between places tried for an edge


@dataclass(frozen=True)
class Track:
    """Peak temperatures across a bead at the middle of its length.

    Attributes
    ----------
    place : (m,) along the tube from the middle of the track, rising [m]
    outside, bore : (m,) [K]
    """

    place: Array
    outside: Array
    bore: Array

    @cached_property
    def _curves(self) -> dict[str, CubicSpline]:
        return {side: CubicSpline(self.place, getattr(self, side)) for side in SURFACES}

    def at(self, side: str, place: float) -> tuple[float, float]:
        """Peak [K] at a place [m] and how it falls off there [K/m], means of both sides."""
        curve = self._curves[side]
        near = [min(place, float(self.place[-1])), max(-place, float(self.place[0]))]
        peak = 0.5 * sum(float(curve(y)) for y in near)
        return peak, 0.5 * (float(curve(near[1], 1)) - float(curve(near[0], 1)))

    def width(self, side: str, level: float) -> float:
        """Width that got as hot as a level [K]; 0 where nothing did [m]."""
        places = np.arange(self.place[0], self.place[-1], NEEDLE)
        hot = places[self._curves[side](places) >= level]
        return float(hot[-1] - hot[0]) + NEEDLE if hot.size else 0.0


@dataclass(frozen=True)
class BeadRun:
    """A trial of which a `Track` is wanted."""

    trial: Trial

    def key(self) -> str:
        """Hash of the case and of what is put over it."""
        trial = self.trial
        told = f"bead {mark()}\n{trial.detail} {trial.inputs} {trial.source}"
        return hashlib.sha256(told.encode()).hexdigest()[:24]


def run_bead(task: BeadRun) -> Row:
    """Run a bead on one thread; places [m] and peaks [K] are texts of JSON lists."""
    from ....api import simulate  # numba takes a second

    try:
        history = simulate(task.trial.case(), threads=1).history
    except (CaseError, MarchError) as error:
        return {"failed": f"{error}"}
    outside = history.surfaces[SURFACES["outside"]]
    bore = history.surfaces[SURFACES["bore"]]
    middle = _middle(history)
    row: Row = {"failed": None, "place_m": _packed(outside.position, 7)}
    row["outside_K"] = _packed(outside.peak[:, middle].mean(axis=1), 3)
    at = np.interp(outside.position, bore.position, bore.peak[:, middle].mean(axis=1))
    row["bore_K"] = _packed(at, 3)
    return row


def _middle(history: History) -> NDArray[np.bool_]:
    """Layers about the middle of the first segment."""
    run = history.segments[0]
    half = 0.5 * (run.to_angle - run.from_angle)
    off = history.surfaces[SURFACES["outside"]].angle - (run.from_angle + half)
    off = np.abs((off + np.pi) % (2.0 * np.pi) - np.pi)
    return np.asarray(off <= max(2.0 * MIDDLE * abs(half), float(off.min()) + 1e-9))


def _packed(numbers: Array, decimals: int) -> str:
    return json.dumps([round(float(number), decimals) for number in numbers])


@dataclass(frozen=True)
class BeadRuns(PointRuns):
    """Tracks of several beads at several points of the unknowns.

    Attributes
    ----------
    source, unknowns, detail : as of `PointRuns`
    beads : current [A] and speed [m/s] of each
    """

    beads: tuple[tuple[float, float], ...]

    def __call__(self, points: Points, doing: str = "fitting") -> Planner[list[list[Track]]]:
        """Track of each bead, at several points of the unknowns [SI].

        Raises
        ------
        MarchError
            A run failed.
        """
        trials = [self._trial(point, *bead) for point in points for bead in self.beads]
        rows = yield Round(doing, run_bead, [BeadRun(trial) for trial in trials])
        all_ran(trials, rows)
        tracks = [_track(row) for row in rows]
        count = len(self.beads)
        return [tracks[i * count : (i + 1) * count] for i in range(len(points))]

    def _trial(self, point: Sequence[float], current: float, speed: float) -> Trial:
        bead = (
            ("arc.current", f"{current!r} A"),
            ("travel.speed", f"{speed!r} m/s"),
            ("travel.coverage", "0.001"),  # whole segments, at least one
        )
        return Trial(self.source, (*self.inputs(point), *bead), self.detail)


def _track(row: Row) -> Track:
    return Track(*(np.array(numbers_of(row, name)) for name in ("place_m", "outside_K", "bore_K")))


def _check(task: BeadRun, row: Row) -> None:
    del task
    track = _track(row)
    for side in SURFACES:
        track.at(side, 0.0)  # rising places, as many as peaks


reads(run_bead, _check)
