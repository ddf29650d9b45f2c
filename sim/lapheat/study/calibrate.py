"""Fit efficiency, spot, films and lap to thermocouple histories."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from ..case import Case
from ..casefile import CaseError, Fault
from ..constants import ZERO_CELSIUS
from ..state import MarchError
from ..version import mark
from .executors import Executor, Row
from .fit import TOLERANCE, Fit, Fitted, blind_spots, correlation, fit, intervals, spread_of
from .measured import Readings
from .points import PointRuns, Report
from .profile import look_around, widened
from .rows import RowFile
from .trial import Source, Trial
from .unknowns import Unknown

__all__ = ["Calibration", "Curve", "Runs", "calibrate", "fit_readings", "run_probes"]

Array = NDArray[np.float64]

DECIMALS = 4  # of times [s] and temperatures [degC] in a row
OFFSET = (-60.0, 60.0)  # [s] that the clock of a record may be off
CLOCK_STEP = 0.25  # [s] between clocks tried
FITS = 4  # each from a better place that was found around the last
# [K] root mean square by which histories of neighbouring spots differ as the mesh follows the spot,
# measured on a bead at coarse and at standard: 0.3 to 0.5. Fits nearer than that are as good where
# spot and clock go together along a flat valley.
MESH = 0.5
SPOTS = (0.6, 0.8, 1.25, 1.6)  # more starts over the case's spot: it goes together with the clock


@dataclass(frozen=True)
class Curve:
    """What the probes of a run show: `time` (m,) [s], `values` (m, probes) [K]."""

    time: Array
    values: Array

    def at(self, time: Array) -> Array:
        """Temperatures at (n,) times, (n, probes) [K]; before and after the run its ends."""
        columns = [np.interp(time, self.time, column) for column in self.values.T]
        return np.stack(columns, axis=1)


@dataclass(frozen=True)
class ProbeRun:
    """A trial of which the probes' histories are wanted, at least to the time `until` [s]."""

    trial: Trial
    until: float

    def key(self) -> str:
        """Hash of the case and of what is put over it."""
        trial = self.trial
        told = f"probes {mark()} {self.until}\n{trial.detail} {trial.inputs} {trial.source}"
        return hashlib.sha256(told.encode()).hexdigest()[:24]


def run_probes(task: ProbeRun) -> Row:
    """Run a trial on one thread; times and temperatures [degC] are texts of JSON lists."""
    from ..api import simulate  # numba takes a second

    try:
        result = simulate(task.trial.case(), threads=1, until=task.until)
    except (CaseError, MarchError) as error:
        return {"failed": f"{error}"}
    trace = result.history.trace
    row: Row = {"failed": None, "time_s": _packed(trace.time)}
    for probe, column in zip(result.case.probes, trace.probes.T, strict=True):
        row[f"{probe.name}_C"] = _packed(column - ZERO_CELSIUS)
    return row


def _packed(numbers: Array) -> str:
    return json.dumps([round(float(number), DECIMALS) for number in numbers])


class Runs(PointRuns):
    """Probes' histories at values of the unknowns, run in parallel and remembered.

    Parameters
    ----------
    source : the case
    unknowns : what changes
    names : of the probes wanted
    until : time to which the cooling is followed [s]
    detail : mesh of the runs
    executor, store : where they are run and kept
    report : called with what is being done, runs done and runs begun
    """

    def __init__(
        self,
        source: Source,
        unknowns: Sequence[Unknown],
        names: Sequence[str],
        until: float,
        detail: str | None,
        executor: Executor,
        store: RowFile,
        report: Report | None = None,
    ) -> None:
        super().__init__(source, unknowns, detail, executor, store, report)
        self.names, self.until = tuple(names), until

    def __call__(self, points: Sequence[Sequence[float]], doing: str = "fitting") -> list[Curve]:
        """Histories at several points of the unknowns [SI].

        Raises
        ------
        MarchError
            A run failed.
        """
        trials = [Trial(self.source, self.inputs(p), self.detail) for p in points]
        tasks = [ProbeRun(trial, self.until) for trial in trials]
        return [self._curve(row) for row in self.rows(run_probes, tasks, trials, doing)]

    def _curve(self, row: Row) -> Curve:
        def numbers(name: str) -> Array:
            return np.array(json.loads(str(row[name])), dtype=float)

        values = np.stack([numbers(f"{name}_C") for name in self.names], axis=1)
        return Curve(numbers("time_s"), values + ZERO_CELSIUS)


