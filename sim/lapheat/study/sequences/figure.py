"""Orders of segments side by side: peak round the ring and how warm each segment starts."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ...report.figures.style import (
    FLOW,
    INK,
    LINES,
    SOLIDUS,
    Array,
    Units,
    new_figure,
    settle,
    short,
    styled,
)

__all__ = ["SequenceLine", "SequencesChart", "sequences"]

MARKS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", "-.", ":")
WIDEST = 66  # characters of a label of which two stand side by side


@dataclass(frozen=True)
class SequenceLine:
    """One order.

    Attributes
    ----------
    name : as the user gave it
    note : what its run came to, in a few words
    pick : whether it is the one picked
    ring : (layers,) peak of the tube round the ring, from angle 0 on [K]
    numbers, starts : (n,) segments and the base at their start points at strike [K]
    """

    name: str
    note: str
    pick: bool
    ring: Array
    numbers: Array
    starts: Array


@dataclass(frozen=True)
class SequencesChart:
    """What the figure shows.

    Attributes
    ----------
    title : one line
    lines : the orders, the best first
    segments : number N round the ring
    flow, solidus : of filler and tube, nan where there is none [K]
    units : the user's
    """

    title: str
    lines: tuple[SequenceLine, ...]
    segments: int
    flow: float
    solidus: float
    units: Units


def _look(index: int, line: SequenceLine) -> dict[str, Any]:
    return {
        "color": LINES[index % len(LINES)],
        "linestyle": DASHES[(index // len(LINES) + index) % len(DASHES)],
        "linewidth": 2.2 if line.pick else 1.2,
        "zorder": 4.0 if line.pick else 3.0,
    }


def _ring(axes: Axes, chart: SequencesChart) -> None:
    units = chart.units
    tops: list[float] = []
    lows: list[float] = []
    for index, line in enumerate(chart.lines):
        ring = units.hot(line.ring)
        angle = (np.arange(len(ring)) + 0.5) * 360.0 / len(ring)
        axes.plot(angle, ring, **_look(index, line))
        tops.append(float(ring.max()))
        lows.append(float(ring.min()))
    low, high = min(lows), max(tops)
    room = 0.08 * (high - low) + 5.0
    for kelvin, name, colour, dash in (
        (chart.solidus, "solidus", SOLIDUS, "--"),
        (chart.flow, "flow", FLOW, "-"),
    ):
        value = float(units.hot(np.asarray(kelvin)))
        if isfinite(value) and low - 3.0 * room < value < high + (high - low) + 3.0 * room:
            axes.axhline(value, color=colour, linestyle=dash, linewidth=1.0)
            axes.annotate(
                f"{name} {value:.0f}",
                (1.0, value),
                xycoords=axes.get_yaxis_transform(),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                fontsize=7.5,
                color=colour,
                annotation_clip=False,
            )
            low, high = min(low, value), max(high, value)
    axes.set_ylim(low - room, high + room)
    settle(axes, "Peak of the tube round the ring")
    axes.set_ylabel(f"peak temperature ({units.degree})")


def _starts(axes: Axes, chart: SequencesChart) -> None:
    units, width = chart.units, 360.0 / chart.segments
    many = len(chart.lines)
    coolest = min(float(line.starts.min()) for line in chart.lines)
    for index, line in enumerate(chart.lines):
        # side by side about the segment's middle, so that equal ones do not cover each other
        shift = 0.6 * width * ((index + 0.5) / many - 0.5)
        at = (line.numbers - 0.5) * width + shift
        axes.vlines(
            at, units.hot(np.full(len(at), coolest)), units.hot(line.starts),
            color=LINES[index % len(LINES)], linewidth=0.8, alpha=0.5, zorder=2.5,
        )  # fmt: skip
        axes.plot(
            at,
            units.hot(line.starts),
            linestyle="none",
            marker=MARKS[index % len(MARKS)],
            markersize=5.5 if line.pick else 4.0,
            color=LINES[index % len(LINES)],
            markeredgecolor=INK,
            markeredgewidth=0.8 if line.pick else 0.3,
            zorder=4.0,
        )
    settle(axes, "How warm each segment starts")
    axes.set_ylabel(f"base at strike ({units.degree})")
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    every = max(1, -(-chart.segments // 24))
    shown = np.arange(1, chart.segments + 1, every)
    axes.set_xticks((shown - 0.5) * width, [str(number) for number in shown])
    axes.tick_params(axis="x", length=0.0)
    axes.set_xlabel("segment number; both panels go round the ring from 0 to 360 deg")


def sequences(chart: SequencesChart) -> Figure:
    """Draw every order's peak round the ring, and its segments' start temperatures."""
    labels = [
        f"{short(line.name, 26)}{' (best)' if line.pick else ''}: {line.note}"
        for line in chart.lines
    ]
    columns = 2 if len(labels) > 3 and max(map(len, labels)) <= WIDEST else 1
    with styled():
        figure = new_figure(8.4, 5.6 + 0.2 * max(0, len(labels) // columns - 4))
        ring, starts = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [1.1, 1.0]})
        _ring(ring, chart)
        _starts(starts, chart)
        for axes in (ring, starts):
            axes.set_xlim(0.0, 360.0)
            axes.grid(True, axis="y")
            for border in range(1, chart.segments):
                axes.axvline(border * 360.0 / chart.segments, color="#e6e9ec", linewidth=0.6)
        handles = []
        for index, line in enumerate(chart.lines):
            handles.append(
                Line2D(
                    [],
                    [],
                    **_look(index, line),
                    marker=MARKS[index % len(MARKS)],
                    markersize=4.5,
                    label=labels[index],
                )
            )
        figure.legend(handles=handles, loc="outside lower center", ncols=columns, handlelength=3.2)
        figure.suptitle(chart.title, fontsize=9.5, fontweight="bold", x=0.02, ha="left")
    return figure
