"""The section swept into cells: round the axis for a joint, along a line for a flat plate.

All layers of a sweep are congruent, so FiPy is asked for the geometry of one layer and the
compiled march keeps only that. `fipy_mesh` makes the whole ring of the very same vertices, faces
and cells for the FiPy march; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sin, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .section import EdgeKind, Section

__all__ = ["Links", "Mesh", "Walls", "fipy_mesh", "ring_corners", "sweep_line", "sweep_ring"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Links:
    """Faces between two section cells, for one layer.

    Attributes
    ----------
    cells : (m, 2) section cells
    area : (m,) [m2]
    distance : (m, 2) from each cell point to the face, along the face normal [m]
    kind : (m,) `EdgeKind.PLAIN`, `LAP` or `UNDER_FILLER`
    edge : (m,) edge of the section
    """

    cells: Ints
    area: Array
    distance: Array
    kind: Ints
    edge: Ints


@dataclass(frozen=True)
class Walls:
    """Faces to the outside, and base faces under filler while they are bare, for one layer.

    Attributes
    ----------
    cell : (w,) section cell
    area : (w,) [m2]
    distance : (w,) from the cell point to the face, along the normal [m]
    surface : (w,) index into `Section.surfaces`
    cover : (w,) fillet cell that covers the face once laid, -1 for none
    centre, normal : (w, 2) in (r, z) [m], [-]
    ends : (w, 2, 2) the two ends of the edge [m]
    """

    cell: Ints
    area: Array
    distance: Array
    surface: Ints
    cover: Ints
    centre: Array
    normal: Array
    ends: Array


@dataclass(frozen=True)
class Mesh:
    """A section swept into `layers` congruent layers.

    Attributes
    ----------
    section : the polygons
    layers : number of layers
    closed : True for a ring (the last layer meets the first), False for a bar with insulated ends
    step : angle [rad] of a layer of a ring, length [m] of a layer of a bar
    volume : (nc,) of one layer [m3]
    end_area : (nc,) of the face between layers [m2]
    end_distance : (nc,) from the cell point to that face [m]
    """

    section: Section
    layers: int
    closed: bool
    step: float
    volume: Array
    end_area: Array
    end_distance: Array
    links: Links
    walls: Walls

    @property
    def shape(self) -> tuple[int, int]:
        """(section cells, layers): the shape of every field."""
        return len(self.volume), self.layers

    @property
    def cells(self) -> int:
        """Number of cells."""
        return len(self.volume) * self.layers

    def layer_angles(self) -> Array:
        """(layers,) centre of each layer: [rad] round a ring, [m] along a bar."""
        return np.asarray((np.arange(self.layers) + 0.5) * self.step, dtype=np.float64)


def _planes(section: Section, layers: int, closed: bool, step: float) -> Array:
    """Vertex coordinates (3, planes, nv) of every plane between layers."""
    planes = layers if closed and layers > 1 else layers + 1
    at = np.arange(planes) * step
    r, z = section.vertices.T
    if closed:
        # a little outside the circle, so that flat facets hold exactly the round volume
        outward = sqrt(step / sin(step))
        x = outward * np.cos(at)[:, None] * r
        y = outward * np.sin(at)[:, None] * r
    else:
        x = np.broadcast_to(r, (planes, len(r)))
        y = np.broadcast_to(at[:, None], x.shape)
    points: Array = np.stack([x, y, np.broadcast_to(z, x.shape)]).astype(float)
    return points


def ring_corners(mesh: Mesh) -> Array:
    """(layers * nv, 3) corners of a ring's cells, all of one plane before the next [m].

    Vertex ``v`` of the section on plane ``k`` is corner ``k * nv + v``; layer ``k`` lies between
    planes ``k`` and ``k + 1``.
    """
    return np.ascontiguousarray(
        _planes(mesh.section, mesh.layers, mesh.closed, mesh.step).reshape(3, -1).T
    )


def fipy_mesh(section: Section, layers: int, closed: bool, step: float) -> Any:
    """Hand vertices, faces and cells of the sweep to FiPy's `Mesh`.

    Cell ``c`` of layer ``k`` is FiPy cell ``c * layers + k``; edge ``e`` of layer ``k`` is face
    ``e * layers + k``; the faces between layers follow, section cell by section cell.
    A ring of one layer is an open wedge.
    """
    from fipy.meshes.mesh import Mesh as FipyMesh

    points = _planes(section, layers, closed, step)
    planes, nv = points.shape[1:]
    ring = planes == layers
    k = np.arange(layers)
    after = (k + 1) % planes
    a, b = section.edges.T
    sides = np.stack(
        [
            k * nv + a[:, None],
            k * nv + b[:, None],
            after * nv + b[:, None],
            after * nv + a[:, None],
        ]
    ).reshape(4, -1)
    corners = section.cells.T[:, :, None]
    caps = np.where(corners < 0, -1, corners + nv * np.arange(planes)).reshape(4, -1)
    nc, ne = len(section.cells), len(section.edges)
    edges_of = np.full((4, nc), -1, dtype=np.int64)
    filled = np.zeros(nc, dtype=np.int64)
    for e, pair in enumerate(section.edge_cells):
        for c in pair[pair >= 0]:
            edges_of[filled[c], c] = e
            filled[c] += 1
    side_ids = np.where(edges_of[:, :, None] < 0, -1, edges_of[:, :, None] * layers + k)
    cap = ne * layers + np.arange(nc)[:, None] * planes
    cell_faces = np.concatenate(
        [side_ids, (cap + k)[None], (cap + (after if ring else k + 1))[None]]
    ).reshape(6, -1)
    # FiPy wants the missing faces last
    order = np.argsort(cell_faces < 0, axis=0, kind="stable")
    cell_faces = np.take_along_axis(cell_faces, order, axis=0)
    return FipyMesh(
        vertexCoords=points.reshape(3, -1),
        faceVertexIDs=np.concatenate([sides, caps], axis=1),
        cellFaceIDs=cell_faces,
    )


def _sweep(section: Section, layers: int, closed: bool, step: float) -> Mesh:
    wedge = fipy_mesh(section, 1, closed, step)
    area = np.asarray(wedge._faceAreas)
    normal = np.asarray(wedge.faceNormals)
    face = np.asarray(wedge._faceCenters)
    point = np.array(wedge._cellCenters)
    # The cell point of a triangle is the middle of its sloping side: the line to each neighbour
    # then crosses the shared face at right angles and at its middle, and fluxes stay second order.
    kind = section.edge_kind
    ne = len(section.edges)
    longest: dict[int, tuple[float, int]] = {}
    for e, pair in enumerate(section.edge_cells):
        for c in pair[pair >= 0]:
            if section.triangles[c]:
                span = np.hypot(*np.diff(section.vertices[section.edges[e]], axis=0)[0])
                longest[int(c)] = max(longest.get(int(c), (0.0, -1)), (float(span), e))
    for c, (_, e) in longest.items():
        point[:, c] = face[:, e]

    def distance(faces: Ints, cells: Ints) -> Array:
        span = face[:, faces] - point[:, cells]
        return np.asarray(np.abs(np.einsum("df,df->f", span, normal[:, faces])))

    inner = np.flatnonzero(kind != EdgeKind.WALL)
    pair = section.edge_cells[inner]
    links = Links(
        cells=pair,
        area=area[inner],
        distance=np.stack([distance(inner, pair[:, 0]), distance(inner, pair[:, 1])], axis=1),
        kind=kind[inner],
        edge=inner,
    )
    outer = np.flatnonzero((kind == EdgeKind.WALL) | (kind == EdgeKind.UNDER_FILLER))
    cell = section.edge_cells[outer, 0]
    ends = section.vertices[section.edges[outer]]
    along = ends[:, 1] - ends[:, 0]
    out = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    middle = np.array([section.vertices[c[c >= 0]].mean(axis=0) for c in section.cells[cell]])
    out *= np.sign(np.einsum("wd,wd->w", out, ends.mean(axis=1) - middle))[:, None]
    walls = Walls(
        cell=cell,
        area=area[outer],
        distance=distance(outer, cell),
        surface=section.edge_surface[outer],
        cover=section.edge_cells[outer, 1],
        centre=ends.mean(axis=1),
        normal=out,
        ends=ends,
    )
    nc = len(section.cells)
    cap = ne + 2 * np.arange(nc)
    volume = np.array(wedge.cellVolumes)
    if closed:
        # FiPy takes the mean of a sloping facet's corners for its centre, half a percent too near;
        # a revolved triangle is its area times the way of its centroid (Pappus)
        corners = section.vertices[section.cells[section.triangles, :3]]
        u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        flat = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
        volume[section.triangles] = flat * corners[:, :, 0].mean(axis=1) * step
    return Mesh(
        section=section,
        layers=layers,
        closed=closed,
        step=step,
        volume=volume,
        end_area=area[cap],
        end_distance=distance(cap, np.arange(nc)),
        links=links,
        walls=walls,
    )


def sweep_ring(section: Section, layers: int) -> Mesh:
    """Revolve the section about the z axis into `layers` layers [>= 3].

    Raises
    ------
    ValueError
        Fewer than 3 layers cannot close a ring.
    """
    if layers < 3:
        raise ValueError(f"a ring needs at least 3 layers, not {layers}")
    return _sweep(section, layers, True, 2.0 * pi / layers)


def sweep_line(section: Section, layers: int, step: float) -> Mesh:
    """Push the section along a straight line: `layers` layers of length `step` [m]."""
    return _sweep(section, layers, False, step)
