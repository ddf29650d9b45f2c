"""The arrays that compiled code works on, as named tuples of plain arrays."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..case.alloys.table import node_of
from ..joint.section import EdgeKind, Region

__all__ = [
    "FLANGE",
    "IN_FILLER",
    "LAP",
    "NEITHER",
    "PLAIN",
    "REACH",
    "TUBE",
    "UNDER_FILLER",
    "Base",
    "Clocks",
    "Grid",
    "Growth",
    "Tables",
    "Torch",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# kinds of links, as plain numbers for compiled code: those of the section's edges, and one more
# between two fillet cells
PLAIN, LAP, UNDER_FILLER = EdgeKind.PLAIN, EdgeKind.LAP, EdgeKind.UNDER_FILLER
IN_FILLER = EdgeKind.WALL + 1
# parts that surface rows belong to, likewise: those of the section's regions
TUBE, FLANGE, NEITHER = Region.TUBE, Region.FLANGE, Region.FILLET
REACH = 6.5  # of the arc, in spots: what lies further from its axis gets no heat


class Tables(NamedTuple):
    """Per alloy, at nodes evenly spaced in enthalpy, straight lines between: (alloys, n) each."""

    low: Array  # (alloys,) enthalpy of the first node [J/kg]
    per_step: Array  # (alloys,) nodes per J/kg
    phi: Array  # integral of the conductivity over temperature [W/m]
    temperature: Array  # [K]
    resistivity: Array  # [m K/W]

    def node(self, alloy: Ints, h: Array) -> tuple[Ints, Array]:
        """Node of each alloy's table below enthalpies [J/kg], and the way on to the next [-]."""
        position = (h - self.low[alloy]) * self.per_step[alloy]
        return node_of(position, self.temperature.shape[1])

    def temperature_at(self, alloy: Ints, h: Array) -> Array:
        """Temperatures [K] at enthalpies [J/kg], of an alloy each; they broadcast."""
        i, f = self.node(alloy, h)
        t = self.temperature
        return np.asarray(t[alloy, i] + f * (t[alloy, i + 1] - t[alloy, i]))


class Grid(NamedTuple):
    """Geometry of one layer and what is where; see `problem.Problem` for the meaning."""

    alloy: Ints  # (nc,)
    mass: Array  # (nc,) of one layer [kg]
    along: Array  # (nc,) end area over the distance between cell points [m]
    skin: Ints  # (nc,) row of the skin arrays, -1 inside
    linked: NDArray[np.bool_]  # (nc,) it passes heat across the lap, to filler or from filler
    slot: Ints  # (nc,) row of `alive` for fillet cells, -1 else
    first: Ints  # (nc + 1,) links of each cell
    other: Ints  # (2m,) cell on the far side
    kind: Ints  # (2m,)
    factor: Array  # (2m,) area over the distance between cell points [m]
    area: Array  # (2m,) [m2]
    near: Array  # (2m,) own distance to the face [m]
    far: Array  # (2m,) the other's
    beside: Ints  # (nc, 4) cells of the same part on its sides, itself where there are fewer
    beside_factor: Array  # (nc, 4) area over the distance between cell points, 0 there [m]
    row: Ints  # (2m,) lap row, or row of `alive` under filler; -1
    wall_first: Ints  # (nc + 1,) walls of each cell
    wall_area: Array  # (w,)
    wall_near: Array  # (w,)
    film: Array  # (w,) [W/(m2 K)]
    emissivity: Array  # (w,)
    cover: Ints  # (w,) row of `alive` that covers the wall, -1
    lit: Ints  # (w,) row of the arc's heat, -1
    closed: bool


class Base(NamedTuple):
    """Rows of the surface arrays that belong to the base, and the faces behind the lap rows."""

    part: Ints  # (rows,) `TUBE`, `FLANGE` or `NEITHER`
    wall_cell: Ints  # (w,)
    under: Ints  # (w,) link (own side) of a wall that filler may cover, -1
    lap_link: Ints  # (nlap,) link from the tube side
    lap_cell: Ints  # (nlap,) tube cell of that link
    behind: Ints  # (w,) cell of the same part behind the one at the wall, itself if none
    behind_by: Array  # (w,) distance between their points, 0 if none [m]


class Torch(NamedTuple):
    """The torch axis in the (r, z) plane of the arc, and the lit faces' sampling points."""

    r: float  # a point of the axis [m]
    z: float
    cr: float  # direction from work to torch
    cz: float
    spot: float  # standard deviation across the axis [m]
    shade: float  # radius of the tube that can stand in the way, 0 for none [m]
    height: float  # and its upper end [m]
    point_r: Array  # (lit, 2)
    point_z: Array  # (lit, 2)
    normal_r: Array  # (lit,)
    normal_z: Array  # (lit,)
    area: Array  # (lit,) [m2]
    wall: Ints  # (lit,) wall of each row
    own: Ints  # (lit,) row of `alive` of the fillet cell that carries the face, -1
    step: float  # angle or length of a layer


class Growth(NamedTuple):
    """Cells whose mean thermal strain moves the two sides of the lap; see `lap`.

    Attributes
    ----------
    tube, bore : (n,), (m,) section cells of the tube in the lap, and of the whole flange
    tube_share, bore_share : volume of each over that of them all and of all layers [-]
    strain : (alloys, nodes) thermal strain at the nodes of `Tables`, 0 at 20 degC [-]
    radius : of the tube [m]; cold : radial gap at 20 degC [m]
    """

    tube: Ints
    bore: Ints
    tube_share: Array
    bore_share: Array
    strain: Array
    radius: float
    cold: float


class Clocks(NamedTuple):
    """What the base is timed by; temperatures [K].

    Attributes
    ----------
    lowest : nothing is timed below
    low, per_kelvin : first node of the curves, nodes per kelvin
    curves : (n, nodes) int dT / t(T) up to each node, t the time to sensitise [K/s]
    copper : (2,) from which liquid copper is timed under filler, on the tube and on the flange
    a1, a3 : where the flange begins and ends to turn to austenite; inf where it does not
    cooling_from, cooling_to : ends of its cooling
    """

    lowest: float
    low: float
    per_kelvin: float
    curves: Array
    copper: Array
    a1: float
    a3: float
    cooling_from: float
    cooling_to: float
