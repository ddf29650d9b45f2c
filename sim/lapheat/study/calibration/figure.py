"""The calibration: measured against computed, before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ...case.case import Case
from ...report.figures.style import INK, LINES, MUTED, Array, Units, new_figure, short, styled

__all__ = ["AnswerPanel", "HistoryPanel", "answers", "histories"]

MEASURED, AFTER = INK, LINES[0]
YES, NO = LINES[0], LINES[5]
MOST = 12  # probes shown
DOTS = 150  # readings shown of each


@dataclass(frozen=True)
class HistoryPanel:
    """One probe: `time` (n,) [s]; measured (nan where not), before and after (n,) [K]."""

    name: str
    time: Array
    measured: Array
    before: Array
    after: Array


@dataclass(frozen=True)
class AnswerPanel:
    """One question asked of trial pieces.

    Attributes
    ----------
    measure : what decides it, with its unit
    yes, no : the answers in words
    current, answers : (n,) of the pieces [A]; 1, 0 or nan
    currents, before, after : (m,) [A]; computed measure [K]
    scatter : of the measure from piece to piece [K]
    """

    measure: str
    yes: str
    no: str
    current: Array
    answers: Array
    currents: Array
    before: Array
    after: Array
    scatter: float


def histories(case: Case, panels: Sequence[HistoryPanel], rms: tuple[float, float]) -> Figure:
    """Draw each probe's history as measured, and as computed before and after the fit.

    Parameters
    ----------
    case : gives title and units
    panels : one a probe; the first twelve are shown
    rms : of computed less measured, before and after [K]
    """
    units = Units.of(case)
    shown = panels[:MOST]
    columns = min(len(shown), 3 if len(shown) > 4 else 2)
    rows = ceil(len(shown) / columns)
    with styled():
        figure = new_figure(max(4.0 * columns, 5.0), 0.9 + 2.5 * rows)
        figure.suptitle(
            f"{short(case.title, 60)}: off by {rms[0]:.1f} K before, {rms[1]:.1f} K after "
            "(root mean square)",
            fontsize=9.0,
        )
        grid = figure.subplots(rows, columns, squeeze=False)
        for place, axes in enumerate(grid.flat):
            if place >= len(shown):
                axes.set_axis_off()
                continue
            _history(axes, shown[place], units)
            if place % columns == 0:
                axes.set_ylabel(f"temperature ({units.degree})")
            if place + columns >= len(shown):
                axes.set_xlabel("time (s)")
        handles = [
            Line2D([], [], color=MEASURED, marker=".", linestyle="", markersize=5),
            Line2D([], [], color=MUTED, linestyle=(0, (4, 2)), linewidth=1.1),
            Line2D([], [], color=AFTER, linewidth=1.4),
        ]
        labels = ["measured", "computed before", "computed after"]
        figure.legend(handles, labels, loc="outside lower center", ncols=3)
    return figure


def _history(axes: Axes, panel: HistoryPanel, units: Units) -> None:
    there = np.flatnonzero(np.isfinite(panel.measured))
    some = there[:: max(1, len(there) // DOTS)]
    axes.plot(panel.time[there], units.hot(panel.before[there]), color=MUTED, dashes=(4, 2))
    axes.plot(
        panel.time[some],
        units.hot(panel.measured[some]),
        color=MEASURED,
        marker=".",
        markersize=3.0,
        linestyle="",
    )
    axes.plot(panel.time[there], units.hot(panel.after[there]), color=AFTER, linewidth=1.4)
    axes.set_title(short(panel.name))
    axes.grid(True)


def answers(case: Case, panels: Sequence[AnswerPanel]) -> Figure:
    """Draw what decides each answer against current, before and after the fit.

    Parameters
    ----------
    case : gives the title
    panels : one a question
    """
    with styled():
        figure = new_figure(4.6 * len(panels), 3.9)
        figure.suptitle(short(case.title, 60), fontsize=9.5)
        for axes, panel in zip(
            figure.subplots(1, len(panels), squeeze=False)[0], panels, strict=True
        ):
            _answers(axes, panel)
    return figure


def _answers(axes: Axes, panel: AnswerPanel) -> None:
    axes.axhspan(-panel.scatter, panel.scatter, color="#eef0f2", linewidth=0)
    axes.axhline(0.0, color=INK, linewidth=1.0)
    axes.plot(panel.currents, panel.before, color=MUTED, dashes=(4, 2), label="computed before")
    axes.plot(panel.currents, panel.after, color=INK, linewidth=1.4, label="computed after")
    height = np.interp(panel.current, panel.currents, panel.after)
    beside = _apart(panel.current, panel.answers)
    for answer, colour, marker, words in ((1.0, YES, "o", panel.yes), (0.0, NO, "s", panel.no)):
        these = panel.answers == answer
        axes.plot(
            beside[these],
            height[these],
            linestyle="",
            marker=marker,
            markersize=5.5,
            color=colour,
            markerfacecolor=colour if answer else "white",
            label=f"trial {words}",
        )
    axes.set_xlabel("current (A); shaded: scatter from trial to trial")
    axes.set_ylabel(panel.measure)
    axes.grid(True)
    axes.legend(loc="best")


def _apart(current: Array, answers: Array) -> Array:
    """Answers at one current side by side, in that order [A]."""
    width = 0.022 * max(float(np.ptp(current)), 1.0)
    moved = current.copy()
    for amps in np.unique(current):
        these = np.flatnonzero((current == amps) & np.isfinite(answers))
        these = these[np.argsort(answers[these], kind="stable")]
        moved[these] += width * (np.arange(len(these)) - 0.5 * (len(these) - 1))
    return moved
