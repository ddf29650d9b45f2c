"""Fit efficiency, spot, films and lap to thermocouple histories."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError, Fault
from ...march.errors import MarchError
from ..runs.rounds import Planner
from .fit import NORMAL, Fitted, blind_spots, most_points, moved_by, widened_by
from .histories import (
    OFFSET,
    BestFit,
    Clock,
    Places,
    best_clock,
    best_fit,
    fit_readings,
    most_points_of_best,
    off,
    thinned,
)
from .measured import Readings
from .misfit import GUESSES, TIMES, check_length, guesses, pushed
from .points import Curve, ProbeRuns

__all__ = ["Calibration", "calibrate", "most_runs"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """A case fitted to its measurements.

    Attributes
    ----------
    case : with the fitted values
    fitted : each unknown
    offset : of the record's clock, None if it was held at 0
    readings : that were used
    given : how many were measured
    before, after : (n, probes) computed at the same times [K]
    before_rms, rms : [K]
    own_rms : of the fitted case at its own detail [K]; None if that is the fit's
    detail : mesh of the fit
    together : see `histories.dependence`
    blind : what the readings cannot determine, in sentences
    hint : that another clock would fit far better; "" where it would not
    expected : what errors of reading, place and mesh let residuals be, root mean square [K]
    probe_rms : of each probe, after [K]
    misfit : why it does not fit, in sentences; empty if it does
    causes : what would explain that, in sentences
    """

    case: Case
    fitted: tuple[Fitted, ...]
    offset: Clock | None
    readings: Readings
    given: int
    before: Array
    after: Array
    before_rms: float
    rms: float
    own_rms: float | None
    detail: str
    together: float
    blind: tuple[str, ...]
    hint: str = ""
    expected: float = 0.0
    probe_rms: tuple[float, ...] = ()
    misfit: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()


def most_runs(runs: ProbeRuns, free_clock: bool) -> tuple[int, int]:
    """Runs of `calibrate` at most: at its mesh, and at the case's own, if finer."""
    best = most_points_of_best(runs.unknowns, free_clock)
    finer = int(runs.detail not in (None, runs.source.case().detail))
    # places at the case, the first fit and the best one; the first fit; the best, and its guesses
    return 3 + most_points(len(runs.unknowns)) + (1 + GUESSES) * best, finer


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
        There are too few readings, or they go on for far longer than the case.
    MarchError
        A run failed.
    """
    unknowns = runs.unknowns
    measured = int(np.isfinite(readings.values).sum())
    readings = thinned(readings)
    there = np.isfinite(readings.values)
    wanted, given = len(unknowns) + int(free_clock) + 1, int(there.sum())
    if given < wanted:
        allowed = f"at least {wanted} readings, one more than is to be fitted"
        raise CaseError([Fault("", "readings", f"{given}", allowed)])
    check_length(runs.source.case((), runs.detail), readings)
    if free_clock:  # a record that began after the arc asks for times beyond its own end
        runs = replace(runs, until=max(runs.until, float(readings.time[-1]) - OFFSET[0]))
    starts = np.array([u.start for u in unknowns])
    before, places = yield from _seen(runs, readings, starts, None if free_clock else 0.0)
    # how much places matter is first known at the case as it is, then at a fit
    first = yield from fit_readings(runs, unknowns, readings, free_clock, None, places)
    fit, late = first.x[: len(unknowns)] * starts, float(first.x[-1]) if free_clock else 0.0
    _, places = yield from _seen(runs, readings, fit, late)
    best = yield from best_fit(runs, readings, free_clock, first.x, places)
    late = best.clock.value if best.clock else 0.0
    values = [item.value for item in best.fitted]
    curve, places = yield from _seen(runs, readings, values, late)
    best, residuals = _placed(best, places), off(curve, readings, late)
    fitted = best.fitted
    case = runs.source.case(tuple(f"{key}={value}" for key, value in runs.inputs(values)))
    after = np.full(readings.values.shape, np.nan)
    after[there] = readings.values[there] + residuals
    expected = _rms(places.expected)
    hint = "" if free_clock else _clock_hint(curve, readings, residuals, expected)
    misfit = _misfit(best, residuals / places.expected)
    causes: tuple[str, ...] = ()
    if misfit:
        causes = yield from _causes(runs, readings, before, free_clock, _rms(residuals))
    own_rms = None
    if runs.detail not in (None, case.detail):
        own = replace(runs, detail=None)
        (curve,) = yield from own([values], "the fit at its own detail")
        own_rms = _rms(off(curve, readings, late))
    return Calibration(
        case=case,
        fitted=fitted,
        offset=best.clock,
        readings=readings,
        given=measured,
        before=before.at(readings.time),
        after=after,
        before_rms=_rms(off(before, readings)),
        rms=_rms(residuals),
        own_rms=own_rms,
        detail=runs.detail or case.detail,
        together=best.together,
        blind=_blind(best, places),
        hint=hint,
        expected=expected,
        probe_rms=tuple(_rms(c[np.isfinite(c)]) for c in (after - readings.values).T),
        misfit=misfit,
        causes=causes,
    )


def _seen(
    runs: ProbeRuns, readings: Readings, values: Sequence[float] | Array, late: float | None
) -> Planner[tuple[Curve, Places]]:
    """Histories at values [SI], and what places do to the readings; `late` None: the best clock."""
    around = yield from runs.around(values)
    curve = Curve(around.time, around.values[:, ::5])
    late = best_clock(curve, readings) if late is None else late
    case = runs.source.case((), runs.detail)
    start = case.surroundings.temperature
    return curve, Places.of(around, readings, late, start, case.detail)


def _placed(best: BestFit, places: Places) -> BestFit:
    """Fit with what the uncertain places do to it in its intervals."""
    columns, clock = places.weighted(places.columns), best.clock
    if clock is not None:
        half = NORMAL * float(moved_by(best.found.jacobian, columns)[-1])
        low, high = (hypot(clock.value - end, half) for end in (clock.low, clock.high))
        clock = Clock(clock.value, clock.value - low, clock.value + high)
    return replace(best, fitted=widened_by(best.fitted, best.found, columns), clock=clock)


def _misfit(best: BestFit, times: Array) -> tuple[str, ...]:
    """Why a fit is none, in sentences; `times` (n,) residuals over what is expected of each."""
    told = pushed(best.fitted)
    if _rms(times) > TIMES:
        told = (
            f"what is left is {_rms(times):.1f} times what errors of thermocouple, place and mesh "
            f"explain; up to {TIMES:g} times passes",
            *told,
        )
    return told


def _causes(
    runs: ProbeRuns, readings: Readings, before: Curve, free_clock: bool, rms: float
) -> Planner[tuple[str, ...]]:
    """Mistakes without which the readings fit far better, each by a fit of its own."""
    told = []
    start = runs.source.case().surroundings.temperature
    for guess in guesses(before, readings, start):
        with suppress(MarchError):
            found = yield from best_fit(runs, guess.readings, free_clock)
            left = _rms(found.found.residuals)
            if left < 0.5 * rms and not pushed(found.fitted):
                told.append(f"if {guess.words}, they fit to {left:.1f} K")
    return tuple(told)


def _blind(best: BestFit, places: Places) -> tuple[str, ...]:
    """What the readings cannot determine, in sentences."""
    unknowns = [item.unknown for item in best.fitted]
    torn = {item.unknown.name for item in best.torn}
    jacobian = places.plain(best.found.jacobian)
    told = blind_spots(unknowns, jacobian, best.fitted, wide=torn)
    return told + tuple(
        f"{item.unknown.name} from {item.unknown.shown(item.low)} to "
        f"{item.unknown.shown(item.high)} fits as well, each with a clock of its own: note when "
        f"the arc struck, and it takes {item.unknown.sees}"
        for item in best.torn
    )


def _clock_hint(curve: Curve, readings: Readings, residuals: Array, expected: float) -> str:
    """Say so where another clock alone would halve the sum of squares."""
    late = best_clock(curve, readings)
    moved = off(curve, readings, late)
    squares, were = float(moved @ moved), float(residuals @ residuals)
    if squares >= 0.5 * were or _rms(residuals) <= expected:
        return ""
    return (
        f"with its clock some {late:+.0f} s off the record would fit far better, "
        f"{_rms(moved):.1f} K for {_rms(residuals):.1f} K: try --clock"
    )


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))
