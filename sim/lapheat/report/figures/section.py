"""The (r, z) section through the hottest base point at the instant it was hottest."""

from __future__ import annotations

from math import cos, degrees, inf, isfinite, nan, pi, sin
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.tri import Triangulation
from numpy.typing import NDArray

from ...history.records import History
from ...joint.section import EdgeKind, Region
from .style import (
    FLOW,
    INK,
    MUTED,
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
    styled,
)

__all__ = ["near_view", "section", "view_of"]

Window = tuple[float, float, float, float]


def view_of(history: History) -> Window:
    """Choose what to show: across low and high, up low and high [m]."""
    case = history.case
    inner = case.tube.radius - case.tube.wall
    if case.brazed is None:
        half = max(5.0 * case.arc.spot, 3.0 * case.tube.wall)
        return -half, half, inner - 0.35 * case.tube.wall, case.tube.radius + 0.16 * half
    leg = case.brazed.fillet.leg
    down = min(case.brazed.flange.thickness, 3.0 * leg) + 0.4 * leg
    up = max(3.2 * leg, 0.8 * down)
    left = max(inner - 0.2 * (down + up), 0.0)
    return left, left + 1.45 * (down + up), -down, up


def _corner_values(cells: NDArray[np.int64], values: Array, count: int) -> Array:
    """Average cell values to the vertices they touch; nan where no cell does."""
    real = cells >= 0
    ids = cells[real]
    total = np.bincount(ids, np.repeat(values, real.sum(axis=1)), count)
    touched = np.bincount(ids, minlength=count)
    return np.where(touched > 0, total / np.maximum(touched, 1), np.nan)


def _isotherm(
    axes: Axes, points: Array, cells: NDArray[np.int64], values: Array, level: float, dashed: bool
) -> bool:
    """Draw one level through the cells of one part; return whether any of it is that hot."""
    if not len(cells) or not isfinite(level):
        return False
    corner = _corner_values(cells, values, len(points))
    used = corner[np.isfinite(corner)]
    if not used.min() < level < used.max():
        return bool(used.min() >= level)
    quads = cells[cells[:, 3] >= 0]
    triangles = np.concatenate([cells[:, :3], quads[:, [0, 2, 3]]])
    lines = axes.tricontour(
        Triangulation(points[:, 0], points[:, 1], triangles),
        np.nan_to_num(corner),
        levels=[level],
        colors=[SOLIDUS if dashed else FLOW],
        linestyles=["--" if dashed else "-"],
        linewidths=1.4,
    )
    lines.set_path_effects(halo("white", 2.8))
    return True


def _isotherms(
    axes: Axes,
    points: Array,
    cells: NDArray[np.int64],
    region: NDArray[np.int64],
    alive: NDArray[np.bool_],
    values: Array,
    history: History,
) -> list[tuple[Artist, str]]:
    """Draw filler flow and, where it is passed, base solidus, part by part."""
    case, levels = history.case, levels_of(history)
    units = Units.of(case)
    flow, solidus = False, []
    parts = [(Region.TUBE, case.tube.alloy, levels.tube), (Region.FILLET, "", nan)]
    if case.flange is not None:
        parts.append((Region.FLANGE, case.flange.alloy, levels.flange))
    for number, alloy, melts in parts:
        own = (region == number) & alive
        look = (axes, points, cells[own], values[own])
        flow |= _isotherm(*look, float(units.hot(np.asarray(levels.flow))), dashed=False)
        if _isotherm(*look, float(units.hot(np.asarray(melts))), dashed=True):
            solidus.append(f"{short(alloy, 18)} {units.temperature_text(melts)}")
    entries: list[tuple[Artist, str]] = []
    if flow:
        line = Line2D([], [], color=FLOW, linewidth=1.5)
        entries.append((line, f"filler flow {units.temperature_text(levels.flow)}"))
    if solidus:
        line = Line2D([], [], color=SOLIDUS, linestyle="--", linewidth=1.5)
        entries.append((line, f"solidus: {', '.join(solidus)}"))
    return entries


