"""Where the base stays solid and the filler flows: a coarse grid, then along the boundaries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product
from math import prod

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.units import in_unit, read_quantity
from ...outcomes.wording import Wording
from ..chance.knob import Knob
from ..runs.axes import Axis
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.settable import STEPS
from ..runs.trial import Source, Trial, run_trial
from .boundary import along, level_lines
from .search import FreeTrial, run_free, start_of

__all__ = [
    "MEASURES",
    "Budget",
    "Run",
    "Sweep",
    "WindowPlan",
    "knob_of",
    "map_of",
    "place_of",
    "slack",
]

Array = NDArray[np.float64]
Place = tuple[float, ...]

TOLERANCE = 0.05  # share of an axis within which a boundary is found
REACH = 0.04  # share of an axis within which a run lies of each part of a boundary
# The two boundaries: the boolean that flips there, and the measure that is zero there [K].
MEASURES = {"base_stays_solid": "base_slack_K", "filler_flows": "filler_slack_K"}
ROUNDS = 20  # of runs along the boundaries, at most
# Runs along the boundaries, at most: so many, or so many times those of the grid.
LEAST, TIMES = 100, 2
WANTED = 0.9  # chance of a pick that is good enough where none is asked for
ROUND = 9  # decimals that distinguish places
INCHES = ("in", "ft", "thou", "mil", "inch", "inches", "in/min", "in/s", "ft/min", "degF")


@dataclass(frozen=True)
class Budget:
    """How much is run to map chances, beside the map itself.

    Attributes
    ----------
    first : runs spread over axes and scatter
    rounds, looks : of more runs, and runs of each
    fresh : benches that confirm a pick
    tries : picks to confirm, at most
    pool : points of the axes, and of axes and scatter, to choose from
    nodes : of the map of chances, about
    """

    first: int = 64
    rounds: int = 2
    looks: int = 24
    fresh: int = 64
    tries: int = 3
    pool: int = 512
    nodes: int = 625


@dataclass(frozen=True)
class WindowPlan:
    """What is asked.

    Attributes
    ----------
    source : the case
    axes : keys and their values
    free : keys chosen anew at each point
    detail : mesh of the map
    sure : chance of success wanted, for a map of chances; None for a plain one
    budget : how much is run for that
    """

    source: Source
    axes: tuple[Axis, ...]
    free: tuple[Axis, ...] = ()
    detail: str = "coarse"
    sure: float | None = None
    budget: Budget = Budget()

    @property
    def wanted(self) -> float:
        """Chance below which a pick counts as poor."""
        return WANTED if self.sure is None else self.sure

    @property
    def grid(self) -> int:
        """Number of points of the grid."""
        return prod(len(axis.values) for axis in self.axes)

    @property
    def along(self) -> int:
        """Number of runs along the boundaries, at most."""
        return max(LEAST, TIMES * self.grid)


@dataclass(frozen=True)
class Run:
    """One point of the map.

    Attributes
    ----------
    place : shares of the axes, 0 to 1
    inputs : keys and their values as text, free ones too
    row : as from `run_trial`
    """

    place: Place
    inputs: tuple[tuple[str, str], ...]
    row: Row

    @property
    def works(self) -> bool:
        """Whether the base stays solid and the filler flows."""
        return all(self.row.get(name) is True for name in MEASURES)


def slack(row: Row, measure: str) -> float:
    """One of `MEASURES` of a row [K]: inf where the joint cannot fail that way, nan of no row."""
    if row.get("failed") is not None:
        return float("nan")
    value = row.get(measure)
    return float("inf") if value is None else float(value)


def knob_of(axis: Axis, case: Case) -> Knob:
    """Knob of an axis, in the shop's own steps of the axis' unit.

    A key that nobody sets at the torch, such as the wall, keeps its values. So does one whose range
    holds fewer than three of its steps.
    """
    ends = [float(read_quantity(axis.text(v) if axis.unit else v, axis.kind)) for v in
            (axis.values[0], axis.values[-1])]  # fmt: skip
    unit, step = axis.unit, Fraction(0)
    if axis.key in STEPS:
        unit, step = STEPS[axis.key].inches if axis.unit in INCHES else STEPS[axis.key].metric
    if step and in_unit(ends[1], axis.kind, unit) - in_unit(ends[0], axis.kind, unit) < 2 * step:
        unit, step = axis.unit, Fraction(0)
    ring = case.tube.circumference if axis.key == "travel.segment" else 0.0
    return Knob(axis.key, axis.kind, ends[0], ends[1], False, unit, step, ring)


def place_of(
    axes: Sequence[Axis], knobs: Sequence[Knob], place: Sequence[float]
) -> tuple[tuple[float, ...], tuple[tuple[str, str], ...]]:
    """Settable point nearest to a place: its own place, and keys with values as text."""
    shares, inputs = [], []
    for axis, knob, share in zip(axes, knobs, place, strict=True):
        given = axis.at(share)
        value = float(read_quantity(axis.text(given) if axis.unit else given, axis.kind))
        value, text = knob.settable(value)
        shares.append(round(axis.share(in_unit(value, axis.kind, axis.unit)), ROUND))
        inputs.append((axis.key, text))
    return tuple(shares), tuple(inputs)


class Sweep:
    """Runs made so far, by place.

    Parameters
    ----------
    plan : what is asked
    after : how many runs are expected after the map, at most

    Attributes
    ----------
    cut : the boundaries were too long to be followed everywhere
    words : the user's units
    """

    def __init__(self, plan: WindowPlan, after: int = 0) -> None:
        self.plan, self.after = plan, after
        self.case = plan.source.case()
        self.runs: dict[Place, Run] = {}
        self.cut = False
        self.words = Wording.of(self.case)
        self.knobs: tuple[Knob, ...] = tuple(knob_of(axis, self.case) for axis in plan.axes)
        self._free = tuple(knob_of(axis, self.case) for axis in plan.free)
        self._start = start_of(self.case, plan.free)

    def settable(self, run: Run) -> tuple[Place, tuple[tuple[str, str], ...]]:
        """Nearest point that a person can set: its place, and keys and values as text."""
        place, inputs = place_of(self.plan.axes, self.knobs, run.place)
        own = dict(run.inputs)
        chosen = [(k, float(read_quantity(own[k.key], k.kind))) for k in self._free if k.key in own]
        return place, (*inputs, *((k.key, k.settable(value)[1]) for k, value in chosen))

    def inputs_at(self, place: Place) -> tuple[tuple[str, str], ...]:
        """Keys of the axes and their values at a place, as text."""
        axes = zip(self.plan.axes, place, strict=True)
        return tuple((axis.key, axis.text(axis.at(share))) for axis, share in axes)

    def add(self, doing: str, places: list[Place], later: int = 0) -> Planner[None]:
        """Run these places; `later` trials are expected after them."""
        plan = self.plan
        trials = [Trial(plan.source, self.inputs_at(place), plan.detail) for place in places]
        if plan.free:
            searches = [FreeTrial(trial, plan.free, self._start) for trial in trials]
            rows = yield Round(doing, run_free, searches, later)
        else:
            rows = yield Round(doing, run_trial, trials, later)
        for place, trial, row in zip(places, trials, rows, strict=True):
            chosen = tuple((a.key, str(row[a.key])) for a in plan.free if a.key in row)
            self.runs[place] = Run(place, trial.inputs + chosen, row)

    def sorted(self) -> list[Run]:
        """Every run, by place."""
        return [self.runs[place] for place in sorted(self.runs)]

    def crossed(self) -> list[tuple[str, int, Run, Run]]:
        """Neighbours on a grid line between which a boundary runs: measure, axis, both runs."""
        found = []
        for axis, line in self._lines():
            for a, b in pairwise(line):
                if a.row.get("failed") is None and b.row.get("failed") is None:
                    found += [
                        (measure, axis, a, b)
                        for flag, measure in MEASURES.items()
                        if a.row[flag] != b.row[flag]
                    ]
        return found

    def _lines(self) -> Iterator[tuple[int, list[Run]]]:
        grid = [
            {round(axis.share(value), ROUND) for value in axis.values} for axis in self.plan.axes
        ]
        lines: dict[tuple[int, Place], list[Run]] = defaultdict(list)
        for place in sorted(self.runs):
            for axis in range(len(place)):
                others = place[:axis] + place[axis + 1 :]
                on_grid = grid[:axis] + grid[axis + 1 :]
                if all(share in known for share, known in zip(others, on_grid, strict=True)):
                    lines[axis, others].append(self.runs[place])
        for (axis, _), line in lines.items():
            yield axis, line

    def panels(self) -> Iterator[tuple[Place, list[Run]]]:
        """Runs over the first two axes, for each value on the grid of the others."""
        others = [[round(axis.share(v), ROUND) for v in axis.values] for axis in self.plan.axes[2:]]
        for at in product(*others):
            yield at, [run for run in self.sorted() if run.place[2:] == at]


def map_of(sweep: Sweep) -> Planner[None]:
    """Run the grid, then along the boundaries until they are located within `TOLERANCE`."""
    axes = sweep.plan.axes
    shares = [[round(axis.share(value), ROUND) for value in axis.values] for axis in axes]
    grid = list(product(*shares))
    left = sweep.plan.along
    yield from sweep.add("grid", grid, later=left + sweep.after)
    for number in range(1, ROUNDS):
        new = _on_lines(sweep) or _between_lines(sweep)
        if not new:
            break
        if len(new) > left:
            sweep.cut, new = True, new[:left]
            if not new:
                break
        left -= len(new)
        yield from sweep.add(f"boundaries, round {number}", new, later=left + sweep.after)


def _on_lines(sweep: Sweep) -> list[Place]:
    """Where to run next to close in the crossings of the grid's lines."""
    places: set[Place] = set()
    for measure, axis, a, b in sweep.crossed():
        ends = a.place[axis], slack(a.row, measure), b.place[axis], slack(b.row, measure)
        share = _between(*ends)
        if share is not None:
            places.add((*a.place[:axis], round(share, 3), *a.place[axis + 1 :]))
    return sorted(places - sweep.runs.keys())


