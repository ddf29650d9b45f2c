"""Sentences that more than one report says."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..history.records import History
from ..outcomes.current import AT_HOLD, current_of, pressed
from ..outcomes.wording import Wording, numbered

__all__ = ["CAUTIONS", "CAUTIONS_IN_SHORT", "UNCERTAINTY", "hand_by_segment", "hand_told"]

CAUTIONS = (
    "These numbers plan trial pieces. Local codes and a qualified person decide about a joint.",
    "Not for pressure, fuel, breathing gas, lifting, vehicles, aircraft, or anything whose "
    "failure could hurt someone.",
    "No hot work on what held fuel, solvent or unknown contents until it is cleaned, vented and "
    "tested; vent every closed space.",
    "Fume of copper, manganese and chromium(VI): extract it at the joint. Strip zinc, cadmium "
    "and plating first. No chlorinated cleaner near an arc.",
    "Arc light burns eyes and skin in seconds: filter, covered skin, screens.",
    "Argon gathers in low and closed places and suffocates without warning.",
    "Grey metal can be at 500 degC: mark it, wait, use tongs.",
    "Fire watch: at least 30 minutes after the last arc.",
    "Cracks from liquid copper and sensitised bands are invisible: section trial pieces or use "
    "dye penetrant; leak-test with liquid, not gas.",
)
# After a study, so that the answer is what one reads; the whole list follows every run.
CAUTIONS_IN_SHORT = (
    CAUTIONS[0],
    CAUTIONS[1],
    "Fume, arc light, argon, hot metal and fire: the full cautions follow `lapheat run` and end "
    "the README.",
)

UNCERTAINTY = (
    "Uncertainty: grid convergence index of the fine mesh, factor 1.25 where the order is 0.9 to "
    "2.2 (a joint's margins: 0.57 to 2.2), else 3, and what half steps change. It is not that of "
    "the model or of its inputs."
)


def hand_told(history: History, words: Wording) -> Iterator[tuple[str, str]]:
    """What the hand did, to be read at once: a name and what it was."""
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
        f"{words.hot(pedal.hold)}{_past_hold(history, pedal.hold, words)}; "
        f"{'; '.join(sat) or free}",
    )


def _past_hold(history: History, hold: float, words: Wording) -> str:
    """How far the base got above what the pedal was to hold and when, if that is worth a word."""
    trace, steps = history.trace, pressed(history)
    hottest = np.fmax(trace.tube, trace.flange)[steps.step]
    at = int(np.argmax(hottest))
    over = float(hottest[at]) - hold
    if over <= AT_HOLD:
        return ""
    number = int(steps.segment[at])
    struck = next(run.start for run in history.segments if run.number == number)
    after = float(trace.time[steps.step[at]]) - struck
    return (
        f", which the base passed by {words.apart(over)}, {after:.1f} s after the strike of "
        f"segment {number}"
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
