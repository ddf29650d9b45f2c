"""A joint under a moving arc: what is asked, and the program's own answer.

All properties are constant, walls lose by a film alone, the lap is a fixed resistance and the
fillet is in place from the start: the equations are then linear, and `fourier_ring` solves them by
other means. The program marches a case of its own through its own mesh, torch and steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, pi, sin, sqrt
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lapheat.case.alloys import Alloy
from lapheat.case.case import Case, Tack
from lapheat.case.file import read_case
from lapheat.history.records import History
from lapheat.march import march as march_module
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.problem import Problem
from lapheat.problem.sampling import Samples, lagrange, ring_nodes, stack
from lapheat.problem.setup import job_of

__all__ = [
    "ANGLES",
    "PLACES",
    "ArcRing",
    "Array",
    "Place",
    "Spell",
    "angles",
    "arc_ring",
    "marched",
]

Array = NDArray[np.float64]
MM = 1e-3
BLACK = 1e-12  # emissivity where none is meant; an alloy must have some
CASES = Path(__file__).parents[2] / "cases"


@dataclass(frozen=True)
class Place:
    """A place `along` [m] a stretch of the section's outline.

    Along "tube" and "face" it counts from the toes of the fillet, along "fillet" from the toe on
    the tube, along the bore upward from the flange's face, along the others from the root.
    """

    stretch: str
    along: float

    @property
    def name(self) -> str:
        return f"{self.stretch}, {self.along / MM:.3g} mm"


PLACES = tuple(
    Place(stretch, along * MM)
    for stretch, places in {
        "tube": (0.5, 1.0, 3.0, 8.0),
        "face": (0.5, 1.0, 3.0, 8.0),
        "tube leg": (0.5, 1.0, 1.5),
        "flange leg": (0.5, 1.0, 1.5),
        "fillet": (0.7, 1.4, 2.1),
        "bore": (-3.0, 0.0, 1.0, 3.0, 8.0),
        "back": (1.0, 5.0),
        "lap tube": (1.0, 3.0),
        "lap flange": (1.0, 3.0),
    }.items()
    for along in places
)
# of the first segment: its start, a third of it, its end, 10 mm before its start; of the second:
# its start, middle and end [segments]
ANGLES = (0.0, 1.0 / 3.0, 1.0, -5.0 / 6.0, 3.0, 3.5, 4.0)


@dataclass(frozen=True)
class Spell:
    """The arc from `begin` to `end` [s]: at angle `start` [rad] then, moving at `rate` [rad/s]."""

    begin: float
    end: float
    start: float
    rate: float

    def angle(self, time: float) -> float:
        """Where the arc is at a time [rad]."""
        return self.start + self.rate * (time - self.begin)


@dataclass(frozen=True)
class ArcRing:
    """A case whose equations are linear, `resistance` [m2 K/W] of its lap; lengths [m]."""

    case: Case
    resistance: float

    @property
    def outer(self) -> float:
        return self.case.tube.radius

    @property
    def inner(self) -> float:
        return self.outer - self.case.tube.wall

    @property
    def top(self) -> float:
        return self.case.tube.length

    @property
    def leg(self) -> float:
        assert self.case.fillet is not None
        return self.case.fillet.leg

    @property
    def thick(self) -> float:
        assert self.case.flange is not None
        return self.case.flange.thickness

    @property
    def rim(self) -> float:
        assert self.case.flange is not None
        return 0.5 * self.case.flange.outside_diameter

    def alloy(self, part: str) -> Alloy:
        """Alloy of "tube", "flange" or "fillet"."""
        return self.case.alloys[part]

    @cached_property
    def width(self) -> float:
        """Angle of a segment [rad]."""
        return 2.0 * pi / self.case.segment_count

    @cached_property
    def spells(self) -> list[Spell]:
        """What the arc does, each segment a dwell and a run."""
        travel = self.case.travel
        rate = travel.speed / self.outer
        now, found = 0.0, []
        for number in travel.order:
            assert isinstance(number, int)
            at = (number - 1) * self.width
            found.append(Spell(now, now + travel.dwell, at, 0.0))
            now += travel.dwell
            found.append(Spell(now, now + self.width / rate, at, rate))
            now += self.width / rate + travel.pause
        return found

    @cached_property
    def times(self) -> list[float]:
        """When temperatures are compared: times every march meets, whatever its mesh [s].

        For each segment the ends of the dwell, of half the run, of the run and of the pause.
        """
        found = []
        for dwell, run in zip(self.spells[::2], self.spells[1::2], strict=True):
            found += [dwell.end, 0.5 * (run.begin + run.end), run.end]
            found.append(run.end + self.case.travel.pause)
        return found

    def flux(self, r: Array, z: Array, nr: Array, nz: Array, turn: Array) -> Array:
        """Flux of an arc at angle 0, not yet scaled [-].

        At `r`, `z` [m] on walls of outward normal `nr`, `nz`, `turn` [rad] on round the ring.
        """
        arc = self.case.arc
        lean, rise = cos(arc.work_angle), sin(arc.work_angle)
        x, y = r * np.cos(turn) - (self.outer + arc.aim), r * np.sin(turn)
        ahead = x * lean + z * rise
        apart = x * x + y * y + z * z - ahead * ahead  # squared, of the torch's axis
        facing = np.maximum(nr * np.cos(turn) * lean + nz * rise, 0.0)
        # behind the tube nothing is lit: there the flux is below 1e-40 anyway
        return np.asarray(facing * np.exp(-0.5 * apart / arc.spot**2) * (np.cos(turn) > 0.0))

    def at(self, place: Place) -> tuple[str, float, float]:
        """Part that holds a place, and its r and z [m]."""
        R, leg, along = self.outer, self.leg, place.along
        return {
            "tube": ("tube", R, leg + along),
            "face": ("flange", R + leg + along, 0.0),
            "tube leg": ("tube", R, along),
            "flange leg": ("flange", R + along, 0.0),
            "fillet": ("fillet", R + along / sqrt(2.0), leg - along / sqrt(2.0)),
            "bore": ("tube", self.inner, along),
            "back": ("flange", R + along, -self.thick),
            "lap tube": ("tube", R, -along),
            "lap flange": ("flange", R, -along),
        }[place.stretch]


# whatever hand the demo has, this arc stands and travels by the clock at a steady current
BY_CLOCK = ("arc.control=steady", "travel.start=timed", "arc.current=66 A", "arc.aim=1 mm")


def arc_ring(detail: str = "coarse") -> ArcRing:
    """Shipped joint: two segments with a dwell and a pause each."""
    case = read_case(CASES / "flue-stub.toml", BY_CLOCK, detail)
    assert case.flange is not None
    assert case.fillet is not None
    melting = {"solidus": 4000.0, "liquidus": 4010.0, "latent_heat": 1.0}  # never met
    alloys = {
        "tube": Alloy.constant("tube", 7900.0, 22.0, 560.0, BLACK),
        "flange": Alloy.constant("flange", 7850.0, 35.0, 650.0, BLACK),
        "fillet": Alloy.constant("fillet", 8500.0, 50.0, 420.0, BLACK, **melting),
    }
    travel = replace(
        case.travel,
        dwell=3.0,
        pause=6.0,
        overlap=0.0,
        taper=0.0,
        resume_below=None,
        order=(1, 4),
        coverage=2.0 / case.segment_count,
    )
    case = replace(
        case,
        tube=replace(case.tube, alloy="tube"),
        flange=replace(case.flange, alloy="flange"),
        fillet=replace(case.fillet, filler="fillet"),
        travel=travel,
        surroundings=replace(case.surroundings, convection=30.0, bore_convection=15.0),
        alloys=alloys,
        probes=(),
        tacks=(Tack(0.0, case.tube.circumference),),
    )
    return ArcRing(case, 1.0 / 400.0)


def angles(ring: ArcRing) -> Array:
    """Angles at which temperatures are compared [rad]."""
    return np.array(ANGLES) * ring.width


def _row(ring: ArcRing, problem: Problem, stretch: str) -> tuple[Array, NDArray[np.int64]]:
    """How far along a stretch its faces' middles lie, ascending [m], and their sample nodes."""
    nc, walls, R, leg = problem.mesh.shape[0], len(problem.wall), ring.outer, ring.leg
    if stretch.startswith("lap"):
        assert problem.lap is not None
        edge = problem.mesh.links.edge[problem.lap.links]
        along = -problem.mesh.section.edge_centres()[edge, 1]
        node = nc + walls + np.arange(len(along)) + (len(along) if "flange" in stretch else 0)
        return along, node
    surface, legs, axis, zero, sign = {
        "tube": ("tube outside", False, 1, leg, 1.0),
        "face": ("flange face", False, 0, R + leg, 1.0),
        "tube leg": ("tube outside", True, 1, 0.0, 1.0),
        "flange leg": ("flange face", True, 0, R, 1.0),
        "fillet": ("fillet", False, 0, R, sqrt(2.0)),
        "bore": ("tube bore", False, 1, 0.0, 1.0),
        "back": ("flange back", False, 0, R, 1.0),
    }[stretch]
    named = np.array([name == surface for name in problem.wall_names()])
    rows = np.flatnonzero(named & ((problem.grid.cover >= 0) == legs))
    along = sign * (problem.mesh.walls.centre[problem.wall[rows], axis] - zero)
    order = np.argsort(along)
    return along[order], nc + rows[order]