def _labels(axes: Axes, history: History, window: Window) -> None:
    """Name the parts."""
    case = history.case
    box = {"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
    arrow = {"arrowstyle": "-", "color": MUTED, "linewidth": 0.8}
    units = Units.of(case)
    radius, wall = case.tube.radius, case.tube.wall

    def name(text: str, at: tuple[float, float], place: tuple[float, float]) -> None:
        axes.annotate(
            text,
            tuple(units.long(np.array(at))),
            xytext=tuple(units.long(np.array(place))),
            fontsize=8,
            ha="left",
            va="center",
            bbox=box,
            arrowprops=arrow,
            zorder=6,
        )

    brazed = case.brazed
    if brazed is None:
        name(
            f"tube {short(case.tube.alloy)}",
            (0.6 * window[0], radius - 0.4 * wall),
            (0.8 * window[0], radius + 0.6 * (window[3] - radius)),
        )
        return
    leg, up = brazed.fillet.leg, window[3]
    name(
        f"tube {short(case.tube.alloy)}",
        (radius - 0.4 * wall, 0.8 * up),
        (radius + 0.9 * leg, 0.92 * up),
    )
    right = radius + 0.55 * (window[1] - radius)
    name(
        f"fillet {short(brazed.fillet.filler)}",
        (radius + 0.45 * leg, 0.25 * leg),
        (right, 0.24 * up),
    )
    inside = (right, 0.4 * window[2])
    name(f"flange {short(brazed.flange.alloy)}", inside, inside)


def _torch(axes: Axes, history: History, window: Window) -> Artist:
    """Draw the torch axis down to where it is aimed."""
    case = history.case
    if case.fillet is None:
        foot, way = np.array([0.0, case.tube.radius]), np.array([0.0, 1.0])
    else:
        foot = np.array([case.tube.radius + case.arc.aim, 0.0])
        way = np.array([cos(case.arc.work_angle), sin(case.arc.work_angle)])
    ends = np.stack([foot, foot + way * 2.0 * (window[3] - foot[1] + window[1] - foot[0])])
    ends = Units.of(case).long(ends)
    (line,) = axes.plot(
        ends[:, 0], ends[:, 1], color=MUTED, linestyle="-.", linewidth=1.0, zorder=4
    )
    return line


def _fixture(axes: Axes, history: History, window: Window) -> list[tuple[Artist, str]]:
    """Draw chill and bench where they touch; they have no cells."""
    case, units = history.case, Units.of(history.case)
    inner = case.tube.radius - case.tube.wall
    chill, bench = case.fixture.chill, case.fixture.bench
    boxes: list[tuple[Array, str, str]] = []  # two corners (radius, height), hatch, label
    if chill is not None:
        half = 0.5 * chill.length
        label = f"chill, {short(chill.alloy)}"
        boxes.append((np.array([[inner - chill.wall, -half], [inner, half]]), "xxxx", label))
    if bench is not None and case.flange is not None:
        low = -case.flange.thickness
        ends = np.array([[case.tube.radius, 2.0 * window[2]], [2.0 * window[1], low]])
        boxes.append((ends, "....", "bench"))
    drawn: list[tuple[Artist, str]] = []
    for ends, hatch, label in boxes:
        corners = units.long(ends[:, ::-1] if case.fillet is None else ends)
        low, size = corners.min(axis=0), np.ptp(corners, axis=0)
        look: dict[str, Any] = {
            "facecolor": "white",
            "edgecolor": MUTED,
            "hatch": hatch,
            "linewidth": 0.6,
        }
        axes.add_patch(Rectangle(tuple(low), *size, zorder=0.5, **look))
        drawn.append((Patch(**look), label))
    return drawn


def _title(history: History, units: Units) -> str:
    levels, shot = levels_of(history), history.snapshot
    # The snapshot is of the part nearest to its own solidus, as the march chooses it.
    tops = {part: _top_at(history, part, shot.angle) for part in ("tube", "flange")}
    over = {part: top - levels.solidus(part) for part, top in tops.items()}
    part = max(tops, key=lambda p: (over[p] if isfinite(over[p]) else -inf, tops[p]))
    head = f"{part.capitalize()} is hottest"
    if isfinite(over[part]):
        head = f"{part.capitalize()} {units.margin_text(-over[part])}: hottest"
    return (
        f"{head} at {shot.time:.1f} s and {degrees(shot.angle) % 360.0:.0f} deg, "
        f"{units.temperature_text(tops[part])}"
    )


def _top_at(history: History, part: str, angle: float) -> float:
    """Peak of a part's surfaces in the layer at this angle [K]; -inf without such a part."""
    tops = [-inf]
    for name, surface in history.surfaces.items():
        if name.split()[0] == part:
            layers = len(surface.angle)
            column = surface.peak[:, int(angle / (2.0 * pi) * layers) % layers]
            tops += [float(peak) for peak in column if isfinite(peak)]
    return max(tops)


def near_view(points: Array, cells: NDArray[np.int64], view: Array) -> NDArray[np.bool_]:
    """Find which cells have a corner inside the view, or stretch across it."""
    corners = points[np.where(cells >= 0, cells, cells[:, :1])]
    low, high = corners.min(axis=1), corners.max(axis=1)
    return np.asarray(((high > view[0::2]) & (low < view[1::2])).all(axis=1))


def section(history: History) -> Figure:
    """Draw the section at the hottest instant; cells without filler yet are hatched."""
    case, joint, shot = history.case, history.problem.mesh.section, history.snapshot
    units, levels, window = Units.of(case), levels_of(history), view_of(history)
    bead = case.fillet is None  # a plain tube is drawn lying down
    view = units.long(np.array(window))
    points = units.long(joint.vertices[:, ::-1] if bead else joint.vertices)
    near = near_view(points, joint.cells, view)
    cells, region, alive = joint.cells[near], joint.region[near], shot.alive[near]
    values = units.hot(shot.temperature[near])
    corners = [points[cell[cell >= 0]] for cell in cells]
    with styled():
        figure = new_figure(8.0, 2.8 if bead else 5.0)
        axes = figure.subplots()
        hot = shot.temperature[near][alive]
        norm = scale(float(hot.min()), float(hot.max()), levels, units)
        body = PolyCollection(
            [c for c, lit in zip(corners, alive, strict=True) if lit],
            array=values[alive],
            cmap=TEMPERATURE,
            norm=norm,
            edgecolors="face",  # no hairlines between cells
            linewidths=0.4,
            rasterized=True,
        )
        axes.add_collection(body)
        entries: list[tuple[Artist, str]] = []
        if not alive.all():
            bare = [c for c, lit in zip(corners, alive, strict=True) if not lit]
            axes.add_collection(PolyCollection(bare, facecolors="white", edgecolors="white"))
            axes.add_collection(
                PolyCollection(
                    bare, facecolors="none", edgecolors=MUTED, hatch="////", linewidths=0.0
                )
            )
            swatch = Patch(facecolor="none", edgecolor=MUTED, hatch="////", linewidth=0.0)
            entries.append((swatch, "no filler here yet"))
        edges = points[joint.edges[joint.edge_kind != EdgeKind.PLAIN]]
        axes.add_collection(LineCollection(list(edges), colors=INK, linewidths=0.8, zorder=3))
        entries = _isotherms(axes, points, cells, region, alive, values, history) + entries
        entries += _fixture(axes, history, window)
        if shot.time <= history.total:
            entries.append((_torch(axes, history, window), "torch axis"))
        _labels(axes, history, window)
        axes.set_aspect("equal")
        axes.set_xlim(view[0], view[1])
        axes.set_ylim(view[2], view[3])
        settle(axes, _title(history, units))
        radius, height = (
            f"radius ({units.length})",
            f"height above the flange face ({units.length})",
        )
        if bead:
            height = f"along the tube, from the arc line ({units.length})"
        axes.set_xlabel(height if bead else radius)
        axes.set_ylabel(radius if bead else height)
        bar = figure.colorbar(
            body, ax=axes, pad=0.015, aspect=14 if bead else 26, shrink=0.8 if bead else 1.0
        )
        bar.set_label(f"cell temperature ({units.degree})")
        settle(bar.ax, right=True)
        figure.legend(
            [artist for artist, _ in entries],
            [label for _, label in entries],
            loc="outside lower center",
            ncols=min(len(entries), 5),
        )
    return figure
