"""Fit to trial pieces that melted or wet, or did not, by their likelihood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from ...case.case import Case
from ..runs.rounds import Planner
from .fit import Fitted, blind_spots, fit, intervals, most_points, steps_inside
from .measured import TrialPieces
from .points import AnswerRuns, Measures
from .unknowns import Unknown

__all__ = [
    "AnswerFit",
    "Answers",
    "answers_of",
    "fit_answers",
    "most_runs",
    "one_sided",
    "surprise",
]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Answers:
    """A case fitted to trial pieces.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    pieces : as made
    currents : (m,) of the pieces, rising [A]
    before, after : computed there
    scatter : standard deviation of margin and surplus from piece to piece [K]
    before_log, log : logarithm of the likelihood
    detail : mesh of the fit
    blind : what the pieces cannot determine, in sentences
    """

    case: Case
    fitted: tuple[Fitted, ...]
    pieces: TrialPieces
    currents: Array
    before: Measures
    after: Measures
    scatter: float
    before_log: float
    log: float
    detail: str
    blind: tuple[str, ...]


def surprise(pieces: TrialPieces, currents: Array, measures: Measures, scatter: float) -> Array:
    """Root of twice the surprise at each answer: its squares sum to minus twice the log likelihood.

    The chance of a melted base is logistic in its margin, that of a wet joint in its surplus, with
    a standard deviation s = `scatter` [K]: ``1 / (1 + exp(-pi x / (sqrt(3) s)))``, x the surplus or
    minus the margin [K].

    References
    ----------
    McCullagh, P. and Nelder, J. A. (1989), Generalized Linear Models, 2.4.3 and 4.3.
    """
    size = scatter * sqrt(3.0) / pi
    at = np.searchsorted(currents, pieces.current)
    found = []
    for answers, holds in ((pieces.melted, -measures.margin), (pieces.wet, measures.surplus)):
        known = np.isfinite(answers)
        sign = 2.0 * answers[known] - 1.0
        push = np.clip(sign * holds[at][known] / size, -700.0, 700.0)
        found.append(np.sqrt(2.0 * np.logaddexp(0.0, -push)))
    return np.concatenate(found)


@dataclass(frozen=True)
class AnswerFit:
    """Most likely unknowns, measures before and after, and what the pieces cannot determine."""

    fitted: tuple[Fitted, ...]
    before: Measures
    after: Measures
    blind: tuple[str, ...]


def fit_answers(
    runs: Callable[..., Planner[list[Measures]]],
    unknowns: Sequence[Unknown],
    pieces: TrialPieces,
    currents: Array,
    scatter: float,
) -> Planner[AnswerFit]:
    """Most likely unknowns.

    Parameters
    ----------
    runs : measures at several points of the unknowns [SI]
    unknowns : what is fitted
    pieces : as made
    currents : (m,) of the pieces, rising [A]
    scatter : standard deviation of margin and surplus from piece to piece [K]
    """
    starts = np.array([unknown.start for unknown in unknowns])

    def residuals(points: Sequence[Array]) -> Planner[list[Array]]:
        every = yield from runs([list(x * starts) for x in points])
        return [surprise(pieces, currents, measures, scatter) for measures in every]

    (before,) = yield from runs([list(starts)], "the case as it is")
    found = yield from fit(unknowns, residuals)
    # the interval is that of the expected information: how the measures change with the unknowns
    high = np.array([unknown.high / unknown.start for unknown in unknowns])
    steps = steps_inside(found.x, high)
    moved = [found.x, *(found.x + np.diag(steps))]
    after, *there = yield from runs([list(x * starts) for x in moved])
    at = np.searchsorted(currents, pieces.current)
    size = scatter * sqrt(3.0) / pi
    weighted, kelvin = [], []
    for answers, name in ((pieces.melted, "margin"), (pieces.wet, "surplus")):
        known = np.isfinite(answers)
        here = getattr(after, name)[at][known]
        slopes = np.stack(
            [(getattr(m, name)[at][known] - here) / s for m, s in zip(there, steps, strict=True)],
            axis=1,
        )
        chance = expit(here / size)
        weighted.append(slopes * np.sqrt(chance * (1.0 - chance))[:, None] / size)
        kelvin.append(slopes)
    expected = replace(found, jacobian=np.concatenate(weighted))
    fitted = intervals(unknowns, expected, sigma=1.0)
    blind = blind_spots(
        unknowns, np.concatenate(kelvin), fitted, tolerance=0.5 * scatter, what="trial"
    )
    return AnswerFit(fitted, before, after, one_sided(pieces) + blind)


def one_sided(pieces: TrialPieces) -> tuple[str, ...]:
    """What is missing where every answer was the same."""
    told = []
    for answers, yes, no in (
        (pieces.melted, "melted", "stayed solid"),
        (pieces.wet, "wet", "stayed dry"),
    ):
        known = answers[np.isfinite(answers)]
        if known.size and known.min() == known.max():
            same, other = (yes, no) if known[0] else (no, yes)
            told.append(f"every trial {same}: they only bound it; it takes one that {other}")
    return tuple(told)


def most_runs(runs: AnswerRuns) -> int:
    """Runs of `answers_of` at most: before, the fit, and after with its slopes."""
    unknowns = len(runs.unknowns)
    return len(runs.currents) * (1 + most_points(unknowns) + 1 + unknowns)


def answers_of(runs: AnswerRuns, pieces: TrialPieces, scatter: float) -> Planner[Answers]:
    """Fit a case to trial pieces.

    Parameters
    ----------
    runs : of the case
    pieces : as made
    scatter : standard deviation of margin and surplus from piece to piece [K]

    Raises
    ------
    MarchError
        A run failed.
    """
    found = yield from fit_answers(runs, runs.unknowns, pieces, runs.currents, scatter)
    changes = runs.inputs([item.value for item in found.fitted])
    case = runs.source.case(tuple(f"{key}={value}" for key, value in changes))

    def log(measures: Measures) -> float:
        return -0.5 * float(np.sum(surprise(pieces, runs.currents, measures, scatter) ** 2))

    return Answers(
        case=case,
        fitted=found.fitted,
        pieces=pieces,
        currents=runs.currents,
        before=found.before,
        after=found.after,
        scatter=scatter,
        before_log=log(found.before),
        log=log(found.after),
        detail=runs.detail or case.detail,
        blind=found.blind,
    )
