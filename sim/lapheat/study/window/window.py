"""The window: the map, how far its mesh is off, the pick, and what to know before it is used."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import inf, isfinite, isnan

from ...case.case import Case
from ...case.units import LENGTH, NUMBER, in_unit, read_quantity
from ...outcomes.wording import Wording
from ..runs.axes import at_bound
from ..runs.executors import Row
from ..runs.rounds import Planner
from ..runs.standing import laid_share, near_limit, part_of_ring
from . import pick as plainly
from . import sure as surely
from .map import MEASURES, Run, Sweep, WindowPlan, map_of, slack
from .sure import Chances
from .tried import Difference, Pick, Picks, probe

__all__ = ["Window", "most_runs", "window_of"]

SEGMENT, COVERAGE = "travel.segment", "travel.coverage"
ROUGH = 0.8  # explained share of runs left out from which contours are believed
PRESSED = 0.1  # of the time with the arc on, from which a pedal on a limit is worth a word
EDGE = 0.01  # share of an axis


@dataclass(frozen=True)
class Window:
    """A finished map.

    Attributes
    ----------
    plan : what was asked
    case : at its own detail and its own settings
    runs : by place
    differences : of two points, the case's own detail from the map's
    pick : the quickest that works, or that is sure enough, if any
    safest : the one least likely to fail; it may be the same
    chances : over the map, if they were asked for
    cut : the boundaries were too long to be followed everywhere
    """

    plan: WindowPlan
    case: Case
    runs: tuple[Run, ...]
    differences: tuple[Difference, ...]
    pick: Pick
    safest: Pick | None = None
    chances: Chances | None = None
    cut: bool = False

    @property
    def stretches(self) -> tuple[tuple[float, float], ...]:
        """Where an only key works, in its unit: ends of each stretch, straight between its runs."""
        if len(self.plan.axes) != 1:
            return ()
        (axis,) = self.plan.axes
        found: list[list[float]] = []
        before: tuple[float, float] | None = None  # value of the key and least slack of a run
        for run in sorted(self.runs, key=lambda run: run.place):
            at = axis.at(run.place[0])
            least = min(slack(run.row, measure) for measure in MEASURES.values())
            least = -inf if isnan(least) else least  # it failed
            works, worked = least >= 0.0, before is not None and before[1] >= 0.0
            if works != worked:
                end = at if before is None else _zero(before, (at, least))
                found.append([end]) if works else found[-1].append(end)
            before = at, least
        if before is not None and before[1] >= 0.0:
            found[-1].append(before[0])
        return tuple((low, high) for low, high in found)

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know before the pick is used, in sentences."""
        return *_about_ring(self), *_about_map(self), *_about_picks(self)


def _zero(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Where a straight line from one point to another is zero; at the one that is finite."""
    (a, low), (b, high) = one, other
    if isfinite(low) and isfinite(high):
        return a + (b - a) * low / (low - high)
    return a if low >= 0.0 else b


def most_runs(plan: WindowPlan, own: str) -> tuple[int, int]:
    """Runs that a window takes at most: at the map's detail, and at the case's own, if finer.

    A point with free keys counts as one; so does the search of keys where nothing works.
    """
    if plan.sure is None:
        after = plainly.after_map(plan.detail, own)
    else:
        after = surely.after_map(plan.detail, own, plan.sure, plan.budget)
    return plan.grid + plan.along + after[0], after[1]


def window_of(plan: WindowPlan) -> Planner[Window]:
    """Map a case and pick the quickest point that works, or that is sure enough.

    Parameters
    ----------
    plan : what is asked
    """
    sweep = Sweep(plan)
    sweep.after = sum(most_runs(plan, sweep.case.detail)) - plan.grid - plan.along
    yield from map_of(sweep)
    differences = yield from probe(sweep)
    chances: Chances | None = None
    picks: Picks
    if plan.sure is None:
        picks = yield from plainly.choose(sweep, differences)
    else:
        picks, chances = yield from surely.sure_picks(sweep, differences, plan.sure)
    return Window(
        plan, sweep.case, tuple(sweep.sorted()), tuple(differences), picks.quickest, picks.safest,
        chances, sweep.cut,
    )  # fmt: skip


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


def _about_map(window: Window) -> Iterator[str]:
    """Say where the map is less than it seems."""
    if window.cut:
        yield (
            f"The boundaries are long: after {window.plan.along} runs along them they are not "
            "followed everywhere to a twentieth of an axis. A shorter range shows more."
        )
    if window.chances is not None and min(window.chances.q2) < ROUGH:
        yield (
            f"The contours are rough: the fit explains {100 * min(window.chances.q2):.0f} % of "
            "runs left out. The chances of the picks are those of fresh benches."
        )


def _about_picks(window: Window) -> Iterator[str]:
    """Say where a pick lies on the edge of the map, on a limit of the pedal, or near a limit."""
    picks = {"The quickest": window.pick, "The safest": window.safest}
    if window.safest is not None and window.safest.run == window.pick.run:
        del picks["The safest"]
    for name, pick in picks.items():
        if pick is not None and pick.run is not None:
            yield from _about_edge(window, name, dict(pick.run.inputs), pick.run.place)
            yield from _about_pedal(name, pick.confirmed or {})
            yield from _about_mesh(window, name, pick.confirmed or {})


def _about_edge(
    window: Window, name: str, inputs: dict[str, str], place: tuple[float, ...]
) -> Iterator[str]:
    """Say where it lies on the edge of the map, unless a case file allows nothing beyond."""
    plan = window.plan
    shares = dict(zip((axis.key for axis in plan.axes), place, strict=True))
    for axis in plan.free:
        value = float(read_quantity(inputs[axis.key], axis.kind))
        shares[axis.key] = axis.share(in_unit(value, axis.kind, axis.unit))
    edges = [
        f"{axis.key} = {inputs[axis.key]}, the {'lowest' if end == 0.0 else 'highest'} tried"
        for axis in (*plan.axes, *plan.free)
        for end in (0.0, 1.0)
        if abs(shares[axis.key] - end) < EDGE and not at_bound(axis, axis.at(end))
    ]
    if edges:
        yield (
            f"{name} lies on the edge of the map: {'; '.join(edges)}. "
            "Settings beyond may be better."
        )


def _about_pedal(name: str, row: Row) -> Iterator[str]:
    """Say where the pedal stands on a limit of its range for long."""
    on = float(row.get("arc_on_s") or 0.0)
    for limit, column in (("top", "pedal_high_s"), ("bottom", "pedal_low_s")):
        there = float(row.get(column) or 0.0)
        if on > 0.0 and there > PRESSED * on:
            yield (
                f"{name} has the pedal at the {limit} of arc.current_range for {there:.0f} of "
                f"{on:.0f} s of arc, so it cannot keep arc.hold: change the range or the hold."
            )


def _about_mesh(window: Window, name: str, row: Row) -> Iterator[str]:
    """Say where it is nearer to a limit than its mesh can tell."""
    if told := near_limit(row, window.case.detail, Wording.of(window.case)):
        yield f"{name} is near a limit: {told}."
