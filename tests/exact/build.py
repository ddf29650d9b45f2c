"""Bodies the exact answers speak of, built for the program's own march, and what drives them.

A `Part` is a section of rectangular blocks swept along a line or round the axis; a `Rig` marches
the problem made of it and reads temperatures off with the program's own samples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf

from exact.solutions.common import Run
from lapheat.case.alloys import Alloy
from lapheat.joint.mesh import Mesh, sweep_line, sweep_ring
from lapheat.joint.section import Region, SectionBuilder
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.assemble import assemble
from lapheat.problem.problem import Problem
from lapheat.problem.sampling import lagrange, ring_nodes, stack

__all__ = [
    "HELD",
    "MM",
    "ZERO",
    "Array",
    "Part",
    "Rig",
    "fixed",
    "lines",
    "runs_on",
    "spread",
    "stretched",
]

Array = NDArray[np.float64]
Nodes = list[tuple[int, int, float]]
Source = Callable[["Rig", float], float]

MM = 1e-3
ZERO = 273.15  # 0 degC [K]
HELD = 1e9  # film that holds a wall at the temperature of the air [W/(m2 K)]
BLACK = 1e-12  # emissivity where none is meant; an alloy must have some
SIDES = ("left", "right", "bottom", "top")
SURFACES = SIDES + tuple(f"other {side}" for side in SIDES)


def fixed(k: float, rho: float, c: float, **melting: Any) -> Alloy:
    """Alloy of constant properties."""
    return Alloy.constant("plain", rho, k, c, BLACK, **melting)


def lines(low: float, high: float, cells: int) -> Array:
    """Ends of `cells` equal cells [m]."""
    return np.linspace(low, high, cells + 1)


def stretched(even: float, far: float, size: float, growth: float) -> Array:
    """Cell ends from 0: cells of `size` up to `even`, then growing by `growth` to `far` [m]."""
    at = list(np.linspace(0.0, even, round(even / size) + 1))
    while at[-1] < far:
        size *= growth
        at.append(at[-1] + size)
    tail = np.array(at)
    past = tail > even
    tail[past] = even + (tail[past] - even) * (far - even) / (tail[-1] - even)
    return tail


@dataclass(frozen=True)
class Block:
    """Cells (nz, nr) between the lines `r` (nr + 1,) and `z` (nz + 1,) [m]."""

    ids: NDArray[np.int64]
    r: Array
    z: Array


@dataclass(frozen=True)
class Part:
    """Blocks swept into a mesh. Walls are called left, right, bottom and top by their normal.

    The first block is the tube of the program's regions, the second the flange, whose walls are
    called "other left" and so on. Where they touch, heat passes through `lap_resistance`.
    """

    mesh: Mesh
    blocks: tuple[Block, ...]

    @classmethod
    def swept(
        cls,
        *blocks: tuple[ArrayLike, ArrayLike],
        layers: int = 1,
        step: float = 1.0,
        ring: bool = False,
        regions: Sequence[int] = (Region.TUBE, Region.FLANGE),
    ) -> Part:
        """Blocks (r lines, z lines) [m] swept along a line, `step` [m] a layer, or round a ring."""
        build = SectionBuilder()
        made = []
        for (r, z), region in zip(blocks, regions, strict=False):
            r, z = np.asarray(r, float), np.asarray(z, float)
            made.append(Block(build.block(r, z, region), r, z))

        def surface_of(region: int, r: float, z: float, nr: float, nz: float) -> str:
            del r, z
            side = SIDES[(0 if nr < 0 else 1) if abs(nr) > 0.5 else (2 if nz < 0 else 3)]
            return side if region == Region.TUBE else f"other {side}"

        section = build.finish(SURFACES, surface_of, made[0].ids)
        mesh = sweep_ring(section, layers) if ring else sweep_line(section, layers, step)
        return cls(mesh, tuple(made))

    def problem(self, *alloys: Alloy, start: float = ZERO, **how: Any) -> Problem:
        """Problem of `alloys`, one a region; `how` as `problem.assemble` takes it."""
        how = {"film": {}, "emissivity": {}, "air": start} | how
        regions = {Region.TUBE: 0, Region.FLANGE: len(alloys) - 1}
        return assemble(self.mesh, alloys, regions, start=start, **how)

    def _surfaces(self, problem: Problem) -> dict[tuple[int, str], int]:
        """Node of the surface on a side of a cell: walls, then the lap's two sides."""
        section, nc = self.mesh.section, self.mesh.shape[0]
        found = {
            (int(problem.base.wall_cell[w]), name.split()[-1]): nc + w
            for w, name in enumerate(problem.wall_names())
        }
        if problem.lap is None:
            return found
        row, count = nc + len(problem.wall), len(problem.lap.links)
        for i, link in enumerate(problem.lap.links):
            tube, flange = (int(c) for c in self.mesh.links.cells[link])
            middle = [section.vertices[section.cells[c]].mean(axis=0) for c in (tube, flange)]
            axis = int(np.argmax(np.abs(middle[1] - middle[0])))
            low, high = (("left", "right"), ("bottom", "top"))[axis]
            over = middle[1][axis] > middle[0][axis]
            found[tube, high if over else low] = row + i
            found[flange, low if over else high] = row + count + i
        return found

    @staticmethod
    def others(*sides: str) -> list[str]:
        """Names of all walls but these."""
        return [name for name in SURFACES if name not in sides]

    def nodes(
        self,
        problem: Problem,
        along: float,
        r: float,
        z: float,
        *,
        block: int = 0,
        faces: str = "",
        points: int = 4,
    ) -> Nodes:
        """Nodes for the temperature at a place: `along` [m or rad], `r`, `z` [m].

        Polynomials of `points` points through cell points; towards a wall the cells are mirrored
        in it, or where `faces` holds "r" or "z" the wall's own surface is taken in instead.
        """
        part = self.blocks[block]
        layers, ring = self.mesh.layers, self.mesh.closed
        wall = self._surfaces(problem)

        def axis(ends: Array, low: str, high: str, real: bool) -> tuple[Array, list[int | str]]:
            middle = 0.5 * (ends[1:] + ends[:-1])
            own: list[int | str] = list(range(len(middle)))
            if real:
                return np.array([ends[0], *middle, ends[-1]]), [low, *own, high]
            some = min(2, len(middle))
            first = 2.0 * ends[0] - middle[:some][::-1]
            last = 2.0 * ends[-1] - middle[-some:][::-1]
            turned = own[:some][::-1], own[-some:][::-1]
            return np.concatenate([first, middle, last]), [*turned[0], *own, *turned[1]]

        places = [
            axis(part.r, "left", "right", "r" in faces),
            axis(part.z, "bottom", "top", "z" in faces),
        ]
        if ring:
            around = ring_nodes(layers, along, points)
        elif layers == 1:
            around = [(0, 1.0)]
        else:
            at, whose = axis(np.arange(layers + 1) * self.mesh.step, "", "", False)
            around = [(int(whose[i]), w) for i, w in lagrange(at, along, points)]
        found: Nodes = []
        for i, wi in lagrange(places[0][0], r, points):
            for j, wj in lagrange(places[1][0], z, points):
                a, b = places[0][1][i], places[1][1][j]
                if isinstance(a, str) and isinstance(b, str):
                    raise ValueError("a corner has no surface of its own")
                if isinstance(a, str):
                    node = wall[int(part.ids[b, 0 if a == "left" else -1]), a]
                elif isinstance(b, str):
                    node = wall[int(part.ids[0 if b == "bottom" else -1, a]), b]
                else:
                    node = int(part.ids[b, a])
                found += [(node, k, wi * wj * wk) for k, wk in around if wi * wj * wk != 0.0]
        return found


