"""A case on the benches of its scatter: samples to run, and the chance that their rows give."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...version import mark
from ..runs.executors import Row
from ..runs.trial import Trial, run_trial
from .bench import wilson
from .smooth import Smooth, chances_below

__all__ = ["Chance", "ChanceTask", "Sample", "chance_row", "run_sample", "smooth_from"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Sample:
    """A trial whose case is whole, so that its text alone identifies it: 20 ms less each."""

    trial: Trial

    def key(self) -> str:
        """Hash of the case and of what is put over it."""
        trial = self.trial
        told = f"{mark()}\n{trial.detail} {trial.inputs}\n{trial.source.text}"
        return hashlib.sha256(told.encode()).hexdigest()[:24]


def run_sample(sample: Sample) -> Row:
    """Run it; see `run_trial`."""
    return run_trial(sample.trial)


@dataclass(frozen=True)
class Chance:
    """How often something was met: `hits` of `count` runs; of `failed` more nobody knows."""

    hits: int
    count: int
    failed: int = 0

    @property
    def value(self) -> float:
        """Share of the runs that succeeded."""
        return self.hits / self.count if self.count else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, wide enough for the failed runs to have gone either way."""
        every = self.count + self.failed
        return wilson(self.hits, every)[0], wilson(self.hits + self.failed, every)[1]


@dataclass(frozen=True)
class ChanceTask:
    """Runs (n, d), measures (n,) of each [K], and how many runs failed: how often below zero?"""

    at: Array
    measures: tuple[Array, ...]
    failed: int
    seed: int


def chance_row(task: ChanceTask) -> Row:
    """Chances as a flat row, of each measure and of any of them."""
    row: Row = {"failed": None}
    for i, found in enumerate(chances_below(task.at, task.measures, task.seed)):
        if task.failed:  # what could not be run may have gone either way
            found = _counted_with(found, task, i)
        numbers = {"chance": found.chance, "low": found.low, "high": found.high, "q2": found.q2}
        row |= {f"{name}.{i}": round(value, 9) for name, value in numbers.items()}
        row[f"used.{i}"] = found.used
    return row


def _counted_with(found: Smooth, task: ChanceTask, i: int) -> Smooth:
    below = [values < 0.0 for values in task.measures]
    hit = below[i] if i < len(below) else np.logical_or.reduce(below)
    chance = Chance(int(hit.sum()), len(hit), task.failed)
    return Smooth(chance.value, *chance.interval, found.q2, used=False)


def smooth_from(row: Row, i: int) -> Smooth:
    """Take the chance of measure `i` from its row."""
    chance, low, high, q2 = (
        float(row[f"{name}.{i}"] or 0.0) for name in ("chance", "low", "high", "q2")
    )
    return Smooth(chance, low, high, q2, bool(row[f"used.{i}"]))
