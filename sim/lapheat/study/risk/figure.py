"""The risk: how the margin and the filler's slack are spread over a bench, and what does it."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import fill

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.transforms import ScaledTranslation

from ...report.figures.style import INK, LINES, MUTED, Array, new_figure, short, styled
from ..chance.surrogate import Shares

__all__ = ["RiskChart", "RiskPanel", "risk"]

BAD, GOOD, ALONE, TOGETHER = LINES[0], LINES[2], LINES[5], "#a9c9de"


@dataclass(frozen=True)
class RiskPanel:
    """One of the two ways to fail.

    Attributes
    ----------
    title : what happens below zero, as a sentence without its end: "Base melts"
    measure : what is measured, with its unit
    fails, holds : below and above zero, in a word or two
    limit : what is wanted of the measure [K], 0 for nothing more
    values : (n,) of the samples [K]
    chance, interval : of being below zero
    names : (d,) of the inputs
    shares : of the inputs in the variance, or None
    slopes : (d,) what the whole scatter of an input upward does [K]
    """

    title: str
    measure: str
    fails: str
    holds: str
    limit: float
    values: Array
    chance: float
    interval: tuple[float, float]
    names: tuple[str, ...]
    shares: Shares | None
    slopes: Array


@dataclass(frozen=True)
class RiskChart:
    """What the figure shows: `title` of the case, a panel for each way to fail."""

    title: str
    panels: tuple[RiskPanel, ...]


def percent(share: float) -> str:
    """Write a chance, with a digit more where it is small."""
    return f"{100.0 * share:.1f} %" if share < 0.0995 else f"{100.0 * share:.0f} %"


def _spread(axes: Axes, panel: RiskPanel) -> None:
    """Histogram of the measure, what fails in another colour."""
    values = panel.values
    low, high = min(float(values.min()), 0.0), max(float(values.max()), 0.0)
    width = max(high - low, 1.0) / 24
    edges = width * np.arange(np.floor(low / width), np.ceil(high / width) + 1)
    counts, _ = np.histogram(values, edges)
    middles = 0.5 * (edges[1:] + edges[:-1])
    colours = [BAD if middle < 0.0 else GOOD for middle in middles]
    axes.bar(middles, counts, width=0.94 * width, color=colours, linewidth=0)
    axes.axvline(0.0, color=INK, linewidth=1.1)
    if panel.limit > 0.0:
        axes.axvline(panel.limit, color=MUTED, linewidth=1.0, linestyle=(0, (4, 3)))
        axes.annotate(
            "margin wanted",
            (panel.limit, 1.0),
            xycoords=axes.get_xaxis_transform(),
            xytext=(3, -3),
            textcoords="offset points",
            va="top",
            color=MUTED,
            fontsize=7.5,
        )
    low, high = panel.interval
    axes.set_title(
        f"{panel.title} in {percent(panel.chance)} of benches\n"
        f"({percent(low)} to {percent(high)} with 95 % confidence)"
    )
    axes.set_xlabel(panel.measure)
    axes.set_ylabel("runs")
    axes.set_ylim(0.0, 1.12 * counts.max())
    axes.grid(axis="y")
    _below(axes, 1, Patch(color=BAD, label=panel.fails), Patch(color=GOOD, label=panel.holds))


def _below(axes: Axes, lines: int, *handles: Patch) -> None:
    """Set a legend beneath the label of an axis, of so many lines: no bar or line crosses it."""
    figure = axes.get_figure(root=True)
    assert figure is not None  # it was made from one
    down = ScaledTranslation(0.0, -(22.0 + 12.0 * lines) / 72.0, figure.dpi_scale_trans)
    axes.legend(
        handles=handles,
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        bbox_transform=axes.transAxes + down,
        ncols=2,
        borderaxespad=0.0,
    )


def _drivers(axes: Axes, panel: RiskPanel, shares: Shares) -> None:
    """Bars of total and first-order share, the largest on top; what its scatter does beside."""
    order = np.argsort(-shares.total, kind="stable")[::-1]
    heights = np.arange(len(order))
    axes.barh(heights, shares.total[order], height=0.72, color=TOGETHER, linewidth=0)
    axes.barh(heights, shares.first[order], height=0.42, color=ALONE, linewidth=0)
    for height, i in zip(heights, order, strict=True):
        axes.annotate(
            "" if shares.doubt else f"{round(panel.slopes[i]):+d} K",
            (shares.total[i], height),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
            color=INK,
        )
    axes.set_yticks(heights, [short(panel.names[i]) for i in order])
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(0.0, 1.2 * max(float(shares.total.max()), 0.05))
    beside = "" if shares.doubt else "\nbeside it: what its scatter upward does"
    axes.set_xlabel(f"share of the variance{beside}")
    axes.grid(axis="x")
    if shares.doubt:
        axes.set_title(fill(f"{panel.title}: do not trust, {shares.doubt}", 48), color=BAD)
    else:
        axes.set_title(
            f"{panel.title}: what drives it\n(cross-validated {100.0 * shares.q2:.1f} %)"
        )
    _below(axes, 2, Patch(color=ALONE, label="alone"), Patch(color=TOGETHER, label="with others"))


def risk(chart: RiskChart) -> Figure:
    """Draw spread and drivers, base and filler side by side."""
    columns = max(len(chart.panels), 1)
    driven = any(panel.shares is not None for panel in chart.panels)
    with styled():
        figure = new_figure(4.6 * columns, 6.1 if driven else 3.15)
        figure.suptitle(short(chart.title, 80), fontsize=9.5)
        grid = figure.subplots(
            2 if driven else 1, columns, squeeze=False, height_ratios=[1.0, 1.15][: 1 + driven]
        )
        for column, panel in enumerate(chart.panels):
            _spread(grid[0, column], panel)
            if panel.shares is not None:
                _drivers(grid[1, column], panel, panel.shares)
            elif driven:
                grid[1, column].set_axis_off()
    return figure
