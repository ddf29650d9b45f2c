"""How long the steps of a march are: for the march itself and for what `check` predicts."""

from __future__ import annotations

from itertools import pairwise
from math import ceil, expm1, log1p, sqrt

from ..case.case import Case
from ..joint.lines import DETAILS

__all__ = [
    "COOL_AT_LEAST",
    "arc_step",
    "dwell_steps",
    "rest_step",
    "rest_steps",
    "stages_for",
    "still_steps",
    "travel_steps",
]

STEPS_PER_SPOT = 6.0  # arc travel between steps is at most the spot over this
GROWTH = 2.0  # of the step while nothing moves
LONGEST_STILL = 2.0  # arc steps, while the arc is still: with three, what melts there is 30 K off
# A step hardly damps what settles far faster than it, so a skin struck by the arc lags behind for
# several steps. 0.5 s after the strike the fillet's face was 8 % of the rise too cold; with first
# steps an eighth as long it is 1.3 to 2.6 %.
STRIKE = 0.125  # of the step, the first one after the arc is struck
LOOK = 0.1  # [s] between looks at the joint, at most
LAGS = 0.5  # of a pedal's lag between two corrections, at most
# In a pause the heat of the arc spreads as time goes on, and what still changes changes ever more
# slowly: a step may last that share of the time since the arc went off. The error at the next start
# is REST_LAW of its rise times the square of the share, at most (0.05 on the demo, 0.083 on a small
# joint, measured). It may be REST_ERROR of the rise at two cells in a spot, and falls as the mesh's
# with the square of the cells.
REST_ERROR = 0.0055
REST_LAW = 0.088
REST_FIRST = 2.0  # arc steps over cells in a spot, the first step: one at coarse
LONGEST_STEP = 5.0  # [s], in a pause
COOL_AT_LEAST = 10.0  # [s] of the run after the last arc


def arc_step(case: Case) -> float:
    """Longest step of the travelling arc [s]; shorter where the brazer's eye is on it.

    ``spot / (6 speed)``: spot [m], speed [m/s]. On flow and under a pedal it is 0.1 s at most, and
    under a pedal half of its lag at most. All three numbers are from trials with finer steps.
    """
    step = case.arc.spot / STEPS_PER_SPOT / case.travel.speed
    if case.travel.start == "on-flow":
        step = min(step, LOOK)
    if case.arc.control == "pedal":
        step = min(step, LOOK, LAGS * case.arc.pedal_lag)
    return step


def still_steps(
    seconds: float, step: float, longest: float = LONGEST_STILL, first: float = 1.0
) -> list[float]:
    """Steps of an arc that does not move for `seconds`, from `first` to `longest` times `step`.

    ``dt_i = step min(first 2^i, longest)`` [s]; the last takes what is left.
    """
    sizes: list[float] = []
    size = first * step
    while sum(sizes) + size < seconds * (1.0 - 1e-9):
        sizes.append(size)
        size = min(size * GROWTH, longest * step)
    rest = seconds - sum(sizes)
    return [*sizes, rest] if rest > 0.0 else sizes


def dwell_steps(
    case: Case, seconds: float, shorter: float = 1.0, struck: bool = True
) -> list[float]:
    """Steps of the arc at its start point; under a pedal none is longer than those of travel.

    All are `shorter` times shorter than usual. `struck`: they begin with the strike.
    """
    longest = 1.0 if case.arc.control == "pedal" else LONGEST_STILL
    return still_steps(seconds, arc_step(case) / shorter, longest, STRIKE if struck else 1.0)


def _rest_map(case: Case, shorter: float) -> tuple[float, float]:
    """First step of a pause [s], and the share of the time gone by that later ones add to it."""
    finer = DETAILS[case.detail].per_spot * shorter
    return REST_FIRST * arc_step(case) / finer, 2.0 * sqrt(REST_ERROR / REST_LAW) / finer


def rest_step(case: Case, gone: float, shorter: float = 1.0) -> float:
    """Longest step [s] of a pause that began `gone` [s] ago, `shorter` times shorter than usual.

    ``min(2 arc_step / n + b gone, 5 s / shorter)``, ``b = 2 sqrt(REST_ERROR / REST_LAW) / n``, n
    cells in a spot times `shorter`.
    """
    first, share = _rest_map(case, shorter)
    return min(first + share * gone, LONGEST_STEP / shorter)


def rest_steps(case: Case, seconds: float, shorter: float = 1.0) -> list[float]:
    """Steps of a pause of `seconds`, all a little shorter than they may be to fill it exactly.

    With the first step a and the share b of `rest_step`, step i ends at ``a ((1 + b)^i - 1) / b``
    until the longest step is reached, then each adds that. i runs over equal parts of the real
    number of steps that `seconds` takes, rounded up.
    """
    first, share = _rest_map(case, shorter)
    longest = LONGEST_STEP / shorter
    rate = log1p(share)
    bend = max(0.0, longest - first) / share  # when steps stop growing
    ramp = log1p(share * min(seconds, bend) / first) / rate
    whole = ramp + max(0.0, seconds - bend) / longest
    count = ceil(whole * (1.0 - 1e-9))
    if count == 0:
        return []

    def end(i: int) -> float:
        at = whole * i / count
        return first * expm1(rate * min(at, ramp)) / share + longest * max(at - ramp, 0.0)

    ends = [*map(end, range(count)), seconds]
    return [b - a for a, b in pairwise(ends)]


def stages_for(dt: float, explicit_limit: float) -> int:
    """Odd number of stages that keeps a step of `dt` [s] stable, at least 3.

    The smallest odd s with ``dt <= explicit_limit (s^2 + s - 2) / 4``, that is
    ``s >= (sqrt(9 + 16 dt / explicit_limit) - 1) / 2`` (Meyer et al. 2014, eq. 20). It holds for
    rates of change that are real and not positive, as those of conduction are.

    Parameters
    ----------
    dt : length of the step [s]
    explicit_limit : longest plain explicit step [s], see `stability.explicit_limit`
    """
    stages = ceil(0.5 * (sqrt(9.0 + 16.0 * dt / explicit_limit) - 1.0))
    return max(3, stages + 1 - stages % 2)


def travel_steps(seconds: float, step: float, layers: int = 0) -> int:
    """Count of equal steps of a travelling arc, whole half layers where it lays `layers` layers.

    ``ceil(seconds / step)``; with layers ``2 n ceil(seconds / (2 n step))``, n = `layers`.
    """
    if layers:
        return 2 * layers * ceil(0.5 * seconds / layers / step * (1.0 - 1e-9))
    return ceil(seconds / step * (1.0 - 1e-9))
