"""What the hand did: its current, its waits for flow, and where the pedal sat on a limit."""

from __future__ import annotations

from collections.abc import Iterator

from ..history.records import History
from ..outcomes.current import current_of, pressed
from ..outcomes.wording import Wording, numbered

__all__ = ["hand_by_segment", "hand_told"]


def hand_told(history: History, words: Wording) -> Iterator[tuple[str, str]]:
    """Rows to be read at once: name and what it was."""
    case = history.case
    if case.travel.start == "on-flow":
        waits = [run.wait for run in history.segments]
        yield "waits", f"{min(waits):.1f} to {max(waits):.1f} s for flow at the starts"
    pedal = case.arc.pedal
    if pedal is None:
        return
    steps, current = pressed(history), current_of(history)
    sat = [
        f"on its {name} limit of {limit:.0f} A for {sum(times.values()):.1f} s "
        f"({numbered('segment', list(times))})"
        for which, name, limit in zip(("low", "high"), ("lower", "upper"), pedal.range, strict=True)
        if (times := steps.on_limit(which))
    ]
    low, high = pedal.range
    free = f"never on its limits, {low:.0f} and {high:.0f} A"
    yield (
        "pedal",
        f"{current.least_A:.0f} to {current.most_A:.0f} A, mean {current.mean_A:.0f} A, to hold "
        f"{words.hot(pedal.hold)}; {'; '.join(sat) or free}",
    )


def hand_by_segment(history: History) -> Iterator[str]:
    """Waits for flow and mean current segment by segment, in the order of running."""
    if history.case.travel.start == "on-flow":
        waits = ", ".join(f"{run.number}: {run.wait:.1f} s" for run in history.segments)
        yield f"Waits for flow, by segment as run: {waits}."
    if history.case.arc.pedal is not None:
        means = pressed(history).means().items()
        told = ", ".join(f"{number}: {amps:.0f} A" for number, amps in means)
        yield f"Mean current, by segment as run: {told}."
