"""The (r, z) section of the joint as polygons: graded lines, cells, edges and what each edge is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log, log1p
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["EdgeKind", "Region", "Section", "SectionBuilder", "graded"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FAR_POWER = 6  # of the way to the far end: how rounding to whole cells goes up with it, at most


class Region:
    """Which part a section cell belongs to."""

    TUBE = 0
    FLANGE = 1
    FILLET = 2


class EdgeKind:
    """What heat meets at an edge of the section."""

    PLAIN = 0  # inside one part
    LAP = 1  # tube against flange bore: a contact conductance
    UNDER_FILLER = 2  # base against fillet: bare surface until filler is laid
    WALL = 3  # the outside


@dataclass(frozen=True)
class Section:
    """Polygons in the (r, z) half plane [m] and their edges.

    Attributes
    ----------
    vertices : (nv, 2) r and z
    cells : (nc, 4) vertex ids, counter-clockwise, -1 fills up triangles
    region : (nc,) `Region`
    edges : (ne, 2) vertex ids
    edge_cells : (ne, 2) cells on either side, base first under filler, tube first at the lap;
        -1 outside
    edge_kind : (ne,) `EdgeKind`
    edge_surface : (ne,) index into `surfaces` of an outside edge or of a base edge under filler
        (the surface it belongs to while bare); -1 for the rest
    surfaces : names of the surfaces
    tube : (nz, nr) tube cells, z upward and r outward; likewise `flange` (nr, nz), r outward and
        z downward from the face, or None
    """

    vertices: Array
    cells: Ints
    region: Ints
    edges: Ints
    edge_cells: Ints
    edge_kind: Ints
    edge_surface: Ints
    surfaces: tuple[str, ...]
    tube: Ints
    flange: Ints | None = None

    @property
    def triangles(self) -> NDArray[np.bool_]:
        """(nc,) True where a cell has three edges."""
        return np.asarray(self.cells[:, 3] < 0)

    def edge_centres(self) -> Array:
        """(ne, 2) middle of each edge [m]."""
        return np.asarray(self.vertices[self.edges].mean(axis=1))

    def edges_of(self, name: str) -> Ints:
        """Edges of the named surface, in the order they were found.

        Raises
        ------
        ValueError
            There is no surface of that name.
        """
        return np.flatnonzero(self.edge_surface == self.surfaces.index(name))


def graded(length: float, first: float, growth: float, largest: float) -> Array:
    """Cell ends from 0 to `length` [m], starting at `first` and growing to at most `largest`.

    Cell ends are places on a map whose slope grows from `first` by `growth` a cell until it is
    `largest`. Halving `first` and `largest` and taking the root of `growth` halves every cell of
    the same map, but for rounding to whole cells. The cells at the far end take that up, the more
    the further out they are, so that those at the near end hardly feel a change of the count.
    """
    if length <= 0.0:
        return np.zeros(1)
    if growth <= 1.0:
        return np.linspace(0.0, length, ceil(length / first * (1.0 - 1e-9)) + 1)
    rate, ramp = log(growth), max(0.0, log(largest / first) / log(growth))
    top = max(first, largest)
    bend = (top - first) / rate  # where the slope stops growing
    whole = log1p(length * rate / first) / rate if length <= bend else ramp + (length - bend) / top
    count = max(1, round(whole))
    u = np.arange(count + 1.0)
    at = u + (whole - count) * (u / count) ** min(count, FAR_POWER)
    ends = first * np.expm1(rate * np.minimum(at, ramp)) / rate + top * np.maximum(at - ramp, 0.0)
    ends[-1] = length
    return np.asarray(ends)


class SurfaceOf(Protocol):
    """Names the surface at (r, z) [m] of a region, with outward normal (nr, nz)."""

    def __call__(self, region: int, r: float, z: float, nr: float, nz: float, /) -> str:
        """Return one of the surface names."""
        ...


class SectionBuilder:
    """Collects blocks of cells that share vertices, then works out the edges."""

    def __init__(self) -> None:
        self._vertex_of: dict[tuple[int, int], int] = {}
        self._vertices: list[tuple[float, float]] = []
        self._cells: list[tuple[int, int, int, int]] = []
        self._region: list[int] = []

    def _vertex(self, r: float, z: float) -> int:
        key = (round(r * 1e10), round(z * 1e10))  # 0.1 nm: far below any line spacing
        if key not in self._vertex_of:
            self._vertex_of[key] = len(self._vertices)
            self._vertices.append((r, z))
        return self._vertex_of[key]

    def block(self, r: Sequence[float] | Array, z: Sequence[float] | Array, region: int) -> Ints:
        """Add quadrilaterals between ascending lines; returns cell ids (len(z)-1, len(r)-1)."""
        ids = np.empty((len(z) - 1, len(r) - 1), dtype=np.int64)
        for j in range(len(z) - 1):
            for i in range(len(r) - 1):
                corners = ((r[i], z[j]), (r[i + 1], z[j]), (r[i + 1], z[j + 1]), (r[i], z[j + 1]))
                a, b, c, d = (self._vertex(float(x), float(y)) for x, y in corners)
                ids[j, i] = len(self._cells)
                self._cells.append((a, b, c, d))
                self._region.append(region)
        return ids

    def corner(self, r: Array, z: Array, region: int) -> None:
        """Fill the right triangle under the diagonal of equal lines `r` (outward), `z` (upward)."""
        n = len(r) - 1
        for j in range(n):
            for i in range(n - j):
                a = self._vertex(float(r[i]), float(z[j]))
                b = self._vertex(float(r[i + 1]), float(z[j]))
                d = self._vertex(float(r[i]), float(z[j + 1]))
                if i + j < n - 1:
                    c = self._vertex(float(r[i + 1]), float(z[j + 1]))
                    self._cells.append((a, b, c, d))
                else:
                    self._cells.append((a, b, d, -1))
                self._region.append(region)

    def finish(
        self,
        surfaces: tuple[str, ...],
        surface_of: SurfaceOf,
        tube: Ints,
        flange: Ints | None = None,
    ) -> Section:
        """Match edges and name the outside; `surface_of(region, r, z, nr, nz)` gives a name."""
        owner: dict[tuple[int, int], list[int]] = {}
        for c, cell in enumerate(self._cells):
            ids = [v for v in cell if v >= 0]
            for a, b in zip(ids, ids[1:] + ids[:1], strict=True):
                owner.setdefault((min(a, b), max(a, b)), []).append(c)
        vertices = np.array(self._vertices)
        region = np.array(self._region)
        edges = np.array(list(owner), dtype=np.int64)
        cells = np.full((len(owner), 2), -1, dtype=np.int64)
        kind = np.full(len(owner), EdgeKind.PLAIN, dtype=np.int64)
        surface = np.full(len(owner), -1, dtype=np.int64)
        for e, sides in enumerate(owner.values()):
            sides.sort(key=lambda c: (region[c], c))  # tube, flange, fillet
            cells[e, : len(sides)] = sides
            parts = [int(region[c]) for c in sides]
            if len(sides) == 1:
                kind[e] = EdgeKind.WALL
            elif parts[0] != parts[1]:
                filler = parts[1] == Region.FILLET
                kind[e] = EdgeKind.UNDER_FILLER if filler else EdgeKind.LAP
            if kind[e] in (EdgeKind.WALL, EdgeKind.UNDER_FILLER):
                centre = vertices[edges[e]].mean(axis=0)
                corners = [v for v in self._cells[sides[0]] if v >= 0]
                out = centre - vertices[corners].mean(axis=0)
                along = vertices[edges[e][1]] - vertices[edges[e][0]]
                normal = np.array([along[1], -along[0]]) / np.hypot(*along)
                normal *= np.sign(normal @ out)
                name = surface_of(parts[0], *map(float, centre), *map(float, normal))
                surface[e] = surfaces.index(name)
        return Section(
            vertices=vertices,
            cells=np.array(self._cells, dtype=np.int64),
            region=region,
            edges=edges,
            edge_cells=cells,
            edge_kind=kind,
            edge_surface=surface,
            surfaces=surfaces,
            tube=tube,
            flange=flange,
        )
