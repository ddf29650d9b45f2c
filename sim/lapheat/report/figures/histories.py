"""Temperature against time at each segment's start point and at each probe."""

from __future__ import annotations

from math import isfinite

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.legend_handler import HandlerTuple

from ...history.records import History
from .style import (
    ARC,
    FLOW,
    INK,
    LINES,
    SOLIDUS,
    TEMPERATURE,
    Units,
    envelope,
    levels_of,
    new_figure,
    settle,
    short,
    spaced,
    styled,
)

__all__ = ["histories"]

PLOT_POINTS = 400.0  # about the width of the plot [pt], for spacing labels
DASHES = ("-", "--", ":", "-.")
Entry = tuple[Artist | tuple[Artist, ...], str]  # of a legend
NAMED = 6  # start points each with a name; of more only the first and the last have one
HEADROOM = 1.13  # above the hottest line, for the segment numbers


def _arc_spans(axes: Axes, history: History, end: float) -> None:
    """Shade when the arc was on and write which segment at the top."""
    runs = sorted(history.segments, key=lambda run: run.start)
    for run in runs:
        axes.axvspan(run.start, run.end, color=ARC, linewidth=0, zorder=0.5)
    middles = [0.5 * (run.start + run.end) for run in runs]
    digits = len(str(max(run.number for run in runs)))
    for index in spaced(middles, end * (5.0 * digits + 5.0) / PLOT_POINTS):
        axes.text(
            middles[index],
            0.985,
            str(runs[index].number),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=7.5,
            color=INK,
        )


def _thresholds(axes: Axes, history: History, units: Units) -> list[Entry]:
    """Draw filler flow and tube solidus where they fall inside the limits."""
    levels = levels_of(history)
    alloy = short(history.case.tube.alloy, 14)
    low, high = axes.get_ylim()
    drawn: list[Entry] = []
    for kelvin, name, colour, dash in (
        (levels.tube, f"{alloy} solidus", SOLIDUS, "--"),
        (levels.flow, "filler flow", FLOW, "-"),
    ):
        value = float(units.hot(np.asarray(kelvin)))
        if isfinite(value) and low < value < high:
            line = axes.axhline(value, color=colour, linestyle=dash, linewidth=1.1, zorder=2.5)
            drawn.append((line, f"{name} {units.temperature_text(kelvin)}"))
    return drawn


def _legend(axes: Axes, entries: list[Entry], title: str = "") -> None:
    columns = 1 if len(entries) <= 13 else 2
    artists, labels = [artist for artist, _ in entries], [label for _, label in entries]
    axes.legend(
        artists,
        labels,
        loc="upper left",
        bbox_to_anchor=(1.0, 1.03),
        ncols=columns,
        handlelength=1.8,
        handler_map={tuple: HandlerTuple(ndivide=None, pad=0.0)},
        title=title,
        title_fontsize=8.0,
    )


def _limits(axes: Axes, history: History, units: Units, top: float) -> None:
    """Set heights from the air to `top` [K]."""
    air = float(units.hot(np.asarray(history.case.surroundings.temperature)))
    hot = float(units.hot(np.asarray(top)))
    axes.set_ylim(air - 0.03 * (hot - air), air + HEADROOM * (hot - air))


def _starts(axes: Axes, history: History, units: Units) -> None:
    trace, levels = history.trace, levels_of(history)
    runs = sorted(history.segments, key=lambda run: run.start)
    top = float(max(trace.tube.max(), trace.starts.max()))
    _limits(axes, history, units, max(top, levels.tube) if isfinite(levels.tube) else top)
    time, tube = envelope(trace.time, units.hot(trace.tube))
    (hottest,) = axes.plot(time, tube, color="#8b939b", linewidth=0.7, zorder=2.0)
    entries: list[Entry] = [(hottest, "hottest tube surface")]
    shades = TEMPERATURE(np.linspace(0.08, 0.74, max(len(runs), 2)))
    between = {round(share * (len(runs) - 1)) for share in (0.3, 0.55, 0.8)}
    middle: list[Artist] = []
    for order, run in enumerate(runs):
        time, start = envelope(trace.time, units.hot(trace.starts[:, run.number - 1]))
        (line,) = axes.plot(time, start, color=shades[order], linewidth=1.1, zorder=3.0)
        if order in (0, len(runs) - 1) or len(runs) <= NAMED:
            place = {0: " (first)", len(runs) - 1: " (last)"}.get(order, "") if runs[1:] else ""
            entries.append((line, f"start of segment {run.number}{place}"))
        elif order in between:
            middle.append(line)
    if middle:
        entries.insert(-1, (tuple(middle), "starts of those between"))
    both = history.case.flange is not None
    told = "starts: the hotter of tube and flange" if both else ""
    _legend(axes, _thresholds(axes, history, units) + entries, told)
    warmest = max(runs, key=lambda run: run.start_temperature)
    cold = units.temperature_text(runs[0].start_temperature)
    hot = units.temperature_text(warmest.start_temperature)
    if len(runs) == 1:
        title = f"The start point is at {cold} when the arc strikes"
    else:
        title = f"Start points go from {cold} (first) to {hot} (segment {warmest.number}) at strike"
    settle(axes, title)


def _probes(axes: Axes, history: History, units: Units) -> None:
    trace, probes = history.trace, history.case.probes
    peaks = trace.probes.max(axis=0)
    _limits(axes, history, units, float(peaks.max()))
    entries: list[Entry] = []
    for column, probe in enumerate(probes):
        time, values = envelope(trace.time, units.hot(trace.probes[:, column]))
        (line,) = axes.plot(
            time,
            values,
            color=LINES[column % len(LINES)],
            # dashes let one probe show through another that reads the same
            linestyle=DASHES[(column + column // 12) % len(DASHES)],
            zorder=3.0,
        )
        entries.append((line, f"{short(probe.name, 18)} ({probe.on})"))
    _legend(axes, _thresholds(axes, history, units) + entries)
    best = int(peaks.argmax())
    when = float(trace.time[trace.probes[:, best].argmax()])
    settle(
        axes,
        f"Hottest probe, {short(probes[best].name)}, reaches"
        f" {units.temperature_text(float(peaks[best]))} at {when:.0f} s",
    )


def _end(history: History) -> float:
    """Choose the last instant worth showing [s]: the cooling must not squeeze the segments."""
    trace = history.trace
    end = 1.6 * history.total
    if history.case.probes:
        latest = float(trace.time[trace.probes.argmax(axis=0)].max())
        end = max(end, min(1.1 * latest, 3.0 * history.total))
    return max(min(end, float(trace.time[-1])), 1e-3)


def histories(history: History) -> Figure:
    """Draw temperature against time at the start points and, if there are any, at the probes."""
    units = Units.of(history.case)
    probes = len(history.case.probes) > 0
    end = _end(history)
    with styled():
        figure = new_figure(8.0, 5.4 if probes else 3.8)
        panels = figure.subplots(2 if probes else 1, 1, sharex=True, squeeze=False)[:, 0]
        _starts(panels[0], history, units)
        if probes:
            _probes(panels[1], history, units)
        for axes in panels:
            _arc_spans(axes, history, end)
            axes.set_ylabel(f"temperature ({units.degree})")
            axes.grid(True)
        panels[-1].set_xlim(0.0, end)
        panels[-1].set_xlabel("time (s); shaded and numbered: arc on for that segment")
    return figure
