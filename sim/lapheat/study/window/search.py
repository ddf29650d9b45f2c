"""Keys that are free at each point: chosen so that the worst of margins and surpluses is best."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from ...case.case import Case
from ...case.file.every_key import settings_of
from ...case.units import in_unit, read_quantity
from ..runs.axes import Axis
from ..runs.executors import Row, Work
from ..runs.store import reads
from ..runs.trial import Trial, check_row, run_trial

__all__ = ["FreeTrial", "measures", "run_free", "start_of", "worst_of"]

Array = NDArray[np.float64]

FIRST_STEP = 0.08  # share of a key's range, to see what it does
TRUST = 0.35  # share of the range a step may go at most; less after one that disappoints
WORTH = 2.0  # [K]: a step that promises less is not taken
TRIES = 4  # steps at most


@dataclass(frozen=True)
class FreeTrial:
    """A trial whose `free` keys are searched, each within its axis, from `start` (shares)."""

    trial: Trial
    free: tuple[Axis, ...]
    start: tuple[float, ...]

    def at(self, place: Array) -> Trial:
        """Trial with the free keys at these shares of their ranges."""
        chosen = tuple(
            (axis.key, axis.text(axis.at(round(float(share), 3))))
            for axis, share in zip(self.free, place, strict=True)
        )
        return replace(self.trial, inputs=self.trial.inputs + chosen)

    def key(self) -> str:
        """Hash of all that decides the result."""
        ranges = " ".join(f"{a.key}={a.text(a.at(0))}:{a.text(a.at(1))}" for a in self.free)
        return f"{self.at(np.array(self.start)).key()} {ranges}"


def start_of(case: Case, free: tuple[Axis, ...]) -> tuple[float, ...]:
    """Shares of the ranges where a search begins: the case's own values, or the middle."""
    own = {row.key: row.value for row in settings_of(case)}
    shares = []
    for axis in free:
        value = own.get(axis.key)
        share = -1.0
        if isinstance(value, float):
            share = axis.share(in_unit(value, axis.kind, axis.unit))
        shares.append(share if 0.0 <= share <= 1.0 else 0.5)
    return tuple(shares)


def measures(row: Row) -> Array:
    """Slack of each part, of each side and of the filler [K]; at or above zero all is well."""
    margin, slack = row.get("margin_K"), row.get("base_slack_K")
    limit = float(margin) - float(slack) if margin is not None and slack is not None else 0.0
    margins = [row.get("tube_margin_K"), row.get("flange_margin_K")]
    names = ("tube_side_slack_K", "flange_side_slack_K", "filler_slack_K")
    sides = [row.get(name) for name in names]
    return np.array(
        [np.inf if m is None else float(m) - limit for m in margins]
        + [np.inf if s is None else float(s) for s in sides]
    )


def worst_of(row: Row) -> float:
    """Least of the measures [K]; -inf for a failed row."""
    return float(measures(row).min()) if row.get("failed") is None else -np.inf


def run_free(task: FreeTrial, run: Work[Trial] = run_trial) -> Row:
    """Row of the best run found, and under each free key the value it has there, as text.

    Parameters
    ----------
    task : where and what to search
    run : makes a row of a trial
    """
    place = np.array(task.start)
    row = run(task.at(place))
    if row["failed"] is not None:
        return row
    here = measures(row)
    known = np.isfinite(here)
    slope = np.zeros((len(here), len(place)))
    best = (float(here.min()), place, row)
    for j in range(len(place)):
        aside = place.copy()
        aside[j] += FIRST_STEP if place[j] <= 0.5 else -FIRST_STEP
        other = run(task.at(aside))
        if other["failed"] is None:
            slope[known, j] = (measures(other)[known] - here[known]) / (aside[j] - place[j])
            best = max(best, (worst_of(other), aside, other), key=lambda entry: entry[0])
    trust = TRUST
    for _ in range(TRIES):
        step, promised = _step(here[known], slope[known], place, trust)
        if promised < WORTH:
            break
        row = run(task.at(place + step))
        if row["failed"] is not None:
            trust *= 0.5
            continue
        there = measures(row)
        missed = there[known] - here[known] - slope[known] @ step
        slope[known] += np.outer(missed, step) / (step @ step)  # Broyden (1965)
        if there[known].min() - here[known].min() < 0.3 * promised:
            trust *= 0.5
        if there.min() > here.min():
            here, place = there, place + step
            best = max(best, (float(here.min()), place, row), key=lambda entry: entry[0])
    inputs = dict(task.at(best[1]).inputs)
    return {**best[2], **{axis.key: inputs[axis.key] for axis in task.free}}


def _check(task: FreeTrial, row: Row) -> None:
    check_row(task, row)
    for axis in task.free:
        read_quantity(row[axis.key], axis.kind)


reads(run_free, _check)


def _step(here: Array, slope: Array, place: Array, trust: float) -> tuple[Array, float]:
    """Step to where the least of the linearised measures is highest, and the rise it promises."""
    n = len(place)
    if not len(here):  # nothing can fail
        return np.zeros(n), 0.0
    low, high = np.maximum(-trust, -place), np.minimum(trust, 1.0 - place)
    # unknowns: the step, then the least measure
    found = linprog(
        np.append(np.zeros(n), -1.0),
        A_ub=np.column_stack([-slope, np.ones(len(here))]),
        b_ub=here,
        bounds=[*zip(low, high, strict=True), (None, None)],
    )
    if not found.success:
        return np.zeros(n), 0.0
    return np.asarray(found.x[:n]), float(found.x[n] - here.min())
