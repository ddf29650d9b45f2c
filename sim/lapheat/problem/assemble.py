"""Mesh and materials -> one `Problem` of plain arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import cos, pi, sin
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..case.alloys import Alloy
from ..joint.mesh import Mesh
from ..joint.section import EdgeKind, Region
from .arrays import IN_FILLER, NEITHER, PLAIN, Base, Grid, Tables, Torch
from .problem import AIR, LapRows, Problem
from .stability import explicit_limit

__all__ = ["aim_torch", "assemble", "tables_of"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


def tables_of(alloys: Sequence[Alloy]) -> Tables:
    """Stack the alloys' tables, with the conductivity integral from the first node up.

    ``phi_n = sum of (k_i + k_(i+1)) / 2 (T_(i+1) - T_i)`` [W/m] up to node n: conductivity k
    [W/(m K)], temperature T [K] (trapezoids, from memory). phi is 0 at 200 K, where tables begin.
    """
    made = [a.table() for a in alloys]
    temperature = np.stack([t.temperature for t in made])
    conductivity = np.stack([t.conductivity for t in made])
    steps = 0.5 * (conductivity[:, 1:] + conductivity[:, :-1]) * np.diff(temperature, axis=1)
    phi = np.concatenate([np.zeros((len(made), 1)), np.cumsum(steps, axis=1)], axis=1)
    return Tables(
        np.array([t.h0 for t in made]),
        np.array([1.0 / t.dh for t in made]),
        phi,
        temperature,
        1.0 / conductivity,
    )


class _Links(NamedTuple):
    """Both sides of each link of the mesh, grouped by the cell whose side it is."""

    lap: Ints  # (nlap,) links of the lap, from the mouth down
    under: Ints  # (u,) links between base and filler
    place: Ints  # (2m,) of each one-sided link after grouping, own sides first
    first: Ints  # the rest as in `Grid`
    other: Ints
    kind: Ints
    factor: Array
    area: Array
    near: Array
    far: Array
    row: Ints


def _links(mesh: Mesh, slot: Ints, corners: Array | None) -> _Links:
    section, links = mesh.section, mesh.links
    kind = links.kind.copy()
    kind[(kind == EdgeKind.PLAIN) & (slot[links.cells[:, 0]] >= 0)] = IN_FILLER
    row = np.full(len(kind), -1, dtype=np.int64)
    lap = np.flatnonzero(kind == EdgeKind.LAP)
    lap = lap[np.argsort(-section.edge_centres()[links.edge[lap], 1], kind="stable")]
    row[lap] = np.arange(len(lap))
    under = np.flatnonzero(kind == EdgeKind.UNDER_FILLER)
    row[under] = slot[links.cells[under, 1]]

    owner = np.concatenate([links.cells[:, 0], links.cells[:, 1]])
    order = np.argsort(owner, kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    near = np.concatenate([links.distance[:, 0], links.distance[:, 1]])
    far = np.concatenate([links.distance[:, 1], links.distance[:, 0]])
    area = np.tile(links.area * (1.0 if corners is None else corners), 2)
    return _Links(
        lap=lap,
        under=under,
        place=place,
        first=np.searchsorted(owner[order], np.arange(len(slot) + 1)),
        other=np.concatenate([links.cells[:, 1], links.cells[:, 0]])[order],
        kind=np.tile(kind, 2)[order],
        factor=(area / (near + far))[order],
        area=area[order],
        near=near[order],
        far=far[order],
        row=np.tile(row, 2)[order],
    )


def _beside(links: _Links) -> tuple[Ints, Array]:
    """(nc, 4) cells of the same part on a cell's sides, and area over distance [m]."""
    nc = len(links.first) - 1
    beside, factor = np.repeat(np.arange(nc)[:, None], 4, axis=1), np.zeros((nc, 4))
    for c in range(nc):
        mine = np.flatnonzero(links.kind[links.first[c] : links.first[c + 1]] == PLAIN)
        mine += links.first[c]
        beside[c, : len(mine)] = links.other[mine]
        factor[c, : len(mine)] = links.factor[mine]
    return beside, factor