class Rig:
    """A problem on its march: time `now` [s], heat `given` and `lost` so far [J].

    With `trace` it keeps time and readings of every step.
    """

    def __init__(self, problem: Problem, points: Sequence[Nodes] = (), trace: bool = False) -> None:
        self.problem = problem
        self.samples = stack(points)
        self.state = State(problem)
        self.stepper = CompiledStepper(problem, threads=1)
        self.now = self.given = self.lost = 0.0
        self.trace: list[tuple[float, Array]] | None = [] if trace else None

    def begin(self, temperature: ArrayLike) -> None:
        """Start from `temperature` (nc, layers) or (nc, 1) [K]; heat is stored from there."""
        shape = self.state.h.shape
        at = np.broadcast_to(np.asarray(temperature, float), shape)
        for i, alloy in enumerate(self.problem.alloys):
            mine = self.problem.grid.alloy == i
            self.state.h[mine] = alloy.enthalpy(at[mine])
        self.state.refresh()
        self.state.observe()

    def go(
        self,
        until: float,
        longest: float,
        source: Source | None = None,
        first: float | None = None,
        growth: float = 1.25,
    ) -> None:
        """March to `until` [s] in equal steps of at most `longest`, or growing from `first` [s].

        `source(rig, time)` sets heat, air or extra for a time and returns the power put in [W];
        steps take it at their middle, and the end of the march once more for the surfaces.
        """
        left = until - self.now
        if left <= 0.0:
            return
        if first is None:
            count = ceil(left / longest * (1.0 - 1e-9))
            steps = np.full(count, left / count)
        else:
            some = [first]
            while sum(some) < left:
                some.append(min(some[-1] * growth, longest))
            steps = np.array(some) * (left / sum(some))
        for dt in steps:
            power = source(self, self.now + 0.5 * dt) if source is not None else 0.0
            self.lost += self.stepper.advance(self.state, float(dt))
            self.given += power * float(dt)
            self.now += float(dt)
            if self.trace is not None:
                if source is not None:
                    source(self, self.now)
                self.state.observe()
                self.trace.append((self.now, self.read()))
        self.now = until
        if source is not None:
            source(self, until)
        self.state.observe()

    def read(self) -> Array:
        """Return temperatures at the points [K]."""
        return self.state.sample(self.samples)

    def cells(self) -> Array:
        """(nc, layers) temperatures of all cells [K]."""
        return np.stack([self.state.temperature(k) for k in range(self.state.h.shape[1])], axis=1)


