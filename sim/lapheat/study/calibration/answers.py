"""Fit to trials that melted or wet, or did not, by their likelihood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from ...case.case import Case
from ..runs.executors import Executor, Row
from ..runs.store import RowFile
from ..runs.trial import Source, Trial, run_trial
from .fit import STEP, Fitted, blind_spots, fit, intervals
from .measured import Trials
from .points import PointRuns, Report
from .unknowns import Unknown

__all__ = ["AnswerRuns", "Answers", "Measures", "answers_of", "fit_answers"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Measures:
    """At each of the currents: `margin` of the base and `surplus` of the filler [K]."""

    margin: Array
    surplus: Array


class AnswerRuns(PointRuns):
    """Margin and surplus at every current of the trials, for several points of the unknowns.

    Parameters
    ----------
    source : the case
    unknowns : what changes
    currents : (m,) of the trials [A]
    detail : mesh of the runs
    executor, store : where they are run and kept
    report : called with what is being done, runs done and runs begun
    """

    def __init__(
        self,
        source: Source,
        unknowns: Sequence[Unknown],
        currents: Array,
        detail: str | None,
        executor: Executor,
        store: RowFile,
        report: Report | None = None,
    ) -> None:
        super().__init__(source, unknowns, detail, executor, store, report)
        self.currents = currents

    def __call__(self, points: Sequence[Sequence[float]], doing: str = "fitting") -> list[Measures]:
        """Measures at several points of the unknowns [SI].

        Raises
        ------
        MarchError
            A run failed.
        """
        trials = [
            Trial(self.source, (*self.inputs(p), ("arc.current", f"{amps!r} A")), self.detail)
            for p in points
            for amps in map(float, self.currents)
        ]
        rows = self.rows(run_trial, trials, trials, doing)
        count = len(self.currents)
        parts = [rows[i * count : (i + 1) * count] for i in range(len(points))]
        return [Measures(_column(p, "margin_K"), _column(p, "surplus_K")) for p in parts]


def _column(rows: Sequence[Row], name: str) -> Array:
    """Measure of each row: inf where the joint cannot fail that way."""
    values = (row.get(name) for row in rows)
    return np.array([np.inf if value is None else float(value) for value in values])


@dataclass(frozen=True)
class Answers:
    """A case fitted to trials.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    trials : as made
    currents : (m,) of the trials, rising [A]
    before, after : computed there
    scatter : standard deviation of margin and surplus from trial to trial [K]
    before_log, log : logarithm of the likelihood
    detail : mesh of the fit
    blind : what the trials cannot tell, in sentences
    """

    case: Case
    fitted: tuple[Fitted, ...]
    trials: Trials
    currents: Array
    before: Measures
    after: Measures
    scatter: float
    before_log: float
    log: float
    detail: str
    blind: tuple[str, ...]


def surprise(trials: Trials, currents: Array, measures: Measures, scatter: float) -> Array:
    """Root of twice the surprise at each answer: its squares sum to minus twice the log likelihood.

    The chance of a melted base is logistic in its margin, that of a wet joint in its surplus, with
    a standard deviation of `scatter` [K].

    References
    ----------
    McCullagh, P. and Nelder, J. A. (1989), Generalized Linear Models, 2.4.3 and 4.3.
    """
    size = scatter * sqrt(3.0) / pi
    at = np.searchsorted(currents, trials.current)
    found = []
    for answers, holds in ((trials.melted, -measures.margin), (trials.wet, measures.surplus)):
        known = np.isfinite(answers)
        sign = 2.0 * answers[known] - 1.0
        push = np.clip(sign * holds[at][known] / size, -700.0, 700.0)
        found.append(np.sqrt(2.0 * np.logaddexp(0.0, -push)))
    return np.concatenate(found)


def fit_answers(
    runs: Callable[..., list[Measures]],
    unknowns: Sequence[Unknown],
    trials: Trials,
    currents: Array,
    scatter: float,
) -> tuple[tuple[Fitted, ...], Measures, Measures, tuple[str, ...]]:
    """Most likely unknowns: with intervals, measures before and after, and what is not told.

    Parameters
    ----------
    runs : measures at several points of the unknowns [SI]
    unknowns : what is fitted
    trials : as made
    currents : (m,) of the trials, rising [A]
    scatter : standard deviation of margin and surplus from trial to trial [K]
    """
    starts = np.array([unknown.start for unknown in unknowns])

    def batch(points: Sequence[Array]) -> list[Array]:
        return [
            surprise(trials, currents, measures, scatter)
            for measures in runs([list(x * starts) for x in points])
        ]

    (before,) = runs([list(starts)], "the case as it is")
    found = fit(unknowns, batch)
    # the interval is that of the expected information: how the measures change with the unknowns
    high = np.array([unknown.high / unknown.start for unknown in unknowns])
    steps = [-STEP if found.x[i] + STEP > high[i] else STEP for i in range(len(starts))]
    moved = [found.x + step * np.eye(len(starts))[i] for i, step in enumerate(steps)]
    after, *there = runs([list(x * starts) for x in (found.x, *moved)])
    at = np.searchsorted(currents, trials.current)
    size = scatter * sqrt(3.0) / pi
    rows, kelvin = [], []
    for answers, name in ((trials.melted, "margin"), (trials.wet, "surplus")):
        known = np.isfinite(answers)
        here = getattr(after, name)[at][known]
        slopes = np.stack(
            [(getattr(m, name)[at][known] - here) / s for m, s in zip(there, steps, strict=True)],
            axis=1,
        )
        chance = expit(here / size)
        rows.append(slopes * np.sqrt(chance * (1.0 - chance))[:, None] / size)
        kelvin.append(slopes)
    information = np.concatenate(rows)
    fitted = intervals(unknowns, type(found)(found.x, found.residuals, information), sigma=1.0)
    told = one_sided(trials)
    told += blind_spots(
        unknowns, np.concatenate(kelvin), fitted, tolerance=0.5 * scatter, what="trial"
    )
    return fitted, before, after, told


def one_sided(trials: Trials) -> tuple[str, ...]:
    """What is missing where every answer was the same."""
    told = []
    for answers, yes, no in (
        (trials.melted, "melted", "stayed solid"),
        (trials.wet, "wet", "stayed dry"),
    ):
        known = answers[np.isfinite(answers)]
        if known.size and known.min() == known.max():
            same, other = (yes, no) if known[0] else (no, yes)
            told.append(f"every trial {same}: they only bound it; it takes one that {other}")
    return tuple(told)


def answers_of(runs: AnswerRuns, trials: Trials, scatter: float) -> Answers:
    """Fit a case to trials.

    Parameters
    ----------
    runs : of the case
    trials : as made
    scatter : standard deviation of margin and surplus from trial to trial [K]

    Raises
    ------
    MarchError
        A run failed.
    """
    fitted, before, after, blind = fit_answers(runs, runs.unknowns, trials, runs.currents, scatter)
    changes = runs.inputs([item.value for item in fitted])
    case = runs.source.case(tuple(f"{key}={value}" for key, value in changes))

    def log(measures: Measures) -> float:
        return -0.5 * float(np.sum(surprise(trials, runs.currents, measures, scatter) ** 2))

    return Answers(
        case=case,
        fitted=fitted,
        trials=trials,
        currents=runs.currents,
        before=before,
        after=after,
        scatter=scatter,
        before_log=log(before),
        log=log(after),
        detail=runs.detail or case.detail,
        blind=blind,
    )
