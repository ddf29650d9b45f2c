"""How likely a bench melts the base or makes the filler fail, and what drives it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...march.errors import MarchError
from ..chance.bench import HALF, Input, inputs_of, points
from ..chance.samples import (
    Chance,
    ChanceTask,
    Sample,
    chance_row,
    run_sample,
    smooth_from,
    values_of,
    whole_of,
)
from ..chance.smooth import Smooth
from ..chance.surrogate import Shares
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.standing import FAILS
from ..runs.trial import Source, Trial
from .tasks import ShareTask, share_row, shares_from

__all__ = [
    "Driver",
    "Event",
    "Risk",
    "RiskPlan",
    "Sample",
    "assess",
    "most_runs",
    "plan_of",
    "run_sample",
    "samples_of",
]

Array = NDArray[np.float64]

FIRST = 64  # samples before the first look whether the intervals are narrow enough
MARGIN, SLACK = "margin_K", "filler_slack_K"


@dataclass(frozen=True)
class RiskPlan:
    """What is asked.

    Attributes
    ----------
    source : the case with every default filled in, so that what is left alone stays as it is
    case : read from it
    inputs : what varies
    detail : mesh of the runs
    samples : at most
    seed : of the points
    within : half width of both intervals at which it stops early, 0 never
    """

    source: Source
    case: Case
    inputs: tuple[Input, ...]
    detail: str
    samples: int
    seed: int
    within: float


def plan_of(
    source: Source, detail: str, samples: int = 256, seed: int = 0, within: float = 0.02
) -> RiskPlan:
    """Plan for a case; see `RiskPlan`.

    Raises
    ------
    CaseError
        The case has faults.
    """
    case = source.case()
    return RiskPlan(
        whole_of(case, source.name), case, inputs_of(case), detail, samples, seed, within
    )


def most_runs(plan: RiskPlan) -> tuple[int, int]:
    """Runs at most: the samples, and the case as it is on both meshes."""
    same = plan.detail == plan.case.detail
    return plan.samples + (0 if same else 1), 0 if same else 1


@dataclass(frozen=True)
class Event:
    """The base melts, or the filler fails: a measure falls below zero.

    Attributes
    ----------
    values : (n,) the measure of each run [K], nan of a failed one
    chance : that it is below zero
    difference : at the case's own detail less at the runs', for the case as it is [K]; None if
        they are the same detail, or it is not known
    shifted : chance with that difference on every run
    smooth : chance by the fitted response; it counts where that is good enough
    shares : what drives the measure; None if it does not vary
    slopes : (d,) what each input's half spread, upward, does to the measure [K]
    """

    values: Array
    chance: Chance
    difference: float | None
    shifted: Chance | None
    smooth: Smooth
    shares: Shares | None
    slopes: Array


@dataclass(frozen=True)
class Driver:
    """An input and its shares of the variance of margin and slack: alone, and with all others."""

    input: Input
    base: tuple[float, float] | None
    filler: tuple[float, float] | None
    base_slope: float | None
    filler_slope: float | None

    @property
    def weight(self) -> float:
        """Larger of the total shares."""
        return max(pair[1] if pair else 0.0 for pair in (self.base, self.filler))


@dataclass(frozen=True)
class Risk:
    """A finished assessment.

    Attributes
    ----------
    at : (n, d) samples, in standard deviations of each input
    rows : of the samples
    base : the base melts: a part reaches its solidus; None if it cannot
    filler : the filler fails: too little of a side is wet, a dry stretch is too long, or a limit
        of the filler or the lap is passed; None for a bead
    short : chance that the base keeps less than the wanted margin
    fails : chance that either happens: one less the chance of success
    shifted : the same, counted, with what the case's own detail differs by on every run
    """

    plan: RiskPlan
    at: Array
    rows: tuple[Row, ...]
    base: Event | None
    filler: Event | None
    short: Chance
    fails: Smooth
    shifted: Chance | None

    @property
    def failed(self) -> int:
        """Number of samples that could not be computed."""
        return sum(row.get("failed") is not None for row in self.rows)

    @property
    def filler_fails(self) -> dict[str, int]:
        """Number of samples in which the filler fails, by the limit that it fails most."""
        known = [row for row in self.rows if row.get(SLACK) is not None]
        failing = [
            str(row.get("filler_binding")) for row in known if float(row[SLACK] or 0.0) < 0.0
        ]
        return {key: failing.count(key) for key in FAILS if key in failing}

    @property
    def trusted(self) -> bool:
        """Whether the shares can be believed."""
        shares = [event.shares for event in (self.base, self.filler) if event is not None]
        return all(found is None or found.trusted for found in shares)

    @property
    def drivers(self) -> list[Driver]:
        """Inputs, the one with the larger total share first."""

        def of(event: Event | None, i: int) -> tuple[tuple[float, float] | None, float | None]:
            if event is None or event.shares is None:
                return None, None
            shares = event.shares
            return (float(shares.first[i]), float(shares.total[i])), float(event.slopes[i])

        found = []
        for i, item in enumerate(self.plan.inputs):
            base, base_slope = of(self.base, i)
            filler, filler_slope = of(self.filler, i)
            found.append(Driver(item, base, filler, base_slope, filler_slope))
        return sorted(found, key=lambda driver: (-driver.weight, driver.input.name))


def samples_of(plan: RiskPlan, at: Array) -> list[Sample]:
    """Samples at points, each input in its own standard deviations."""
    return [
        Sample(
            Trial(
                plan.source,
                tuple((i.key, i.text(z)) for i, z in zip(plan.inputs, point, strict=True)),
                plan.detail,
            )
        )
        for point in at
    ]


def _stages(samples: int) -> Iterator[int]:
    """Numbers of samples at which to look, in powers of two, the last all of them."""
    stage = FIRST
    while stage < samples:
        yield stage
        stage *= 2
    yield samples


def assess(plan: RiskPlan) -> Planner[Risk]:
    """Run the samples and judge them.

    Parameters
    ----------
    plan : what is asked
    """
    at = points(plan.samples, len(plan.inputs), plan.seed)
    trials = samples_of(plan, at)
    same = plan.detail == plan.case.detail
    # the case as it is, at both details; the finer run first, for it takes as long as many
    probes = (
        [] if same else [Sample(Trial(plan.source, (), detail)) for detail in (None, plan.detail)]
    )
    nominal = len(probes)
    rows: list[Row] = []
    for stage in _stages(plan.samples):
        new = trials[max(0, len(rows) - nominal) : stage]
        asked = new if rows else [*probes, *new]
        later = plan.samples - stage
        rows += yield Round("samples of the bench", run_sample, asked, later)
        early = stage < plan.samples
        if early and not plan.within:
            continue
        chances = yield from _chances(plan, at[:stage], rows[nominal:])
        if early and any(each.high - each.low > 2.0 * plan.within for each in chances):
            continue
        risk = yield from _judged(plan, at[:stage], rows[nominal:], rows[:nominal], chances)
        if not early or risk.trusted:
            break
    return risk


def _measured(rows: Sequence[Row]) -> tuple[list[str], NDArray[np.bool_]]:
    """Measures that can fail at all, and which runs could be computed.

    Raises
    ------
    MarchError
        None could.
    """
    known = np.array([row.get("failed") is None for row in rows])
    if not known.any():
        why, times = Counter(str(row.get("failed")) for row in rows).most_common(1)[0]
        raise MarchError(
            f"no sample could be computed, so there is no chance: {why} ({times} times)"
        )
    names = [name for name in (MARGIN, SLACK) if np.isfinite(values_of(rows, name)).any()]
    return names, known


def _chances(plan: RiskPlan, at: Array, rows: Sequence[Row]) -> Planner[tuple[Smooth, ...]]:
    """Chance of each measure that can fail, and of any; seconds of work, so a task."""
    names, known = _measured(rows)
    if not names:
        return ()
    measures = tuple(values_of(rows, name)[known] for name in names)
    task = ChanceTask(at[known], measures, int((~known).sum()), plan.seed)
    (row,) = yield Round("chances", chance_row, [task], kept=False)
    if row.get("failed") is not None:
        raise MarchError(str(row["failed"]))
    return tuple(smooth_from(row, i) for i in range(len(names) + 1))


def _chance(values: Array, limit: float = 0.0) -> Chance:
    known = values[~np.isnan(values)]
    return Chance(int((known < limit).sum()), len(known), len(values) - len(known))


def _judged(
    plan: RiskPlan,
    at: Array,
    rows: Sequence[Row],
    nominal: Sequence[Row],
    chances: tuple[Smooth, ...],
) -> Planner[Risk]:
    """Judge the samples run so far; shares take seconds each and are computed as tasks."""
    names, _ = _measured(rows)
    tasks = []
    for name in names:
        values = values_of(rows, name)
        known = np.isfinite(values)
        tasks.append(ShareTask(at[known], values[known], plan.seed))
    found: list[Row] = [{"failed": "nothing varies"}] * len(tasks)
    if plan.inputs:
        found = yield Round("what drives it", share_row, tasks, kept=False)
    events: dict[str, Event] = {}
    for i, name in enumerate(names):
        values = values_of(rows, name)
        difference = None
        if nominal:
            own, ours = (float(values_of([row], name)[0]) for row in nominal)
            difference = own - ours if isfinite(own - ours) else None
        events[name] = Event(
            values=values,
            chance=_chance(values),
            difference=difference,
            shifted=None if difference is None else _chance(values + difference),
            smooth=chances[i],
            shares=shares_from(found[i], len(plan.inputs)),
            slopes=_slopes(tasks[i]),
        )
    short = _chance(values_of(rows, MARGIN), plan.case.limits.base_margin)
    fails = chances[-1] if chances else Smooth(0.0, 0.0, 0.0, 1.0, used=False)
    return Risk(
        plan, at, tuple(rows), events.get(MARGIN), events.get(SLACK), short, fails, _shifted(events)
    )


def _shifted(events: Mapping[str, Event]) -> Chance | None:
    """Chance that any event comes, with each one's difference on every run."""
    if all(event.difference is None for event in events.values()):
        return None
    lowest = np.min([each.values + (each.difference or 0.0) for each in events.values()], axis=0)
    return _chance(lowest)


def _slopes(task: ShareTask) -> Array:
    """What each input's scatter upward does (95 % lie within), by a straight line [K]."""
    design = np.column_stack([np.ones(len(task.at)), task.at])
    fitted = np.linalg.lstsq(design, task.response, rcond=None)[0]
    return np.asarray(HALF * fitted[1:], dtype=float)
