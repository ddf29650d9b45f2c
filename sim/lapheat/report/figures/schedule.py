"""The schedule as a strip: which segment when, arc on and off, current."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ...history.records import History, SegmentRun
from .style import (
    FLOW,
    INK,
    LINES,
    MUTED,
    Array,
    Units,
    envelope,
    halo,
    new_figure,
    settle,
    styled,
)

__all__ = ["on_spans", "schedule"]

TACK = LINES[1]
LABELLED = 16  # more bars than this leave no room for a text at each


def on_spans(time: Array, current: Array) -> list[tuple[float, float]]:
    """Find when the arc was on.

    Parameters
    ----------
    time : (n,) end of each step [s]
    current : (n,) during each step [A]

    Returns
    -------
    spans : (start, length) of each [s]
    """
    on = np.concatenate([[False], current[1:] > 0.0, [False]])
    strikes = np.flatnonzero(on[1:] & ~on[:-1])
    breaks = np.flatnonzero(~on[1:] & on[:-1])
    return [
        (float(time[a]), float(time[b] - time[a])) for a, b in zip(strikes, breaks, strict=True)
    ]


def _title(history: History, runs: list[SegmentRun]) -> str:
    share = 100.0 * history.arc_on / history.total if history.total > 0.0 else 0.0
    noun = "segment" if len(runs) == 1 else "segments"
    return (
        f"{len(runs)} {noun} in {history.total:.0f} s,"
        f" arc on for {history.arc_on:.0f} s ({share:.0f} %)"
    )


def _start_label(axes: Axes, run: SegmentRun, units: Units, total: float) -> None:
    """Write how warm a segment starts: after its bar, before it if late, inside if it is long."""
    room = 0.2 * total
    inside = run.end - run.start > room
    before = not inside and run.end + room > total
    axes.annotate(
        f"starts at {units.temperature_text(run.start_temperature)}",
        (run.start if inside or before else run.end, run.number),
        xytext=(-4 if before else 4, 0),
        textcoords="offset points",
        ha="right" if before else "left",
        va="center",
        fontsize=7.5,
        color="white" if inside else INK,
        path_effects=[] if inside else halo("white", 2.0),  # over the grid
    )


def schedule(history: History) -> Figure:
    """Draw segment against time, the arc on and off, and its current."""
    units = Units.of(history.case)
    runs = sorted(history.segments, key=lambda run: run.start)
    trace = history.trace
    with styled():
        figure = new_figure(8.0, 4.8)
        bars, strip, amps = figure.subplots(
            3, 1, sharex=True, gridspec_kw={"height_ratios": [5.0, 0.35, 1.8]}
        )
        few = len(runs) <= LABELLED
        bars.barh(
            [run.number for run in runs],
            [run.end - run.start for run in runs],
            left=[run.start for run in runs],
            height=0.72 if few else 0.9,
            color=FLOW,
        )
        for run in runs if few else []:
            _start_label(bars, run, units, history.total)
        tacks = on_spans(trace.time, np.where(trace.segment == 0, trace.current, 0.0))
        numbers = [run.number for run in runs]
        if tacks:
            numbers.append(0)
            bars.broken_barh(tacks, (-0.36, 0.72), color=TACK, linewidth=0)
            bars.yaxis.set_major_formatter(lambda y, _: "tacks" if y == 0 else f"{y:.0f}")
        slack = max(0.7, 0.5 * (4 - len(numbers)))  # a lone bar need not fill the panel
        bars.set_ylim(max(numbers) + slack, min(numbers) - slack)
        bars.yaxis.set_major_locator(MaxNLocator(12, integer=True, min_n_ticks=1))
        bars.set_ylabel("segment number")
        settle(bars, _title(history, runs))
        bars.grid(True, axis="x")
        bars.tick_params(bottom=False)

        spans = on_spans(trace.time, trace.current)
        strip.broken_barh(spans, (0.0, 1.0), color=LINES[0], linewidth=0)
        if tacks:
            strip.broken_barh(tacks, (0.0, 1.0), color=TACK, linewidth=0)
        strip.set_ylim(0.0, 1.0)
        strip.set_yticks([0.5], ["arc on"])
        strip.tick_params(left=False, bottom=False)
        strip.set_facecolor("#f3f5f7")
        for spine in strip.spines.values():
            spine.set_visible(False)

        time, current = envelope(trace.time, trace.current)
        amps.fill_between(time, current, step="pre", color=LINES[0], alpha=0.25, linewidth=0)
        amps.plot(time, current, drawstyle="steps-pre", color=LINES[0], linewidth=1.0)
        amps.set_ylim(0.0, max(1.15 * float(current.max()), 1.0))
        amps.yaxis.set_major_locator(MaxNLocator(4, min_n_ticks=2))
        amps.set_ylabel("current (A)")
        amps.set_xlabel("time (s)")
        amps.grid(True)
        amps.set_xlim(0.0, max(1.02 * history.total, 1e-3))
        bars.spines["bottom"].set_color(MUTED)
        settle(strip)
        settle(amps)
    return figure
