"""What a risk lets a worker do, which has one thread: shares, as flat rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..chance.bench import STANDARD
from ..chance.surrogate import Shares, shares_of
from ..runs.executors import Row

__all__ = ["DIGITS", "ShareTask", "share_row", "shares_from"]

DIGITS = 3  # decimals of shares; a surrogate knows no more, and the next ones differ by machine

Array = NDArray[np.float64]


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
    """Take shares of `count` inputs from their row, rounded; None where they could not be had."""
    if row.get("failed") is not None:
        return None

    def numbers(name: str) -> Array:
        shares = (float(row[f"{name}.{i}"] or 0.0) for i in range(count))
        return np.array([round(share, DIGITS) + 0.0 for share in shares])

    return Shares(
        numbers("first"),
        numbers("total"),
        float(row["q2"] or 0),
        float(row["error"] or 0),
        int(row["runs"] or 0),
    )
