"""A joint heated alike all the way round: what is asked, and the program's own answer.

The second opinions in this folder answer the same question on meshes and with equations of their
own. They share with the program the dimensions of the joint, the alloys and the gas in the gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lapheat.case.alloys import Alloy
from lapheat.case.case import Case, Fillet, Flange, Lap, Probe
from lapheat.case.file import read_case
from lapheat.constants import STEFAN_BOLTZMANN
from lapheat.joint.lines import mesh_lines
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem import setup
from lapheat.problem.problem import ARGON, Problem
from lapheat.problem.sampling import Samples, lagrange, stack

__all__ = [
    "STOPS",
    "Array",
    "Pace",
    "Point",
    "Ring",
    "Step",
    "away",
    "even",
    "program",
    "ring_of",
    "steps",
    "worst",
]

Array = NDArray[np.float64]
STOPS = (6.0, 10.0, 14.0, 20.0, 30.0)  # [s], two with heat on and three without
CASES = Path(__file__).parents[2] / "cases"


@dataclass(frozen=True)
class Point:
    """A place of the section: `part` is "tube" or "flange"; `r`, `z` [m]."""

    name: str
    part: str
    r: float
    z: float


@dataclass(frozen=True)
class Ring:
    """A joint, with or without its fillet, under a ring of heat.

    The heat falls on the torch side as a Gaussian of the way along the surface, of standard
    deviation `spot` [m], its middle `middle` [m] outward from the root (or from the middle of the
    fillet's face); `power` [W] in all, for `seconds` [s]. Watched until `end` [s].
    """

    case: Case
    filled: bool
    soaked: bool
    power: float
    spot: float
    middle: float
    seconds: float
    end: float

    @property
    def flange(self) -> Flange:
        assert self.case.flange is not None
        return self.case.flange

    @property
    def fillet(self) -> Fillet:
        assert self.case.fillet is not None
        return self.case.fillet

    @property
    def lap(self) -> Lap:
        assert self.case.lap is not None
        return self.case.lap

    @property
    def outer(self) -> float:
        """Outside radius of the tube [m]."""
        return self.case.tube.radius

    @property
    def inner(self) -> float:
        """Radius of the tube's bore [m]."""
        return self.outer - self.case.tube.wall

    @property
    def rim(self) -> float:
        """Outside radius of the flange [m]."""
        return 0.5 * self.flange.outside_diameter

    @property
    def leg(self) -> float:
        """Leg of the fillet, 0 where there is none [m]."""
        return self.fillet.leg if self.filled else 0.0

    def alloy(self, part: str) -> Alloy:
        """Alloy of "tube", "flange" or "fillet"."""
        names = {
            "tube": self.case.tube.alloy,
            "flange": self.flange.alloy,
            "fillet": self.fillet.filler,
        }
        return self.case.alloys[names[part]]

    def way(self, r: Array, z: Array) -> Array:
        """Way along the torch side from the middle of the fillet's face outward [m]."""
        out, up = r - self.outer, z
        half = self.leg / np.sqrt(2.0)
        near = 1e-9
        on_tube, on_face = (out <= near) & (up >= self.leg), (up <= near) & (out >= self.leg)
        along = np.where(on_tube, self.leg - up - half, half + out - self.leg)
        return np.where(on_tube | on_face, along, (out - up) / np.sqrt(2.0))

    def _shape(self, r: Array, z: Array) -> Array:
        return np.exp(-0.5 * ((self.way(r, z) - self.middle) / self.spot) ** 2)

    @cached_property
    def _height(self) -> float:
        """Flux at the middle [W/m2], so that it makes `power` over the ring."""
        R, leg = self.outer, self.leg
        corners = [(R, self.case.tube.length), (R, leg), (R + leg, 0.0), (self.rim, 0.0)]
        total = 0.0
        share = (np.arange(4000) + 0.5) / 4000
        for (r0, z0), (r1, z1) in pairwise(corners):
            r, z = r0 + share * (r1 - r0), z0 + share * (z1 - z0)
            step = np.hypot(r1 - r0, z1 - z0) / 4000
            total += float((2.0 * np.pi * r * self._shape(r, z)).sum()) * step
        return self.power / total

    def flux(self, r: Array, z: Array) -> Array:
        """Heat falling on the torch side [W/m2]."""
        return self._height * self._shape(r, z)

    def film(self, in_bore: bool) -> float:
        """Film coefficient in the bore or outside [W/(m2 K)]."""
        around = self.case.surroundings
        return around.bore_convection if in_bore else around.convection

    @property
    def air(self) -> float:
        """Temperature of the air, and of the part at time 0 [K]."""
        return self.case.surroundings.temperature

    def loss(self, T: Array, film: Array | float, emissivity: Array | float) -> tuple[Array, Array]:
        """Heat lost by film and radiation [W/m2] and its slope [W/(m2 K)]."""
        black = np.asarray(emissivity) * STEFAN_BOLTZMANN
        lost = film * (T - self.air) + black * (T**4 - self.air**4)
        return lost, film + 4.0 * black * T**3

    def across(self, one: Array, two: Array) -> Array:
        """Conductance of the lap with walls at `one` and `two` [K]: filler, or gas and radiation.

        Between grey walls radiation goes with the fourth powers; the program's own is
        4 sigma eps T^3 at the mean, a part in a thousand of the whole apart.
        """
        if self.soaked:
            filler = self.alloy("fillet")
            assert filler.liquidus is not None
            return np.full_like(one, filler.k(filler.liquidus) / self.lap.clearance)
        gas = np.interp(0.5 * (one + two), ARGON.temperature, ARGON.conductivity)
        tube, flange = self.alloy("tube").emissivity, self.alloy("flange").emissivity
        grey = STEFAN_BOLTZMANN / (1.0 / tube + 1.0 / flange - 1.0)
        return gas / self.lap.clearance + grey * (one**2 + two**2) * (one + two)

    def points(self) -> list[Point]:
        """Places all round the heat: tube outside and bore, flange face and back, both laps."""
        R, thick, mm = self.outer, self.flange.thickness, 1e-3
        half = -0.5 * self.lap.depth
        return [
            Point("tube outside, 1 mm above", "tube", R, self.leg + 1.0 * mm),
            Point("tube outside, 5 mm above", "tube", R, self.leg + 5.0 * mm),
            Point("bore at the face", "tube", self.inner, 0.0),
            Point("bore, 10 mm above", "tube", self.inner, 10.0 * mm),
            Point("bore, mid-lap", "tube", self.inner, half),
            Point("lap, tube side", "tube", R, half),
            Point("lap, flange side", "flange", R, half),
            Point("face, 1 mm out", "flange", R + self.leg + 1.0 * mm, 0.0),
            Point("face, 5 mm out", "flange", R + self.leg + 5.0 * mm, 0.0),
            Point("face, 15 mm out", "flange", R + self.leg + 15.0 * mm, 0.0),
            Point("back, 2 mm out", "flange", R + 2.0 * mm, -thick),
            Point("back, 15 mm out", "flange", R + 15.0 * mm, -thick),
        ]


def ring_of(
    name: str, power: float, *, brazed: bool = False, soaked: bool | None = None,
    lap: float | None = None,
) -> Ring:  # fmt: skip
    """Ring of heat of `power` [W] on the joint of a shipped case, at its own spot.

    `lap` [m] moves the tube's foot up in the flange bore.
    """
    case = read_case(CASES / f"{name}.toml", detail="coarse")
    assert case.lap is not None
    if lap is not None:
        case = replace(case, lap=replace(case.lap, depth=lap))
    soaked = brazed if soaked is None else soaked
    return Ring(case, brazed, soaked, power, case.arc.spot, 0.0 if brazed else 0.5e-3, 10.0, 30.0)


def away(length: float, first: float, growth: float, largest: float = 5e-3) -> Array:
    """Points from 0 to `length` [m], ever further apart."""
    at = [0.0]
    while at[-1] < length:
        at.append(at[-1] + first)
        first = min(first * growth, largest)
    return np.array(at) * (length / at[-1])


def even(length: float, size: float) -> Array:
    """Points from 0 to `length` [m], equally far apart."""
    return np.linspace(0.0, length, max(2, round(length / size) + 1))


@dataclass(frozen=True)
class Pace:
    """First step [s], its growth, the longest step with heat and without [s]."""

    first: float = 0.02
    growth: float = 1.3
    hot: float = 0.25
    cold: float = 0.5


@dataclass(frozen=True)
class Step:
    """A step to time `end` [s], with heat on or off, and where it is watched.

    `factors` are those of the heat contents after, before and one step earlier still [1/s]: BDF2
    of steps that change, implicit Euler for the first one after heat goes on or off (Hairer and
    Wanner, Solving Ordinary Differential Equations II, 1996, III.5).
    """

    end: float
    length: float
    on: bool
    watched: bool
    factors: tuple[float, float, float]


def steps(ring: Ring, stops: Sequence[float], pace: Pace) -> list[Step]:
    """Steps, short after heat goes on or off, that meet every stop."""
    now, size, last = 0.0, pace.first, np.inf
    found = []
    for stop in sorted({*stops, ring.seconds, ring.end}):
        while now < stop - 1e-9:
            on = now < ring.seconds - 1e-9
            left = stop - now
            dt = left if left < 1.3 * size else size
            now = stop if dt == left else now + dt
            w = dt / last
            factors = ((1 + 2 * w) / (1 + w) / dt, (1 + w) / dt, w * w / (1 + w) / dt)
            found.append(Step(now, dt, on, now in stops, factors))
            size, last = min(size * pace.growth, pace.hot if on else pace.cold), dt
        if stop == ring.seconds:
            size, last = pace.first, np.inf
    return found


def _watched(ring: Ring, detail: str) -> tuple[Problem, Samples]:
    """The program's problem, and samples at the points."""
    points = ring.points()
    probes = tuple(
        Probe(p.name, "tube", 0.3, p.z, 0.0, ring.outer - p.r)
        if p.part == "tube"
        else Probe(p.name, "flange", 0.3, 0.0, p.r - ring.outer, -p.z)
        for p in points
    )
    case = replace(ring.case, probes=probes, detail=detail)
    with pytest.MonkeyPatch.context() as patch:
        # every layer does the same: a dozen a segment are as good as the mesh's own number
        patch.setattr(
            setup, "mesh_lines", lambda c: replace(mesh_lines(c), layers=12 * c.segment_count)
        )
        job = setup.job_of(case)
    problem, s = job.problem, job.samples
    assert problem.lap is not None
    nodes = list(zip(s.node, s.layer, s.weight, strict=True))
    each = [nodes[a:b] for a, b in zip(s.first[:-1], s.first[1:], strict=True)]
    each = each[len(each) - len(points) :]
    # a probe in the flange reads cells; the bore's own wall stands in the surfaces of the lap
    rows, laps = problem.mesh.shape[0] + len(problem.wall), len(problem.lap.links)
    edge = problem.mesh.links.edge[problem.lap.links]
    height = problem.mesh.section.edge_centres()[edge, 1][::-1]
    for i, p in enumerate(points):
        if p.part == "flange" and p.r == ring.outer:
            each[i] = [(rows + 2 * laps - 1 - n, 0, w) for n, w in lagrange(height, p.z)]
    # the other models know the gap as it is cold; how it grows has tests of its own
    return replace(problem, lap=replace(problem.lap, growth=None)), stack(each)


def program(ring: Ring, stops: Sequence[float], detail: str = "coarse") -> Array:
    """Temperatures (stops, points) as the program's compiled march finds them [K]."""
    problem, samples = _watched(ring, detail)
    assert problem.torch is not None
    state, stepper = State(problem), CompiledStepper(problem, threads=1)
    if ring.filled:
        state.alive[:] = 1.0
    if ring.soaked:
        state.filled[:] = True
    heat = np.zeros(len(state.heat))
    for i, wall in enumerate(problem.torch.wall):
        if problem.grid.cover[wall] >= 0 and ring.filled:
            continue  # under filler
        if problem.grid.slot[problem.base.wall_cell[wall]] >= 0 and not ring.filled:
            continue  # of filler that is not there
        (r0, z0), (r1, z1) = problem.mesh.walls.ends[problem.wall[wall]]
        share = (np.arange(1000) + 0.5) / 1000
        r, z = r0 + share * (r1 - r0), z0 + share * (z1 - z0)
        given = float((2.0 * np.pi * r * ring.flux(r, z)).mean()) * np.hypot(r1 - r0, z1 - z0)
        heat[i] = given / (problem.grid.wall_area[wall] * problem.mesh.layers)
    area = problem.grid.wall_area[problem.torch.wall] * problem.mesh.layers
    assert abs(area @ heat / ring.power - 1.0) < 1e-5
    found = []
    for step in steps(ring, stops, Pace(hot=0.1, cold=0.25)):
        state.heat[:] = heat[:, None] * step.on
        state.fill_lap()
        stepper.advance(state, step.length)
        state.observe()
        if step.watched:
            found.append(state.sample(samples))
    assert (state.filled == ring.soaked).all()
    return np.array(found)


def worst(ring: Ring, ours: Array, other: Array) -> Array:
    """Difference (stops, points) over the rise of each point at each time [-]."""
    return np.abs(ours - other) / (other - ring.air)