@dataclass(frozen=True)
class Calibration:
    """A case fitted to its measurements.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    offset : of the record's clock with its 95 % interval [s], None if it was held at 0
    readings : as measured
    before, after : (n, probes) computed at the same times [K]
    before_rms, rms : [K]
    own_rms : of the fitted case at its own detail [K]; None if that is the fit's
    detail : mesh of the fit
    together : correlation of neighbouring residuals
    blind : what the readings cannot tell, in sentences
    """

    case: Case
    fitted: tuple[Fitted, ...]
    offset: tuple[float, float, float] | None
    readings: Readings
    before: Array
    after: Array
    before_rms: float
    rms: float
    own_rms: float | None
    detail: str
    together: float
    blind: tuple[str, ...]


def fit_readings(
    runs: Callable[[Sequence[Sequence[float]]], list[Curve]],
    unknowns: Sequence[Unknown],
    readings: Readings,
    free_clock: bool = False,
    begin: Array | None = None,
) -> Fit:
    """Least squares of computed less measured, over all readings [K].

    Parameters
    ----------
    runs : histories at several points of the unknowns [SI]
    unknowns : what is fitted
    readings : as measured
    free_clock : the record may have begun earlier or later than the arc [s]
    begin : unknowns over their starts, and the clock, to begin with
    """
    starts = np.array([unknown.start for unknown in unknowns])
    there = np.isfinite(readings.values)
    count = len(unknowns)

    def batch(points: Sequence[Array]) -> list[Array]:
        curves = runs([list(x[:count] * starts) for x in points])
        found = []
        for x, curve in zip(points, curves, strict=True):
            late = float(x[count]) if free_clock else 0.0
            found.append((curve.at(readings.time - late) - readings.values)[there])
        return found

    if free_clock and begin is None:
        (curve,) = runs([list(starts)])
        begin = np.array([*[1.0] * count, best_clock(curve, readings)])
    return fit(unknowns, batch, [OFFSET] if free_clock else [], begin)


def best_clock(curve: Curve, readings: Readings) -> float:
    """Seconds in `OFFSET` by which a record's clock must be ahead to fit a curve best."""
    there = np.isfinite(readings.values)

    def squares(late: float) -> float:
        return float(np.sum((curve.at(readings.time - late) - readings.values)[there] ** 2))

    grid = np.arange(OFFSET[0], OFFSET[1] + 0.5 * CLOCK_STEP, CLOCK_STEP)
    near = float(grid[int(np.argmin([squares(late) for late in grid.tolist()]))])
    ends = max(near - CLOCK_STEP, OFFSET[0]), min(near + CLOCK_STEP, OFFSET[1])
    return float(minimize_scalar(squares, bounds=ends, method="bounded").x)


@dataclass(frozen=True)
class _Settled:
    """A fit, correlation of its residuals, unknowns, and those that other fits put elsewhere.

    `clock` is its value with its 95 % interval [s], None if it was held.
    """

    found: Fit
    together: float
    fitted: tuple[Fitted, ...]
    clock: tuple[float, float, float] | None
    torn: tuple[Fitted, ...] = ()


def _settled(runs: Runs, readings: Readings, free_clock: bool) -> _Settled:
    """Fit from several starts, where a free clock makes several minima, and look around the best.

    A fit that the readings cannot tell from the best widens the intervals to its own.
    """
    unknowns, there = runs.unknowns, np.isfinite(readings.values)
    starts = np.array([unknown.start for unknown in unknowns])

    def squares(points: Sequence[Array]) -> list[tuple[float, Array]]:
        found = []
        for x, curve in zip(points, runs([list(x * starts) for x in points]), strict=True):
            late = [best_clock(curve, readings)] if free_clock else []
            off = (curve.at(readings.time - sum(late)) - readings.values)[there]
            found.append((float(off @ off), np.array([*x, *late])))
        return found

    def settle(begin: Array | None) -> tuple[_Settled, float, float]:
        """Fit, sum of squares, and its rise at the ends of the intervals."""
        for _ in range(FITS):
            found = fit_readings(runs, unknowns, readings, free_clock, begin)
            series = np.full(readings.values.shape, np.nan)
            series[there] = found.residuals
            together = correlation([column[np.isfinite(column)] for column in series.T])
            fitted = intervals(unknowns, found, together)
            spread, variance = spread_of(found, together)
            mesh = MESH * sqrt(len(found.residuals)) if free_clock else 0.0
            allowed = (spread * sqrt(variance) + mesh) ** 2
            profile = look_around(found, fitted, squares, allowed)
            begin = profile.better
            if begin is None:
                break
        least = float(found.residuals @ found.residuals)
        clock = None
        if free_clock:
            late = Unknown("clock", "", unknowns[0].kind, 1.0, *OFFSET, "")
            own = intervals([*unknowns, late], found, together)[-1]
            low, high = profile.free[:, 0].tolist()
            clock = own.value, min(own.low, low), max(own.high, high)
        done = _Settled(found, together, widened(fitted, profile), clock)
        return done, least, allowed

    begins: list[Array | None] = [None]
    spot = [unknown.name for unknown in unknowns].index("spot") if _has_spot(unknowns) else None
    if free_clock and spot is not None:
        points = []
        for factor in SPOTS:
            x = np.ones(len(unknowns))
            x[spot] = np.clip(factor, *(b / starts[spot] for b in _bounds(unknowns[spot])))
            points.append(x)
        begins += [whole for _, whole in squares(points)]
    fits = sorted((settle(begin) for begin in begins), key=lambda fit: fit[1])
    best, least, allowed = fits[0]
    as_good = [one for one, sum_, _ in fits if sum_ <= least + allowed]
    fitted, torn = [], []
    for i, item in enumerate(best.fitted):
        low = min(other.fitted[i].low for other in as_good)
        high = max(other.fitted[i].high for other in as_good)
        fitted.append(replace(item, low=low, high=high))
        if any(not item.low <= other.fitted[i].value <= item.high for other in as_good):
            torn.append(fitted[-1])
    clocks = [other.clock for other in as_good if other.clock is not None]
    clock = best.clock
    if clock is not None:
        clock = clock[0], min(low for _, low, _ in clocks), max(high for _, _, high in clocks)
    return replace(best, fitted=tuple(fitted), clock=clock, torn=tuple(torn))


