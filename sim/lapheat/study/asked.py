"""What a calibration is asked, checked before anything is run: for its command and its function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from ..case.case import Case
from ..case.file import CaseError, Fault
from ..case.units import DIFFERENCE, LENGTH, Kind, UnitError, read_quantity
from .calibration.answers import Answers, answers_of
from .calibration.answers import most_runs as most_of_answers
from .calibration.caliper.fit import Caliper, advised, fit_beads
from .calibration.caliper.fit import most_runs as most_of_beads
from .calibration.caliper.tracks import BeadRuns
from .calibration.measured import Beads, Readings, TrialPieces, read_measured
from .calibration.points import AnswerRuns, ProbeRuns
from .calibration.readings import Calibration, calibrate
from .calibration.readings import most_runs as most_of_readings
from .calibration.unknowns import unknowns_of
from .runs import Planner, Source

__all__ = ["Asked", "Fits", "calibration_of"]

Fits = Calibration | Answers | Caliper


class Asked(NamedTuple):
    """A calibration to come, and its runs at most and at least.

    Each is at the mesh of the fit and at the case's own. At least there is one Jacobian.
    """

    planner: Planner[Fits]
    most: tuple[int, int]
    least: tuple[int, int]


def calibration_of(
    source: Source,
    measured: Path,
    fit: str | None,
    bounds: Sequence[str],
    clock: bool,
    scatter: str,
    reading_error: str,
    detail: str,
) -> Asked:
    """Read what was measured and plan the fit to it.

    Parameters
    ----------
    source : the case
    measured : file of thermocouples, widths of beads, or trials
    fit : names of the unknowns, with commas between; None: those that such a file tells
    bounds : "NAME=LOW:HIGH" texts
    clock : the record may have begun before or after the arc
    scatter : of trials, how much peaks differ from one to the next
    reading_error : of a width
    detail : mesh of the fit

    Raises
    ------
    CaseError
        The file, or something asked for, is refused.
    """
    case = source.case()
    given = read_measured(measured, [probe.name for probe in case.probes])
    pieces = isinstance(given, TrialPieces)
    unknowns = unknowns_of(case, fit or ("efficiency" if pieces else "efficiency,spot"), bounds)
    spread = _difference("--scatter", scatter, DIFFERENCE, "a temperature difference", "40 K")
    reading = _difference("--reading-error", reading_error, LENGTH, "a length", "0.3 mm")
    if clock and not isinstance(given, Readings):
        raise CaseError.one("", "--clock", "on", "nothing: only thermocouples have a clock")
    if isinstance(given, TrialPieces):
        _check_pieces(given, case, measured)
    if isinstance(given, Beads):
        given = _checked(given, case, measured)

    of, points = (source, unknowns, detail), 1 + len(unknowns)
    if isinstance(given, Readings):
        probes = ProbeRuns(*of, given.names, until=float(given.time[-1]))
        planner = calibrate(probes, given, clock)
        return Asked(planner, most_of_readings(probes, clock), (points, 0))
    if isinstance(given, Beads):
        beads = zip(given.current.tolist(), given.speed.tolist(), strict=True)
        tracks = BeadRuns(*of, tuple(beads))
        least = points * len(set(tracks.beads))
        return Asked(_beads(tracks, given, reading), (most_of_beads(tracks, given), 0), (least, 0))
    tries = AnswerRuns(*of, np.unique(given.current))
    least = points * len(tries.currents)
    return Asked(answers_of(tries, given, spread), (most_of_answers(tries), 0), (least, 0))


def _beads(tracks: BeadRuns, beads: Beads, reading: float) -> Planner[Fits]:
    fitted = yield from fit_beads(tracks, beads, reading)
    return (yield from advised(tracks, fitted))


def _difference(option: str, text: str, kind: Kind, what: str, example: str) -> float:
    allowed = f"{what} above 0, such as {example}"
    try:
        value = float(read_quantity(text, kind))
    except UnitError as error:
        raise CaseError.one("", option, text, allowed, str(error)) from None
    if value <= 0.0:
        raise CaseError.one("", option, text, allowed)
    return value


def _checked(beads: Beads, case: Case, file: Path) -> Beads:
    """Beads with the case's speed where the file has none.

    Raises
    ------
    CaseError
        The case is no steady bead on a tube, or a width is longer than its tube.
    """
    faults = []
    if case.joint != "bead-on-tube":
        faults.append(Fault(case.file, "joint", case.joint, '"bead-on-tube" for widths of beads'))
    if case.arc.control != "steady":
        allowed = '"steady" for widths of beads: the file gives their currents'
        faults.append(Fault(case.file, "arc.control", case.arc.control, allowed))
    wide = np.flatnonzero((beads.widths >= case.tube.length).any(axis=1))
    if wide.size:
        longest = f"widths below tube.length, {1e3 * case.tube.length:.4g} mm"
        faults.append(Fault(str(file), f"bead {wide[0] + 1}", "a longer width", longest))
    if faults:
        raise CaseError(faults)
    return replace(beads, speed=np.where(np.isnan(beads.speed), case.travel.speed, beads.speed))


def _check_pieces(pieces: TrialPieces, case: Case, file: Path) -> None:
    """Refuse answers to what cannot happen to this joint."""
    faults = []
    alloys = [case.tube.alloy] + ([case.flange.alloy] if case.flange else [])
    if np.isfinite(pieces.wet).any() and case.fillet is None:
        faults.append(Fault(str(file), "wet", "answers", "none: a bead-on-tube has no filler"))
    if np.isfinite(pieces.melted).any() and all(case.alloys[p].solidus is None for p in alloys):
        faults.append(Fault(str(file), "melted", "answers", "none: the case's alloys never melt"))
    if faults:
        raise CaseError(faults)
