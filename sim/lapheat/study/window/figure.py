"""The window: where the base comes too close, where the filler fails, what is left, the pick."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation
from numpy.typing import NDArray

from ...report.figures.style import INK, LINES, MUTED, Array, halo, new_figure, styled

__all__ = ["WindowChart", "WindowPanel", "window"]

MELTS, COLD = LINES[0], LINES[5]
WORKS_TINT, MELTS_TINT, COLD_TINT, NEITHER_TINT = "#cdebe1", "#f9e1d3", "#d2e4f1", "#d9d6d6"
FAR = 1e6  # [K]
PICK = LINES[4]
COLUMNS = 3  # panels side by side
# Marker, size, face, edge and name of each point that is marked, and its line where one key varies.
MARKS = {
    "safest": ("P", 11.0, PICK, INK, "the safest"),
    "pick": ("*", 15.0, PICK, INK, "the pick, the quickest"),
    "nearest": ("D", 10.0, "none", PICK, "nearest miss"),
}
STYLES = {"safest": "-.", "pick": "-", "nearest": ":"}


@dataclass(frozen=True)
class WindowPanel:
    """One map over two axes.

    Attributes
    ----------
    title : values of the other axes, "" if there are none
    points : (n, 2) runs that succeeded, in the units of the axes
    triangles : (m, 3) between them
    base, filler : (n,) what base and filler have over the least wanted [K]; inf: cannot fail
    total : (n,) total time [s]
    failed : (k, 2) runs that did not succeed
    marks : points by name: "pick", "safest" where that is another, "nearest" where nothing works
    chance : values along the first axis (k,) and the second (m,) if there is one, and chances of
        success there, (m, k) or (k,); None without
    """

    title: str
    points: Array
    triangles: NDArray[np.int64]
    base: Array
    filler: Array
    total: Array
    failed: Array
    marks: dict[str, tuple[float, float]]
    chance: tuple[Array, ...] | None = None


@dataclass(frozen=True)
class WindowChart:
    """What the figure shows.

    Attributes
    ----------
    title : of the whole
    labels : of the axes, with units
    ends : first and last value of each axis
    panels : one, or one for each value of further axes
    base_band, filler_band : lowest and highest [K] that may be zero at the case's own detail
    band : what the bands are, in words; "" for none
    sure : the chance wanted, where there are chances
    """

    title: str
    labels: tuple[str, ...]
    ends: tuple[tuple[float, float], ...]
    panels: tuple[WindowPanel, ...]
    base_band: tuple[float, float]
    filler_band: tuple[float, float]
    band: str
    sure: float | None = None


def _region(
    axes: Axes, mesh: Triangulation, values: Array, low: float, high: float, **look: object
) -> None:
    """Fill where a measure lies between two values."""
    if np.isfinite(values).all() and low < high and values.min() < high and values.max() > low:
        axes.tricontourf(mesh, values, levels=[low, high], **look)


def _band(
    axes: Axes,
    mesh: Triangulation,
    values: Array,
    ends: tuple[float, float],
    colour: str,
    hatch: str,
) -> None:
    """Hatch where a boundary may be on another mesh."""
    low, high = ends
    if np.isfinite(values).all() and low < high and values.min() < high and values.max() > low:
        area = axes.tricontourf(mesh, values, levels=[low, high], colors="none", hatches=[hatch])
        area.set_edgecolor(to_rgba(colour, 0.55))
        area.set_linewidth(0.0)


def _line(axes: Axes, mesh: Triangulation, values: Array, colour: str, style: str) -> None:
    if np.isfinite(values).all() and values.min() < 0.0 <= values.max():
        lines = axes.tricontour(
            mesh, values, levels=[0.0], colors=[colour], linewidths=1.8, linestyles=[style]
        )
        lines.set_zorder(4)


def _times(axes: Axes, mesh: Triangulation, total: Array) -> None:
    """Contours of the total time at round values."""
    levels = MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]).tick_values(total.min(), total.max())
    levels = [level for level in levels if total.min() < level < total.max()]
    if not levels:
        return
    lines = axes.tricontour(mesh, total, levels=levels, colors=[MUTED], linewidths=0.7)
    texts = axes.clabel(lines, fmt=lambda seconds: f"{seconds:.0f} s", fontsize=7.0, colors=[MUTED])
    for text in texts:
        text.set_path_effects(halo("white", 2.0))
        text.set_zorder(6)  # above the runs


def _chances(axes: Axes, chance: tuple[Array, ...], sure: float) -> None:
    """Contours of the chance of success, that of the wanted one thick; grey where it is reached."""
    x, y, values = chance
    if values.max() >= sure:
        axes.contourf(x, y, values, levels=[sure, 1.1], colors=[INK], alpha=0.16, zorder=3)
    for level, width in ((0.5, 1.0), (sure, 2.2)):
        if values.min() < level < values.max():
            lines = axes.contour(x, y, values, levels=[level], colors=[INK], linewidths=width)
            lines.set_zorder(4)
            if level == sure:  # the legend names it
                continue
            texts = axes.clabel(
                lines, fmt=lambda at: f"{100 * at:.0f} %", fontsize=7.5, colors=[INK]
            )
            for text in texts:
                text.set_path_effects(halo("white", 2.5))
                text.set_zorder(6)


def _panel(axes: Axes, panel: WindowPanel, chart: WindowChart) -> None:
    base, filler = panel.base, panel.filler
    if len(panel.triangles):
        mesh = Triangulation(panel.points[:, 0], panel.points[:, 1], panel.triangles)
        every = np.ones(len(base))
        _region(axes, mesh, every, 0.0, FAR, colors=[WORKS_TINT])
        _region(axes, mesh, base, -FAR, 0.0, colors=[MELTS_TINT])
        _region(axes, mesh, filler, -FAR, 0.0, colors=[COLD_TINT])
        _region(axes, mesh, np.maximum(base, filler), -FAR, 0.0, colors=[NEITHER_TINT])
        if chart.band and panel.chance is None:
            _band(axes, mesh, base, chart.base_band, MELTS, "////")
            _band(axes, mesh, filler, chart.filler_band, COLD, r"\\\\")
        if panel.chance is None:
            _times(axes, mesh, panel.total)
        _line(axes, mesh, base, MELTS, "solid")
        _line(axes, mesh, filler, COLD, "dashed")
    if panel.chance is not None:
        _chances(axes, panel.chance, chart.sure or 0.0)
    works = (base >= 0.0) & (filler >= 0.0)
    axes.plot(*panel.points[works].T, "o", ms=3.0, color=INK, zorder=5)
    axes.plot(*panel.points[~works].T, "o", ms=3.0, mfc="white", mec=INK, mew=0.7, zorder=5)
    axes.plot(*panel.failed.T, "x", ms=4.0, color=MUTED, zorder=5)
    for name, point in panel.marks.items():
        marker, size, face, edge, _ = MARKS[name]
        axes.plot(*point, marker, ms=size, mfc=face, mec=edge, mew=1.0, zorder=7, clip_on=False)
    (left, right), (low, high) = (_padded(*end) for end in chart.ends)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    if panel.title:
        axes.set_title(panel.title, fontsize=8.5)


def _padded(first: float, last: float) -> tuple[float, float]:
    """Ends of an axis with room for the points on them."""
    return first - 0.03 * (last - first), last + 0.03 * (last - first)


def _dot(label: str, marker: str, size: float, face: str, edge: str) -> Line2D:
    return Line2D([], [], ls="none", marker=marker, ms=size, mfc=face, mec=edge, label=label)


def _both(fails: NDArray[np.bool_]) -> bool:
    """Whether some fail and some do not, with a boundary between."""
    return bool(fails.any() and not fails.all())


def _legend(figure: Figure, chart: WindowChart) -> None:
    base = np.concatenate([panel.base for panel in chart.panels]) < 0.0
    filler = np.concatenate([panel.filler for panel in chart.panels]) < 0.0
    works = ~(base | filler)
    dashed = Line2D([], [], color=COLD, lw=1.8, ls="dashed", label="filler fails beyond")
    shown = [
        (
            any(_both(p.base < 0.0) for p in chart.panels),
            Line2D([], [], color=MELTS, lw=1.8, label="base comes too close beyond"),
        ),
        (any(_both(p.filler < 0.0) for p in chart.panels), dashed),
        (works.any(), Patch(color=WORKS_TINT, lw=0, label="both are well")),
        (base.any(), Patch(color=MELTS_TINT, lw=0, label="base too close to melting")),
        (filler.any(), Patch(color=COLD_TINT, lw=0, label="filler fails")),
        ((base & filler).any(), Patch(color=NEITHER_TINT, lw=0, label="both wrong")),
        (chart.sure is None, Line2D([], [], color=MUTED, lw=0.7, label="total time")),
        (
            chart.sure is not None,
            Patch(
                fc=to_rgba(INK, 0.16), ec=INK, lw=1.5, label=f"{_percent(chart)} of benches succeed"
            ),
        ),
        (works.any(), _dot("run that works", "o", 4.0, INK, INK)),
        (not works.all(), _dot("run that does not", "o", 4.0, "white", INK)),
    ]
    handles = [handle for there, handle in shown if there]
    if chart.band and chart.sure is None:
        handles.append(Patch(fc="white", ec=MUTED, hatch="////", lw=0, label=chart.band))
    if any(len(panel.failed) for panel in chart.panels):
        handles.append(_dot("run that failed", "x", 5.0, MUTED, MUTED))
    for name, (marker, size, face, edge, label) in MARKS.items():
        if any(name in panel.marks for panel in chart.panels):
            handles.append(_dot(label, marker, 0.75 * size, face, edge))
    figure.legend(handles=handles, loc="outside lower center", ncols=3)


def _percent(chart: WindowChart) -> str:
    return f"{100 * (chart.sure or 0.0):.0f} %"


def window(chart: WindowChart) -> Figure:
    """Draw the map: both boundaries, the region that works, total time, runs and pick."""
    with styled():
        count = len(chart.panels)
        columns = min(COLUMNS, count)
        rows = ceil(count / columns)
        figure = new_figure(
            7.0 if count == 1 else 3.1 * columns + 0.6, 2.7 * rows + 1.6 if count > 1 else 5.6
        )
        grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
        for axes, panel in zip(grid.flat, chart.panels, strict=False):
            _panel(axes, panel, chart)
        for axes in list(grid.flat)[count:]:
            axes.set_visible(False)
        for index in range(count):
            axes = grid.flat[index]
            if index % columns == 0:
                axes.set_ylabel(chart.labels[1])
            if index + columns >= count:  # the lowest of its column
                axes.set_xlabel(chart.labels[0])
                axes.tick_params(labelbottom=True)
        figure.suptitle(chart.title, fontsize=9.5, fontweight="bold", x=0.02, ha="left")
        _legend(figure, chart)
    return figure


def one_key(chart: WindowChart) -> Figure:
    """Draw what base and filler have to spare against the only key, total time, chance, picks."""
    (panel,) = chart.panels
    with styled():
        rows = 2 if panel.chance is None else 3
        figure = new_figure(6.6, 2.2 + 1.6 * rows)
        grid = figure.subplots(
            rows, 1, sharex=True, squeeze=False, height_ratios=[2.0] + [1.0] * (rows - 1)
        )[:, 0]
        x = panel.points[:, 0]
        well = (panel.base >= 0.0) & (panel.filler >= 0.0)
        top = grid[0]
        measures = ((panel.base, MELTS, "-", "base: over the margin wanted"),
                    (panel.filler, COLD, "--", "filler: over what is wanted"))  # fmt: skip
        for values, colour, style, label in measures:
            if np.isfinite(values).all() and len(values):
                top.plot(x, values, color=colour, ls=style, lw=1.8, label=label)
                top.plot(x[well], values[well], "o", ms=3.5, color=colour)
                top.plot(x[~well], values[~well], "o", ms=3.5, mfc="white", mec=colour)
        top.axhline(0.0, color=INK, lw=0.8)
        top.set_ylabel("slack [K]")
        grid[1].plot(x, panel.total, color=MUTED, lw=1.4)
        grid[1].set_ylabel("time [s]")
        if panel.chance is not None:
            grid[2].plot(panel.chance[0], 100.0 * panel.chance[-1], color=INK, lw=1.6)
            grid[2].axhline(100.0 * (chart.sure or 0.0), color=MUTED, lw=0.9, ls=":")
            grid[2].set_ylim(0.0, 104.0)
            grid[2].set_ylabel("succeed [%]")
        for name, point in panel.marks.items():
            for axes in grid:
                line = axes.axvline(point[0], color=PICK, ls=STYLES[name], lw=1.8, zorder=1)
            line.set_label(MARKS[name][-1])
        for axes in grid:
            axes.grid(visible=True)
        grid[-1].set_xlabel(chart.labels[0])
        grid[-1].set_xlim(*_padded(*chart.ends[0]))
        figure.suptitle(chart.title, fontsize=9.5, fontweight="bold", x=0.02, ha="left")
        figure.legend(loc="outside lower center", ncols=3)
    return figure