def _rows(chosen: Ints, count: int) -> Ints:
    """(count,) number of each of the `chosen` among them, -1 elsewhere."""
    rows = np.full(count, -1, dtype=np.int64)
    rows[chosen] = np.arange(len(chosen))
    return rows


def _behind(mesh: Mesh, cells: Ints, edges: Ints) -> tuple[Ints, Array]:
    """Cell behind each of `cells` as seen from its edge, and how far its point is off [m].

    It is the one of the same part across the opposite edge of a quadrilateral; the cell itself,
    0 off, where there is none.
    """
    section, links = mesh.section, mesh.links
    plain: dict[int, list[int]] = {}
    for m in np.flatnonzero(links.kind == EdgeKind.PLAIN).tolist():
        for c in links.cells[m]:
            plain.setdefault(int(c), []).append(m)
    found, off = cells.copy(), np.zeros(len(cells))
    for i, (c, edge) in enumerate(zip(cells.tolist(), edges.tolist(), strict=True)):
        if section.triangles[c] or section.region[c] == Region.FILLET:
            continue
        for m in plain.get(c, []):
            if not np.isin(section.edges[links.edge[m]], section.edges[edge]).any():
                found[i] = links.cells[m, 0] + links.cells[m, 1] - c
                off[i] = links.distance[m].sum()
    return found, off


def _base(mesh: Mesh, links: _Links, order: Ints, bent: bool) -> Base:
    """Surface rows: the walls in `order`, then the lap's tube side, then its flange side."""
    section, cell, nlap = mesh.section, mesh.walls.cell[order], len(links.lap)
    link_of_edge = np.full(len(section.edges), -1, dtype=np.int64)
    link_of_edge[mesh.links.edge[links.under]] = links.under
    outer = np.flatnonzero(section.edge_surface >= 0)[order]
    under_of = link_of_edge[outer]
    behind, behind_by = _behind(mesh, cell, outer) if bent else (cell, np.zeros(len(cell)))
    sides = np.repeat([Region.TUBE, Region.FLANGE], nlap).astype(np.int64)
    return Base(
        part=np.concatenate([np.minimum(section.region[cell], NEITHER), sides]),
        wall_cell=cell,
        under=np.where(under_of >= 0, links.place[np.maximum(under_of, 0)], -1),
        lap_link=links.place[links.lap],
        lap_cell=mesh.links.cells[links.lap, 0],
        behind=behind,
        behind_by=behind_by,
    )


def _pointed(torch: Torch, mesh: Mesh, walls: Ints, lit: Ints, slot: Ints) -> Torch:
    """Torch with its sampling points on the faces `lit`, rows of `walls`: two a face."""
    faces = walls[lit]
    ends, normal = mesh.walls.ends[faces], mesh.walls.normal[faces]
    gauss = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
    points = ends[:, :1] + gauss[None, :, None] * (ends[:, 1:] - ends[:, :1])
    return torch._replace(
        point_r=np.ascontiguousarray(points[:, :, 0]),
        point_z=np.ascontiguousarray(points[:, :, 1]),
        normal_r=np.ascontiguousarray(normal[:, 0]),
        normal_z=np.ascontiguousarray(normal[:, 1]),
        area=mesh.walls.area[faces],
        wall=lit,
        own=slot[mesh.walls.cell[faces]],
        step=mesh.step,
    )


