"""The window: where the base comes too close, where the filler fails, what is left, the picks."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.legend_handler import HandlerTuple
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation, TriContourSet
from numpy.typing import NDArray

from ...report.figures.style import INK, LINES, MUTED, Array, halo, new_figure, styled

__all__ = ["WindowChart", "WindowPanel", "window"]

MELTS, COLD = LINES[0], LINES[5]
WORKS_TINT, MELTS_TINT, COLD_TINT, NEITHER_TINT = "#cdebe1", "#f9e1d3", "#d2e4f1", "#d9d6d6"
FAR = 1e6  # [K]
PICK = LINES[4]
COLUMNS = 3  # panels side by side
# Marker, size, face, edge and name of each point that is marked.
MARKS = {
    "safest": ("P", 11.0, PICK, INK, "the safest"),
    "pick": ("*", 15.0, PICK, INK, "the quickest"),
    "nearest": ("D", 10.0, "none", PICK, "nearest miss"),
}
# Its line where one key varies.
STYLES = {"safest": "-.", "pick": "-", "nearest": ":"}
TINT = 0.22  # of a curve's colour, where another mesh may have the curve
Entry = tuple[Artist | tuple[Artist, ...], str]  # of a legend


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
    mesh : of the runs, in words: "the coarse mesh"; "" to leave it out
    """

    title: str
    labels: tuple[str, ...]
    ends: tuple[tuple[float, float], ...]
    panels: tuple[WindowPanel, ...]
    base_band: tuple[float, float]
    filler_band: tuple[float, float]
    band: str
    sure: float | None = None
    mesh: str = ""


def _region(
    axes: Axes, mesh: Triangulation, values: Array, low: float, high: float, **look: object
) -> TriContourSet | None:
    """Fill where a measure lies between two values; None where that is nowhere."""
    if np.isfinite(values).all() and low < high and values.min() < high and values.max() > low:
        return axes.tricontourf(mesh, values, levels=[low, high], **look)
    return None


def _band(
    axes: Axes,
    mesh: Triangulation,
    values: Array,
    ends: tuple[float, float],
    colour: str,
    hatch: str,
) -> bool:
    """Hatch where a boundary may be on another mesh; False where that is nowhere."""
    area = _region(axes, mesh, values, *ends, colors="none", hatches=[hatch])
    if area is None:
        return False
    area.set_edgecolor(to_rgba(colour, 0.55))
    area.set_linewidth(0.0)
    return True


def _line(axes: Axes, mesh: Triangulation, values: Array, colour: str, style: str) -> bool:
    """Draw where a measure is zero; False where that is nowhere."""
    if not (np.isfinite(values).all() and values.min() < 0.0 <= values.max()):
        return False
    lines = axes.tricontour(
        mesh, values, levels=[0.0], colors=[colour], linewidths=1.8, linestyles=[style]
    )
    lines.set_zorder(4)
    return True


def _times(axes: Axes, mesh: Triangulation, total: Array) -> bool:
    """Contours of the total time at round values; False where it hardly differs."""
    levels = MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]).tick_values(total.min(), total.max())
    levels = [level for level in levels if total.min() < level < total.max()]
    if not levels:
        return False
    lines = axes.tricontour(mesh, total, levels=levels, colors=[MUTED], linewidths=0.7)
    texts = axes.clabel(lines, fmt=lambda seconds: f"{seconds:.0f} s", fontsize=7.0, colors=[MUTED])
    for text in texts:
        text.set_path_effects(halo("white", 2.0))
        text.set_zorder(6)  # above the runs
    return True


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