def runs_on(
    rig: Rig,
    times: Iterable[float],
    runs: Sequence[Run],
    shine: Callable[[Rig, float, float], None],
    longest: float,
    slowest: float = 1.0,
    radius: float | None = None,
) -> Array:
    """Take a rig through spells of arc; returns readings [K] at the times (n, p).

    `shine(rig, where, power)` lays the heat of an arc at `where` ([m], or [rad] on a tube of
    `radius` [m]); `longest` [s] holds while an arc burns. With none, steps grow from it to
    `slowest`, as the program's own march lets them.
    """
    source = arc_of(runs, shine, radius)
    wanted = sorted(set(times))
    stops = sorted({*wanted, *(t for run in runs for t in (run.begin, run.end) if t < wanted[-1])})
    found = []
    for stop in stops:
        middle = 0.5 * (rig.now + stop)
        burning = any(run.begin < middle < run.end for run in runs)
        rig.go(stop, longest if burning else slowest, source, None if burning else 0.5 * longest)
        if stop in wanted:
            found.append(rig.read())
    return np.array(found)


def arc_of(
    runs: Sequence[Run], shine: Callable[[Rig, float, float], None], radius: float | None = None
) -> Source:
    """Source of a rig that follows the runs; at the very end of a run its arc still burns."""
    tiny = 1e-9  # of a second: times are summed up from steps

    def source(rig: Rig, time: float) -> float:
        for run in runs:
            if run.begin + tiny < time <= run.end + tiny:
                way = run.speed * (time - run.begin)
                shine(rig, run.start + (way if radius is None else way / radius), run.power)
                return run.power
        shine(rig, 0.0, 0.0)
        return 0.0

    return source


def spread(ends: ArrayLike, middle: float, spot: float, around: float | None = None) -> Array:
    """Share of a Gaussian that falls between neighbouring `ends` [m], all turns of a ring."""
    at = np.asarray(ends, float) - middle
    turns = [0.0] if around is None else [-around, 0.0, around]
    # round a ring the way to the Gaussian is told on the nearest turns only
    if around is not None:
        at = at - around * np.round(0.5 * (at[0] + at[-1]) / around)
    return np.asarray(
        sum(np.diff(0.5 * erf((at + turn) / (spot * np.sqrt(2.0)))) for turn in turns)
    )
