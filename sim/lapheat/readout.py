"""The end of a march -> `History`: peaks by surface, wetting, melt depth, segments."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .history import Clock, History, Ledger, SegmentRun, Snapshot, SurfacePeaks, Trace
from .problem import Problem
from .state import State

__all__ = ["close_history", "side_areas"]

Array = NDArray[np.float64]


def _surface_rows(problem: Problem) -> dict[str, list[tuple[int, Array]]]:
    """Surface rows and the (r, z) ends of their edge, by surface name; the lap joins its sides."""
    mesh = problem.mesh
    rows: dict[str, list[tuple[int, Array]]] = {}
    for w, name in enumerate(problem.wall_names()):
        rows.setdefault(name, []).append((w, mesh.walls.ends[problem.wall[w]]))
    if problem.lap is not None:
        walls, laps = len(problem.wall), len(problem.lap.links)
        for i, edge in enumerate(mesh.links.edge[problem.lap.links]):
            ends = mesh.section.vertices[mesh.section.edges[edge]]
            rows.setdefault("tube outside", []).append((walls + i, ends))
            rows.setdefault("flange bore", []).append((walls + laps + i, ends))
    return rows


def _surfaces(state: State) -> dict[str, SurfacePeaks]:
    problem = state.problem
    radius = float(problem.mesh.section.vertices[problem.mesh.section.cells[
        problem.mesh.section.tube[0, -1]]][:, 0].max())  # fmt: skip
    result = {}
    for name, rows in _surface_rows(problem).items():
        ends = np.array([e for _, e in rows])
        axis = 0 if np.ptp(ends[:, :, 0]) > np.ptp(ends[:, :, 1]) else 1
        low, high = ends[:, :, axis].min(axis=1), ends[:, :, axis].max(axis=1)
        order = np.argsort(low, kind="stable")
        shift = radius if axis == 0 else 0.0
        picked = [rows[i][0] for i in order]
        edges = np.concatenate([low[order], high[order][-1:]]) - shift
        result[name] = SurfacePeaks(
            name=name,
            position=0.5 * (edges[1:] + edges[:-1]),
            edges=edges,
            angle=problem.mesh.layer_angles(),
            peak=state.peak[picked].copy(),
        )
    return result


def side_areas(problem: Problem, side: str) -> Array:
    """Area of each face of the "tube" or "flange" side under the fillet, in one layer [m2]."""
    part = 0 if side == "tube" else 1
    covered = problem.grid.cover >= 0
    of_side = covered & (problem.base.part[: len(covered)] == part)
    return np.asarray(problem.grid.wall_area[of_side])


def _sides(state: State) -> tuple[tuple[Array, Array], tuple[Array, Array]] | None:
    """Wet peaks (m, layers) and face areas (m,) of the tube's and the flange's side.

    Nan where no segment ran: a tack out there is not part of what was brazed.
    """
    problem = state.problem
    if problem.lap is None or problem.schedule is None:
        return None
    run = np.zeros(problem.mesh.layers, dtype=np.bool_)
    for segment in problem.schedule.segments:
        run[segment.first_layer : segment.last_layer] = True
    covered = np.flatnonzero(problem.grid.cover >= 0)
    part = problem.base.part[covered]
    pick = [covered[part == side] for side in (0, 1)]
    wet = np.where(run, state.wet_peak, np.nan)
    a, b = ((wet[w], problem.grid.wall_area[w]) for w in pick)
    return a, b


def wet_share(peak: Array, area: Array, flow: float) -> float:
    """Share of the laid faces' area whose peak reached `flow` [K]; nan with no filler laid."""
    laid = ~np.isnan(peak)
    weight = np.broadcast_to(area[:, None], peak.shape)[laid]
    if weight.size == 0:
        return float("nan")
    return float(weight[peak[laid] >= flow].sum() / weight.sum())


