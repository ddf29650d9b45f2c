"""A FiPy model of the ring-heated joint, on a `CylindricalGrid2D`, against the program.

Tube and flange are one grid of (r, z) rectangles; the cells between them are void and conduct
nothing. The lap is a face coefficient. A grid of rectangles cannot hold the sloping face of the
fillet, so the joint is bare; with filler it stands in the finite-element test beside this one.
Balance of cells: Patankar, Numerical Heat Transfer and Fluid Flow (1980), 4.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from fipy import CellVariable, CylindricalGrid2D, DiffusionTerm, FaceVariable, ImplicitSourceTerm
from fipy.solvers.scipy import LinearLUSolver
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

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

SIZE = 0.35e-3  # of the cells at the root [m]
VOID = -1
PACE = Pace()


class Grid:
    """The bare joint in FiPy; `march` gives temperatures at points and times."""

    def __init__(self, ring: Ring, size: float = SIZE) -> None:
        self.ring = ring
        wall = even(ring.outer - ring.inner, size)
        out = away(ring.rim - ring.outer, size, 1.15)
        deep, thick = ring.lap.depth, ring.flange.thickness
        below = even(thick - deep, size) if thick > deep else np.zeros(1)
        up = away(ring.case.tube.length, size, 1.08)
        r = np.concatenate([ring.inner + wall, ring.outer + out[1:]])
        z = np.concatenate([below - thick, even(deep, size)[1:] - deep, up[1:]])
        mesh = CylindricalGrid2D(dx=np.diff(r), dy=np.diff(z), origin=((r[0],), (z[0],)))
        self.volume = np.array(mesh.cellVolumes)  # of one radian, as areas are
        at = np.array(mesh.cellCenters)
        self.part = np.full(at.shape[1], VOID)
        self.part[(at[0] < ring.outer) & (at[1] > -deep)] = 0
        self.part[(at[0] > ring.outer) & (at[1] < 0.0)] = 1
        self.T = CellVariable(mesh=mesh, value=ring.air)
        self.across = FaceVariable(mesh=mesh, value=0.0)
        self.capacity, self.gain = (CellVariable(mesh=mesh, value=0.0) for _ in range(2))
        self.equation = (
            ImplicitSourceTerm(coeff=self.capacity) - DiffusionTerm(coeff=self.across) == self.gain
        )
        self._faces(mesh, at)

    def _faces(self, mesh: Any, at: Array) -> None:
        ring, near = self.ring, 1e-9
        centre, area = np.array(mesh.faceCenters), np.array(mesh._faceAreas)
        ids = mesh.faceCellIDs
        one, two = ids[0].filled(VOID), ids[1].filled(VOID)
        of = [np.where(c == VOID, VOID, self.part[c]) for c in (one, two)]
        far = [np.abs(centre - at[:, c]).sum(axis=0) for c in (one, two)]
        inner = np.flatnonzero((of[0] != VOID) & (of[1] != VOID))
        self.inner, self.cells = inner, np.stack([one[inner], two[inner]])
        self.far = np.stack([d[inner] for d in far])
        self.lap = of[0][inner] != of[1][inner]  # the tube's cell first: numbers grow outward
        # where one side is solid and the other is not, the joint ends
        skin = np.flatnonzero((of[0] == VOID) != (of[1] == VOID))
        first = of[0][skin] != VOID
        self.owner = np.where(first, one[skin], two[skin])
        self.depth = np.where(first, far[0][skin], far[1][skin])
        self.area = area[skin]
        self.place = centre[:, skin]
        r, z = self.place
        part = self.part[self.owner]
        bore = (np.abs(r - ring.inner) < near) | ((part == 1) & (np.abs(r - ring.outer) < near))
        self.film = np.where(bore, ring.film(True), ring.film(False))
        self.emissivity = np.where(
            part == 0, ring.alloy("tube").emissivity, ring.alloy("flange").emissivity
        )
        lit = (part == 0) & (np.abs(r - ring.outer) < near) & (z > 0.0)
        lit |= (part == 1) & (np.abs(z) < near)
        self.arc = np.where(lit, ring.flux(r, z), 0.0)
        self.arc *= ring.power / (2.0 * np.pi * (self.area @ self.arc))
        self.lap_place = centre[:, inner[self.lap]]

    def _by_part(self, what: str, T: Array) -> Array:
        """Property of the cells; heat content and heat capacity a volume."""
        out = np.ones_like(T)
        for number, name in enumerate(("tube", "flange")):
            alloy, mine = self.ring.alloy(name), self.part == number
            value = np.asarray(getattr(alloy, what)(T[mine]))
            out[mine] = value if what == "k" else alloy.density * value
        return out

    def _lap(self, T: Array, k: Array) -> tuple[Array, Array, Array]:
        """Both walls of the lap [K] and what it resists, cells included [m2 K/W]."""
        cells, far = self.cells[:, self.lap], self.far[:, self.lap]
        own = far / k[cells]
        walls = T[cells]
        for _ in range(5):
            resistance = own.sum(axis=0) + 1.0 / self.ring.across(*walls)
            flow = (T[cells[0]] - T[cells[1]]) / resistance
            walls = T[cells] + np.array([-1.0, 1.0])[:, None] * flow * own
        return walls[0], walls[1], resistance

    def _skin(self, T: Array, k: Array, on: bool) -> tuple[Array, Array, Array]:
        """Surface [K], heat lost [W/m2] and its slope with the cell's temperature [W/(m2 K)]."""
        cell, through = T[self.owner], self.depth / k[self.owner]
        surface = cell + through * on * self.arc
        for _ in range(5):
            lost, slope = self.ring.loss(surface, self.film, self.emissivity)
            surface -= (surface - cell - through * (on * self.arc - lost)) / (1 + through * slope)
        lost, slope = self.ring.loss(surface, self.film, self.emissivity)
        return surface, lost, 1.0 / (through + 1.0 / slope)

    def _solve(self, contents: tuple[Array, Array], step: Step) -> None:
        a, b, c = step.factors
        count = len(self.volume)
        for _ in range(40):
            T = np.array(self.T.value)
            k = self._by_part("k", T)
            resistance = (self.far / k[self.cells]).sum(axis=0)
            resistance[self.lap] = self._lap(T, k)[2]
            across = np.zeros(len(self.across))
            across[self.inner] = self.far.sum(axis=0) / resistance
            self.across.setValue(across)
            _, lost, slope = self._skin(T, k, step.on)
            capacity = a * self._by_part("c", T)
            capacity += np.bincount(self.owner, self.area * slope, count) / self.volume
            heat = self.area * (step.on * self.arc - lost)
            gain = np.bincount(self.owner, heat, count) / self.volume
            gain -= a * self._by_part("enthalpy", T) - b * contents[0] + c * contents[1]
            self.capacity.setValue(capacity)
            self.gain.setValue(capacity * T + gain)
            self.equation.solve(self.T, solver=LinearLUSolver())
            if np.abs(np.array(self.T.value) - T).max() < 1e-3:
                return
        raise AssertionError("the sweeps do not settle")

    def march(self, stops: Sequence[float], pace: Pace = PACE) -> Array:
        """Temperatures (stops, points) [K]."""
        now = before = self._by_part("enthalpy", np.array(self.T.value))
        found = []
        for step in steps(self.ring, stops, pace):
            self._solve((now, before), step)
            now, before = self._by_part("enthalpy", np.array(self.T.value)), now
            if step.watched:
                found.append(self._read(step.on))
        return np.array(found)

    def _read(self, on: bool) -> Array:
        """Temperatures at the ring's points: all lie on a surface or in the lap [K]."""
        T = np.array(self.T.value)
        k = self._by_part("k", T)
        surface = self._skin(T, k, on)[0]
        laps = self._lap(T, k)
        out = []
        for p in self.ring.points():
            number = ("tube", "flange").index(p.part)
            if p.r == self.ring.outer and p.z < 0.0:
                out.append(_along(self.lap_place[1], laps[number], p.z))
                continue
            axis = 0 if p.z in (0.0, -self.ring.flange.thickness) and number == 1 else 1
            line = (p.r, p.z)[1 - axis]
            mine = (self.part[self.owner] == number) & (np.abs(self.place[1 - axis] - line) < 1e-9)
            out.append(_along(self.place[axis][mine], surface[mine], (p.r, p.z)[axis]))
        return np.array(out)


