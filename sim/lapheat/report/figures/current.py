"""The pedal: current and hottest base while the arc was on, pauses left out."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ...history.records import History
from ...outcomes.current import Pressed, pressed
from .style import (
    ARC,
    FLOW,
    INK,
    LINES,
    MUTED,
    SOLIDUS,
    Array,
    Units,
    levels_of,
    new_figure,
    settle,
    spaced,
    styled,
)

__all__ = ["current"]

PLOT_POINTS = 480.0  # about the width of the plot [pt], for spacing labels
NEAR = 0.085  # of a panel's height, that a label takes
STROKE = 1.018  # of a panel's width, where labels beside it begin
ROOM = 0.16  # of a panel's height, above the highest line, for labels


def _broken(values: Array, steps: Pressed) -> Array:
    """Values of the steps, with a gap (nan) where a new segment begins."""
    result = np.repeat(values, 2)
    first = np.flatnonzero(np.diff(steps.segment, prepend=0) != 0)
    result[2 * first[1:]] = np.nan
    return result


def _segments(panels: list[Axes], steps: Pressed, ends: Array) -> None:
    """Shade every other segment and number them along the top."""
    first = np.flatnonzero(np.diff(steps.segment, prepend=0) != 0)
    begin = np.concatenate([[0.0], ends])[first]
    stop = np.append(begin[1:], ends[-1])
    for index, (a, b) in enumerate(zip(begin, stop, strict=True)):
        if index % 2:
            for axes in panels:
                axes.axvspan(a, b, color=ARC, alpha=0.6, linewidth=0, zorder=0.5)
    middles = 0.5 * (begin + stop)
    for index in spaced(middles, float(ends[-1]) * 16.0 / PLOT_POINTS):
        panels[0].text(
            middles[index],
            0.985,
            str(steps.segment[first[index]]),
            transform=panels[0].get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=7.5,
            color=INK,
        )


def _level(axes: Axes, value: float, text: str, colour: str, dash: str, beside: float) -> None:
    """Draw a level, its name at the right at height `beside`, and a stroke between them."""
    axes.axhline(value, color=colour, linestyle=dash, linewidth=1.0, zorder=2.2)
    across = axes.get_yaxis_transform()
    axes.plot(
        *([1.0, STROKE], [value, beside]),
        color=colour,
        linewidth=0.7,
        transform=across,
        clip_on=False,
        scalex=False,
        scaley=False,
    )
    axes.annotate(
        text,
        (STROKE, beside),
        xycoords=across,
        xytext=(2, 0),
        textcoords="offset points",
        va="center",
        fontsize=7.5,
        color=colour,
        annotation_clip=False,
    )


def _beside(values: Sequence[float], gap: float) -> list[float]:
    """Heights for names of levels, as near to them as may be, none nearer than `gap` to another."""
    order = sorted(range(len(values)), key=lambda index: values[index])
    groups: list[list[int]] = []
    heights = [0.0] * len(values)
    for index in order:
        groups.append([index])
        while True:  # names too near stand evenly about the middle of their levels
            last = groups[-1]
            middle = sum(values[i] for i in last) / len(last)
            for place, i in enumerate(last):
                heights[i] = middle + gap * (place - 0.5 * (len(last) - 1))
            if len(groups) == 1 or heights[last[0]] - heights[groups[-2][-1]] >= gap:
                break
            groups[-2:] = [groups[-2] + last]
    return heights


def _limit_title(steps: Pressed) -> str:
    low, high = (float(steps.seconds[mine].sum()) for mine in (steps.low, steps.high))
    mean = float(steps.current @ steps.seconds / steps.seconds.sum())
    head = f"Current {steps.current.min():.0f} to {steps.current.max():.0f} A, mean {mean:.0f} A"
    told = [
        f"{seconds:.1f} s on the {name} limit"
        for name, seconds in (("lower", low), ("upper", high))
        if seconds > 0.0
    ]
    return f"{head}; {', '.join(told) or 'never on a limit'}"


def current(history: History) -> Figure:
    """Draw current and hottest base against arc time.

    Raises
    ------
    ValueError
        The current is steady.
    """
    case, levels = history.case, levels_of(history)
    units, pedal = Units.of(case), case.arc.pedal
    if pedal is None:
        raise ValueError("a steady current has no pedal to draw")
    steps = pressed(history)
    ends = np.cumsum(steps.seconds)
    time = np.column_stack([ends - steps.seconds, ends]).ravel()
    trace = history.trace
    hottest = np.fmax(trace.tube, trace.flange)[steps.step]
    air = case.surroundings.temperature
    with styled():
        figure = new_figure(8.0, 4.6)
        amps, heat = figure.subplots(2, 1, sharex=True)
        amps.plot(time, _broken(steps.current, steps), color=LINES[0], zorder=3.0)
        low, high = pedal.range
        for limit, mine in ((low, steps.low), (high, steps.high)):
            _level(amps, limit, f"{limit:.0f} A", MUTED, "--", limit)
            if mine.any():
                amps.plot(
                    time,
                    _broken(np.where(mine, steps.current, np.nan), steps),
                    color=INK,
                    linewidth=3.0,
                    solid_capstyle="butt",
                    zorder=3.2,
                )
        amps.set_ylim(0.0, (1.0 + ROOM) * high)
        amps.set_ylabel("current (A)")
        settle(amps, _limit_title(steps))

        heat.plot(ends, _gaps(units.hot(hottest), steps), color=LINES[1], zorder=3.0)
        told = [
            (levels.flow, "flow", FLOW, "-"),
            (pedal.hold, "hold", INK, ":"),
            (levels.tube, "tube solidus", SOLIDUS, "--"),
            (levels.flange, "flange solidus", SOLIDUS, "-."),
        ]
        told = [level for level in told if isfinite(level[0])]
        highest = max(float(hottest.max()), *(kelvin for kelvin, *_ in told))
        heat.set_ylim(*units.hot(np.array([air, air + 1.12 * (highest - air)])))
        low, high = heat.get_ylim()
        values = [float(units.hot(np.asarray(kelvin))) for kelvin, *_ in told]
        heights = _beside(values, NEAR * (high - low))
        for value, beside, (_, name, colour, dash) in zip(values, heights, told, strict=True):
            _level(heat, value, f"{name} {value:.0f}", colour, dash, beside)
        over = float(hottest.max()) - pedal.hold
        side = "above" if over >= 0.0 else "below"
        scale = 1.8 if units.temperature == "degF" else 1.0
        unit = "°F" if units.temperature == "degF" else "K"
        settle(
            heat,
            f"Hottest base peaks {abs(over) * scale:.0f} {unit} {side} the hold of"
            f" {units.temperature_text(pedal.hold)}",
        )
        heat.set_ylabel(f"temperature ({units.degree})")
        heat.set_xlabel("arc time, pauses left out (s); numbered: segments in the order of running")
        for axes in (amps, heat):
            axes.grid(True)
            axes.set_xlim(0.0, float(ends[-1]))
        _segments([amps, heat], steps, ends)
    return figure


def _gaps(values: Array, steps: Pressed) -> Array:
    """One value a step, with a gap (nan) where a new segment begins."""
    result = np.array(values, dtype=np.float64)
    result[np.flatnonzero(np.diff(steps.segment, prepend=0) != 0)[1:]] = np.nan
    return result
