"""What a march leaves behind: traces step by step, peaks over the whole run, the heat ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import nan
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from ..case.case import Case
    from ..problem.problem import Problem
    from .frames import FieldFrames, FilmFrames

__all__ = [
    "Clock",
    "Exposure",
    "History",
    "Ledger",
    "SegmentRun",
    "Side",
    "Snapshot",
    "SurfacePeaks",
    "Trace",
    "Unfinished",
]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """One row a step (the state at the end of the step); the first row is the start.

    Attributes
    ----------
    time : (n,) [s]
    current : (n,) arc current during the step, 0 with the arc off [A]
    segment : (n,) int, segment being laid or last laid, 0 before the first
    angle : (n,) arc angle at the end of the step [rad]
    tube, flange : (n,) hottest surface of tube and flange (nan without a flange) [K]
    starts : (n, N) base at each segment's start point, column = segment number - 1 [K]
    probes : (n, p) probes in the order of the case [K]
    """

    time: Array
    current: Array
    segment: NDArray[np.int64]
    angle: Array
    tube: Array
    flange: Array
    starts: Array
    probes: Array


@dataclass(frozen=True)
class SurfacePeaks:
    """Peak temperature over the run of one surface, unrolled.

    Attributes
    ----------
    name : "tube outside", "tube bore", "flange face", ... (see `lines.SURFACES`)
    position : (m,) along the surface [m]: height above the flange face (or above the arc line on
        a bead-on-tube) on the tube; distance outward from the tube surface on the flange
    edges : (m + 1,) ends of those faces [m]
    angle : (layers,) centre of each layer [rad]
    peak : (m, layers) [K]
    """

    name: str
    position: Array
    edges: Array
    angle: Array
    peak: Array


@dataclass(frozen=True)
class Side:
    """Base surface under the fillet, on the tube or on the flange.

    Attributes
    ----------
    edges : (m + 1,) ends of its faces, from the root to the toe [m]
    area : (m,) of these faces in one layer [m2]
    peak : (m, layers) highest temperature since filler lay on them; nan where none was laid [K]
    liquid : (m, layers) time above the filler's liquidus since then [s]
    """

    edges: Array
    area: Array
    peak: Array
    liquid: Array


@dataclass(frozen=True)
class SegmentRun:
    """One segment as it was laid. Angles [rad], times [s], temperatures [K], shares [-].

    `from_angle` to `to_angle` is in the direction of travel; peaks are the highest of the whole
    run on that segment's part of the ring; shares are nan for a bead-on-tube. The arc stood for
    `wait` before it travelled, and both sides at the start point had then `flowed` or not (None
    for a bead-on-tube).
    """

    number: int
    start: float
    end: float
    from_angle: float
    to_angle: float
    start_temperature: float
    tube_peak: float
    flange_peak: float
    tube_side_wet: float
    flange_side_wet: float
    wait: float = 0.0
    flowed: bool | None = None


class Clock(NamedTuple):
    """When the arc struck and went out [s], the start point at strike [K], and the wait there."""

    start: float
    end: float
    temperature: float
    wait: float
    flowed: bool | None


@dataclass(frozen=True)
class Snapshot:
    """The section through the hottest base point at the instant it was hottest.

    Attributes
    ----------
    time : [s]
    angle : [rad]
    temperature : (section cells,) cell temperatures [K]
    alive : (section cells,) bool, False where no filler had been laid yet
    """

    time: float
    angle: float
    temperature: Array
    alive: NDArray[np.bool_]


@dataclass(frozen=True)
class Ledger:
    """Heat [J]: `arc` straight into the work, `filler` brought by molten rod, `lost`, `stored`.

    Of `lost`, all that left the joint, `chill` and `bench` took their share and air the rest.
    """

    arc: float
    filler: float
    lost: float
    stored: float
    chill: float = 0.0
    bench: float = 0.0

    @property
    def imbalance(self) -> float:
        """(arc + filler - lost - stored) / arc [-]."""
        scale = self.arc if self.arc > 0.0 else 1.0
        return (self.arc + self.filler - self.lost - self.stored) / scale


@dataclass(frozen=True)
class Unfinished:
    """What a march that failed had computed: its trace to the last good step."""

    case: Case
    trace: Trace
    march: str


@dataclass(frozen=True)
class Exposure:
    """How long the base was how hot, timed at every step.

    Attributes
    ----------
    sensitised : by surface of the tube, (n, m, layers) share used of the time to sensitise [-], by
        the curves of `problem.clocks`; places as in `SurfacePeaks`
    copper : by part, (faces, layers) time with liquid copper on hot steel [s]
    above_a1 : (faces, layers) time of the flange above A1 [s]
    cooling : (faces, layers) time of the flange from 800 to 500 degC, where it was austenite
        before; nan elsewhere [s]
    """

    sensitised: Mapping[str, Array]
    copper: Mapping[str, Array]
    above_a1: Array
    cooling: Array


@dataclass(frozen=True)
class History:
    """Everything outcomes, figures and report read.

    Attributes
    ----------
    case : the case that was run
    problem : the `Problem` that was marched (holds `mesh`)
    surfaces : peaks of each exposed or once exposed surface, by name
    sides : "tube" and "flange": the base surface under the fillet; empty for a bead-on-tube
    cell_peak : (section cells, layers) peak of every cell [K]
    melted_wall : (layers,) deepest melt through the tube wall, 0 to 1, at each angle
    lap_filled : share of the area of the lap, where segments ran, that filler reached [-]
    hot_clearance : smallest radial gap of the lap while filler could still enter it; below 0 the
        tube would outgrow its bore; nan without a lap [m]
    chill_peak : highest temperature of the chill, nan without one [K]
    rod : mass of filler that was laid [kg]
    arc_on, total, simulated : [s] arc time; first arc to last arc-off; with the cooling after it
    exposure : how long the base was how hot
    film, fields : what was kept on the way, if asked for
    march, wall_s : the stepper's name, and the time the march took [s]
    """

    case: Case
    problem: Problem
    trace: Trace
    surfaces: dict[str, SurfacePeaks]
    sides: Mapping[str, Side]
    cell_peak: Array
    melted_wall: Array
    lap_filled: float
    snapshot: Snapshot
    segments: tuple[SegmentRun, ...]
    ledger: Ledger
    arc_on: float
    total: float
    simulated: float
    steps: int
    march: str = ""
    wall_s: float = nan
    hot_clearance: float = nan
    chill_peak: float = nan
    rod: float = 0.0
    exposure: Exposure | None = None
    film: FilmFrames | None = None
    fields: FieldFrames | None = None