def _along(place: Array, T: Array, at: float) -> float:
    """Temperature at a place between faces [K]."""
    order: NDArray[np.int64] = np.argsort(place)
    return float(make_interp_spline(place[order], T[order], k=3)(at))


def test_volume() -> None:
    """What the grid holds of tube and flange is what they measure."""
    ring = ring_of("flue-stub", 3600.0, lap=5e-3)
    model, R = Grid(ring), ring.outer
    tube = np.pi * (R**2 - ring.inner**2) * (ring.case.tube.length + ring.lap.depth)
    flange = np.pi * (ring.rim**2 - R**2) * ring.flange.thickness
    for part, volume in enumerate((tube, flange)):
        found = 2.0 * np.pi * model.volume[model.part == part].sum()
        assert found == pytest.approx(volume, rel=1e-9)


@pytest.mark.slow
def test_bare_joint(record: Record) -> None:
    """Every point within 1 % of its rise, heating and cooling; the tube stops short of the back."""
    ring = ring_of("flue-stub", 3600.0, lap=5e-3)
    off = worst(ring, program(ring, STOPS, "standard"), Grid(ring).march(STOPS)).max()
    source = "finite volumes on FiPy's CylindricalGrid2D"
    record("ring of heat on a bare joint (2)", source, 100 * off, 1, "% of rise")
