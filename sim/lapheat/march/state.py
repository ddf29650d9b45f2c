"""The state of a march and the step it takes, whoever computes it."""

from __future__ import annotations

from math import inf, nan
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..problem.problem import ARGON, CHILL, ChillRing, Problem
from ..problem.sampling import Samples
from .errors import MarchError
from .kernels.arc import light
from .kernels.clocks import tick
from .kernels.fields import Fields, Gap, Given, Seen, Times, Watch
from .kernels.lap import TOUCHING, fill_lap, hot_gap
from .kernels.step import refresh
from .kernels.surfaces import observe, sample

__all__ = ["State", "Stepper"]

Array = NDArray[np.float64]


class State:
    """Fields of one march; arrays are written in place.

    Attributes
    ----------
    h : (nc, layers) specific enthalpy [J/kg]
    alive : (nf, layers) 1 where filler has been laid, else 0
    rod : (nf, layers) heat that goes into the filler with the rod [W]
    contact : (nlap, layers) resistance across the lap [m2 K/W]
    laid : mass of filler that was laid [kg]
    filled : (nlap, layers) bool, filler has flowed in
    heat : (lit, layers) flux into exposed faces at the end of a step [W/m2]
    heat_from : the same at its beginning; it runs in a straight line between
    air : (w,) temperature beyond each wall [K]
    lost : (w,) heat each wall has lost so far; a stepper adds to it [J]
    gap : radial gap of the lap now, smallest_gap : while filler could still enter [m]; below 0
        the tube has outgrown its bore
    chill, chill_peak : temperature of the chill now and at its highest, nan without one [K]
    extra : (nc, layers) heat put into cells [W]; no rows when there is none
    surface, peak : (w + 2 nlap, layers) surface temperature now and at its highest [K]
    peak_h : (nc, layers) highest enthalpy so far [J/kg]
    phi, slope, skin : what follows from `h`, see `fields.Fields`
    wet_peak : (w, layers) peak of base faces since filler lay on them, nan before [K]
    liquid : (w, layers) time that base faces have spent above the filler's liquidus, under it [s]
    times : how long faces of the base were how hot, see `fields.Times`
    best : (2, 3) hottest tube and flange surface now: value [K], row, layer
    aim : (2,) angle [rad], nan for none, and power [W] that `heat` belongs to
    """

    KEPT = (
        *("h", "alive", "rod", "laid", "contact", "filled", "heat", "heat_from", "aim", "air"),
        *("lost", "gap", "smallest_gap", "chill", "chill_peak", "phi", "slope", "skin", "surface"),
        *("peak", "peak_h", "wet_peak", "liquid", "best"),
    )

    def __init__(self, problem: Problem) -> None:
        nc, layers = problem.mesh.shape
        rows, laps = len(problem.base.part), len(problem.base.lap_link)
        skins = int(problem.grid.skin.max()) + 1
        self.problem = problem
        start = np.array([float(a.enthalpy(problem.start)) for a in problem.alloys])
        self.start_h = start[problem.grid.alloy]
        self.h = np.repeat(self.start_h[:, None], layers, axis=1)
        self.alive = np.zeros((len(problem.fillet_cells), layers))
        self.rod = np.zeros_like(self.alive)
        self.laid = 0.0
        self.contact = np.zeros((laps, layers))
        self.filled = np.zeros((laps, layers), dtype=np.bool_)
        self.heat = np.zeros((int(problem.grid.lit.max(initial=-1)) + 1, layers))
        self.heat_from = self.heat  # the very same while the heat is steady
        self.aim = np.array([nan, 0.0])  # of `heat`, until faces change
        self.air = problem.air.copy()
        self.lost = np.zeros(len(problem.wall))
        self.gap = problem.lap.gap if problem.lap is not None else nan
        self.smallest_gap = self.gap
        self.chill = self.chill_peak = nan if problem.chill is None else problem.start
        self.extra = np.zeros((0, layers))
        self.phi = np.zeros((nc, layers + 2))
        self.slope = np.zeros((nc, layers))
        self.skin = np.zeros((4, skins, layers))
        self.surface = np.full((rows, layers), problem.start)
        self.peak = np.full((rows, layers), nan)
        self.peak_h = self.h.copy()
        if len(problem.fillet_cells):
            a = problem.grid.alloy[problem.fillet_cells[0]]
            t = problem.tables.temperature[a]
            h = problem.tables.low[a] + np.arange(len(t)) / problem.tables.per_step[a]
            self._filler_nodes = t, h
        self.wet_peak = np.full((len(problem.wall), layers), nan)
        self.liquid = np.zeros_like(self.wet_peak)
        curves = 0 if problem.clocks is None else len(problem.clocks.curves)
        none = np.zeros((rows, layers))
        self.times = Times(
            np.zeros((curves, rows, layers)), none, none.copy(), none - 1.0, none + nan
        )
        self._before = np.empty_like(self.surface)
        self.best = np.zeros((2, 3))
        self.gas = (np.array(ARGON.temperature), np.array(ARGON.conductivity))
        if problem.lap is not None and problem.lap.resistance is not None:
            self.contact[:] = problem.lap.resistance
        self.alive[:, problem.in_place] = 1.0
        if problem.lap is not None:
            self.filled[: problem.lap.bridged, problem.in_place] = True
        self.refresh()
        self.observe()
        self.fill_lap()

    def refresh(self, rows: NDArray[np.int64] | None = None) -> None:
        """Follow a change of `h` made from outside a stepper, in some rows or in all."""
        rows = np.arange(len(self.h)) if rows is None else rows
        refresh(rows, self.fields(), self.problem.grid, self.problem.tables)

    def fields(self) -> Fields:
        """Give the enthalpy and what follows from it, as a compiled step takes them."""
        return Fields(self.h, self.phi, self.slope, self.skin, self.peak_h)

    def given(self) -> Given:
        """Give what a step is held at: filler, rod, lap, arc and air."""
        return Given(
            self.alive, self.rod, self.contact, self.heat_from, self.heat, self.air, self.extra
        )

    def light(self, where: float, power: float) -> float:
        """Aim `power` [W] of arc at angle [rad] (place [m] on a bar); see `arc.light`."""
        torch, grid = self.problem.torch, self.problem.grid
        if torch is None:
            raise ValueError("the problem was assembled without a torch")
        return float(light(torch, grid, self.alive, where, power, self.heat))

    def burn(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Set the arc of a step: angle [rad] and power [W] as it begins and as it ends.

        Raises
        ------
        MarchError
            No face that the torch sees is in its reach, so no heat would enter.
        """
        if self.aim[0] == start[0] and self.aim[1] > 0.0:
            self.heat_from = self.heat * (start[1] / self.aim[1])  # the last step's end
        else:
            self.light(*start)
            self.heat_from = self.heat.copy()
        if self.light(*end) == 0.0 and end[1] > 0.0:
            raise MarchError("the arc reaches no metal: see arc.aim and arc.work_angle")
        self.aim[:] = end

    def quench(self) -> None:
        """Put the arc out."""
        self.heat[:] = 0.0
        self.heat_from = self.heat
        self.aim[0] = nan

    def lay(self, layers: NDArray[np.int64], hottest: float) -> Array:
        """Bring the filler of some layers to life, as hot as the base it touches.

        Filler hotter or colder than the base would shock it in a way no step resolves and no
        brazer sees; what it still lacks or brings is for the caller to account for.

        Parameters
        ----------
        layers : which
        hottest : it comes no hotter than this [K]

        Returns
        -------
        brought : (layers,) heat that came with it [J]
        """
        p = self.problem
        under = np.flatnonzero(p.grid.cover >= 0)
        base = np.minimum(self.surface[np.ix_(under, layers)].mean(axis=0), hottest)
        cells = p.fillet_cells
        h = np.interp(base, *self._filler_nodes)
        self.laid += float(p.grid.mass[cells].sum()) * len(layers)
        self.alive[:, layers] = 1.0
        self.aim[0] = nan
        self.h[np.ix_(cells, layers)] = h
        self.refresh(cells)
        return np.asarray(p.grid.mass[cells].sum() * (h - self.start_h[cells[0]]))

    def fill_lap(self) -> None:
        """Let filler into the lap where it is hot, joined and open, and set its resistance."""
        p, lap = self.problem, self.problem.lap
        if lap is None or lap.resistance is not None:
            return
        if lap.growth is not None:
            tables = p.tables
            self.gap = hot_gap(lap.growth, self.h, p.grid.alloy, tables.low, tables.per_step)
        if not self.filled.all():
            self.smallest_gap = min(self.smallest_gap, self.gap)
        enters = lap.flow if self.gap > 0.0 else inf  # no temperature lets filler into a shut lap
        fill_lap(
            self.surface, len(p.wall), self.alive, self.filled, self.contact,
            Gap(
                lap.root, max(self.gap, min(lap.gap, TOUCHING)), lap.emissivity,
                lap.filler_conductivity, enters, *self.gas,
            ),
        )  # fmt: skip

    def taken(self) -> Array:
        """Heat lost so far to `AIR`, `CHILL` and `BENCH` [J]."""
        return np.bincount(self.problem.sink, self.lost, 3).astype(np.float64)

    def chill_capacity(self, ring: ChillRing) -> float:
        """Heat that warms the chill by 1 K, as warm as it is [J/K]."""
        return ring.mass * float(ring.alloy.c(self.chill))

    def warm_chill(self, ring: ChillRing) -> None:
        """Bring the chill to the temperature that belongs to the heat it has taken."""
        h = np.asarray(ring.start_h + self.taken()[CHILL] / ring.mass)
        self.chill = float(ring.table.lookup(h)[0])
        self.chill_peak = max(self.chill_peak, self.chill)

    def observe(self, dt: float = 0.0) -> None:
        """Read the surfaces and raise the peaks, `dt` [s] after the last time.

        Raises
        ------
        MarchError
            A temperature is not a number.
        """
        p = self.problem
        seen = Seen(self.surface, self.peak, self.wet_peak, self.liquid, self.best)
        flow = inf if p.lap is None else p.lap.flow
        np.copyto(self._before, self.surface)
        if not observe(self.fields(), self.given(), seen, p.grid, p.base, flow, dt):
            raise MarchError("a temperature came out as not a number")
        if p.clocks is not None and dt > 0.0:
            filler = self.alive, self.filled
            tick(self._before, self.surface, dt, p.base, p.grid, filler, p.clocks, self.times)

    def sample(self, samples: Samples) -> Array:
        """(n,) what `samples` read now [K]."""
        found, p = np.empty(len(samples.first) - 1), self.problem
        sample(self.h, self.surface, p.grid.alloy, p.tables, samples, found)
        return found

    def temperature(self, layer: int) -> Array:
        """(nc,) cell temperatures of one layer [K]."""
        return self.problem.tables.temperature_at(self.problem.grid.alloy, self.h[:, layer])

    def cell_peak(self) -> Array:
        """(nc, layers) highest temperature of every cell so far [K]."""
        alloy = self.problem.grid.alloy[:, None]
        return self.problem.tables.temperature_at(alloy, self.peak_h)

    def stored(self) -> float:
        """Heat in the part above its start temperature, filler laid included [J]."""
        rise = (self.h - self.start_h[:, None]) * self.problem.grid.mass[:, None]
        rise[self.problem.fillet_cells] *= self.alive
        return float(rise.sum())


class Stepper(Protocol):
    """Takes a `State` one step on; two implementations, the same equations."""

    name: str

    @property
    def memory(self) -> Watch | None:
        """What it carries from step to step; None: it cannot be resumed."""
        ...

    def advance(self, state: State, dt: float) -> float:
        """March `state` by `dt` [s] with its heat, air and contact held; returns heat lost [J].

        What each wall lost is added to `state.lost`.
        """
        ...
