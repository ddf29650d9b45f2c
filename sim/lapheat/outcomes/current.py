# ruff: noqa: N815 - names carry the unit, as `outcomes.json` has them
"""What the current did: how much, and when the pedal sat on a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..history.records import History
from .findings import Pedal

__all__ = [
    "AT_HOLD",
    "CurrentOutcome",
    "Pressed",
    "cold_pedal",
    "current_of",
    "gas_time",
    "pressed",
    "why_cold",
]

Array = NDArray[np.float64]

NEAR = 0.01  # of the range: nearer to a limit than this is on it
AT_HOLD = 15.0  # [K] from the hold the pedal is there


@dataclass(frozen=True)
class CurrentOutcome:
    """The current with the arc on, tapers left out: mean over time, and time on each limit.

    Without a pedal there are no limits, and no times on them.
    """

    least_A: float
    mean_A: float
    most_A: float
    on_low_limit_s: float | None
    on_high_limit_s: float | None


@dataclass(frozen=True)
class Pressed:
    """Steps with the arc on, tapers left out.

    Attributes
    ----------
    step : (n,) int, row of the trace
    seconds : (n,) length [s]
    current : (n,) [A]
    segment : (n,) int
    low, high : (n,) bool, the pedal on that limit of its range
    """

    step: NDArray[np.int64]
    seconds: Array
    current: Array
    segment: NDArray[np.int64]
    low: NDArray[np.bool_]
    high: NDArray[np.bool_]

    def on_limit(self, which: str) -> dict[int, float]:
        """Seconds on the "low" or the "high" limit by segment, in the order of running."""
        mine = self.low if which == "low" else self.high
        found: dict[int, float] = {}
        for number, dt in zip(self.segment[mine].tolist(), self.seconds[mine], strict=True):
            found[number] = found.get(number, 0.0) + float(dt)
        return found

    def means(self) -> dict[int, float]:
        """Mean current of each segment [A], in the order of running."""
        charge: dict[int, list[float]] = {}
        for number, dt, amps in zip(self.segment.tolist(), self.seconds, self.current, strict=True):
            total = charge.setdefault(number, [0.0, 0.0])
            total[0] += float(dt * amps)
            total[1] += float(dt)
        return {number: total[0] / total[1] for number, total in charge.items()}


def pressed(history: History) -> Pressed:
    """Pick the steps in which the current was the hand's."""
    case, trace = history.case, history.trace
    on = (trace.current > 0.0) & (trace.segment > 0)
    for run in history.segments:
        on &= ~((trace.time > run.end - case.travel.taper + 1e-9) & (trace.time < run.end + 1e-9))
    step = np.flatnonzero(on)
    current = trace.current[step]
    low, high = case.arc.current_range
    near = NEAR * (high - low)
    pedal = case.arc.control == "pedal"
    return Pressed(
        step=step,
        seconds=trace.time[step] - trace.time[step - 1],
        current=current,
        segment=trace.segment[step],
        low=pedal & (current < low + near),
        high=pedal & (current > high - near),
    )


def why_cold(history: History, number: int, melts: bool) -> Pedal | None:
    """What the pedal did by the end of a segment's wait without flow; None without a pedal.

    `melts` means that the base comes too close to melting.
    """
    trace, pedal = history.trace, history.case.arc.pedal
    if pedal is None:
        return None
    hold = pedal.hold
    (run,) = (run for run in history.segments if run.number == number)
    last = int(np.flatnonzero(trace.time < run.start + run.wait + 1e-6)[-1])
    low, high = pedal.range
    if trace.current[last] > high - NEAR * (high - low):
        return Pedal("top", hold, melts)
    gave = max(trace.tube[last], trace.flange[last]) > hold - AT_HOLD
    return Pedal("gave way" if gave else "not yet", hold, melts)


def cold_pedal(history: History, melts: bool) -> Pedal | None:
    """What the pedal did most of the time, for a joint that stayed cold; None without a pedal.

    `melts` means that the base comes too close to melting.
    """
    trace, pedal = history.trace, history.case.arc.pedal
    if pedal is None:
        return None
    hold = pedal.hold
    steps = pressed(history)
    hot = np.fmax(trace.tube, trace.flange)[steps.step]
    arc = float(steps.seconds.sum())
    there = hot > hold - AT_HOLD

    def most(when: NDArray[np.bool_]) -> bool:
        return float(steps.seconds[when].sum()) > 0.5 * arc

    if most(steps.low):
        what = "bottom"
    elif most(steps.high):
        what = "top"
    elif melts:
        what = "no room"
    else:
        what = "held" if most(there) else "at times"
    return Pedal(what, hold, melts, float(steps.seconds[there].sum()), arc)


def current_of(history: History) -> CurrentOutcome:
    """Sum up the current of a run."""
    steps = pressed(history)
    pedal = history.case.arc.pedal is not None
    return CurrentOutcome(
        least_A=float(steps.current.min()),
        mean_A=float(steps.current @ steps.seconds / steps.seconds.sum()),
        most_A=float(steps.current.max()),
        on_low_limit_s=float(steps.seconds[steps.low].sum()) if pedal else None,
        on_high_limit_s=float(steps.seconds[steps.high].sum()) if pedal else None,
    )


def gas_time(history: History) -> float:
    """Time the torch gas is on [s].

    ``t = pre + post + sum(arc) + sum(min(pause, pre + post))`` (balance of times): each strike has
    its pre-flow and its post-flow, and gas runs on through a pause that is shorter than both.
    """
    gas, trace = history.case.supplies, history.trace
    around = gas.pre_flow + gas.post_flow
    on, seconds = trace.current[1:] > 0.0, np.diff(trace.time)
    lit = np.flatnonzero(on)
    if not lit.size:
        return 0.0
    whole = slice(lit[0], lit[-1] + 1)
    on, seconds = on[whole], seconds[whole]
    starts = np.append(0, np.flatnonzero(np.diff(on)) + 1)
    spans = np.add.reduceat(seconds, starts)
    return float(around + np.where(on[starts], spans, np.minimum(spans, around)).sum())