def melt_depth(peak: Array, depth: Array, solidus: float) -> Array:
    """Share of a wall above `solidus`, from peaks at `depth` (n,) [m]; `peak` (n, ...) [K]."""
    over = peak - solidus
    share = np.zeros(peak.shape[1:])
    for i in range(len(depth) - 1):
        a, b = over[i], over[i + 1]
        high, low = np.maximum(a, b), np.minimum(a, b)
        span = np.where(high > low, high - low, 1.0)
        part = np.where(low >= 0.0, 1.0, np.where(high > 0.0, high / span, 0.0))
        share += part * (depth[i + 1] - depth[i])
    return np.asarray(share / (depth[-1] - depth[0]))


def _melted_wall(state: State, surfaces: dict[str, SurfacePeaks]) -> Array:
    problem = state.problem
    section = problem.mesh.section
    alloy = problem.alloys[problem.grid.alloy[section.tube[0, 0]]]
    layers = problem.mesh.layers
    if alloy.solidus is None:
        return np.zeros(layers)
    outer, bore = surfaces["tube outside"].peak, surfaces["tube bore"].peak
    cells = section.tube[:, ::-1]  # from the outside in
    through = np.concatenate([outer[None], np.moveaxis(state.cell_peak()[cells], 1, 0), bore[None]])
    radii = section.vertices[section.cells[cells[0]]][:, :, 0]
    low, high = radii.min(axis=1), radii.max(axis=1)
    depth = np.concatenate([[0.0], high[0] - 0.5 * (low + high), [high[0] - low[-1]]])
    return np.asarray(melt_depth(through, depth, alloy.solidus).max(axis=0))


def close_history(
    state: State,
    *,
    trace: Trace,
    snapshot: Snapshot,
    ledger: Ledger,
    starts: tuple[Clock, ...],
    arc_on: float,
    total: float,
    simulated: float,
    steps: int,
    march: str,
    wall_s: float,
) -> History:
    """Gather a finished march; `starts` is in the order of running."""
    problem = state.problem
    assert problem.schedule is not None
    surfaces = _surfaces(state)
    sides = _sides(state)
    flow = problem.lap.flow if problem.lap is not None else float("nan")
    part = problem.base.part

    def top(which: int, layers: slice) -> float:
        rows = state.peak[part == which, layers]
        return float(np.nanmax(rows)) if rows.size else float("nan")

    runs = []
    for segment, clock in zip(problem.schedule.segments, starts, strict=True):
        layers = slice(segment.first_layer, segment.last_layer)
        wet = [float("nan")] * 2
        if sides is not None:
            wet = [wet_share(peak[:, layers], area, flow) for peak, area in sides]
        runs.append(
            SegmentRun(
                number=segment.number,
                start=clock.start,
                end=clock.end,
                from_angle=segment.lay_from,
                to_angle=segment.lay_to,
                start_temperature=clock.temperature,
                tube_peak=top(0, layers),
                flange_peak=top(1, layers),
                tube_side_wet=wet[0],
                flange_side_wet=wet[1],
                wait=clock.wait,
                flowed=clock.flowed,
            )
        )
    lap_filled = 0.0
    if problem.lap is not None:
        area = problem.mesh.links.area[problem.lap.links]
        lap_filled = float((area @ state.filled.mean(axis=1)) / area.sum())
    return History(
        problem=problem,
        trace=trace,
        surfaces=surfaces,
        tube_side=sides[0][0] if sides else None,
        flange_side=sides[1][0] if sides else None,
        cell_peak=state.cell_peak(),
        melted_wall=_melted_wall(state, surfaces),
        lap_filled=lap_filled,
        snapshot=snapshot,
        segments=tuple(runs),
        ledger=ledger,
        arc_on=arc_on,
        total=total,
        simulated=simulated,
        steps=steps,
        march=march,
        wall_s=wall_s,
        hot_clearance=state.smallest_gap,
        chill_peak=state.chill_peak,
    )
