"""A finite-element model of the ring-heated joint against the program.

Triangles of second order on lines of its own, heat in the weak form with weight 2 pi r, properties
at the quadrature points, second-order implicit steps (BDF2). Nothing of the program's mesh, fluxes
or steps is in it. The weak form and the steps are textbook: Hughes, The Finite Element Method
(2000), 8.1; Hairer and Wanner, Solving Ordinary Differential Equations II (1996), III.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP2, FacetBasis, LinearForm, MeshTri
from skfem.helpers import dot, grad

from exact.errors import Record
from reference.ring_models import (
    STOPS,
    Array,
    Pace,
    Ring,
    Step,
    away,
    even,
    program,
    ring_of,
    steps,
    worst,
)

PACE = Pace()
PARTS = ("tube", "flange", "fillet")
SIZE = 0.5e-3  # of the triangles at the root [m]


@dataclass(frozen=True)
class Net:
    """Triangles of tube, flange and fillet; tube and flange share no point but a filled root."""

    mesh: MeshTri
    part: NDArray[np.int64]


def net_of(ring: Ring, size: float) -> Net:
    legs = even(ring.leg, 0.5 * size) if ring.filled else np.zeros(1)
    out = np.concatenate([legs, ring.leg + away(ring.rim - ring.outer - ring.leg, size, 1.3)[1:]])
    up = np.concatenate([legs, ring.leg + away(ring.case.tube.length - ring.leg, size, 1.3)[1:]])
    depth, thick = ring.lap.depth, ring.flange.thickness
    down = -even(depth, size)[::-1]
    below = -depth - even(thick - depth, size)[:0:-1] if thick > depth else np.empty(0)
    wall = np.linspace(ring.inner, ring.outer, 5)
    points: list[tuple[float, float]] = []
    known: dict[tuple[str, int, int], int] = {}
    triangles: list[tuple[int, int, int]] = []
    part: list[int] = []

    def point(owner: str, r: float, z: float) -> int:
        if ring.filled:
            root = abs(r - ring.outer) < 1e-9 and abs(z) < 1e-9
            if owner == "fillet":
                owner = "tube" if r - ring.outer < 1e-9 else "flange" if z < 1e-9 else owner
            owner = "root" if root else owner
        key = (owner, round(r * 1e9), round(z * 1e9))
        if key not in known:
            known[key] = len(points)
            points.append((r, z))
        return known[key]

    def add(number: int, corners: Sequence[tuple[float, float]]) -> None:
        ids = [point(PARTS[number], r, z) for r, z in corners]
        triangles.append((ids[0], ids[1], ids[2]))
        part.append(number)

    def block(number: int, rs: Array, zs: Array) -> None:
        for r0, r1 in zip(rs[:-1].tolist(), rs[1:].tolist(), strict=True):
            for z0, z1 in zip(zs[:-1].tolist(), zs[1:].tolist(), strict=True):
                add(number, [(r0, z0), (r1, z0), (r1, z1)])
                add(number, [(r0, z0), (r1, z1), (r0, z1)])

    block(0, wall, np.concatenate([down, up[1:]]))
    block(1, ring.outer + out, np.concatenate([below, down]))
    n = len(legs) - 1
    at = ring.outer + legs
    for i in range(n):
        for j in range(n - i):
            add(2, [(at[i], legs[j]), (at[i + 1], legs[j]), (at[i], legs[j + 1])])
            if i + j < n - 1:
                add(2, [(at[i + 1], legs[j]), (at[i + 1], legs[j + 1]), (at[i], legs[j + 1])])
    # numbered from the bottom up, so that facets on both sides of the lap run the same way
    order = np.argsort(np.array(points)[:, 1], kind="stable")
    place = np.argsort(order)
    mesh = MeshTri(np.array(points)[order].T, place[np.array(triangles).T], sort_t=True)
    return Net(mesh, np.array(part))


@BilinearForm
def heat_form(u: Any, v: Any, w: Any) -> Any:
    weight = 2.0 * np.pi * w.x[0]
    return weight * (w.capacity * u * v + w.k * dot(grad(u), grad(v)))


@LinearForm
def balance_form(v: Any, w: Any) -> Any:
    weight = 2.0 * np.pi * w.x[0]
    return weight * (w.gain * v + w.k * dot(w.T.grad, grad(v)))


@BilinearForm
def slope_form(u: Any, v: Any, w: Any) -> Any:
    return 2.0 * np.pi * w.x[0] * w.slope * u * v


@LinearForm
def flow_form(v: Any, w: Any) -> Any:
    return 2.0 * np.pi * w.x[0] * w.q * v


class Elements:
    """The joint in finite elements; `march` gives temperatures at points and times."""

    def __init__(self, ring: Ring, size: float = SIZE) -> None:
        self.ring = ring
        net = net_of(ring, size)
        self.mesh, self.part = net.mesh, net.part
        element = ElementTriP2()
        self.inside = Basis(self.mesh, element, intorder=4)
        middle = self.mesh.p[:, self.mesh.facets].mean(axis=1)
        edge = self.mesh.boundary_facets()
        part = self.part[self.mesh.f2t[0, edge]]
        r, z = middle[:, edge]
        near = 1e-8
        in_lap = (np.abs(r - ring.outer) < near) & (z > -ring.lap.depth) & (z < 0.0)
        # both sides of the lap from the foot up, so that their facets face each other
        sides = [edge[in_lap & (part == p)] for p in (0, 1)]
        sides = [side[np.argsort(middle[1, side])] for side in sides]
        self.lap = [FacetBasis(self.mesh, element, facets=side, intorder=4) for side in sides]
        one, two = (np.asarray(basis.global_coordinates()) for basis in self.lap)
        np.testing.assert_allclose(one, two, atol=1e-12)
        free = ~in_lap
        self.skin = FacetBasis(self.mesh, element, facets=edge[free], intorder=4)
        bore = (np.abs(r - ring.inner) < near) | ((part == 1) & (np.abs(r - ring.outer) < near))
        self.film = np.where(bore, ring.film(True), ring.film(False))[free, None]
        emissivity = np.array([ring.alloy(p).emissivity for p in PARTS])
        self.emissivity = emissivity[part[free], None]
        lit = (part == 2) | ((part == 0) & (np.abs(r - ring.outer) < near) & (z > 0.0))
        lit |= (part == 1) & (np.abs(z) < near)
        at = np.asarray(self.skin.global_coordinates())
        self.arc = np.where(lit[free, None], ring.flux(at[0], at[1]), 0.0)

    @cached_property
    def power(self) -> float:
        """Heat that falls on the mesh [W]."""
        return float(flow_form.assemble(self.skin, q=self.arc).sum())

    @cached_property
    def read(self) -> Any:
        """Matrix (points, unknowns) that reads temperatures at the ring's points."""
        nudge = 1e-9  # into the part that is meant: both sides of the lap are at one place
        at = []
        for p in self.ring.points():
            middle = self.mesh.p[:, self.mesh.t[:, self.part == PARTS.index(p.part)]].mean(axis=1)
            near = middle[:, np.hypot(*(middle - [[p.r], [p.z]])).argmin()]
            at.append(np.array([p.r, p.z]) + nudge * np.sign(near - [p.r, p.z]))
        return self.inside.probes(np.array(at).T)

    def _by_part(self, what: str, T: Array) -> Array:
        """Property at the quadrature points; heat content and heat capacity a volume."""
        out = np.empty_like(T)
        for number in np.unique(self.part):
            alloy, mine = self.ring.alloy(PARTS[number]), self.part == number
            value = np.asarray(getattr(alloy, what)(T[mine]))
            out[mine] = value if what == "k" else alloy.density * value
        return out

    def _contents(self, T: Array) -> Array:
        """Heat a volume at the quadrature points [J/m3]."""
        return self._by_part("enthalpy", np.asarray(self.inside.interpolate(T)))

    def _solve(self, T: Array, contents: tuple[Array, Array], step: Step) -> Array:
        """Temperatures at the end of a step, by Newton's method."""
        a, b, c = step.factors
        for i in range(40):
            field = self.inside.interpolate(T)
            values = np.asarray(field)
            k = self._by_part("k", values)
            gain = a * self._by_part("enthalpy", values) - b * contents[0] + c * contents[1]
            rest = balance_form.assemble(self.inside, T=field, gain=gain, k=k)
            lost, slope = self.ring.loss(
                np.asarray(self.skin.interpolate(T)), self.film, self.emissivity
            )
            rest += flow_form.assemble(self.skin, q=lost - step.on * self.arc)
            one, two = (np.asarray(basis.interpolate(T)) for basis in self.lap)
            h = self.ring.across(one, two)
            for own, sign in zip(self.lap, (1.0, -1.0), strict=True):
                rest += flow_form.assemble(own, q=sign * h * (one - two))
            if i % 4 == 0 or i > 12:  # the matrix may be a little out of date
                capacity = a * self._by_part("c", values)
                matrix = heat_form.assemble(self.inside, capacity=capacity, k=k)
                matrix += slope_form.assemble(self.skin, slope=slope)
                for own, sign in zip(self.lap, (1.0, -1.0), strict=True):
                    for other, far in zip(self.lap, (1.0, -1.0), strict=True):
                        matrix += slope_form.assemble(other, own, slope=sign * far * h)
                solve = splu(matrix.tocsc()).solve
            change = solve(-rest)
            T = T + (change if i < 12 else 0.5 * change)
            if np.abs(change).max() < 1e-3:
                return T
        raise AssertionError("Newton's method went astray")

    def march(self, stops: Sequence[float], pace: Pace = PACE) -> Array:
        """Temperatures (stops, points) [K]."""
        T = np.full(self.inside.N, self.ring.air)
        now = before = self._contents(T)
        found = []
        for step in steps(self.ring, stops, pace):
            T = self._solve(T, (now, before), step)
            now, before = self._contents(T), now
            if step.watched:
                found.append(self.read @ T)
        return np.array(found)