def _panel(axes: Axes, panel: WindowPanel, chart: WindowChart) -> set[str]:
    """Draw one map; names of what is seen on it."""
    base, filler = panel.base, panel.filler
    seen: dict[str, bool] = {}
    if len(panel.triangles):
        mesh = Triangulation(panel.points[:, 0], panel.points[:, 1], panel.triangles)
        _region(axes, mesh, np.ones(len(base)), 0.0, FAR, colors=[WORKS_TINT])
        areas = {
            "melts": (base, MELTS_TINT),
            "cold": (filler, COLD_TINT),
            "neither": (np.maximum(base, filler), NEITHER_TINT),
        }
        for name, (values, tint) in areas.items():
            seen[name] = _region(axes, mesh, values, -FAR, 0.0, colors=[tint]) is not None
        seen["works"] = bool((np.minimum(base, filler) >= 0.0).any())
        if chart.band and panel.chance is None:
            about_base = _band(axes, mesh, base, chart.base_band, MELTS, "////")
            about_filler = _band(axes, mesh, filler, chart.filler_band, COLD, r"\\\\")
            seen["band"] = about_base or about_filler
        if panel.chance is None:
            seen["times"] = _times(axes, mesh, panel.total)
        seen["base"] = _line(axes, mesh, base, MELTS, "solid")
        seen["filler"] = _line(axes, mesh, filler, COLD, "dashed")
    if panel.chance is not None:
        _chances(axes, panel.chance, chart.sure or 0.0)
        seen["sure"] = bool(panel.chance[-1].max() >= (chart.sure or 0.0))
    works = (base >= 0.0) & (filler >= 0.0)
    axes.plot(*panel.points[works].T, "o", ms=3.0, color=INK, zorder=5)
    axes.plot(*panel.points[~works].T, "o", ms=3.0, mfc="white", mec=INK, mew=0.7, zorder=5)
    axes.plot(*panel.failed.T, "x", ms=4.0, color=MUTED, zorder=5)
    for name, point in panel.marks.items():
        marker, size, face, edge, _ = MARKS[name]
        axes.plot(*point, marker, ms=size, mfc=face, mec=edge, mew=1.0, zorder=7, clip_on=False)
    seen |= {"run": bool(works.any()), "not": not works.all(), "failed": len(panel.failed) > 0}
    (left, right), (low, high) = (_padded(*end) for end in chart.ends)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
    if panel.title:
        axes.set_title(panel.title, fontsize=8.5)
    return {name for name, there in (seen | dict.fromkeys(panel.marks, True)).items() if there}


def _padded(first: float, last: float) -> tuple[float, float]:
    """Ends of an axis with room for the points on them."""
    return first - 0.03 * (last - first), last + 0.03 * (last - first)


def _dot(label: str, marker: str, size: float, face: str, edge: str) -> Line2D:
    return Line2D([], [], ls="none", marker=marker, ms=size, mfc=face, mec=edge, label=label)


def _area(label: str, tint: str) -> Patch:
    return Patch(color=tint, lw=0, label=label)


def _legend(figure: Figure, chart: WindowChart, seen: set[str]) -> None:
    """Explain what is seen on the maps."""
    sure = f"{_percent(chart)} of benches succeed"
    handles = {
        "base": Line2D([], [], color=MELTS, lw=1.8, label="base comes too close beyond"),
        "filler": Line2D([], [], color=COLD, lw=1.8, ls="dashed", label="filler fails beyond"),
        "works": _area("both are well", WORKS_TINT),
        "melts": _area("base too close to melting", MELTS_TINT),
        "cold": _area("filler fails", COLD_TINT),
        "neither": _area("both wrong", NEITHER_TINT),
        "times": Line2D([], [], color=MUTED, lw=0.7, label="total time"),
        "sure": Patch(fc=to_rgba(INK, 0.16), ec=INK, lw=1.5, label=sure),
        "run": _dot("run that works", "o", 4.0, INK, INK),
        "not": _dot("run that does not", "o", 4.0, "white", INK),
        "band": Patch(fc="white", ec=MUTED, hatch="////", lw=0, label=chart.band),
        "failed": _dot("run that failed", "x", 5.0, MUTED, MUTED),
    }
    for name, (marker, size, face, edge, label) in MARKS.items():
        handles[name] = _dot(label, marker, 0.75 * size, face, edge)
    shown = [handle for name, handle in handles.items() if name in seen]
    figure.legend(handles=shown, loc="outside lower center", ncols=3)


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
        seen: set[str] = set()
        for axes, panel in zip(grid.flat, chart.panels, strict=False):
            seen |= _panel(axes, panel, chart)
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
        _legend(figure, chart, seen)
    return figure


