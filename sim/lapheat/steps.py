"""How long the steps of a march are: what the march takes and what `check` foretells."""

from __future__ import annotations

from math import ceil

from .case import Case

__all__ = ["COOL_AT_LEAST", "GROWTH", "LONGEST_STEP", "arc_step", "still_steps", "travel_steps"]

STEPS_PER_SPOT = 6.0  # arc travel between steps is at most the spot over this
GROWTH = 2.0  # of the step while nothing moves
LONGEST_STILL = 3.0  # arc steps, while the arc stands still
LONGEST_STEP = 5.0  # [s], in a pause
COOL_AT_LEAST = 10.0  # [s] of the run after the last arc


def arc_step(case: Case) -> float:
    """Longest step of the travelling arc [s]."""
    return case.arc.spot / STEPS_PER_SPOT / case.travel.speed


def still_steps(seconds: float, step: float) -> list[float]:
    """Steps of an arc that stands still for `seconds`, growing from `step` [s]."""
    sizes: list[float] = []
    size = step
    while sum(sizes) + size < seconds * (1.0 - 1e-9):
        sizes.append(size)
        size = min(size * GROWTH, LONGEST_STILL * step)
    rest = seconds - sum(sizes)
    return [*sizes, rest] if rest > 0.0 else sizes


def travel_steps(seconds: float, step: float, layers: int = 0) -> int:
    """Count of equal steps of a travelling arc, whole half layers where it lays `layers` layers."""
    if layers:
        return 2 * layers * ceil(0.5 * seconds / layers / step * (1.0 - 1e-9))
    return ceil(seconds / step * (1.0 - 1e-9))
