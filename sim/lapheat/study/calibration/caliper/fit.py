"""Fit efficiency and spot to the widths of beads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from ....case.case import Case
from ....case.file import CaseError, Fault
from ...runs.rounds import Planner
from ..fit import (
    NORMAL,
    Fitted,
    blind_spots,
    fit,
    intervals,
    most_points,
    unweighted,
    weighted,
    weighting,
)
from ..measured import Beads
from ..misfit import pushed
from ..profile import Place, look_around, most_looks, widened
from .design import Next, candidates, next_bead
from .edges import Level, Looked, levels_of, look
from .tracks import BeadRuns, Track

__all__ = ["Caliper", "advised", "fit_beads", "misfit_of", "most_runs"]

Array = NDArray[np.float64]

CHANCE = 0.01  # of residuals as large as found, below which a fit is none; our judgement
PASSES = 2  # fits, the errors taken where the last one ended
SEES = {
    "efficiency": "a tint edge or a crayon's line well beside the track",
    "spot": "the melted track of beads at several currents and speeds",
}


@dataclass(frozen=True)
class Caliper:
    """A case fitted to the widths of beads.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    beads : as measured, each with its speed
    levels : of each edge
    before, after : computed track of each bead
    reading : standard deviation of a measured width [m]
    before_rms, rms : of computed less measured widths, where both show [m]
    chance : of residuals as large as these if the errors are as stated
    sigma : by which errors are larger than stated, at least 1
    detail : mesh of the fit
    blind : what the widths cannot determine, in sentences
    misfit : why it does not fit, in sentences; empty if it does
    next : the bead to run next
    """

    case: Case
    fitted: tuple[Fitted, ...]
    beads: Beads
    levels: tuple[Level, ...]
    before: tuple[Track, ...]
    after: tuple[Track, ...]
    reading: float
    before_rms: float
    rms: float
    chance: float
    sigma: float
    detail: str
    blind: tuple[str, ...]
    misfit: tuple[str, ...] = ()
    next: Next | None = None

    def computed(self, tracks: Sequence[Track]) -> Array:
        """Widths (n, edges) of tracks [m]."""
        edges = list(zip(self.beads.edges, self.levels, strict=True))
        return np.array([[t.width(e.side, level.kelvin) for e, level in edges] for t in tracks])


def fit_beads(runs: BeadRuns, beads: Beads, reading: float) -> Planner[Caliper]:
    """Fit a case to beads.

    Parameters
    ----------
    runs : of the case, with the beads' currents and speeds
    beads : as measured
    reading : standard deviation of a width [m]

    Raises
    ------
    CaseError
        There are fewer widths above 0 than unknowns, or the tube never melts.
    MarchError
        A run failed.
    """
    unknowns = tuple(replace(u, sees=SEES.get(u.name, u.sees)) for u in runs.unknowns)
    given = int((beads.widths > 0.0).sum())
    if given < len(unknowns):
        allowed = f"at least {len(unknowns)} widths above 0, as many as there is to be fitted"
        raise CaseError([Fault("", "widths", f"{given}", allowed)])
    case = runs.source.case((), runs.detail)
    levels, air = levels_of(case, beads.edges), case.surroundings.temperature
    starts = np.array([u.start for u in unknowns])

    def looked(tracks: Sequence[Track]) -> Looked:
        return look(tracks, beads.widths, beads.edges, levels, air, reading)

    (before,) = yield from runs([list(starts)], "the case as it is")
    tracks, begin = before, None
    for _ in range(PASSES):
        at = looked(tracks)
        weights = weighting(at.common / at.error[:, None])

        def residuals(
            points: Sequence[Array], at: Looked = at, weights: tuple[Array, Array] = weights
        ) -> Planner[list[Array]]:
            every = yield from runs([list(x * starts) for x in points])
            return [weighted(looked(one).off / at.error, weights) for one in every]

        found = yield from fit(unknowns, residuals, begin=begin)
        begin = found.x
        (tracks,) = yield from runs([list(found.x * starts)])
    squares = float(found.residuals @ found.residuals)
    against = int(((looked(tracks).off > 0.0) & ~at.shows).sum())  # shown nothing, but computed
    freedom = given + against - len(unknowns)
    # errors larger than stated make the interval wider, smaller ones do not make it narrower
    sigma = max(1.0, sqrt(squares / freedom)) if freedom else 1.0
    plain = unweighted(found.jacobian, weights)
    shown = replace(found, jacobian=found.jacobian[at.shows])
    fitted = intervals(unknowns, shown, sigma=sigma)

    def rises(points: Sequence[Array]) -> Planner[list[Place]]:
        found_there = yield from residuals(points)
        return [Place(float(r @ r), x) for r, x in zip(found_there, points, strict=True)]

    # Efficiency and spot go together along a bend: of two edges alone a Jacobian held the truth in
    # 52 of 60 seeds, with this in 54.
    profile = yield from look_around(found, fitted, rises, (NORMAL * sigma) ** 2)
    fitted = widened(fitted, profile)
    changes = runs.inputs([item.value for item in fitted])
    blind = blind_spots(
        *(unknowns, plain[at.shows] * reading * 1e3, fitted),
        tolerance=reading * 1e3,
        what="width",
        unit="mm",
    )
    chance = float(chi2.sf(squares, freedom)) if freedom else 1.0
    result = Caliper(
        case=runs.source.case(tuple(f"{key}={value}" for key, value in changes)),
        fitted=fitted,
        beads=beads,
        levels=levels,
        before=tuple(before),
        after=tuple(tracks),
        reading=reading,
        before_rms=0.0,
        rms=0.0,
        chance=chance,
        sigma=sigma,
        detail=runs.detail or case.detail,
        blind=blind,
    )
    result = replace(
        result,
        before_rms=_rms(result.computed(before) - beads.widths),
        rms=_rms(result.computed(tracks) - beads.widths),
    )
    return replace(result, misfit=misfit_of(result))


def advised(runs: BeadRuns, found: Caliper) -> Planner[Caliper]:
    """A fit with the bead to run next, if it is one.

    Raises
    ------
    MarchError
        A run failed.
    """
    if found.misfit:
        return found
    x = np.array([item.value / item.unknown.start for item in found.fitted])
    following = yield from next_bead(runs, found.beads, found.levels, found.reading, x, found.sigma)
    return replace(found, next=following)


def most_runs(runs: BeadRuns, beads: Beads) -> int:
    """Runs of `fit_beads` and `advised` at most."""
    unknowns = len(runs.unknowns)
    fits = 1 + PASSES * (most_points(unknowns) + 1) + most_looks(unknowns)
    following = (1 + unknowns) * (len(runs.beads) + len(candidates(beads)))
    return len(runs.beads) * fits + following


def _rms(off: Array) -> float:
    return float(np.sqrt(np.nanmean(off**2)))


def misfit_of(found: Caliper) -> tuple[str, ...]:
    """Say why a fit is none, in sentences; empty if it is one."""
    told = list(pushed(found.fitted))
    if found.chance < CHANCE:
        off = found.computed(found.after) - found.beads.widths
        worst = np.unravel_index(int(np.nanargmax(np.abs(off))), off.shape)
        there = found.beads.widths[worst]
        told.insert(
            0,
            f"the widths are off by {1e3 * found.rms:.1f} mm in the mean, more than their errors "
            f"explain (chance {100.0 * found.chance:.2g} %, wanted {100.0 * CHANCE:g} %); "
            f"most at bead {worst[0] + 1}, {found.beads.edges[worst[1]].name}: measured "
            f"{1e3 * there:.1f} mm, computed {1e3 * (there + off[worst]):.1f} mm",
        )
    return tuple(told)
