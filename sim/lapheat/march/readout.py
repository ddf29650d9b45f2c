"""The end of a march -> `History`: peaks by surface, wetting, melt depth, segments."""

from __future__ import annotations

from math import nan

import numpy as np
from numpy.typing import NDArray

from ..history.records import Exposure, History, SegmentRun, Side, SurfacePeaks
from ..history.wetting import share_above, wet_share
from ..joint.schedule import Schedule
from ..problem.arrays import FLANGE, TUBE
from ..problem.problem import Job, Problem
from .recorder import Recorder
from .state import State

__all__ = ["close_history"]

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


def _in_order(problem: Problem) -> dict[str, tuple[list[int], Array]]:
    """Surface rows along each surface, and the ends of their faces (m + 1,) [m]."""
    radius = float(problem.mesh.section.vertices[problem.mesh.section.cells[
        problem.mesh.section.tube[0, -1]]][:, 0].max())  # fmt: skip
    result = {}
    for name, rows in _surface_rows(problem).items():
        ends = np.array([e for _, e in rows])
        # the face of the fillet slopes: its places are heights
        axis = 0 if np.ptp(ends[:, :, 0]) > np.ptp(ends[:, :, 1]) * (1.0 + 1e-6) else 1
        low, high = ends[:, :, axis].min(axis=1), ends[:, :, axis].max(axis=1)
        order = np.argsort(low, kind="stable")
        shift = radius if axis == 0 else 0.0
        edges = np.concatenate([low[order], high[order][-1:]]) - shift
        result[name] = [rows[i][0] for i in order], edges
    return result


def _surfaces(state: State) -> dict[str, SurfacePeaks]:
    return {
        name: SurfacePeaks(
            name=name,
            position=0.5 * (edges[1:] + edges[:-1]),
            edges=edges,
            angle=state.problem.mesh.layer_angles(),
            peak=state.peak[rows].copy(),
        )
        for name, (rows, edges) in _in_order(state.problem).items()
    }


def _exposure(state: State) -> Exposure:
    problem, times = state.problem, state.times
    tube, flange = (problem.base.part == part for part in (TUBE, FLANGE))
    return Exposure(
        sensitised={
            name: times.used[:, rows]
            for name, (rows, _) in _in_order(problem).items()
            if name.startswith("tube")
        },
        copper={"tube": times.copper[tube], "flange": times.copper[flange]},
        above_a1=times.above[flange],
        cooling=times.cooling[flange],
    )


def _sides(state: State, schedule: Schedule) -> dict[str, Side]:
    """Both sides of the fillet, from root to toe; nan where no segment ran.

    A tack out there is not part of what was brazed.
    """
    problem = state.problem
    if problem.lap is None:
        return {}
    run = np.zeros(problem.mesh.layers, dtype=np.bool_)
    for segment in schedule.segments:
        run[segment.first_layer : segment.last_layer] = True
    covered = np.flatnonzero(problem.grid.cover >= 0)
    ends = problem.mesh.walls.ends[problem.wall]
    sides = {}
    for part, name, axis in ((TUBE, "tube", 1), (FLANGE, "flange", 0)):
        mine = covered[problem.base.part[covered] == part]
        mine = mine[np.argsort(ends[mine, :, axis].min(axis=1), kind="stable")]
        low, high = ends[mine, :, axis].min(axis=1), ends[mine, :, axis].max(axis=1)
        sides[name] = Side(
            edges=np.append(low, high[-1]) - low[0],
            area=problem.grid.wall_area[mine],
            peak=np.where(run, state.wet_peak[mine], np.nan),
            liquid=np.where(run, state.liquid[mine], np.nan),
        )
    return sides


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
    return np.asarray(share_above(through, depth, alloy.solidus).max(axis=0))


def _mean(share: Array) -> float:
    laid = share[np.isfinite(share)]
    return float(laid.mean()) if laid.size else nan


def close_history(
    job: Job, state: State, record: Recorder, total: float, simulated: float
) -> History:
    """Gather a finished march: `total` [s] to the last arc-off, `simulated` [s] in all.

    By whom it was marched, and how long that took, is for the caller to add.
    """
    problem, limits = job.problem, job.case.limits
    surfaces = _surfaces(state)
    sides = _sides(state, job.schedule)
    wets_at = nan if problem.lap is None else problem.lap.flow + limits.flow_margin
    shares = {name: wet_share(side.peak, side.area, wets_at) for name, side in sides.items()}

    def top(part: int, layers: slice) -> float:
        rows = state.peak[problem.base.part == part, layers]
        return float(np.nanmax(rows)) if rows.size else float("nan")

    runs = []
    for segment, clock in zip(job.schedule.segments, record.starts, strict=True):
        layers = slice(segment.first_layer, segment.last_layer)
        wet = {name: _mean(share[layers]) for name, share in shares.items()}
        runs.append(
            SegmentRun(
                number=segment.number,
                start=clock.start,
                end=clock.end,
                from_angle=segment.lay_from,
                to_angle=segment.lay_to,
                start_temperature=clock.temperature,
                tube_peak=top(TUBE, layers),
                flange_peak=top(FLANGE, layers),
                tube_side_wet=wet.get("tube", nan),
                flange_side_wet=wet.get("flange", nan),
                wait=clock.wait,
                flowed=clock.flowed,
            )
        )
    lap_filled = 0.0
    if problem.lap is not None:
        area = problem.mesh.links.area[problem.lap.links]
        laid = np.isfinite(sides["tube"].peak).all(axis=0)
        lap_filled = float((area @ state.filled[:, laid].mean(axis=1)) / area.sum())
    return History(
        case=job.case,
        problem=problem,
        trace=record.trace(),
        surfaces=surfaces,
        sides=sides,
        cell_peak=state.cell_peak(),
        melted_wall=_melted_wall(state, surfaces),
        lap_filled=lap_filled,
        snapshot=record.snapshot,
        segments=tuple(runs),
        ledger=record.ledger(),
        arc_on=record.arc_on,
        total=total,
        simulated=simulated,
        steps=record.steps,
        hot_clearance=state.smallest_gap,
        chill_peak=state.chill_peak,
        rod=state.laid,
        exposure=_exposure(state),
        film=record.frames.film({name: rows for name, (rows, _) in _in_order(problem).items()}),
        fields=record.frames.fields(),
    )
