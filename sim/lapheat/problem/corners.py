"""How well faces at the corners of the fillet conduct: at its root and at its two toes.

There metal turns by more than half a circle about a point (all the way round at the root, where the
lap is a slit), and temperature goes with the distance r as r^p, p below 1. A face that ends in the
point passes more heat than the difference of the two cells beside it gives. The share is the same
on every mesh, so the whole field is off in proportion to the cell length. The area of the face is
therefore multiplied by the heat of the local solution over that of the difference: 1.55 at the tip
of a slit in one metal between square cells. With that, errors of the joint fall with the square of
the cell length.

The local solution is ``u = r^p g(theta)`` with ``g = a cos(p theta) + b sin(p theta)`` in each
metal, one heat flow through each interface and none through the two bare sides; p is the smallest
root.
(Strang and Fix 1973, An Analysis of the Finite Element Method, section 8.1, from memory; for the
tip of a slit p = 1/2.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin

import numpy as np
from numpy.typing import NDArray

from ..joint.mesh import Mesh
from ..joint.section import EdgeKind, Region

__all__ = ["Wedge", "corner_factors", "local_solution"]

Array = NDArray[np.float64]

MOST = 3.0  # a factor is kept within this and its inverse
HARDLY = 1e-3  # of the largest difference: a face that passes so little is left alone


@dataclass(frozen=True)
class Wedge:
    """Metal between two rays from a point [rad], of `conductivity` [W/(m K)]."""

    begin: float
    end: float
    conductivity: float


@dataclass(frozen=True)
class Local:
    """Solution about a point: exponent `power` and, by wedge, its two coefficients."""

    power: float
    wedges: tuple[Wedge, ...]
    coefficients: tuple[tuple[float, float], ...]

    def _at(self, angle: float) -> tuple[int, float]:
        first = self.wedges[0].begin
        turned = first + (angle - first + 1e-9) % (2.0 * pi) - 1e-9
        inside = [i for i, wedge in enumerate(self.wedges) if turned <= wedge.end + 1e-9]
        which = inside[0] if inside else len(self.wedges) - 1
        return which, self.power * (turned - self.wedges[which].begin)

    def value(self, r: float, angle: float) -> float:
        """Temperature, up to a factor: ``r^p (a cos x + b sin x)``, x = p times angle in wedge."""
        i, x = self._at(angle)
        a, b = self.coefficients[i]
        return float(r**self.power * (a * cos(x) + b * sin(x)))

    def passed(self, length: float, angle: float) -> float:
        """Heat that passes the ray at `angle` between the point and `length`, towards lower angles.

        ``int k / r du/dtheta dr = k length^p (b cos x - a sin x)``, in the unit of a conductivity
        times `value`.
        """
        i, x = self._at(angle)
        a, b = self.coefficients[i]
        steep = self.power * (b * cos(x) - a * sin(x))
        return float(self.wedges[i].conductivity * steep * length**self.power / self.power)


def local_solution(wedges: Sequence[Wedge]) -> Local:
    """Solve for the smallest power of r about a point that wedges meet in, its two sides bare.

    ``u = r^p (a cos p theta + b sin p theta)`` in each wedge: u and ``k du/dtheta`` go on from
    wedge to wedge, and ``du/dtheta = 0`` at both ends (source in the module's docstring). k is
    taken as constant in a wedge; curvature of the joint and time do not matter near the point.

    Raises
    ------
    ValueError
        There is no power from 0.005 to 1.5.
    """
    from scipy.optimize import brentq

    def run(power: float) -> tuple[float, list[tuple[float, float]]]:
        a, b, found = 1.0, 0.0, []
        for i, wedge in enumerate(wedges):
            found.append((a, b))
            x = power * (wedge.end - wedge.begin)
            value, steep = a * cos(x) + b * sin(x), b * cos(x) - a * sin(x)
            after = wedges[i + 1].conductivity if i + 1 < len(wedges) else wedge.conductivity
            a, b = value, steep * wedge.conductivity / after
        return steep, found

    powers = np.linspace(0.005, 1.5, 300)
    ends = [run(float(power))[0] for power in powers]
    for i in range(len(powers) - 1):
        if ends[i] * ends[i + 1] <= 0.0:
            power = float(brentq(lambda p: run(p)[0], powers[i], powers[i + 1]))
            return Local(power, tuple(wedges), tuple(run(power)[1]))
    raise ValueError(f"no power of r below {powers[-1]:g} about a point of {wedges}")


def corner_factors(mesh: Mesh, tube: float, flange: float, filler: float) -> Array:
    """By what to multiply the area of each of `mesh.links`; 1 away from the fillet's corners.

    ``factor = Q / (G |u_1 - u_2|)``: Q what the local solution passes through the face, G = length
    / (d_1 / k_1 + d_2 / k_2) what the mesh takes for its conductance [W/(m K)], u the solution at
    the two cell points. It is kept between 1/3 and 3. Faces where the difference is below 0.001 of
    the largest at that corner keep 1. It holds while the cells are small against the fillet, the
    lap is open and the filler is laid.

    Parameters
    ----------
    mesh : of a joint with its fillet
    tube, flange, filler : conductivities, of the base near brazing heat and of molten filler
        [W/(m K)]
    """
    section, links = mesh.section, mesh.links
    factors = np.ones(len(links.edge))
    under = links.kind == EdgeKind.UNDER_FILLER
    ends = section.vertices[section.edges[links.edge[under]]].reshape(-1, 2)
    radius, face = float(ends[:, 0].min()), float(ends[:, 1].min())
    leg = float(ends[:, 1].max()) - face
    k = {Region.TUBE: tube, Region.FLANGE: flange, Region.FILLET: filler}
    up, left, down = 0.5 * pi, pi, 1.5 * pi  # rays in the (r, z) plane
    wall = Wedge(up, down, tube)
    root = [Wedge(-up, 0.0, flange), Wedge(0.0, up, filler), wall]
    on_tube = [wall, Wedge(down, 1.75 * pi, filler)]
    on_flange = [Wedge(0.75 * pi, left, filler), Wedge(left, 2.0 * pi, flange)]
    corners = [((0.0, 0.0), root), ((0.0, leg), on_tube), ((leg, 0.0), on_flange)]
    for (outward, above), wedges in corners:
        point = np.array([radius + outward, face + above])
        vertex = int(np.argmin(np.hypot(*(section.vertices - point).T)))
        touching = (section.edges[links.edge] == vertex).any(axis=1)
        touching &= (links.kind == EdgeKind.PLAIN) | under
        inside = section.region[links.cells] == Region.FILLET
        touching &= ~inside.all(axis=1)
        solution = local_solution(wedges)
        told = []
        for m in np.flatnonzero(touching):
            along = section.vertices[section.edges[links.edge[m]]].sum(axis=0) - 2.0 * point
            length, angle = hypot(*along), atan2(along[1], along[0])
            away = [_cell_point(mesh, int(c)) - point for c in links.cells[m]]
            values = [solution.value(hypot(*d), atan2(d[1], d[0])) for d in away]
            resistance = sum(
                distance / k[int(section.region[c])]
                for distance, c in zip(links.distance[m], links.cells[m], strict=True)
            )
            told.append((m, abs(solution.passed(length, angle)), values, length / resistance))
        most = max(abs(values[0] - values[1]) for _, _, values, _ in told)
        for m, passed, values, conductance in told:
            difference = abs(values[0] - values[1])
            if difference > HARDLY * most:
                factors[m] = min(max(passed / (conductance * difference), 1.0 / MOST), MOST)
    return factors


def _cell_point(mesh: Mesh, cell: int) -> Array:
    """(r, z) of a cell's point: of a triangle the middle of its sloping side [m]."""
    section = mesh.section
    corners = section.vertices[section.cells[cell][section.cells[cell] >= 0]]
    if not section.triangles[cell]:
        return np.asarray(corners.mean(axis=0))
    sides = [(corners[i], corners[(i + 1) % 3]) for i in range(3)]
    one, other = max(sides, key=lambda side: hypot(*(side[1] - side[0])))
    return np.asarray(0.5 * (one + other))
