"""Peak temperature of the run, unrolled: angle against position along each surface."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.path import Path

from ...history.records import History, SurfacePeaks
from ...joint.schedule import zero_of
from .style import (
    FLOW,
    INK,
    SOLIDUS,
    TEMPERATURE,
    Array,
    Units,
    halo,
    levels_of,
    new_figure,
    scale,
    settle,
    short,
    spaced,
    styled,
)

__all__ = ["LEGS", "peaks", "stretch_of"]

PANELS = ("tube outside", "tube bore", "flange face")
HOT_SHARE = 0.4  # of the largest rise: what is hotter is shown
LEGS = 3.0  # at least so many fillet legs either way
PLOT_POINTS = 440.0  # about the width of a panel [pt], for spacing labels


@dataclass(frozen=True)
class _Map:
    """What a panel shows: ring closed at both ends [deg], positions in the window, peaks [K]."""

    edges_deg: Array
    deg: Array
    edges: Array
    position: Array
    peak: Array


def stretch_of(surface: SurfacePeaks, air: float, rise: float, reach: float) -> tuple[float, float]:
    """Choose the stretch of the surface to show [m]."""
    hot = surface.peak.max(axis=1) > air + HOT_SHARE * rise
    places = np.concatenate([surface.edges[:-1][hot], surface.edges[1:][hot], [-reach, reach]])
    low = max(float(places.min()), float(surface.edges.min()))
    high = min(float(places.max()), float(surface.edges.max()))
    return low, high


def _cut(surface: SurfacePeaks, low: float, high: float) -> _Map:
    """Keep what the window shows and repeat one layer beyond each end of the ring."""
    deg = np.degrees(surface.angle) % 360.0
    order = np.argsort(deg)
    ring = np.concatenate([order[-1:], order, order[:1]])
    wide = np.concatenate([[deg[order[-1]] - 360.0], deg[order], [deg[order[0]] + 360.0]])
    ends = 0.5 * (wide[1:] + wide[:-1])
    ends = np.concatenate([[2 * wide[0] - ends[0]], ends, [2 * wide[-1] - ends[-1]]])
    first, last = (
        np.minimum(surface.edges[:-1], surface.edges[1:]),
        np.maximum(surface.edges[:-1], surface.edges[1:]),
    )
    rows = np.flatnonzero((last > low) & (first < high))
    rows = np.arange(rows[0], rows[-1] + 1)
    return _Map(
        edges_deg=ends,
        deg=wide,
        edges=surface.edges[rows[0] : rows[-1] + 2],
        position=surface.position[rows],
        peak=surface.peak[np.ix_(rows, ring)],
    )


def _contour(axes: Axes, chart: _Map, units: Units, kelvin: float, colour: str, dash: str) -> None:
    """Draw one labelled level, if the panel reaches it."""
    values = units.hot(np.concatenate([chart.peak[:1], chart.peak, chart.peak[-1:]]))
    position = np.concatenate([chart.edges[:1], chart.position, chart.edges[-1:]])  # to the rim
    level = float(units.hot(np.asarray(kelvin)))
    if not isfinite(level) or not values.min() < level < values.max():
        return
    lines = axes.contour(
        chart.deg,
        units.long(position),
        values,
        levels=[level],
        colors=[colour],
        linestyles=[dash],
        linewidths=1.3,
    )
    lines.set_path_effects(halo("white", 2.8))
    place = _label_place(axes, _pieces(lines.get_paths()[0]))
    if place is not None:
        axes.text(
            *place,
            units.temperature_text(kelvin),
            ha="center",
            va="center",
            fontsize=7.0,
            color=colour,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none"},
            zorder=5,
        )


def _pieces(path: Path) -> list[Array]:
    """Split a path of many lines; Path.to_polygons would simplify them in the wrong unit."""
    points = np.asarray(path.vertices, dtype=np.float64)
    if path.codes is None:
        return [points]
    return np.split(points, np.flatnonzero(path.codes == Path.MOVETO)[1:])


def _label_place(axes: Axes, lines: list[Array]) -> tuple[float, float] | None:
    """Find the flattest place of the longest line, away from the panel's rim."""
    if not lines:
        return None
    line = max(lines, key=lambda points: float(np.ptp(points[:, 0])))
    if np.ptp(line[:, 0]) < 25.0:  # shorter than the label is wide
        return None
    low, high = axes.get_ylim()
    share = (line[:, 1] - low) / (high - low)
    inside = (line[:, 0] > 20.0) & (line[:, 0] < 340.0) & (share > 0.14) & (share < 0.78)
    slope = np.abs(np.gradient(share)) + 1e-3 * np.abs(line[:, 0] / 180.0 - 1.0)
    if not inside.any():
        return None
    best = int(np.argmin(np.where(inside, slope, np.inf)))
    return float(line[best, 0]), float(line[best, 1])