SOURCE = "finite elements on a mesh of their own (scikit-fem)"


def test_bare_joint(record: Record) -> None:
    """Every point within 1 % of its rise, heating and cooling; the tube stops short of the back."""
    ring = ring_of("flue-stub", 3600.0, lap=5e-3)
    off = worst(ring, program(ring, STOPS, "standard"), Elements(ring).march(STOPS)).max()
    record("ring of heat on a bare joint, standard", SOURCE, 100.0 * off, 1.0, "% of rise")


@pytest.mark.slow
def test_brazed_joint(record: Record) -> None:
    """With filler in fillet and lap: closer at each finer detail, within 0.5 % at fine.

    3.6 % at coarse, 0.45 % at standard, 0.31 % at fine. The factors of the fillet's corners suit an
    open lap; in this filled one the root is no tip of a slit.
    """
    ring = ring_of("thin-sleeve", 1500.0, brazed=True)
    other = Elements(ring, 0.25e-3).march(STOPS)
    off = [
        worst(ring, program(ring, STOPS, detail), other).max()
        for detail in ("coarse", "standard", "fine")
    ]
    assert off[0] > 1.6 * off[1]
    assert off[1] > off[2]
    record("ring of heat on a brazed joint, fine", SOURCE, 100.0 * off[2], 0.5, "% of rise")


def test_heat_put_in_is_stored_or_lost() -> None:
    """The model's own ledger, through the heating and the first of the cooling."""
    ring = ring_of("thin-sleeve", 1500.0, brazed=True)
    model = Elements(ring, 1e-3)
    cold = model._contents(np.full(model.inside.N, ring.air))
    T = np.full(model.inside.N, ring.air)
    now = before = cold
    last = lost = 0.0
    for step in steps(ring, (12.0,), Pace(hot=0.2, cold=0.2)):
        T = model._solve(T, (now, before), step)
        now, before = model._contents(T), now
        loss = ring.loss(np.asarray(model.skin.interpolate(T)), model.film, model.emissivity)[0]
        power = float(flow_form.assemble(model.skin, q=loss).sum())
        lost += 0.5 * step.length * (last + power)
        last = power
        if step.watched:
            stored = float(flow_form.assemble(model.inside, q=now - cold).sum())
            given = model.power * min(step.end, ring.seconds)
            assert stored + lost == pytest.approx(given, rel=3e-4)
            break
    assert step.end == 12.0