def _samples(ring: ArcRing, problem: Problem, s: Samples) -> Samples:
    """The job's own `s` first, as the march wants them, then every place at every angle.

    Along a stretch by four points, round the ring by eight.
    """
    nodes = list(zip(s.node.tolist(), s.layer.tolist(), s.weight.tolist(), strict=True))
    each = [nodes[a:b] for a, b in zip(s.first[:-1], s.first[1:], strict=True)]
    for place in PLACES:
        along, node = _row(ring, problem, place.stretch)
        section = lagrange(along, place.along)
        each += [
            [
                (int(node[i]), k, wi * wk)
                for i, wi in section
                for k, wk in ring_nodes(problem.mesh.layers, angle, 8)
            ]
            for angle in angles(ring).tolist()
        ]
    return stack(each)


def history_of(ring: ArcRing, shorter: float = 1.0) -> History:
    """Take the case through the program's own march; places at angles are its probes.

    Its steps are `shorter` times shorter than usual.
    """
    job = job_of(ring.case)
    problem = job.problem
    assert problem.lap is not None
    lap = replace(problem.lap, resistance=ring.resistance, growth=None)
    problem = replace(problem, lap=lap)
    job = replace(job, problem=problem, samples=_samples(ring, problem, job.samples))
    with pytest.MonkeyPatch.context() as patch:
        # no longer after the last arc than the last pause
        patch.setattr(march_module, "COOL_AT_LEAST", ring.case.travel.pause)
        patch.setattr(march_module, "COOL_AT_MOST", ring.case.travel.pause)
        return march_module.march(job, CompiledStepper(problem, threads=1), shorter=shorter)


def marched(ring: ArcRing, detail: str, shorter: float = 1.0) -> tuple[Array, Array]:
    """Times [s] of a march's steps and rises (times, places, angles) over the air [K]."""
    trace = history_of(replace(ring, case=replace(ring.case, detail=detail)), shorter).trace
    found = trace.probes.reshape(len(trace.time), len(PLACES), len(ANGLES))
    return trace.time, np.asarray(found - ring.case.surroundings.temperature)