def _panel(
    axes: Axes, surface: SurfacePeaks, history: History, units: Units, norm: Normalize, rise: float
) -> QuadMesh:
    case, levels = history.case, levels_of(history)
    leg = case.fillet.leg if case.fillet is not None else None
    reach = LEGS * (leg if leg is not None else 2.0 * case.arc.spot)
    low, high = stretch_of(surface, case.surroundings.temperature, rise, reach)
    chart = _cut(surface, low, high)
    axes.set_xlim(0.0, 360.0)
    axes.set_ylim(*units.long(np.array([low, high])))
    mesh = axes.pcolormesh(
        chart.edges_deg,
        units.long(chart.edges),
        units.hot(chart.peak),
        cmap=TEMPERATURE,
        norm=norm,
        rasterized=True,
    )
    if leg is not None:
        for end in (0.0, leg):
            if low < end < high:
                axes.axhline(
                    float(units.long(np.asarray(end))),
                    color="white",
                    linestyle=":",
                    linewidth=1.2,
                    path_effects=halo(INK, 2.0),
                )
    solidus = levels.solidus(surface.name.split()[0])
    _contour(axes, chart, units, levels.flow, FLOW, "-")
    _contour(axes, chart, units, solidus, SOLIDUS, "--")
    peak = float(surface.peak.max())
    title = f"{surface.name.capitalize()} peaks"
    if isfinite(solidus):
        title = f"{surface.name.capitalize()} {units.margin_text(solidus - peak)}: peak"
    settle(axes, f"{title} at {units.temperature_text(peak)}")
    along = "outward" if surface.name.startswith("flange") else "height"
    axes.set_ylabel(f"{along} ({units.length})")
    for spine in axes.spines.values():
        spine.set_visible(True)
    return mesh


def _segment_numbers(axes: Axes, history: History) -> None:
    """Write the segments' numbers along the cool edge and mark where each began."""
    runs = history.segments
    middles = [np.degrees(0.5 * (run.from_angle + run.to_angle)) % 360.0 for run in runs]
    digits = len(str(max(run.number for run in runs)))
    for run in runs:
        at = float(np.degrees(run.from_angle) % 360.0)
        axes.plot([at, at], [0.95, 1.0], color="white", transform=axes.get_xaxis_transform())
    for index in spaced(middles, 360.0 * (5.0 * digits + 5.0) / PLOT_POINTS):
        axes.text(
            middles[index],
            0.935,
            str(runs[index].number),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=7.5,
            color="white",
            path_effects=halo(INK, 1.8),
            zorder=5,
        )


def _legend(figure: Figure, history: History, units: Units, melted: bool) -> None:
    case, levels = history.case, levels_of(history)
    entries: list[tuple[Artist, str]] = []
    if isfinite(levels.flow):
        flow = Line2D([], [], color=FLOW, linewidth=1.5)
        entries.append((flow, f"filler flow {units.temperature_text(levels.flow)}"))
    solidi = {case.tube.alloy: levels.tube}
    if case.flange is not None:
        solidi[case.flange.alloy] = levels.flange
    texts = [
        f"{short(k, 18)} {units.temperature_text(v)}" for k, v in solidi.items() if isfinite(v)
    ]
    if texts:
        dashed = Line2D([], [], color=SOLIDUS, linestyle="--", linewidth=1.5)
        reached = "" if melted else " (not reached)"
        entries.append((dashed, f"solidus: {', '.join(texts)}{reached}"))
    if case.fillet is not None:
        entries.append((Line2D([], [], color=INK, linestyle=":"), "fillet, root to toe"))
    if entries:
        figure.legend(
            [artist for artist, _ in entries],
            [label for _, label in entries],
            loc="outside lower center",
            ncols=len(entries),
            columnspacing=1.6,
        )


def peaks(history: History) -> Figure:
    """Draw the peak temperature of tube outside, tube bore and (where there is one) flange face."""
    case, levels = history.case, levels_of(history)
    units = Units.of(case)
    shown = [history.surfaces[name] for name in PANELS if name in history.surfaces]
    air = case.surroundings.temperature
    hottest = max(float(surface.peak.max()) for surface in shown)
    norm = scale(air, hottest, levels, units)
    with styled():
        figure = new_figure(8.0, 1.2 + 1.6 * len(shown))
        panels = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
        meshes = [
            _panel(axes, surface, history, units, norm, hottest - air)
            for axes, surface in zip(panels, shown, strict=True)
        ]
        _segment_numbers(panels[0], history)
        panels[-1].set_xticks(np.arange(0.0, 361.0, 45.0))
        zero, way = zero_of(case)
        panels[-1].set_xlabel(f"angle from the {zero}, {way} (deg)")
        bar = figure.colorbar(meshes[0], ax=list(panels), aspect=32, pad=0.015)
        bar.set_label(f"peak temperature ({units.degree})")
        settle(bar.ax, right=True)
        for kelvin, colour, dash in ((levels.flow, FLOW, "-"), (levels.tube, SOLIDUS, "--")):
            if isfinite(kelvin):
                bar.ax.axhline(float(units.hot(np.asarray(kelvin))), color=colour, linestyle=dash)
        melted = any(float(s.peak.max()) > levels.solidus(s.name.split()[0]) for s in shown)
        _legend(figure, history, units, melted)
    return figure
