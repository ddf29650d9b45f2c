"""Fit efficiency, spot, films and lap to thermocouple histories."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError, Fault
from ...constants import ZERO_CELSIUS
from ...march.errors import MarchError
from ...version import mark
from ..runs.executors import Executor, Row
from ..runs.store import RowFile
from ..runs.trial import Source, Trial
from .clock import OFFSET, Curve, best_clock, fit_readings
from .fit import TOLERANCE, Fitted, blind_spots
from .measured import Readings
from .points import PointRuns, Report
from .settle import settled
from .unknowns import Unknown

__all__ = ["Calibration", "Curve", "Runs", "calibrate", "fit_readings", "run_probes"]

Array = NDArray[np.float64]

DECIMALS = 4  # of times [s] and temperatures [degC] in a row


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
    from ...api import simulate  # numba takes a second

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
    until : time to which the cooling is followed [s]; a free clock asks for more
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
    hint : that another clock would fit far better; "" where it would not
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
    hint: str = ""


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
    if free_clock:  # a record that began after the arc asks for times beyond its own end
        runs.until = max(runs.until, float(readings.time[-1]) - OFFSET[0])
    (before,) = runs([[u.start for u in unknowns]], "the case as it is")
    there = np.isfinite(readings.values)
    best = settled(runs, unknowns, readings, free_clock)
    found, fitted = best.found, best.fitted
    off = (before.at(readings.time) - readings.values)[there]
    series = np.full(readings.values.shape, np.nan)
    series[there] = found.residuals
    values = [item.value for item in fitted]
    case = runs.source.case(tuple(f"{key}={value}" for key, value in runs.inputs(values)))
    torn = {item.unknown.name for item in best.torn}
    blind = [*blind_spots(unknowns, found.jacobian, fitted, wide=torn)]
    blind += [
        f"{item.unknown.name} from {item.unknown.shown(item.low)} to "
        f"{item.unknown.shown(item.high)} fits as well, each with a clock of its own: note when "
        f"the arc struck, and it takes {item.unknown.sees}"
        for item in best.torn
    ]
    return Calibration(
        case=case,
        fitted=fitted,
        offset=best.clock,
        readings=readings,
        before=before.at(readings.time),
        after=readings.values + series,
        before_rms=_rms(off),
        rms=_rms(found.residuals),
        hint="" if free_clock else _clock_hint(runs, values, readings, found.residuals),
        own_rms=_own(runs, values, case, readings, best.clock[0] if best.clock else 0.0, there),
        detail=runs.detail or case.detail,
        together=best.together,
        blind=tuple(blind),
    )


def _clock_hint(runs: Runs, values: Sequence[float], readings: Readings, off: Array) -> str:
    """Say so where another clock alone would halve the sum of squares."""
    there = np.isfinite(readings.values)
    (curve,) = runs([list(values)])
    late = best_clock(curve, readings)
    moved = (curve.at(readings.time - late) - readings.values)[there]
    if float(moved @ moved) >= 0.5 * float(off @ off) or _rms(off) <= TOLERANCE:
        return ""
    return (
        f"with its clock some {late:+.0f} s off the record would fit far better, "
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
    detail, runs.detail = runs.detail, None
    (curve,) = runs([list(values)], "the fit at its own detail")
    runs.detail = detail
    return _rms((curve.at(readings.time - late) - readings.values)[there])


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))
