"""What a risk lets a worker do, which has one thread: chances and shares, as flat rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..chance.bench import STANDARD, wilson
from ..chance.smooth import Smooth, chances_below
from ..chance.surrogate import Shares, shares_of
from ..runs.executors import Row

__all__ = [
    "Chance",
    "ChanceTask",
    "ShareTask",
    "chance_row",
    "share_row",
    "shares_from",
    "smooth_from",
]

Array = NDArray[np.float64]


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
class ShareTask:
    """Runs (n, d) and what came of them (n,): what share has each input?"""

    at: Array
    response: Array
    seed: int


def share_row(task: ShareTask) -> Row:
    """Shares as a flat row: a worker has one thread, so that its numbers are always the same."""
    count = task.at.shape[1]
    found = shares_of(task.at, task.response, [STANDARD] * count, task.seed)
    row: Row = {"q2": found.q2, "error": found.error, "runs": found.runs, "failed": None}
    for name, shares in (("first", found.first), ("total", found.total)):
        row |= {f"{name}.{i}": float(share) for i, share in enumerate(shares)}
    return row


def shares_from(row: Row, count: int) -> Shares | None:
    """Take shares of `count` inputs from their row; None where they could not be had."""
    if row.get("failed") is not None:
        return None

    def numbers(name: str) -> Array:
        return np.array([row[f"{name}.{i}"] for i in range(count)], dtype=float)

    return Shares(
        numbers("first"),
        numbers("total"),
        float(row["q2"] or 0),
        float(row["error"] or 0),
        int(row["runs"] or 0),
    )


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