def _between_lines(sweep: Sweep) -> list[Place]:
    """Where to run next so that no part of a boundary, as drawn, is far from a run."""
    new: list[Place] = []
    if len(sweep.plan.axes) == 1:  # its boundaries are points, not lines
        return new
    for others, runs in sweep.panels():
        near = np.array([run.place[:2] for run in runs])
        for measure in MEASURES.values():
            values = np.array([slack(run.row, measure) for run in runs])
            values[~np.isfinite(values)] = np.nan
            for line in level_lines(near[: len(values)], values):
                for point in along(line, 0.2 * TOLERANCE):
                    if np.abs(near - point).max(axis=1).min() > REACH:
                        first, second = (round(float(share), 3) for share in point)
                        new.append((first, second, *others))
                        near = np.vstack([near, point])
    return [place for place in dict.fromkeys(new) if place not in sweep.runs]


def _between(a: float, fa: float, b: float, fb: float) -> float | None:
    """Where to look next for a zero between `a` and `b`; None once they are close enough."""
    width = b - a
    if width <= TOLERANCE * (1.0 + 1e-9):
        return None
    if width <= 2.0 * TOLERANCE or not np.isfinite(fa - fb) or fa * fb > 0.0 or fa == fb:
        return 0.5 * (a + b)
    guess = a + width * fa / (fa - fb)
    # near an end, a run just beyond the guess closes it in at once
    if guess - a <= 0.8 * TOLERANCE:
        return a + TOLERANCE
    if b - guess <= 0.8 * TOLERANCE:
        return b - TOLERANCE
    if width <= 4.0 * TOLERANCE:
        return 0.5 * (a + b)
    return min(max(guess, a + 0.25 * width), b - 0.25 * width)
