"""What a march takes: `Problem`, a part on its mesh as plain arrays, and `Job`, a case with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..case.alloys import Alloy, EnthalpyTable
from ..case.case import Case
from ..joint.mesh import Mesh
from ..joint.schedule import Schedule
from .arrays import Base, Clocks, Grid, Growth, Tables, Torch
from .sampling import Samples

__all__ = [
    "AIR",
    "ARGON",
    "BENCH",
    "CHILL",
    "ChillRing",
    "GapGas",
    "Job",
    "LapRows",
    "Problem",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

AIR, CHILL, BENCH = 0, 1, 2  # what a wall loses its heat to


@dataclass(frozen=True)
class GapGas:
    """Conductivity of the gas in the bare lap: `temperature` [K], `conductivity` [W/(m K)]."""

    temperature: tuple[float, ...]
    conductivity: tuple[float, ...]


@dataclass(frozen=True)
class ChillRing:
    """Heat-sink ring in the bore, of one temperature.

    Attributes
    ----------
    alloy, table : what it is of
    mass : [kg]
    touch : conductance to the tube's bore in all [W/K]
    start_h : specific enthalpy at time 0 [J/kg]
    """

    alloy: Alloy
    table: EnthalpyTable
    mass: float
    touch: float
    start_h: float


# Argon at 1 bar from a reference equation of state (CoolProp), 300 to 1300 K.
ARGON = GapGas((300.0, 600.0, 1000.0, 1300.0), (0.0178, 0.0306, 0.0436, 0.0518))


@dataclass(frozen=True)
class LapRows:
    """The lap, from the mouth down.

    Attributes
    ----------
    links : (nlap,) link of each row
    resistance : fixed resistance [m2 K/W], or None where it follows gap, gas and filler
    gap : radial gap [m]; `emissivity` effective between the two walls [-]
    filler_conductivity : of the filler that bridges the gap [W/(m K)]; `flow` its liquidus [K]
    root : row of `alive` of the fillet cell at the mouth
    bridged : number of rows a tack bridges, from the mouth down
    growth : how tube and bore grow apart when hot, None where an expansion is not known
    """

    links: Ints
    resistance: float | None
    gap: float
    emissivity: float
    filler_conductivity: float
    flow: float
    root: int
    bridged: int = 1
    growth: Growth | None = None


@dataclass(frozen=True)
class Problem:
    """What is marched: geometry, materials, walls, lap, torch.

    Attributes
    ----------
    mesh : see there
    alloys : in the order of `grid.alloy`
    wall : (w,) index into `mesh.walls` of each wall row of `grid`
    air : (w,) temperature beyond each wall [K]
    start : temperature at time 0 [K]
    fillet_cells : (nf,) section cells that come alive, in the order of the rows of `alive`
    explicit_limit : longest stable plain explicit step [s]
    sink : (w,) what each wall loses its heat to: `AIR`, `CHILL` or `BENCH`
    in_place : (layers,) bool, filler is there from the start
    chill : the ring in the bore, or None
    clocks : what the base is timed by, or None
    """

    mesh: Mesh
    alloys: tuple[Alloy, ...]
    tables: Tables
    grid: Grid
    base: Base
    torch: Torch | None
    lap: LapRows | None
    wall: Ints
    air: Array
    start: float
    fillet_cells: Ints
    explicit_limit: float
    sink: Ints
    in_place: NDArray[np.bool_]
    chill: ChillRing | None = None
    clocks: Clocks | None = None

    def wall_names(self) -> list[str]:
        """Surface name of each wall row."""
        names = self.mesh.section.surfaces
        return [names[i] for i in self.mesh.walls.surface[self.wall]]

    def lap_cells(self) -> Ints:
        """(nlap, 2) tube and flange cell of each lap row, from the mouth down."""
        if self.lap is None:
            return np.empty((0, 2), dtype=np.int64)
        return self.mesh.links.cells[self.lap.links]


@dataclass(frozen=True)
class Job:
    """A case with all that takes it through its schedule.

    Attributes
    ----------
    case : as it was read, its alloys unscaled
    schedule : what is laid when
    samples : what is read off every step: first the start points, then the probes
    problem : what is marched
    """

    case: Case
    schedule: Schedule
    samples: Samples
    problem: Problem
