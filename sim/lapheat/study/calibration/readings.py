"""Fit efficiency, spot, films and lap to thermocouple histories."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError, Fault
from ..runs.rounds import Planner
from .fit import TOLERANCE, Fitted, blind_spots
from .histories import OFFSET, BestFit, Clock, best_clock, best_fit, off
from .measured import Readings
from .points import ProbeRuns

__all__ = ["Calibration", "calibrate"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """A case fitted to its measurements.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    offset : of the record's clock, None if it was held at 0
    readings : as measured
    before, after : (n, probes) computed at the same times [K]
    before_rms, rms : [K]
    own_rms : of the fitted case at its own detail [K]; None if that is the fit's
    detail : mesh of the fit
    together : correlation of neighbouring residuals
    blind : what the readings cannot determine, in sentences
    hint : that another clock would fit far better; "" where it would not
    """

    case: Case
    fitted: tuple[Fitted, ...]
    offset: Clock | None
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


def calibrate(
    runs: ProbeRuns, readings: Readings, free_clock: bool = False
) -> Planner[Calibration]:
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
    there = np.isfinite(readings.values)
    wanted, given = len(unknowns) + int(free_clock) + 1, int(there.sum())
    if given < wanted:
        allowed = f"at least {wanted} readings, one more than is to be fitted"
        raise CaseError([Fault("", "readings", f"{given}", allowed)])
    if free_clock:  # a record that began after the arc asks for times beyond its own end
        runs = replace(runs, until=max(runs.until, float(readings.time[-1]) - OFFSET[0]))
    (before,) = yield from runs([[u.start for u in unknowns]], "the case as it is")
    best = yield from best_fit(runs, readings, free_clock)
    residuals, fitted = best.found.residuals, best.fitted
    values = [item.value for item in fitted]
    case = runs.source.case(tuple(f"{key}={value}" for key, value in runs.inputs(values)))
    after = np.full(readings.values.shape, np.nan)
    after[there] = readings.values[there] + residuals
    hint = "" if free_clock else (yield from _clock_hint(runs, values, readings, residuals))
    own_rms = None
    if runs.detail not in (None, case.detail):
        own = replace(runs, detail=None)
        (curve,) = yield from own([values], "the fit at its own detail")
        own_rms = _rms(off(curve, readings, best.clock.value if best.clock else 0.0))
    return Calibration(
        case=case,
        fitted=fitted,
        offset=best.clock,
        readings=readings,
        before=before.at(readings.time),
        after=after,
        before_rms=_rms(off(before, readings)),
        rms=_rms(residuals),
        own_rms=own_rms,
        detail=runs.detail or case.detail,
        together=best.together,
        blind=_blind(best),
        hint=hint,
    )


def _blind(best: BestFit) -> tuple[str, ...]:
    """What the readings cannot determine, in sentences."""
    unknowns = [item.unknown for item in best.fitted]
    torn = {item.unknown.name for item in best.torn}
    told = blind_spots(unknowns, best.found.jacobian, best.fitted, wide=torn)
    return told + tuple(
        f"{item.unknown.name} from {item.unknown.shown(item.low)} to "
        f"{item.unknown.shown(item.high)} fits as well, each with a clock of its own: note when "
        f"the arc struck, and it takes {item.unknown.sees}"
        for item in best.torn
    )


def _clock_hint(
    runs: ProbeRuns, values: Sequence[float], readings: Readings, residuals: Array
) -> Planner[str]:
    """Say so where another clock alone would halve the sum of squares."""
    (curve,) = yield from runs([values])
    late = best_clock(curve, readings)
    moved = off(curve, readings, late)
    squares, were = float(moved @ moved), float(residuals @ residuals)
    if squares >= 0.5 * were or _rms(residuals) <= TOLERANCE:
        return ""
    return (
        f"with its clock some {late:+.0f} s off the record would fit far better, "
        f"{_rms(moved):.1f} K for {_rms(residuals):.1f} K: try --clock"
    )


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))
