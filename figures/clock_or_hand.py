"""The demo by the clock at a steady current, and by a hand that waits and eases the pedal.

Run with ``python figures/clock_or_hand.py``; writes the PNG beside this file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from lapheat import read_case, simulate
from lapheat.api import Result
from lapheat.outcomes.current import pressed
from lapheat.report.figures import write_png
from lapheat.report.figures.style import LINES, new_figure, settle, styled

HERE = Path(__file__).parent
CLOCK = (*("travel.start=timed", "travel.dwell=4.5 s", "arc.control=steady", "arc.current=68 A"),)
LOOKS = (("by the clock", LINES[5], "s"), ("by hand", LINES[0], "o"))


def _peaks(result: Result) -> list[float]:
    return [float(s.tube_peak_C or 0.0) for s in result.outcomes.segments]


def _trace(axes: Axes, result: Result, colour: str, name: str) -> None:
    steps = pressed(result.history)
    ends = np.cumsum(steps.seconds)
    amps = np.repeat(steps.current, 2)
    first = np.flatnonzero(np.diff(steps.segment, prepend=0))
    amps[2 * first[1:]] = np.nan  # a gap where a segment begins
    time = np.column_stack([ends - steps.seconds, ends]).ravel()
    axes.plot(time, amps, color=colour, label=name)


def main() -> None:
    """Run the demo twice at standard detail and draw current and peaks of both."""
    demo = HERE.parent / "cases" / "flue-stub.toml"
    runs = [simulate(read_case(demo, changes)) for changes in (CLOCK, ())]
    spreads = [max(_peaks(run)) - min(_peaks(run)) for run in runs]
    for (name, *_), run, spread in zip(LOOKS, runs, spreads, strict=True):
        print(f"{name}: peak {max(_peaks(run)):.0f} degC, spread {spread:.1f} K")
        print(f"  {run.outcomes.verdict.summary}")
    with styled():
        figure = new_figure(8.0, 4.8)
        amps, peaks = figure.subplots(2, 1)
        for (name, colour, mark), run in zip(LOOKS, runs, strict=True):
            _trace(amps, run, colour, name)
            numbers = [str(segment.number) for segment in run.outcomes.segments]
            at = np.arange(len(numbers))
            peaks.plot(at, _peaks(run), marker=mark, color=colour, label=name)
            peaks.set_xticks(at, numbers)
        amps.set_ylim(0.0, 120.0)
        amps.set_xlim(left=0.0)
        amps.set_ylabel("current (A)")
        amps.set_xlabel("arc time, pauses left out (s)")
        amps.legend(loc="lower right", ncols=2)
        settle(amps, "The pedal gives way as the joint warms")
        peaks.set_ylabel("tube peak (°C)")
        peaks.set_xlabel("segment, in the order of running")
        settle(peaks, f"Segment peaks {spreads[0]:.0f} K apart at steady current,"
               f" {spreads[1]:.0f} K under the pedal")  # fmt: skip
        for axes in (amps, peaks):
            axes.grid(True)
        write_png(figure, HERE / "clock-or-hand.png")


if __name__ == "__main__":
    main()
