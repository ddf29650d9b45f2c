"""Runs at points of the unknowns: what a fit asks for, and what it gets."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...case.case import Probe
from ...case.file import CaseError
from ...constants import ZERO_CELSIUS
from ...march.errors import MarchError
from ...version import mark
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.store import numbers_of, reads
from ..runs.trial import Source, Trial, run_trial
from .unknowns import Unknown

__all__ = [
    "AnswerRuns",
    "Curve",
    "Measures",
    "PointRuns",
    "ProbeRun",
    "ProbeRuns",
    "neighbours",
    "run_probes",
]

Array = NDArray[np.float64]
Points = Sequence[Sequence[float]]

DECIMALS = 4  # of times [s] and temperatures [degC] in a row


@dataclass(frozen=True)
class PointRuns:
    """What a fit to histories and one to answers share.

    Attributes
    ----------
    source : the case
    unknowns : what changes
    detail : mesh of the runs; None for the case's own
    """

    source: Source
    unknowns: tuple[Unknown, ...]
    detail: str | None

    def inputs(self, values: Sequence[float]) -> tuple[tuple[str, str], ...]:
        """Keys of the unknowns and these values [SI], as text."""
        pairs = zip(self.unknowns, values, strict=True)
        return tuple((unknown.key, unknown.text(value)) for unknown, value in pairs)


@dataclass(frozen=True)
class Curve:
    """What the probes of a run show: `time` (m,) [s], `values` (m, probes) [K]."""

    time: Array
    values: Array

    def at(self, time: Array) -> Array:
        """Temperatures at (n,) times, (n, probes) [K]; before and after the run its ends."""
        columns = [np.interp(time, self.time, column) for column in self.values.T]
        return np.stack(columns, axis=1)


@dataclass(frozen=True)
class ProbeRun:
    """A trial of which the probes' histories are wanted, at least to the time `until` [s].

    `beside`: also those at the four neighbours of each.
    """

    trial: Trial
    until: float
    beside: bool = False

    def key(self) -> str:
        """Hash of the case and of what is put over it."""
        trial = self.trial
        wanted = f"probes {mark()} {self.until} {self.beside}"
        told = f"{wanted}\n{trial.detail} {trial.inputs} {trial.source}"
        return hashlib.sha256(told.encode()).hexdigest()[:24]


def _beside(name: str) -> list[str]:
    return [f"{name} <{side}" for side in "1234"]


def neighbours(probe: Probe, tube: float) -> list[Probe]:
    """Places one standard deviation off a probe's own: two along the surface, two round it.

    Parameters
    ----------
    probe : where it should be
    tube : outside radius of the tube [m]
    """
    error, place = probe.place_error, "height" if probe.on == "tube" else "radius"
    turn = error / (tube if probe.on == "tube" else tube + probe.radius)
    moves = [(place, error), (place, -error), ("angle", turn), ("angle", -turn)]
    names = zip(_beside(probe.name), moves, strict=True)
    return [
        replace(probe, name=name, **{key: getattr(probe, key) + move})
        for name, (key, move) in names
    ]


def run_probes(task: ProbeRun) -> Row:
    """Run a trial on one thread; times and temperatures [degC] are texts of JSON lists."""
    from ...api import simulate  # numba takes a second

    try:
        case = task.trial.case()
        if task.beside:
            more = [p for probe in case.probes for p in neighbours(probe, case.tube.radius)]
            case = replace(case, probes=(*case.probes, *more))
        result = simulate(case, threads=1, until=task.until)
    except (CaseError, MarchError) as error:
        return {"failed": f"{error}"}
    trace = result.history.trace
    row: Row = {"failed": None, "time_s": _packed(trace.time)}
    for probe, column in zip(result.case.probes, trace.probes.T, strict=True):
        row[f"{probe.name}_C"] = _packed(column - ZERO_CELSIUS)
    return row


def _curve(row: Row, names: Sequence[str]) -> Curve:
    values = np.stack([numbers_of(row, f"{name}_C") for name in names], axis=1)
    return Curve(np.array(numbers_of(row, "time_s")), values + ZERO_CELSIUS)


def _check(task: ProbeRun, row: Row) -> None:
    names = [probe.name for probe in task.trial.case().probes]
    more = [n for name in names for n in _beside(name)] if task.beside else []
    curve = _curve(row, [*names, *more])
    rises = len(curve.time) == len(curve.values) > 0 and (np.diff(curve.time) > 0.0).all()
    if not (rises and np.isfinite(curve.values).all()):
        raise ValueError("time_s")


reads(run_probes, _check)


def _packed(numbers: Array) -> str:
    return json.dumps([round(float(number), DECIMALS) for number in numbers])


@dataclass(frozen=True)
class ProbeRuns(PointRuns):
    """Probes' histories at several points of the unknowns.

    Attributes
    ----------
    source, unknowns, detail : as of `PointRuns`
    names : of the probes wanted
    until : time to which the cooling is followed [s]
    """

    names: tuple[str, ...]
    until: float

    def __call__(self, points: Points, doing: str = "fitting") -> Planner[list[Curve]]:
        """Histories at several points of the unknowns [SI].

        Raises
        ------
        MarchError
            A run failed.
        """
        trials = self._trials(points)
        rows = yield self._round(trials, doing)
        all_ran(trials, rows)
        return [_curve(row, self.names) for row in rows]

    def tried(self, points: Points) -> Planner[list[Curve | None]]:
        """Histories at several points of the unknowns [SI]; None of a run that failed."""
        rows = yield self._round(self._trials(points), "fitting")
        return [None if row.get("failed") is not None else _curve(row, self.names) for row in rows]

    def around(self, point: Sequence[float] | Array) -> Planner[Curve]:
        """Histories (m, 5 probes) of each probe and its four `neighbours` at a point [SI].

        Raises
        ------
        MarchError
            The run failed.
        """
        trials = self._trials([[float(value) for value in point]])
        tasks = [ProbeRun(trial, self.until, beside=True) for trial in trials]
        rows = yield Round("places of the probes", run_probes, tasks)
        all_ran(trials, rows)
        names = [n for name in self.names for n in (name, *_beside(name))]
        return _curve(rows[0], names)

    def _trials(self, points: Points) -> list[Trial]:
        return [Trial(self.source, self.inputs(point), self.detail) for point in points]

    def _round(self, trials: Sequence[Trial], doing: str) -> Round[ProbeRun]:
        return Round(doing, run_probes, [ProbeRun(trial, self.until) for trial in trials])


@dataclass(frozen=True)
class Measures:
    """At each of the currents: `margin` of the base and `surplus` of the filler [K]."""

    margin: Array
    surplus: Array


@dataclass(frozen=True)
class AnswerRuns(PointRuns):
    """Margin and surplus at every current of the trial pieces, at several points of the unknowns.

    Attributes
    ----------
    source, unknowns, detail : as of `PointRuns`
    currents : (m,) of the trial pieces, rising [A]
    """

    currents: Array

    def __call__(self, points: Points, doing: str = "fitting") -> Planner[list[Measures]]:
        """Measures at several points of the unknowns [SI].

        Raises
        ------
        MarchError
            A run failed.
        """
        trials = [
            Trial(self.source, (*self.inputs(point), ("arc.current", f"{amps!r} A")), self.detail)
            for point in points
            for amps in map(float, self.currents)
        ]
        rows = yield Round(doing, run_trial, trials)
        all_ran(trials, rows)
        count = len(self.currents)
        parts = [rows[i * count : (i + 1) * count] for i in range(len(points))]
        return [Measures(_column(p, "margin_K"), _column(p, "surplus_K")) for p in parts]


def _column(rows: Sequence[Row], name: str) -> Array:
    """Measure of each row: inf where the joint cannot fail that way."""
    values = (row.get(name) for row in rows)
    return np.array([np.inf if value is None else float(value) for value in values])


def all_ran(trials: Sequence[Trial], rows: Sequence[Row]) -> None:
    for trial, row in zip(trials, rows, strict=True):
        if row.get("failed") is not None:
            at = ", ".join(f"{key} = {value}" for key, value in trial.inputs)
            raise MarchError(f"at {at}: {row['failed']}")
