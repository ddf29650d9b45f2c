"""The window: the map, how far its mesh is off, the pick, and what to know before it is used."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ...case.case import Case
from ...case.units import LENGTH, NUMBER, read_quantity
from ..runs.axes import at_bound
from ..runs.rounds import Planner
from ..runs.standing import laid_share, part_of_ring
from .map import Run, Sweep, WindowPlan, map_of
from .pick import Difference, Pick, choose, probe

__all__ = ["Window", "window_of"]

SEGMENT, COVERAGE = "travel.segment", "travel.coverage"


@dataclass(frozen=True)
class Window:
    """A finished map.

    Attributes
    ----------
    plan : what was asked
    case : at its own detail and its own settings
    runs : by place
    differences : of two points, the case's own detail from the map's
    pick : the point to set, if any works
    """

    plan: WindowPlan
    case: Case
    runs: tuple[Run, ...]
    differences: tuple[Difference, ...]
    pick: Pick

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know before the pick is used, in sentences."""
        return *_about_ring(self), *_about_edge(self)


def window_of(plan: WindowPlan) -> Planner[Window]:
    """Map a case and pick the quickest point that works.

    Parameters
    ----------
    plan : what is asked
    """
    sweep = Sweep(plan)
    yield from map_of(sweep)
    differences = yield from probe(sweep)
    pick = yield from choose(sweep, differences)
    return Window(plan, sweep.case, tuple(sweep.sorted()), tuple(differences), pick)


def _about_ring(window: Window) -> Iterator[str]:
    """Say that only part of the ring is run, and whether it is the same part everywhere."""
    settings = {
        tuple((key, value) for key, value in run.inputs if key in (SEGMENT, COVERAGE))
        for run in window.runs
    }
    shares = [_share(window.case, dict(setting)) for setting in settings]
    least, most = min(shares), max(shares)
    if least == most:
        if told := part_of_ring(most):
            yield told
        return
    varied = [
        key for key in (SEGMENT, COVERAGE) if any(key in dict(setting) for setting in settings)
    ]
    yield (
        f"Times are not comparable, as {' and '.join(varied)} "
        f"{'varies' if len(varied) == 1 else 'vary'} and the laid length with it: from "
        f"{100 * least:.0f} to {100 * most:.0f} % of the ring from point to point. With "
        "travel.coverage = 1 all of it is laid everywhere."
    )


def _share(case: Case, inputs: dict[str, str]) -> float:
    """Share of the ring laid with another segment length and coverage."""
    travel = case.travel
    if SEGMENT in inputs:
        travel = replace(travel, segment=float(read_quantity(inputs[SEGMENT], LENGTH)))
    if COVERAGE in inputs:
        travel = replace(travel, coverage=float(read_quantity(inputs[COVERAGE], NUMBER)))
    return laid_share(replace(case, travel=travel))


def _about_edge(window: Window) -> Iterator[str]:
    """Say where the pick lies on the edge of the map, unless a case file allows nothing beyond."""
    plan, run = window.plan, window.pick.run
    inputs = {} if run is None else dict(run.inputs)
    edges = [
        f"{axis.key} = {inputs[axis.key]}, the {'lowest' if end == 0.0 else 'highest'} tried"
        for axis in (*plan.axes, *plan.free)
        for end in (0.0, 1.0)
        if inputs.get(axis.key) == axis.text(axis.at(end)) and not at_bound(axis, axis.at(end))
    ]
    if edges:
        yield (
            f"The pick lies on the edge of the map: {'; '.join(edges)}. "
            "Settings beyond may be better."
        )
