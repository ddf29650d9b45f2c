"""Case -> `Problem`: joint, mesh, schedule, torch, lap and what is read off every step."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from ..case.alloys import Alloy
from ..case.case import Brazed, Case, Chill, Probe, tacked_layers
from ..joint.lines import mesh_lines, section_of
from ..joint.mesh import Mesh, sweep_ring
from ..joint.schedule import schedule_of
from ..joint.section import EdgeKind, Region
from .arrays import REACH, Growth, Torch
from .assemble import aim_torch, assemble
from .clocks import clocks_of
from .corners import corner_factors
from .problem import AIR, BENCH, CHILL, ChillRing, Job, LapRows, Problem
from .sampling import Samples, lagrange, ring_nodes, stack
from .stability import explicit_limit

__all__ = ["job_of", "problem_of"]

LIT = ("tube outside", "flange face", "flange rim", "fillet")  # what a torch outside can see
IN_BORE = ("tube bore", "flange bore")
BORE_MATERIAL = {"tube": Region.TUBE, "flange": Region.FLANGE, "fillet": Region.FILLET}


def _torch(case: Case) -> Torch:
    radius = case.tube.radius
    if case.brazed is None:
        return aim_torch(radius, 0.0, 0.0, case.arc.spot)
    return aim_torch(
        radius + case.arc.aim, 0.0, case.arc.work_angle, case.arc.spot, radius, case.tube.length
    )


def _lap(case: Case, brazed: Brazed, mesh: Mesh) -> LapRows:
    """Rows of the lap from the mouth down, and what they conduct by.

    Emissivity of two parallel grey walls: ``1 / (1 / eps_tube + 1 / eps_flange - 1)`` [-]
    (textbook form, from memory). It holds as the gap is thin against the radius.
    """
    links = np.flatnonzero(mesh.links.kind == EdgeKind.LAP)
    height = mesh.section.edge_centres()[mesh.links.edge[links], 1]
    tube, flange = case.alloys[case.tube.alloy], case.alloys[brazed.flange.alloy]
    filler = brazed.filler
    one, other = tube.emissivity, flange.emissivity
    # a wall that radiates nothing exchanges nothing
    between = 1.0 / (1.0 / one + 1.0 / other - 1.0) if one > 0.0 and other > 0.0 else 0.0
    fillet = np.flatnonzero(mesh.section.region == Region.FILLET)
    shapes = mesh.section.cells[fillet]
    corner = [mesh.section.vertices[c[c >= 0]].sum(axis=1).min() for c in shapes]
    depth = np.sort(-height)  # of the middle of each row below the flange face
    return LapRows(
        links=links[np.argsort(-height, kind="stable")],
        resistance=None,
        gap=brazed.lap.clearance,
        emissivity=between,
        filler_conductivity=float(filler.k(filler.flow)),
        flow=filler.flow,
        root=int(np.argmin(corner)),
        bridged=max(1, int((depth < case.tube.wall).sum())),
    )


def _growth(case: Case, brazed: Brazed, problem: Problem) -> Growth | None:
    """What the hot clearance follows; None where an alloy has no expansion.

    Mean strain of a part: ``sum over cells and layers of V strain(T) / sum of V`` [-], V the volume
    [m3]. The tube counts below the flange face only, the flange as a whole; `lap` says why.
    """
    strains = [case.alloys[name].expansion for name in (case.tube.alloy, brazed.flange.alloy)]
    section, mesh, tables = problem.mesh.section, problem.mesh, problem.tables
    if None in strains or section.flange is None:
        return None
    below = section.vertices[section.cells[section.tube[:, 0]]][:, :, 1].mean(axis=1) < 0.0
    tube, bore = section.tube[below].ravel(), section.flange.ravel()
    strain = np.zeros_like(tables.temperature)
    for i, alloy in enumerate(problem.alloys):
        if alloy.expansion is not None:
            strain[i] = alloy.expansion(tables.temperature[i])

    def share(cells: NDArray[np.int64]) -> NDArray[np.float64]:
        volume = mesh.volume[cells]
        return np.asarray(volume / (volume.sum() * mesh.layers))

    return Growth(
        tube, bore, share(tube), share(bore), strain, case.tube.radius, brazed.lap.clearance
    )


def _nodes(
    problem: Problem, part: str, angle: float, along: float, depth: float
) -> list[tuple[int, int, float]]:
    """Nodes of a point of the base: `along` is height on the tube, radius on the flange."""
    section, mesh = problem.mesh.section, problem.mesh
    nc, nw = mesh.shape[0], len(problem.wall)
    names = problem.wall_names()
    tube = part == "tube"
    grid = section.tube if tube or section.flange is None else section.flange
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


def _probe(problem: Problem, case: Case, probe: Probe) -> list[tuple[int, int, float]]:
    along = probe.height if probe.on == "tube" else case.tube.radius + probe.radius
    return _nodes(problem, probe.on, probe.angle, along, probe.depth)


def _chill(problem: Problem, chill: Chill, alloy: Alloy) -> tuple[ChillRing, NDArray[np.float64]]:
    """The ring and the share of each wall that it touches: the bore about z = 0.

    Its mass is ``rho pi (2 R - w) w L`` [kg]: density rho [kg/m3], bore radius R, wall w, length L
    [m].
    """
    ends = problem.mesh.walls.ends[problem.wall][:, :, 1]
    low, high = ends.min(axis=1), ends.max(axis=1)
    half = 0.5 * chill.length
    bore = np.array([name == "tube bore" for name in problem.wall_names()])
    span = np.where(bore, high - low, 1.0)
    share = np.clip(np.minimum(high, half) - np.maximum(low, -half), 0.0, None) / span
    share[~bore] = 0.0
    radius = float(problem.mesh.section.vertices[:, 0].min())
    mass = alloy.density * pi * (2.0 * radius - chill.wall) * chill.wall * chill.length
    area = float(problem.grid.wall_area @ share) * problem.mesh.layers
    start_h = float(alloy.enthalpy(problem.start))
    return ChillRing(alloy, alloy.table(), mass, chill.conductance * area, start_h), share


def _fitted(problem: Problem, case: Case) -> Problem:
    """Put the walls on the chill and on the bench: they conduct there and no longer radiate.

    A wall that the chill touches in part conducts in proportion and gives the air nothing; with
    all its walls the ring touches what its length says, on any mesh.
    """
    chill, bench = case.fixture.chill, case.fixture.bench
    if chill is None and bench is None:
        return problem
    film, emissivity = problem.grid.film.copy(), problem.grid.emissivity.copy()
    air, sink, ring = problem.air.copy(), problem.sink.copy(), None
    if chill is not None:
        ring, share = _chill(problem, chill, case.alloys[chill.alloy])
        sink[share > 0.0] = CHILL
        film = np.where(share > 0.0, share * chill.conductance, film)
    if bench is not None:
        sink[[name == "flange back" for name in problem.wall_names()]] = BENCH
        film[sink == BENCH], air[sink == BENCH] = bench.conductance, bench.temperature
    emissivity[sink != AIR] = 0.0
    grid = problem.grid._replace(film=film, emissivity=emissivity)
    limit = explicit_limit(grid, problem.tables, problem.alloys)
    return replace(problem, grid=grid, air=air, sink=sink, chill=ring, explicit_limit=limit)


def _corners(case: Case, brazed: Brazed, mesh: Mesh) -> NDArray[np.float64]:
    flow = brazed.filler.flow
    base = [case.alloys[name] for name in (case.tube.alloy, brazed.flange.alloy)]
    tube, flange = (float(alloy.k(flow)) for alloy in base)
    molten = brazed.filler.stirred(brazed.fillet.stirring)
    return corner_factors(mesh, tube, flange, float(molten.k(flow)))


def job_of(case: Case) -> Job:
    """Build everything a march needs from a case.

    Raises
    ------
    CaseError
        The case asks for too big a mesh.
    """
    lines = mesh_lines(case)
    mesh = sweep_ring(section_of(lines), lines.layers)
    factors = case.scale.conductivity, case.scale.emissivity
    scaled = replace(case, alloys={n: a.scaled(*factors) for n, a in case.alloys.items()})
    problem = _problem(scaled, mesh)
    return Job(case, schedule_of(case, lines.layers), _samples(problem, scaled), problem)


def problem_of(case: Case) -> Problem:
    """Build what is marched from a case; see `job_of`."""
    return job_of(case).problem


def _problem(case: Case, mesh: Mesh) -> Problem:
    brazed = case.brazed
    outside, bore = case.surroundings.convection, case.surroundings.bore_convection
    material = {Region.TUBE: case.tube.alloy}
    if brazed is not None:
        material |= {Region.FLANGE: brazed.flange.alloy, Region.FILLET: brazed.fillet.filler}
    names = list(dict.fromkeys(material.values()))
    alloys = [case.alloys[n] for n in names]
    alloy_of = {region: names.index(name) for region, name in material.items()}
    if brazed is not None and brazed.fillet.stirring != 1.0:
        alloys.append(brazed.filler.stirred(brazed.fillet.stirring))
        alloy_of[Region.FILLET] = len(alloys) - 1
    region = {s: BORE_MATERIAL[s.split()[0]] for s in mesh.section.surfaces}
    present = [s for s in mesh.section.surfaces if region[s] in material]
    problem = assemble(
        mesh,
        alloys,
        alloy_of,
        film={s: bore if s in IN_BORE else outside for s in present},
        emissivity={s: case.alloys[material[region[s]]].emissivity for s in present},
        air=case.surroundings.temperature,
        start=case.surroundings.temperature,
        lap=None if brazed is None else _lap(case, brazed, mesh),
        lit_surfaces=LIT,
        torch=_torch(case),
        lit_reach=REACH * case.arc.spot,
        corners=None if brazed is None else _corners(case, brazed, mesh),
        bent=True,
    )
    problem = _fitted(problem, case)
    if brazed is not None and problem.lap is not None:
        lap = replace(problem.lap, growth=_growth(case, brazed, problem))
        problem = replace(problem, lap=lap)
    in_place = np.zeros(mesh.layers, dtype=np.bool_)
    for tack in case.tacks:
        if tack.current is None:
            in_place[tacked_layers(tack, mesh.layers, case.tube.radius)] = True
    return replace(problem, in_place=in_place, clocks=clocks_of(case))


def _samples(problem: Problem, case: Case) -> Samples:
    """The start points of the segments by number, tube and flange side each, then the probes."""
    points = []
    for number in range(case.segment_count):
        points += _start_point(problem, 2.0 * pi * number / case.segment_count)
    if case.travel.order == "backstep":  # runs begin at the far end
        points = points[2:] + points[:2] if case.brazed is not None else points[1:] + points[:1]
    points += [_probe(problem, case, p) for p in case.probes]
    return stack(points)
