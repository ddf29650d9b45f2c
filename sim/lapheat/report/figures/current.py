"""The pedal: current and hottest base while the arc was on, pauses left out."""

from __future__ import annotations

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
NEAR = 0.075  # of a panel's height, that a label takes
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


def _level(axes: Axes, value: float, text: str, colour: str, dash: str, va: str) -> None:
    """Draw a level with its name at the right end, at height `va` beside it."""
    axes.axhline(value, color=colour, linestyle=dash, linewidth=1.0, zorder=2.2)
    axes.annotate(
        text,
        (1.0, value),
        xycoords=axes.get_yaxis_transform(),
        xytext=(4, 0),
        textcoords="offset points",
        va=va,
        fontsize=7.5,
        color=colour,
        annotation_clip=False,
    )


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
            _level(amps, limit, f"{limit:.0f} A", MUTED, "--", "center")
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
            (levels.flow, "flow", FLOW, "-", "top"),
            (pedal.hold, "hold", INK, ":", "center"),
        ]
        both = (levels.tube, "tube solidus", "--"), (levels.flange, "flange solidus", "-.")
        solidi = sorted(part for part in both if isfinite(part[0]))
        told += [(kelvin, name, SOLIDUS, dash, "bottom") for kelvin, name, dash in solidi]
        tops = [float(hottest.max()), *(kelvin for kelvin, *_ in told if isfinite(kelvin))]
        close = len(solidi) == 2 and solidi[1][0] - solidi[0][0] < NEAR * (max(tops) - air)
        heat.set_ylim(*units.hot(np.array([air, air + 1.12 * (max(tops) - air)])))
        below = ""
        for kelvin, name, colour, dash, va in told:
            if isfinite(kelvin):
                value = float(units.hot(np.asarray(kelvin)))
                text = f"{name} {value:.0f}"
                if close and name == solidi[0][1]:  # its name goes beneath that of the other
                    below, text = f"\n{text}", ""
                elif close and name == solidi[1][1]:
                    text += below
                _level(heat, value, text, colour, dash, va)
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
