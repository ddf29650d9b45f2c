"""Which bead to run next, to learn most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ....case.units import SPEED, in_unit, read_quantity
from ...runs.rounds import Planner
from ..fit import NORMAL, steps_inside, weighted, weighting
from ..measured import Beads
from .edges import Level, look
from .tracks import BeadRuns, Track

__all__ = ["Next", "candidates", "next_bead"]

Array = NDArray[np.float64]

SEEN = 1e-3  # [m] a predicted width below this is no use to a caliper


@dataclass(frozen=True)
class Next:
    """The bead that would tell most.

    Attributes
    ----------
    current, speed : [A], [m/s]
    widths : expected at each edge [m]
    now, then : half a 95 % interval of each unknown without it and with it [SI]
    currents, speeds : lowest and highest that were tried
    """

    current: float
    speed: float
    widths: tuple[float, ...]
    now: tuple[float, ...]
    then: tuple[float, ...]
    currents: tuple[float, float]
    speeds: tuple[float, float]


def _halves(jacobian: Array, error: Array, common: Array, sigma: float) -> Array:
    """Half a 95 % interval of each x, of widths whose peaks have a Jacobian [K] (n, k)."""
    white = weighted(jacobian / error[:, None], weighting(common / error[:, None]))
    cover = np.linalg.pinv(white.T @ white, rcond=1e-14)
    return np.asarray(NORMAL * sigma * np.sqrt(np.maximum(np.diag(cover), 0.0)))


def candidates(beads: Beads) -> list[tuple[float, float]]:
    """Currents [A] and speeds [m/s] about those of the beads, as a person would set them."""
    amps = np.linspace(0.8 * beads.current.min(), 1.2 * beads.current.max(), 5)
    fast = np.linspace(0.7 * beads.speed.min(), 1.4 * beads.speed.max(), 4)
    told = [f"{in_unit(v, SPEED, beads.speed_unit):.2g} {beads.speed_unit}" for v in fast.tolist()]
    speeds = [float(read_quantity(text, SPEED)) for text in told]
    return [(float(round(current)), v) for current in amps.tolist() for v in speeds]


def next_bead(
    runs: BeadRuns, beads: Beads, levels: Sequence[Level], reading: float, x: Array, sigma: float
) -> Planner[Next | None]:
    """Bead that shrinks the intervals most; none that melts the bore wider than those so far.

    The Jacobian of each candidate is put under that of the beads. The least sum of squares of the
    intervals over their values decides (A-optimal design: Atkinson, Donev and Tobias 2007,
    Optimum Experimental Designs, with SAS, 10.1, from memory).

    Parameters
    ----------
    runs : of the beads
    beads, levels, reading : as of `fit_beads`
    x : unknowns over their starts at the fit
    sigma : by which errors are larger than stated

    Raises
    ------
    MarchError
        A run failed.
    """
    unknowns, edges = runs.unknowns, beads.edges
    case = runs.source.case((), runs.detail)
    air, alloy = case.surroundings.temperature, case.alloys[case.tube.alloy]
    starts = np.array([u.start for u in unknowns])
    steps = steps_inside(x, np.array([u.high for u in unknowns]) / starts)
    points = [list(x * starts) for x in (x, *(x + np.diag(steps)))]

    def seen(tracks: list[list[Track]], widths: Array) -> tuple[Array, Array, Array]:
        """Jacobian, error and common error of the widths that show."""
        all_ = [look(t, widths, edges, levels, air, reading) for t in tracks]
        slopes = [(there.off - all_[0].off) / s for there, s in zip(all_[1:], steps, strict=True)]
        shows = all_[0].shows
        return np.stack(slopes, axis=1)[shows], all_[0].error[shows], all_[0].common[shows]

    own = yield from runs(points, "the next bead")
    base = seen(own, beads.widths)
    now = _halves(*base, sigma)
    tried = candidates(beads)
    others = yield from replace(runs, beads=tuple(tried))(points, "the next bead")
    melting = np.inf if alloy.solidus is None else alloy.solidus
    widest = max(track.width("bore", melting) for track in own[0]) + SEEN
    best: Next | None = None
    least = np.inf
    for n, (current, speed) in enumerate(tried):
        tracks = [[point[n]] for point in others]
        pairs = zip(edges, levels, strict=True)
        widths = np.array([[tracks[0][0].width(e.side, level.kelvin) for e, level in pairs]])
        if tracks[0][0].width("bore", melting) > widest:
            continue
        shown = np.where(widths >= SEEN, widths, np.nan)
        if np.isnan(shown).all():
            continue
        more = seen(tracks, shown)
        both = [np.concatenate(pair) for pair in zip(base, more, strict=True)]
        then = _halves(both[0], both[1], both[2], sigma)
        score = float(np.sum((then / x) ** 2))
        if score < least:
            least = score
            best = Next(
                *(current, speed, tuple(widths[0].tolist())),
                now=tuple((now * starts).tolist()),
                then=tuple((then * starts).tolist()),
                currents=(min(i for i, _ in tried), max(i for i, _ in tried)),
                speeds=(min(v for _, v in tried), max(v for _, v in tried)),
            )
    return best