def _curves(axes: Axes, chart: WindowChart) -> list[Entry]:
    """Draw what base and filler have to spare, with what another mesh may have; what explains it.

    A band holds the measure that may be zero on the case's own mesh; where the curve has that, zero
    is what the curve may have there. So its ends are taken from the curve.
    """
    (panel,) = chart.panels
    x = panel.points[:, 0]
    well = (panel.base >= 0.0) & (panel.filler >= 0.0)
    entries: list[Entry] = []
    bands: list[Artist] = []
    for values, ends, colour, style, label in (
        (panel.base, chart.base_band, MELTS, "-", "base: over the margin wanted"),
        (panel.filler, chart.filler_band, COLD, "--", "filler: over what is wanted"),
    ):
        if not (np.isfinite(values).all() and len(values)):
            continue
        (line,) = axes.plot(x, values, color=colour, ls=style, lw=1.8)
        axes.plot(x[well], values[well], "o", ms=3.5, color=colour)
        axes.plot(x[~well], values[~well], "o", ms=3.5, mfc="white", mec=colour)
        entries.append((line, label))
        if chart.band and ends[0] < ends[1]:
            shifted = values - ends[1], values - ends[0]
            axes.fill_between(x, *shifted, color=colour, alpha=TINT, lw=0, zorder=1.5)
            bands.append(Patch(color=to_rgba(colour, TINT), lw=0))
    if bands:
        entries.append((tuple(bands), chart.band))
    on = f" on {chart.mesh}" if chart.mesh else ""
    for there, face, what in ((well, INK, f"works{on}"), (~well, "white", f"does not work{on}")):
        if entries and there.any():
            entries.append((_dot("", "o", 3.5, face, INK), what))
    axes.axhline(0.0, color=INK, lw=0.8)
    axes.set_ylabel(f"slack{on} [K]")
    return entries


def one_key(chart: WindowChart) -> Figure:
    """Draw what base and filler have to spare against the only key, total time, chance, picks."""
    (panel,) = chart.panels
    with styled():
        rows = 2 if panel.chance is None else 3
        figure = new_figure(6.6, 2.2 + 1.6 * rows)
        grid = figure.subplots(
            rows, 1, sharex=True, squeeze=False, height_ratios=[2.0] + [1.0] * (rows - 1)
        )[:, 0]
        entries = _curves(grid[0], chart)
        grid[1].plot(panel.points[:, 0], panel.total, color=MUTED, lw=1.4)
        grid[1].set_ylabel("time [s]")
        if panel.chance is not None:
            grid[2].plot(panel.chance[0], 100.0 * panel.chance[-1], color=INK, lw=1.6)
            grid[2].axhline(100.0 * (chart.sure or 0.0), color=MUTED, lw=0.9, ls=":")
            grid[2].set_ylim(0.0, 104.0)
            grid[2].set_ylabel("succeed [%]")
        for name, point in panel.marks.items():
            for axes in grid:
                line = axes.axvline(point[0], color=PICK, ls=STYLES[name], lw=1.8, zorder=1)
            entries.append((line, MARKS[name][-1]))
        for axes in grid:
            axes.grid(visible=True)
        grid[-1].set_xlabel(chart.labels[0])
        grid[-1].set_xlim(*_padded(*chart.ends[0]))
        figure.suptitle(chart.title, fontsize=9.5, fontweight="bold", x=0.02, ha="left")
        figure.legend(
            [artist for artist, _ in entries],  # type: ignore[call-overload]  # a tuple is drawn by its handler
            [label for _, label in entries],
            loc="outside lower center",
            ncols=2,
            handler_map={tuple: HandlerTuple(ndivide=None, pad=0.0)},
        )
    return figure