def assemble(
    mesh: Mesh,
    alloys: Sequence[Alloy],
    alloy_of_region: Mapping[int, int],
    film: Mapping[str, float],
    emissivity: Mapping[str, float],
    air: float | Mapping[str, float],
    start: float,
    *,
    lap: LapRows | None = None,
    lap_resistance: float | None = None,
    lit_surfaces: Sequence[str] = (),
    torch: Torch | None = None,
    lit_reach: float | None = None,
    corners: Array | None = None,
    bent: bool = False,
) -> Problem:
    """Turn geometry and materials into the arrays of a march.

    Parameters
    ----------
    mesh : the cells
    alloys : materials, picked by `alloy_of_region` from `Region` codes
    film : film coefficient of each surface by name, 0 where left out [W/(m2 K)]
    emissivity : of each surface by name, 0 where left out [-]
    air : temperature beyond the walls, one or by surface name [K]
    start : temperature of the part at time 0 [K]
    lap : how the lap conducts; or `lap_resistance`, fixed [m2 K/W]
    lit_surfaces : names of surfaces that may be given a heat flux
    torch : its axis; `lit_reach` [m] leaves out faces further from it
    corners : by what to multiply the area of each link, see `corners.corner_factors`
    bent : walls are read along parabolas, as suits heat that is stored. Without it they are read
        along straight lines, as their losses and gains are computed: for problems whose losses
        set the temperature in the end
    """
    section, walls = mesh.section, mesh.walls
    nc = len(section.cells)
    alloy = np.array([alloy_of_region[int(g)] for g in section.region], dtype=np.int64)
    density = np.array([a.density for a in alloys])[alloy]
    fillet = np.flatnonzero(section.region == Region.FILLET)
    slot = _rows(fillet, nc)
    links = _links(mesh, slot, corners)
    beside, beside_factor = _beside(links)

    order = np.argsort(walls.cell, kind="stable")
    cell, cover = walls.cell[order], walls.cover[order]
    names = [section.surfaces[i] for i in walls.surface[order]]
    between = mesh.links.cells[np.concatenate([links.lap, links.under])]  # across parts
    lit = np.flatnonzero([n in lit_surfaces for n in names])
    if torch is not None and lit_reach is not None:
        offset = walls.centre[order][lit] - [torch.r, torch.z]
        lit = lit[np.abs(offset @ [-torch.cz, torch.cr]) < lit_reach]
    if torch is not None:
        torch = _pointed(torch, mesh, order, lit, slot)
    if lap is None and len(links.lap):
        lap = LapRows(links.lap, lap_resistance or 0.0, 0.0, 0.0, 0.0, 0.0, 0)

    grid = Grid(
        alloy=alloy,
        mass=density * mesh.volume,
        along=mesh.end_area / (2.0 * mesh.end_distance),
        skin=_rows(np.unique(np.concatenate([cell, between.ravel()])), nc),
        linked=np.isin(np.arange(nc), between),
        slot=slot,
        first=links.first,
        beside=beside,
        beside_factor=beside_factor,
        other=links.other,
        kind=links.kind,
        factor=links.factor,
        area=links.area,
        near=links.near,
        far=links.far,
        row=links.row,
        wall_first=np.searchsorted(cell, np.arange(nc + 1)),
        wall_area=walls.area[order],
        wall_near=walls.distance[order],
        film=np.array([film.get(n, 0.0) for n in names]),
        emissivity=np.array([emissivity.get(n, 0.0) for n in names]),
        cover=np.where(cover >= 0, slot[cover], -1),
        lit=_rows(lit, len(cell)),
        closed=mesh.closed,
    )
    tables = tables_of(alloys)
    beyond = air if isinstance(air, Mapping) else dict.fromkeys(section.surfaces, air)
    return Problem(
        mesh=mesh,
        alloys=tuple(alloys),
        tables=tables,
        grid=grid,
        base=_base(mesh, links, order, bent),
        torch=torch,
        lap=lap,
        wall=order,
        air=np.array([beyond[n] for n in names], dtype=float),
        start=start,
        fillet_cells=fillet,
        explicit_limit=explicit_limit(grid, tables, alloys),
        sink=np.full(len(cell), AIR),
        in_place=np.zeros(mesh.layers, dtype=np.bool_),
    )


def aim_torch(
    r: float, z: float, angle: float, spot: float, shade: float = 0.0, height: float = 0.0
) -> Torch:
    """Torch whose axis passes (r, z) [m], rising at `angle` [rad] above the radial direction.

    `spot` is the standard deviation of the flux across the axis [m]; a tube of radius `shade`
    and upper end `height` [m] can be in the way.
    """
    none = np.empty((0, 2))
    flat = np.empty(0)
    ids = np.empty(0, dtype=np.int64)
    lean = (0.0, 1.0) if abs(angle - 0.5 * pi) < 1e-12 else (cos(angle), sin(angle))
    return Torch(r, z, *lean, spot, shade, height, none, none, flat, flat, flat, ids, ids, 0.0)
