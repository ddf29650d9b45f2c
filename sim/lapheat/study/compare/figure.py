"""Peaks of every run overlaid, segment by segment round the ring."""

from __future__ import annotations

import warnings
from math import isfinite
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ...constants import ZERO_CELSIUS
from ...joint.schedule import zero_of
from ...report.figures.style import (
    FLOW,
    LINES,
    SOLIDUS,
    Array,
    Units,
    new_figure,
    settle,
    short,
    styled,
)
from .compare import Comparison, deciding_of
from .entries import Entry

__all__ = ["overlaid"]

DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)), (0, (6, 1.5, 1.5, 1.5)))
WIDEST = 52  # letters of a label of which two fit beside each other
PANELS = {
    "tube_peak_C": ("Tube", "peak"),
    "flange_peak_C": ("Flange", "peak"),
    "start_C": ("Start points as the arc strikes", "base at strike"),
}


def _look(index: int, entry: Entry, found: Comparison) -> dict[str, Any]:
    return {
        "color": LINES[index % len(LINES)],
        "linestyle": DASHES[index % len(DASHES)],
        "linewidth": 2.4 if entry is found.pick else 1.5,
    }


def _steps(entry: Entry, name: str) -> tuple[Array, Array]:
    """Angles [deg] and temperatures [K] of a line that is level along each segment."""
    told = [segment for segment in entry.told["segments"] if segment.get(name) is not None]
    told.sort(key=lambda segment: min(segment["from_deg"], segment["to_deg"]))
    ends = [sorted((segment["from_deg"], segment["to_deg"])) for segment in told]
    levels = [float(segment[name]) + ZERO_CELSIUS for segment in told]
    return np.array(ends, dtype=float).reshape(-1), np.repeat(levels, 2)


def _levels(axes: Axes, found: Comparison, part: str, units: Units, span: Array) -> None:
    """Draw solidus and filler flow of the first run where they are near the lines."""
    case = found.entries[0].case
    alloy = case.flange.alloy if part == "flange" and case.flange else case.tube.alloy
    solidus = case.alloys[alloy].solidus
    low, high = float(span.min()), float(span.max())
    room = 0.1 * (high - low) + 10.0
    for kelvin, name, colour, dash in (
        (solidus, f"{short(alloy, 16)} solidus", SOLIDUS, "--"),
        (case.brazed.filler.flow if case.brazed else None, "filler flow", FLOW, "-"),
    ):
        value = float("nan") if kelvin is None else float(units.hot(np.asarray(kelvin)))
        if isfinite(value) and low - 4.0 * room < value < high + 4.0 * room:
            axes.axhline(value, color=colour, linestyle=dash, linewidth=1.0)
            axes.annotate(
                f"{name}\n{value:.0f} {units.degree}",
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


def _panel(axes: Axes, found: Comparison, name: str, units: Units) -> None:
    spans: list[Array] = []
    highest: list[tuple[float, str]] = []
    for index, entry in enumerate(found.entries):
        angle, kelvin = _steps(entry, name)
        if len(angle):
            values = units.hot(kelvin)
            axes.plot(angle, values, **_look(index, entry, found))
            spans.append(values)
            highest.append((float(kelvin.max()), entry.name))
    word, what = PANELS[name]
    if name == "start_C":
        axes.set_ylim(bottom=min(0.0, float(np.concatenate(spans).min())))
    else:
        _levels(axes, found, word.lower(), units, np.concatenate(spans))
    (top, hottest), (bottom, coolest) = max(highest), min(highest)
    high, low = units.temperature_text(top), units.temperature_text(bottom)
    told = f"{low} in {short(coolest, 20)}, {high} in {short(hottest, 20)}"
    if high == low:
        told = f"{high} in each"
    settle(axes, f"{word}: highest {told}")
    axes.set_ylabel(f"{what} ({units.degree})")
    axes.grid(True, axis="y")


def overlaid(found: Comparison) -> Figure:
    """Draw peaks of tube and flange and the start temperatures of every run, over one another."""
    units = Units.of(found.entries[0].case)
    shown = [name for name in PANELS if any(len(_steps(e, name)[0]) for e in found.entries)]
    with styled(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a name in a script the font lacks
        figure = new_figure(8.0, 1.4 + 1.9 * len(shown) + 0.18 * len(found.entries))
        panels = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
        for axes, name in zip(panels, shown, strict=True):
            _panel(axes, found, name, units)
        panels[-1].set_xlim(0.0, 360.0)
        panels[-1].set_xticks(np.arange(0.0, 361.0, 45.0))
        zeros = {zero_of(entry.case) for entry in found.entries}
        told = " from the {}, {}".format(*zeros.pop()) if len(zeros) == 1 else " round the ring"
        panels[-1].set_xlabel(f"angle{told} (deg)")
        handles = [
            Line2D([], [], **_look(index, entry, found), label=_label(entry, found))
            for index, entry in enumerate(found.entries)
        ]
        longest = max(len(str(handle.get_label())) for handle in handles)
        columns = 2 if len(handles) > 3 and longest <= WIDEST else 1
        figure.legend(handles=handles, loc="outside lower center", ncols=columns, handlelength=4.0)
    return figure


def _label(entry: Entry, found: Comparison) -> str:
    told = [f"{'works' if entry.works else 'does not work'}"]
    nearest = deciding_of(entry)
    if nearest is not None:
        told.append(nearest)
    told.append(f"{entry.told['time']['total_s']:.0f} s")
    better = " (better)" if entry is found.pick else ""
    return f"{short(entry.name, 26)}{better}: {', '.join(told)}"
