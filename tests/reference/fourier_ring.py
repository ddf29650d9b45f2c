"""A moving arc on the joint by Fourier series round the ring and finite elements in the section.

Round the ring the joint is the same everywhere, so that the wave ``exp(i n angle)`` of the
temperature follows an equation of its own in the section, in weak form

``(rho c r u', v) + (k r grad u, grad v) + n^2 (k / r u, v) + <h r u, v> + lap = f exp(-i n where)``

with `where` the arc's angle. Of a steady run it knows the wave that turns with the arc; what is
left over decays as the exponential of a matrix, which a Talbot contour gives to 1e-8 whatever the
time. Triangles of fourth order are graded towards the root and the toes of the fillet, where the
heat flow is singular. Nothing of the program's mesh, fluxes, torch or steps is in it.

``python -m reference.arc_errors`` prints how far the program's march is from it.

Weak form and singular corners: Strang and Fix, An Analysis of the Finite Element Method (1973),
8.1. Contour: Trefethen, Weideman and Schmelzer, Talbot quadratures and rational approximations,
BIT 46 (2006), 653-670.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP4, FacetBasis, LinearForm, MeshTri
from skfem.helpers import dot, grad

from reference.arc_ring import PLACES, ArcRing, Array, Place, Spell, angles

__all__ = ["Fineness", "FourierRing", "contour"]

Waves = NDArray[np.complex128]
PARTS = ("tube", "flange", "fillet")
NEAR = 1e-9  # [m]


@dataclass(frozen=True)
class Fineness:
    """How fine the model is.

    `first` [m] the triangles at root and toes, `growth` of the next over one, `largest` [m] near
    the arc; `waves` round the ring; `nodes` of the contour, an even number.
    """

    first: float = 30e-6
    growth: float = 4.0
    largest: float = 2e-3
    waves: int = 40
    nodes: int = 10


def contour(nodes: int) -> tuple[Waves, Waves]:
    """Poles z and weights c of ``exp(-x) = 2 Re sum c / (z + x)`` for every x of 0 or more.

    Trefethen, Weideman and Schmelzer 2006, the modified Talbot contour: an error of 3.89^-nodes.
    """
    turn = np.pi * (2.0 * np.arange(nodes // 2) + 1.0) / nodes
    cot, d = 1.0 / np.tan(0.6407 * turn), 0.5017 * 0.6407
    z = nodes * (0.5017 * turn * cot - 0.6122 + 0.2645j * turn)
    slope = nodes * (0.5017 * cot - d * turn * (1.0 + cot**2) + 0.2645j)
    return z, np.exp(z) * slope / (1j * nodes)


def away(length: float, fine: Fineness) -> Array:
    """Points from 0 to `length` [m], ever further apart."""
    at, size = [0.0], fine.first
    while at[-1] < length:
        at.append(at[-1] + size)
        size = min(size * fine.growth, max(fine.largest, 0.5 * at[-1]))
    return np.array(at) * (length / at[-1])


def both_ways(length: float, fine: Fineness) -> Array:
    """Points from 0 to `length` [m], closest at both ends, the same seen from either."""
    half = away(0.5 * length, fine)
    return np.concatenate([half, length - half[-2::-1]])


class _Net:
    """Triangles of the section; tube and flange share no point but the root."""

    def __init__(self, ring: ArcRing, fine: Fineness) -> None:
        self.ring = ring
        self.points: list[tuple[float, float]] = []
        self.known: dict[tuple[str, int, int], int] = {}
        self.triangles: list[tuple[int, ...]] = []
        self.part: list[int] = []
        R, legs = ring.outer, both_ways(ring.leg, fine)
        up = np.concatenate([legs, ring.leg + away(ring.top - ring.leg, fine)[1:]])
        out = np.concatenate([legs, ring.leg + away(ring.rim - R - ring.leg, fine)[1:]])
        down = -away(ring.thick, fine)[::-1]
        wall = R - away(R - ring.inner, fine)[::-1]
        self.block(0, wall, np.concatenate([down, up[1:]]))
        self.block(1, R + out, down)
        n = len(legs) - 1
        for i in range(n):
            for j in range(n - i):
                a, b = (R + legs[i : i + 2]).tolist(), legs[j : j + 2].tolist()
                self.add(2, [(a[0], b[0]), (a[1], b[0]), (a[0], b[1])])
                if i + j < n - 1:
                    self.add(2, [(a[1], b[0]), (a[1], b[1]), (a[0], b[1])])
        # numbered from the bottom up, so that facets on both sides of the lap run the same way
        order = np.argsort(np.array(self.points)[:, 1], kind="stable")
        corners = np.argsort(order)[np.array(self.triangles).T]
        points = np.ascontiguousarray(np.array(self.points)[order].T)
        self.mesh = MeshTri(points, np.ascontiguousarray(corners), sort_t=True)

    def block(self, part: int, rs: Array, zs: Array) -> None:
        for a, b in zip(rs[:-1].tolist(), rs[1:].tolist(), strict=True):
            for c, d in zip(zs[:-1].tolist(), zs[1:].tolist(), strict=True):
                self.add(part, [(a, c), (b, c), (b, d)])
                self.add(part, [(a, c), (b, d), (a, d)])

    def add(self, part: int, corners: Sequence[tuple[float, float]]) -> None:
        self.triangles.append(tuple(self.point(PARTS[part], r, z) for r, z in corners))
        self.part.append(part)

    def point(self, owner: str, r: float, z: float) -> int:
        if owner == "fillet":
            owner = "tube" if r - self.ring.outer < NEAR else "flange" if z < NEAR else owner
        if abs(r - self.ring.outer) < NEAR and abs(z) < NEAR:
            owner = "root"
        key = (owner, round(r * 1e10), round(z * 1e10))
        if key not in self.known:
            self.known[key] = len(self.points)
            self.points.append((r, z))
        return self.known[key]


@BilinearForm
def content_form(u: Any, v: Any, w: Any) -> Any:
    return w.x[0] * w.heavy * u * v


@BilinearForm
def section_form(u: Any, v: Any, w: Any) -> Any:
    return w.x[0] * w.k * dot(grad(u), grad(v))


@BilinearForm
def round_form(u: Any, v: Any, w: Any) -> Any:
    return w.k / w.x[0] * u * v


@BilinearForm
def film_form(u: Any, v: Any, w: Any) -> Any:
    return w.x[0] * w.film * u * v


@LinearForm
def flow_form(v: Any, w: Any) -> Any:
    return w.x[0] * w.q * v


class FourierRing:
    """The model of a joint; `rises` gives temperatures at places, times and angles.

    Parameters
    ----------
    ring : what is asked
    fine : 4000 unknowns a wave and 40 waves by default, 0.005 % of the highest rise off
    """

    def __init__(self, ring: ArcRing, fine: Fineness | None = None) -> None:
        self.ring, self.fine = ring, fine or Fineness()
        net = _Net(ring, self.fine)
        self.mesh, part = net.mesh, np.array(net.part)
        element = ElementTriP4()
        self.inside = Basis(self.mesh, element, intorder=9)
        alloys = [ring.alloy(p) for p in PARTS]
        k = np.array([a.k(300.0) for a in alloys])[part, None]
        heavy = np.array([a.density * a.c(300.0) for a in alloys])[part, None]
        self.content = content_form.assemble(self.inside, heavy=heavy)
        self.around = round_form.assemble(self.inside, k=k)
        middle = self.mesh.p[:, self.mesh.facets].mean(axis=1)
        edge = self.mesh.boundary_facets()
        owner, (r, z) = part[self.mesh.f2t[0, edge]], middle[:, edge]
        in_lap = (np.abs(r - ring.outer) < NEAR) & (z < 0.0)
        sides = [edge[in_lap & (owner == p)] for p in (0, 1)]
        lap = [
            FacetBasis(self.mesh, element, facets=side[np.argsort(middle[1, side])], intorder=9)
            for side in sides
        ]
        one, two = (np.asarray(basis.global_coordinates()) for basis in lap)
        np.testing.assert_allclose(one, two, atol=1e-12)
        self.skin = FacetBasis(self.mesh, element, facets=edge[~in_lap], intorder=16)
        around = ring.case.surroundings
        in_bore = (np.abs(r - ring.inner) < NEAR)[~in_lap, None]
        film = np.where(in_bore, around.bore_convection, around.convection)
        self.across = section_form.assemble(self.inside, k=k)
        self.across += film_form.assemble(self.skin, film=film)
        for own, sign in zip(lap, (1.0, -1.0), strict=True):
            for other, far in zip(lap, (1.0, -1.0), strict=True):
                self.across += film_form.assemble(other, own, film=sign * far / ring.resistance)
        # what the arc can see: the tube above the fillet, the fillet, and the flange's face
        lit = (owner == 2) | (np.abs(z) < NEAR)
        self.lit = (lit | ((owner == 0) & (np.abs(r - ring.outer) < NEAR)))[~in_lap, None]

    @cached_property
    def loads(self) -> Array:
        """Heat of each wave (waves, unknowns) of an arc at angle 0 [W/rad], by its symmetry real.

        The series is summed over 512 angles: of so smooth a flux it is exact to round-off.
        """
        r, z = np.asarray(self.skin.global_coordinates())
        nr, nz = self.skin.normals
        turn = 2.0 * np.pi * np.arange(512) / 512.0
        waves = np.zeros((self.fine.waves, *r.shape))
        for angle in turn:
            flux = np.where(self.lit, self.ring.flux(r, z, nr, nz, np.full_like(r, angle)), 0.0)
            weight = np.cos(np.arange(self.fine.waves) * angle) / 512.0
            waves += weight[:, None, None] * flux
        loads = np.array([flow_form.assemble(self.skin, q=wave) for wave in waves])
        return np.asarray(loads * (self.ring.case.arc.power / (2.0 * np.pi * loads[0].sum())))

    def reader(self, places: Sequence[Place]) -> Any:
        """Matrix (places, unknowns) that reads temperatures."""
        at = []
        for place in places:
            part, r, z = self.ring.at(place)
            # a little into the part that is meant: both sides of the lap are at one place
            lean_r = {"tube": 0.5 * (self.ring.inner + self.ring.outer)}.get(part, r)
            if part == "flange":
                lean_r, z = r + 1e-3, min(max(z, NEAR - self.ring.thick), -NEAR)
            if part == "fillet":
                lean_r, z = r - 1e-3, z - NEAR
            at.append((r + NEAR * np.sign(lean_r - r), z))
        return self.inside.probes(np.array(at).T)

    def wave(self, n: int, times: Sequence[float], read: Any) -> Waves:
        """Readings (times, places) of the wave `n` [K]."""
        ring, M = self.ring, self.content
        A = self.across + float(n * n) * self.around
        z, c = contour(self.fine.nodes)
        inverse: dict[int, list[Any]] = {}
        turning: dict[float, Waves] = {}

        def solver(matrix: Any) -> Any:
            return splu(
                csc_matrix(matrix),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.01,
                options={"SymmetricMode": True},
            )

        def decayed(u: Waves, seconds: float) -> Waves:
            key = round(seconds * 1e9)
            if key not in inverse:
                inverse[key] = [solver(pole * M + seconds * A) for pole in z]
            both = M @ np.stack([u.real, u.imag], axis=1)
            sides = 2.0 * sum(
                (weight * one.solve(both.astype(complex))).real
                for weight, one in zip(c, inverse[key], strict=True)
            )
            return np.asarray(sides[:, 0] + 1j * sides[:, 1])

        def steady(spell: Spell | None, time: float) -> Waves:
            """The wave that turns with the arc."""
            if spell is None:
                return np.zeros(M.shape[0], dtype=complex)
            if spell.rate not in turning:
                matrix = A.astype(complex) - 1j * n * spell.rate * M
                turning[spell.rate] = solver(matrix).solve(self.loads[n].astype(complex))
            return np.asarray(turning[spell.rate] * np.exp(-1j * n * spell.angle(time)))

        u, now = np.zeros(M.shape[0], dtype=complex), 0.0
        found = []
        ends = {t for spell in ring.spells for t in (spell.begin, spell.end)}
        for stop in sorted({*times, *(t for t in ends if 0.0 < t < max(times))}):
            middle = 0.5 * (now + stop)
            spell = next((s for s in ring.spells if s.begin < middle < s.end), None)
            u = steady(spell, stop) + decayed(u - steady(spell, now), stop - now)
            now = stop
            if stop in times:
                found.append(read @ u)
        return np.array(found)

    def rises(
        self, times: Sequence[float], places: Sequence[Place] = PLACES, at: Array | None = None
    ) -> Array:
        """Rise (times, places, angles) over the air [K]; at the angles `at` [rad]."""
        at = angles(self.ring) if at is None else at
        read = self.reader(places)
        total = np.zeros((len(times), len(places), len(at)))
        for n in range(self.fine.waves):
            turn = np.exp(1j * n * at) * (2.0 if n else 1.0)
            total += (self.wave(n, times, read)[:, :, None] * turn).real
        return total
