"""The bare joint in hexahedral finite elements, as a user of scikit-fem would write it.

Trilinear hexahedra on the program's own mesh lines, so that both have the same cells; heat content
and conductivity at the quadrature points; second-order implicit steps (BDF2, the first one Euler)
by Newton's method; conjugate gradients with the diagonal for preconditioner, the library's own. The
lap is a conductance between facing nodes, which is cheaper than to integrate over its faces.

There is no fillet: hexahedra do not fit it, and cells that come alive are not asked of this model.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import KDTree
from skfem import Basis, BilinearForm, ElementHex1, FacetBasis, LinearForm, MeshHex, solve
from skfem.helpers import dot, grad
from skfem.utils import build_pc_diag, solver_iter_pcg

from lapheat.case.alloys import Alloy
from lapheat.case.case import Case
from lapheat.constants import STEFAN_BOLTZMANN
from lapheat.joint.lines import mesh_lines
from lapheat.problem.problem import Problem

__all__ = ["Elements", "heat_form"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

SETTLED = 0.5  # [K] by which another iteration may still change a temperature
TOLERANCE = 1e-6  # of the residual of a linear system against its right-hand side
NODES = np.linspace(200.0, 4000.0, 3801)  # [K] of the tables of properties


@BilinearForm
def heat_form(u: Any, v: Any, w: Any) -> Any:
    return w.capacity * u * v + w.k * dot(grad(u), grad(v))


@LinearForm
def balance_form(v: Any, w: Any) -> Any:
    return w.gain * v + w.k * dot(w.T.grad, grad(v))


@BilinearForm
def slope_form(u: Any, v: Any, w: Any) -> Any:
    return w.slope * u * v


@LinearForm
def flow_form(v: Any, w: Any) -> Any:
    return w.q * v


class Properties(NamedTuple):
    """Heat content [J/m3], heat capacity [J/(m3 K)] and conductivity [W/(m K)] at `NODES`."""

    content: Array
    capacity: Array
    k: Array

    @classmethod
    def of(cls, alloy: Alloy) -> Properties:
        content = alloy.density * np.asarray(alloy.enthalpy(NODES))
        return cls(content, np.gradient(content, NODES), np.asarray(alloy.k(NODES)))


def _ring(r: Array, z: Array, layers: int) -> tuple[Array, Ints]:
    """Points (3, n) and hexahedra (8, m) of a rectangle swept round the axis."""
    angle = np.arange(layers) * (2.0 * np.pi / layers)
    rs, zs, at = np.meshgrid(r, z, angle, indexing="ij")
    number = np.arange(rs.size).reshape(rs.shape)
    number = np.concatenate([number, number[:, :, :1]], axis=2)
    # corners in the library's order
    order = [(1, 1, 1), (1, 1, 0), (1, 0, 1), (0, 1, 1), (1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 0)]
    nr, nz = len(r) - 1, len(z) - 1
    corners = [number[i : i + nr, j : j + nz, k : k + layers].ravel() for i, k, j in order]
    points = np.stack([rs * np.cos(at), rs * np.sin(at), zs]).reshape(3, -1)
    return points, np.stack(corners)


class Elements:
    """Tube and flange with a lap of fixed resistance [m2 K/W] between them."""

    def __init__(self, case: Case, problem: Problem, resistance: float) -> None:
        lines = mesh_lines(case)
        assert lines.radial is not None
        assert lines.depth is not None
        assert case.flange is not None
        assert problem.torch is not None
        self.torch, self.air = problem.torch, case.surroundings.temperature
        tube, tube_cells = _ring(lines.wall, lines.axial, lines.layers)
        flange, flange_cells = _ring(lines.radial, lines.depth, lines.layers)
        cells = np.concatenate([tube_cells, flange_cells + tube.shape[1]], axis=1)
        self.mesh = MeshHex(np.concatenate([tube, flange], axis=1), cells)
        self.in_tube = np.arange(cells.shape[1]) < tube_cells.shape[1]
        self.tube_points = np.arange(self.mesh.nvertices) < tube.shape[1]
        element = ElementHex1()
        self.inside = Basis(self.mesh, element, intorder=2)
        alloys = [case.alloys[name] for name in (case.tube.alloy, case.flange.alloy)]
        self.properties = [Properties.of(alloy) for alloy in alloys]
        edge = self.mesh.boundary_facets()
        z = self.mesh.p[2, self.mesh.facets[:, edge]].mean(axis=0)
        far = np.hypot(*self.mesh.p[:2, self.mesh.facets[:, edge]]).mean(axis=0)
        of_tube = self.in_tube[self.mesh.f2t[0, edge]]
        touching = (np.abs(far - case.tube.radius) < 1e-8) & (z < 0.0)
        lap = touching & (z > float(lines.depth[0]))
        self.skin = FacetBasis(self.mesh, element, facets=edge[~lap], intorder=2)
        bore = of_tube & (far < case.tube.radius - 0.99 * case.tube.wall)
        films = case.surroundings.bore_convection, case.surroundings.convection
        self.film = np.where(bore, *films)[~lap, None]
        self.black = np.where(of_tube, alloys[0].emissivity, alloys[1].emissivity)[~lap, None]
        self.black *= STEFAN_BOLTZMANN
        self.lap = self._lap(edge[lap & of_tube], element, resistance)
        self.iterations = 0  # of Newton's method so far

    def _lap(self, facets: Ints, element: Any, resistance: float) -> Any:
        """Conductances [W/K] between facing nodes of the lap, as a matrix."""
        side = FacetBasis(self.mesh, element, facets=facets, intorder=2)
        each = flow_form.assemble(side, q=np.full((1, 1), 1.0 / resistance))
        one = np.flatnonzero(each > 1e-9 * each.max())
        others = np.flatnonzero(~self.tube_points)
        apart, nearest = KDTree(self.mesh.p[:, others].T).query(self.mesh.p[:, one].T)
        assert apart.max() < 1e-9  # [m]
        two = others[nearest]
        entries = np.concatenate([each[one], each[one], -each[one], -each[one]])
        rows, columns = np.concatenate([one, two, one, two]), np.concatenate([one, two, two, one])
        shape = (self.mesh.nvertices, self.mesh.nvertices)
        return sparse.csr_matrix((entries, (rows, columns)), shape)

    def arc(self, angle: float, power: float) -> Array:
        """Flux into the skin at its quadrature points [W/m2] from an arc at `angle` [rad]."""
        x, t = np.asarray(self.skin.global_coordinates()), self.torch
        out = np.array([np.cos(angle), np.sin(angle), 0.0])
        axis = t.cr * out + np.array([0.0, 0.0, t.cz])
        offset = x - (t.r * out + np.array([0.0, 0.0, t.z]))[:, None, None]
        ahead = np.einsum("d,dfq->fq", axis, offset)
        beside = np.einsum("dfq,dfq->fq", offset, offset) - ahead**2
        facing = np.einsum("d,dfq->fq", axis, np.asarray(self.skin.normals))
        seen = (facing > 0.0) & (np.einsum("d,dfq->fq", out, x) > 0.0)
        shape = np.where(seen, facing * np.exp(-0.5 * beside / t.spot**2), 0.0)
        return np.asarray(shape * (power / float((shape * self.skin.dx).sum())))

    def _by_part(self, what: str, T: Array) -> Array:
        out = np.empty_like(T)
        for mine, values in zip((self.in_tube, ~self.in_tube), self.properties, strict=True):
            out[mine] = np.interp(T[mine], NODES, getattr(values, what))
        return out

    def contents(self, T: Array) -> Array:
        """Heat content at the quadrature points [J/m3]."""
        return self._by_part("content", np.asarray(self.inside.interpolate(T)))

    def system(
        self, T: Array, heat: tuple[Array, Array], factors: tuple[float, float, float], q: Array
    ) -> tuple[Any, Array]:
        """Matrix and right-hand side of one iteration; `q` is what the arc brings [W/m2]."""
        a, b, c = factors
        field = self.inside.interpolate(T)
        values = np.asarray(field)
        k = self._by_part("k", values)
        gain = a * self._by_part("content", values) - b * heat[0] + c * heat[1]
        rest = balance_form.assemble(self.inside, T=field, gain=gain, k=k)
        at = np.asarray(self.skin.interpolate(T))
        lost = self.film * (at - self.air) + self.black * (at**4 - self.air**4)
        rest += flow_form.assemble(self.skin, q=lost - q) + self.lap @ T
        capacity = a * self._by_part("capacity", values)
        matrix = heat_form.assemble(self.inside, capacity=capacity, k=k)
        matrix += slope_form.assemble(self.skin, slope=self.film + 4.0 * self.black * at**3)
        return matrix + self.lap, -rest

    def step(
        self, T: Array, heat: tuple[Array, Array], factors: tuple[float, float, float], q: Array
    ) -> Array:
        """Temperatures after one step [K]."""
        for i in range(40):
            matrix, rest = self.system(T, heat, factors, q)
            solver = solver_iter_pcg(M=build_pc_diag(matrix), rtol=TOLERANCE)
            change = solve(matrix, rest, solver=solver)
            self.iterations += 1
            T = T + (change if i < 6 else 0.5 * change)
            if np.abs(change).max() < SETTLED:
                return T
        raise ArithmeticError("Newton's method went astray")
