"""How long the steps of a march are: what the march takes and what `check` foretells."""

from __future__ import annotations

from math import ceil

from .case import Case

__all__ = [
    "COOL_AT_LEAST",
    "GROWTH",
    "LONGEST_STEP",
    "arc_step",
    "dwell_steps",
    "still_steps",
    "travel_steps",
]

STEPS_PER_SPOT = 6.0  # arc travel between steps is at most the spot over this
GROWTH = 2.0  # of the step while nothing moves
LONGEST_STILL = 2.0  # arc steps, while the arc stands still: three put what melts there 30 K out
LOOK = 0.1  # [s] between looks at the joint, at most
LAGS = 0.5  # of a pedal's lag between two corrections, at most
LONGEST_STEP = 5.0  # [s], in a pause
COOL_AT_LEAST = 10.0  # [s] of the run after the last arc


def arc_step(case: Case) -> float:
    """Longest step of the travelling arc [s]; shorter where the brazer's eye is on it."""
    step = case.arc.spot / STEPS_PER_SPOT / case.travel.speed
    if case.travel.start == "on-flow":
        step = min(step, LOOK)
    if case.arc.control == "pedal":
        step = min(step, LOOK, LAGS * case.arc.pedal_lag)
    return step


def still_steps(seconds: float, step: float, longest: float = LONGEST_STILL) -> list[float]:
    """Steps of an arc that stands still for `seconds`, from `step` [s] up to `longest` times it."""
    sizes: list[float] = []
    size = step
    while sum(sizes) + size < seconds * (1.0 - 1e-9):
        sizes.append(size)
        size = min(size * GROWTH, longest * step)
    rest = seconds - sum(sizes)
    return [*sizes, rest] if rest > 0.0 else sizes


def dwell_steps(case: Case, seconds: float, shorter: float = 1.0) -> list[float]:
    """Steps of the arc that stands at its start point; they do not grow under a pedal.

    All are `shorter` times shorter than usual.
    """
    longest = 1.0 if case.arc.control == "pedal" else LONGEST_STILL
    return still_steps(seconds, arc_step(case) / shorter, longest)


def travel_steps(seconds: float, step: float, layers: int = 0) -> int:
    """Count of equal steps of a travelling arc, whole half layers where it lays `layers` layers."""
    if layers:
        return 2 * layers * ceil(0.5 * seconds / layers / step * (1.0 - 1e-9))
    return ceil(seconds / step * (1.0 - 1e-9))
