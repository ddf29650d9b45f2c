"""Case -> `Problem`: joint, mesh, schedule, torch, lap and what is read off every step."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from .arrays import Torch
from .case import Case, Probe
from .joint import mesh_lines, section_of
from .mesh import Mesh, sweep_ring
from .problem import LapRows, Problem, aim_torch, assemble
from .sampling import lagrange, ring_nodes, stack
from .schedule import schedule_of
from .section import EdgeKind, Region

__all__ = ["problem_of"]

LIT = ("tube outside", "flange face", "flange rim", "fillet")  # what a torch outside can see
IN_BORE = ("tube bore", "flange bore")
BORE_MATERIAL = {"tube": Region.TUBE, "flange": Region.FLANGE, "fillet": Region.FILLET}


def _torch(case: Case) -> Torch:
    radius = case.tube.radius
    if case.flange is None:
        return aim_torch(radius, 0.0, 0.0, case.arc.spot)
    return aim_torch(
        radius + case.arc.aim, 0.0, case.arc.work_angle, case.arc.spot, radius, case.tube.length
    )


def _lap(case: Case, mesh: Mesh) -> LapRows | None:
    if case.lap is None or case.fillet is None or case.flange is None:
        return None
    links = np.flatnonzero(mesh.links.kind == EdgeKind.LAP)
    height = mesh.section.edge_centres()[mesh.links.edge[links], 1]
    tube, flange = case.alloys[case.tube.alloy], case.alloys[case.flange.alloy]
    filler = case.alloys[case.fillet.filler]
    assert filler.liquidus is not None  # case files are refused without it
    between = 1.0 / (1.0 / tube.emissivity + 1.0 / flange.emissivity - 1.0)
    fillet = np.flatnonzero(mesh.section.region == Region.FILLET)
    shapes = mesh.section.cells[fillet]
    corner = [mesh.section.vertices[c[c >= 0]].sum(axis=1).min() for c in shapes]
    return LapRows(
        links=links[np.argsort(-height, kind="stable")],
        resistance=None,
        gap=case.lap.clearance,
        emissivity=between,
        filler_conductivity=float(filler.k(filler.liquidus)),
        flow=filler.liquidus,
        root=int(np.argmin(corner)),
    )


def _nodes(
    problem: Problem, part: str, angle: float, along: float, depth: float
) -> list[tuple[int, int, float]]:
    """Nodes of a point of the base: `along` is height on the tube, radius on the flange."""
    section, mesh = problem.mesh.section, problem.mesh
    nc, nw = mesh.shape[0], len(problem.wall)
    names = problem.wall_names()
    grid = section.tube if part == "tube" else section.flange
    assert grid is not None
    tube = part == "tube"
    outer, inner = ("tube outside", "tube bore") if tube else ("flange face", "flange back")
    top = {int(problem.base.wall_cell[w]): nc + w for w, n in enumerate(names) if n == outer}
    if part == "tube":
        top |= {int(c): nc + nw + i for i, c in enumerate(problem.lap_cells()[:, 0])}
    end = {int(problem.base.wall_cell[w]): nc + w for w, n in enumerate(names) if n == inner}
    centre = np.array([section.vertices[c[c >= 0]].mean(axis=0) for c in section.cells])
    cells = grid[:, ::-1] if part == "tube" else grid  # columns from the torch side inward
    place = centre[cells[:, 0], 1 if part == "tube" else 0]
    through = centre[cells[0], 0 if part == "tube" else 1]
    first = section.vertices[section.cells[cells[0, 0]]][:, 0 if part == "tube" else 1].max()
    last_cell = section.vertices[section.cells[cells[0, -1]]][:, 0 if part == "tube" else 1]
    depths = np.concatenate([[0.0], first - through, [first - last_cell.min()]])
    result = []
    for j, wj in lagrange(place, along):
        column = [top[int(cells[j, 0])], *cells[j].tolist(), end[int(cells[j, -1])]]
        for d, wd in lagrange(depths, depth, 3):
            if wj * wd == 0.0:
                continue
            for k, wk in ring_nodes(mesh.layers, angle):
                result.append((int(column[d]), int(k), wj * wd * wk))
    return result


def _start_point(problem: Problem, angle: float) -> list[list[tuple[int, int, float]]]:
    """Tube and flange surface at the root of the fillet, or tube at the arc line."""
    mesh = problem.mesh
    nc = mesh.shape[0]
    layer = round(angle / mesh.step)
    sides = [(layer - 1) % mesh.layers, layer % mesh.layers]
    points = []
    wanted = [("tube outside", 1)] + ([("flange face", 0)] if problem.lap is not None else [])
    for name, axis in wanted:
        rows = [w for w, n in enumerate(problem.wall_names()) if n == name]
        at = mesh.walls.centre[problem.wall[rows], axis]
        offset = np.abs(at - (0.0 if axis == 1 else at.min()))
        nearest = np.flatnonzero(offset < offset.min() * (1.0 + 1e-6) + 1e-12)
        share = 0.5 / len(nearest)
        points.append([(nc + rows[i], k, share) for i in nearest for k in sides])
    return points


def _probe(problem: Problem, probe: Probe) -> list[tuple[int, int, float]]:
    assert problem.case is not None
    along = probe.height if probe.on == "tube" else problem.case.tube.radius + probe.radius
    return _nodes(problem, probe.on, probe.angle, along, probe.depth)


def problem_of(case: Case) -> Problem:
    """Build everything a march needs from a case."""
    told, scale = case, case.scale
    scaled = {n: a.scaled(scale.conductivity, scale.emissivity) for n, a in case.alloys.items()}
    case = replace(case, alloys=scaled)
    lines = mesh_lines(case)
    mesh = sweep_ring(section_of(lines), lines.layers)
    outside, bore = case.surroundings.convection, case.surroundings.bore_convection
    material = {Region.TUBE: case.tube.alloy}
    if case.flange is not None and case.fillet is not None:
        material |= {Region.FLANGE: case.flange.alloy, Region.FILLET: case.fillet.filler}
    names = list(dict.fromkeys(material.values()))
    alloys = [case.alloys[n] for n in names]
    region = {s: BORE_MATERIAL[s.split()[0]] for s in mesh.section.surfaces}
    present = [s for s in mesh.section.surfaces if region[s] in material]
    problem = assemble(
        mesh,
        alloys,
        {g: names.index(n) for g, n in material.items()},
        film={s: bore if s in IN_BORE else outside for s in present},
        emissivity={s: case.alloys[material[region[s]]].emissivity for s in present},
        air=case.surroundings.temperature,
        start=case.surroundings.temperature,
        lap=_lap(case, mesh),
        lit_surfaces=LIT,
        torch=_torch(case),
        lit_reach=6.5 * case.arc.spot,
        case=told,
        schedule=schedule_of(case, lines.layers),
    )
    points = []
    for number in range(case.segment_count):
        points += _start_point(problem, 2.0 * pi * number / case.segment_count)
    if case.travel.order == "backstep":  # runs begin at the far end
        points = points[2:] + points[:2] if case.flange is not None else points[1:] + points[:1]
    points += [_probe(problem, p) for p in case.probes]
    return replace(problem, samples=stack(points))