def _has_spot(unknowns: Sequence[Unknown]) -> bool:
    return any(unknown.name == "spot" for unknown in unknowns)


def _bounds(unknown: Unknown) -> tuple[float, float]:
    return unknown.low, unknown.high


def calibrate(runs: Runs, readings: Readings, free_clock: bool = False) -> Calibration:
    """Fit a case to readings.

    Parameters
    ----------
    runs : of the case, with the readings' probes
    readings : as measured
    free_clock : see `fit_readings`

    Raises
    ------
    CaseError
        There are too few readings.
    MarchError
        A run failed.
    """
    unknowns = runs.unknowns
    wanted, given = len(unknowns) + int(free_clock) + 1, int(np.isfinite(readings.values).sum())
    if given < wanted:
        allowed = f"at least {wanted} readings, one more than is to be fitted"
        raise CaseError([Fault("", "readings", f"{given}", allowed)])
    (before,) = runs([[u.start for u in unknowns]], "the case as it is")
    there = np.isfinite(readings.values)
    settled = _settled(runs, readings, free_clock)
    found, together, fitted = settled.found, settled.together, settled.fitted
    off = (before.at(readings.time) - readings.values)[there]
    series = np.full(readings.values.shape, np.nan)
    series[there] = found.residuals
    values, detail = [item.value for item in fitted], runs.detail
    case = runs.source.case(tuple(f"{key}={value}" for key, value in runs.inputs(values)))
    own = _own(runs, values, case, readings, settled.clock[0] if settled.clock else 0.0, there)
    return Calibration(
        case=case,
        fitted=fitted,
        offset=settled.clock,
        readings=readings,
        before=before.at(readings.time),
        after=readings.values + series,
        before_rms=_rms(off),
        rms=_rms(found.residuals),
        own_rms=own,
        detail=detail or case.detail,
        together=together,
        blind=(
            *blind_spots(unknowns, found.jacobian, fitted),
            *(
                f"{item.unknown.name} from {item.unknown.shown(item.low)} to "
                f"{item.unknown.shown(item.high)} fits as well, each with a clock of its own: note "
                f"when the arc struck, and it takes {item.unknown.sees}"
                for item in settled.torn
            ),
            *([] if free_clock else _clock_hint(runs, values, readings, found.residuals)),
        ),
    )


def _clock_hint(
    runs: Runs, values: Sequence[float], readings: Readings, off: Array
) -> Iterator[str]:
    """Say so where another clock alone would halve the sum of squares."""
    there = np.isfinite(readings.values)
    (curve,) = runs([list(values)])
    late = best_clock(curve, readings)
    moved = (curve.at(readings.time - late) - readings.values)[there]
    if float(moved @ moved) < 0.5 * float(off @ off) and _rms(off) > TOLERANCE:
        yield (
            f"with its clock {late:+.1f} s off the record would fit far better, "
            f"{_rms(moved):.1f} K for {_rms(off):.1f} K: try --clock"
        )


def _own(
    runs: Runs,
    values: Sequence[float],
    case: Case,
    readings: Readings,
    late: float,
    there: NDArray[np.bool_],
) -> float | None:
    """Root mean square at the case's own detail [K]."""
    if runs.detail in (None, case.detail):
        return None
    runs.detail = None
    (curve,) = runs([list(values)], "the fit at its own detail")
    return _rms((curve.at(readings.time - late) - readings.values)[there])


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))
