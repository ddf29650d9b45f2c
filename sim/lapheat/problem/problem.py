"""Case, mesh and alloys -> one `Problem` of plain arrays, all that a march needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np
from numpy.typing import NDArray

from ..case.alloys import Alloy, EnthalpyTable
from ..case.case import Case
from ..joint.mesh import Mesh
from ..joint.schedule import Schedule
from ..joint.section import EdgeKind, Region
from .arrays import IN_FILLER, PLAIN, Base, Grid, Growth, Tables, Torch
from .sampling import Samples
from .stability import explicit_limit

__all__ = [
    "AIR",
    "ARGON",
    "BENCH",
    "CHILL",
    "ChillRing",
    "GapGas",
    "LapRows",
    "Problem",
    "aim_torch",
    "assemble",
    "tables_of",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

AIR, CHILL, BENCH = 0, 1, 2  # what a wall loses its heat to


@dataclass(frozen=True)
class GapGas:
    """Conductivity of the gas in the bare lap: `temperature` [K], `conductivity` [W/(m K)]."""

    temperature: tuple[float, ...]
    conductivity: tuple[float, ...]


@dataclass(frozen=True)
class ChillRing:
    """Heat-sink ring in the bore, of one temperature.

    Attributes
    ----------
    alloy, table : what it is of
    mass : [kg]
    touch : conductance to the tube's bore in all [W/K]
    start_h : specific enthalpy at time 0 [J/kg]
    """

    alloy: Alloy
    table: EnthalpyTable
    mass: float
    touch: float
    start_h: float


# Argon at 1 bar from a reference equation of state (CoolProp), 300 to 1300 K.
ARGON = GapGas((300.0, 600.0, 1000.0, 1300.0), (0.0178, 0.0306, 0.0436, 0.0518))


@dataclass(frozen=True)
class LapRows:
    """The lap, from the mouth down.

    Attributes
    ----------
    links : (nlap,) link of each row
    resistance : fixed resistance [m2 K/W], or None where it follows gap, gas and filler
    gap : radial gap [m]; `emissivity` effective between the two walls [-]
    filler_conductivity : of the filler that bridges the gap [W/(m K)]; `flow` its liquidus [K]
    root : row of `alive` of the fillet cell at the mouth
    bridged : number of rows a tack bridges, from the mouth down
    growth : how tube and bore grow apart when hot, None where an expansion is not known
    """

    links: Ints
    resistance: float | None
    gap: float
    emissivity: float
    filler_conductivity: float
    flow: float
    root: int
    bridged: int = 1
    growth: Growth | None = None


@dataclass(frozen=True)
class Problem:
    """What is marched: geometry, materials, walls, lap, torch, schedule.

    Attributes
    ----------
    case : the case it came from, None for a problem built by hand
    mesh, schedule : see there; `schedule` is None when the heat is given step by step
    alloys : in the order of `grid.alloy`
    wall : (w,) index into `mesh.walls` of each wall row of `grid`
    air : (w,) temperature beyond each wall [K]
    start : temperature at time 0 [K]
    fillet_cells : (nf,) section cells that come alive, in the order of the rows of `alive`
    explicit_limit : longest stable plain explicit step [s]
    sink : (w,) what each wall loses its heat to: `AIR`, `CHILL` or `BENCH`
    in_place : (layers,) bool, filler is there from the start
    chill : the ring in the bore, or None
    samples : what is read off every step: first the start points, then the probes
    """

    case: Case | None
    mesh: Mesh
    schedule: Schedule | None
    alloys: tuple[Alloy, ...]
    tables: Tables
    grid: Grid
    base: Base
    torch: Torch | None
    lap: LapRows | None
    wall: Ints
    air: Array
    start: float
    fillet_cells: Ints
    explicit_limit: float
    sink: Ints
    in_place: NDArray[np.bool_]
    chill: ChillRing | None = None
    samples: Samples | None = None

    def wall_names(self) -> list[str]:
        """Surface name of each wall row."""
        names = self.mesh.section.surfaces
        return [names[i] for i in self.mesh.walls.surface[self.wall]]

    def lap_cells(self) -> Ints:
        """(nlap, 2) tube and flange cell of each lap row, from the mouth down."""
        if self.lap is None:
            return np.empty((0, 2), dtype=np.int64)
        return self.mesh.links.cells[self.lap.links]


def tables_of(alloys: Sequence[Alloy]) -> Tables:
    """Stack the alloys' tables, with the conductivity integral from the first node up."""
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
    case: Case | None = None,
    schedule: Schedule | None = None,
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
    bent : walls are read along parabolas, as suits heat that is stored; along straight lines, as
        what they lose and gain is reckoned, where losses set their temperature in the end
    case, schedule : kept with the problem
    """
    section, walls, links = mesh.section, mesh.walls, mesh.links
    nc = len(section.cells)
    alloy = np.array([alloy_of_region[int(g)] for g in section.region], dtype=np.int64)
    density = np.array([a.density for a in alloys])[alloy]
    fillet = np.flatnonzero(section.region == Region.FILLET)
    slot = np.full(nc, -1, dtype=np.int64)
    slot[fillet] = np.arange(len(fillet))

    kind = links.kind.copy()
    kind[(kind == EdgeKind.PLAIN) & (slot[links.cells[:, 0]] >= 0)] = IN_FILLER
    row = np.full(len(kind), -1, dtype=np.int64)
    lap_links = np.flatnonzero(kind == EdgeKind.LAP)
    mouth_down = np.argsort(-section.edge_centres()[links.edge[lap_links], 1], kind="stable")
    lap_links = lap_links[mouth_down]
    row[lap_links] = np.arange(len(lap_links))
    under = np.flatnonzero(kind == EdgeKind.UNDER_FILLER)
    row[under] = slot[links.cells[under, 1]]

    # both sides of each link, grouped by the cell whose side it is
    owner = np.concatenate([links.cells[:, 0], links.cells[:, 1]])
    order = np.argsort(owner, kind="stable")
    near = np.concatenate([links.distance[:, 0], links.distance[:, 1]])
    far = np.concatenate([links.distance[:, 1], links.distance[:, 0]])
    area = np.tile(links.area * (1.0 if corners is None else corners), 2)
    place = np.empty(len(order), dtype=np.int64)  # of each one-sided link after grouping
    place[order] = np.arange(len(order))

    wall_order = np.argsort(walls.cell, kind="stable")
    cell = walls.cell[wall_order]
    names = [section.surfaces[i] for i in walls.surface[wall_order]]
    cover = walls.cover[wall_order]
    skin = np.full(nc, -1, dtype=np.int64)
    across = np.concatenate([cell, links.cells[lap_links].ravel(), links.cells[under].ravel()])
    across = np.unique(across)
    skin[across] = np.arange(len(across))

    lit_walls = np.flatnonzero([n in lit_surfaces for n in names])
    if torch is not None and lit_reach is not None:
        offset = walls.centre[wall_order][lit_walls] - [torch.r, torch.z]
        beside = np.abs(offset @ [-torch.cz, torch.cr])
        lit_walls = lit_walls[beside < lit_reach]
    lit = np.full(len(cell), -1, dtype=np.int64)
    lit[lit_walls] = np.arange(len(lit_walls))

    first = np.searchsorted(owner[order], np.arange(nc + 1))
    other = np.concatenate([links.cells[:, 1], links.cells[:, 0]])[order]
    kinds, factor = np.tile(kind, 2)[order], (area / (near + far))[order]
    beside = np.repeat(np.arange(nc)[:, None], 4, axis=1)
    beside_factor = np.zeros((nc, 4))
    for c in range(nc):
        mine = np.flatnonzero(kinds[first[c] : first[c + 1]] == PLAIN) + first[c]
        beside[c, : len(mine)] = other[mine]
        beside_factor[c, : len(mine)] = factor[mine]

    grid = Grid(
        alloy=alloy,
        mass=density * mesh.volume,
        along=mesh.end_area / (2.0 * mesh.end_distance),
        skin=skin,
        linked=np.isin(np.arange(nc), links.cells[np.concatenate([lap_links, under])]),
        slot=slot,
        first=first,
        beside=beside,
        beside_factor=beside_factor,
        other=other,
        kind=kinds,
        factor=factor,
        area=area[order],
        near=near[order],
        far=far[order],
        row=np.tile(row, 2)[order],
        wall_first=np.searchsorted(cell, np.arange(nc + 1)),
        wall_area=walls.area[wall_order],
        wall_near=walls.distance[wall_order],
        film=np.array([film.get(n, 0.0) for n in names]),
        emissivity=np.array([emissivity.get(n, 0.0) for n in names]),
        cover=np.where(cover >= 0, slot[cover], -1),
        lit=lit,
        closed=mesh.closed,
    )
    link_of_edge = np.full(len(section.edges), -1, dtype=np.int64)
    link_of_edge[links.edge[under]] = under
    outer = np.flatnonzero(section.edge_surface >= 0)[wall_order]
    under_of = link_of_edge[outer]
    part = np.minimum(section.region[cell], 2)
    nlap = len(lap_links)
    behind, behind_by = _behind(mesh, cell, outer) if bent else (cell, np.zeros(len(cell)))
    base = Base(
        part=np.concatenate([part, np.zeros(nlap, np.int64), np.ones(nlap, np.int64)]),
        wall_cell=cell,
        under=np.where(under_of >= 0, place[np.maximum(under_of, 0)], -1),
        lap_link=place[lap_links],
        lap_cell=links.cells[lap_links, 0],
        behind=behind,
        behind_by=behind_by,
    )
    if torch is not None:
        ends = walls.ends[wall_order][lit_walls]
        gauss = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
        points = ends[:, :1] + gauss[None, :, None] * (ends[:, 1:] - ends[:, :1])
        torch = torch._replace(
            point_r=np.ascontiguousarray(points[:, :, 0]),
            point_z=np.ascontiguousarray(points[:, :, 1]),
            normal_r=np.ascontiguousarray(walls.normal[wall_order][lit_walls, 0]),
            normal_z=np.ascontiguousarray(walls.normal[wall_order][lit_walls, 1]),
            area=walls.area[wall_order][lit_walls],
            wall=lit_walls,
            own=slot[cell[lit_walls]],
            step=mesh.step,
        )
    if lap is None and nlap:
        lap = LapRows(lap_links, lap_resistance or 0.0, 0.0, 0.0, 0.0, 0.0, 0)
    tables = tables_of(alloys)
    beyond = air if isinstance(air, Mapping) else dict.fromkeys(section.surfaces, air)
    return Problem(
        case=case,
        mesh=mesh,
        schedule=schedule,
        alloys=tuple(alloys),
        tables=tables,
        grid=grid,
        base=base,
        torch=torch,
        lap=lap,
        wall=wall_order,
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
    and upper end `height` [m] can stand in the way.
    """
    none = np.empty((0, 2))
    flat = np.empty(0)
    ids = np.empty(0, dtype=np.int64)
    lean = (0.0, 1.0) if abs(angle - 0.5 * pi) < 1e-12 else (cos(angle), sin(angle))
    return Torch(r, z, *lean, spot, shade, height, none, none, flat, flat, flat, ids, ids, 0.0)
