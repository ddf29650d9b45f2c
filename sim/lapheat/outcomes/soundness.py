"""Will the joint be sound: sensitised tube, liquid copper on steel, heat tint, cooled flange."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from ..case.case import Case
from ..constants import ZERO_CELSIUS
from ..history.records import Exposure, History, SurfacePeaks
from ..history.wetting import share_above
from ..problem.clocks import is_copper, is_steel

__all__ = ["FILLET_ON_LAP", "TINT", "SoundnessOutcome", "cooling_estimate", "soundness_of"]

Array = NDArray[np.float64]
Number = float | None

# [K] A chart of one hour in air has brown at 390 and blue at 540 degC (read in copies). For the
# seconds of a braze 400 degC is common practice, no source.
TINT = 400.0 + ZERO_CELSIUS
# shape factors F2 and F3 of a fillet on a lap joint, EN 1011-2 annex D (from memory)
FILLET_ON_LAP = (0.7, 0.67)


@dataclass(frozen=True)
class SoundnessOutcome:
    """What the temperatures did to base and joint; null where it does not apply.

    Attributes
    ----------
    lap_filled : share of the lap's area that filler reached
    hot_clearance_m : smallest radial gap of the lap while filler could still enter; below 0 the
        tube would outgrow its bore by so much
    sensitised_fraction : largest share used of the time to sensitise, by the tube's own carbon,
        unstrained
    sensitised_fraction_cold_worked : the same, were the tube worked cold by 20 %
    sensitised_fraction_as_304 : the same, were the tube 304 with 0.07 % carbon
    sensitised_surface : surface of the tube with the largest share
    sensitised_height_m : height of that spot
    liquid_copper_s : longest time a steel surface under copper-based filler spent above the
        filler's solidus, a flange that transforms above its A3 too
    tube_liquid_copper_s : the same of the tube
    flange_liquid_copper_s : the same of the flange
    tint_width_m : length of the tube above 400 degC outside, from the fillet's toe (on a bead, from
        the arc line)
    bore_tint_m : length of the bore above 400 degC
    flange_t85_s : median time from 800 to 500 degC of the flange surface that was austenite
    flange_t85_shortest_s : shortest time from 800 to 500 degC of that surface
    flange_t85_en_s : EN 1011-2 annex D at the same heat per length
    flange_above_a1_s : longest time of a flange surface above A1
    notes : why what is null is not known, and where the tube's carbon is from
    """

    lap_filled: float
    hot_clearance_m: float
    sensitised_fraction: Number
    sensitised_fraction_cold_worked: Number
    sensitised_fraction_as_304: Number
    sensitised_surface: str | None
    sensitised_height_m: Number
    liquid_copper_s: Number
    tube_liquid_copper_s: Number
    flange_liquid_copper_s: Number
    tint_width_m: float
    bore_tint_m: float
    flange_t85_s: Number
    flange_t85_shortest_s: Number
    flange_t85_en_s: Number
    flange_above_a1_s: Number
    notes: tuple[str, ...]


def soundness_of(history: History) -> SoundnessOutcome:
    """Read soundness off a run."""
    case, exposure = history.case, history.exposure
    brazed = case.brazed
    own, cold, as_304, place = _sensitised(history, exposure)
    copper: dict[str, Number] = dict.fromkeys(("tube", "flange"))
    cooling, above = np.empty(0), None
    if exposure is not None and brazed is not None:
        copper = {
            part: float(exposure.copper[part].max()) if is_copper(brazed.filler) and steel else None
            for part, steel in _steels(case)
        }
        cooling = exposure.cooling[np.isfinite(exposure.cooling)]
        if case.alloys[brazed.flange.alloy].a1 is not None:
            above = float(exposure.above_a1.max())
    told = [time for time in copper.values() if time is not None]
    outside, bore = history.surfaces["tube outside"], history.surfaces["tube bore"]
    return SoundnessOutcome(
        lap_filled=nan if brazed is None else history.lap_filled,
        hot_clearance_m=nan if brazed is None else history.hot_clearance,
        sensitised_fraction=own,
        sensitised_fraction_cold_worked=cold,
        sensitised_fraction_as_304=as_304,
        sensitised_surface=None if place is None else place[0],
        sensitised_height_m=None if place is None else place[1],
        liquid_copper_s=max(told) if told else None,
        tube_liquid_copper_s=copper["tube"],
        flange_liquid_copper_s=copper["flange"],
        tint_width_m=_hot_length(outside, 0.0 if brazed is None else brazed.fillet.leg),
        bore_tint_m=_hot_length(bore, float(bore.edges[0])),
        flange_t85_s=float(np.median(cooling)) if cooling.size else None,
        flange_t85_shortest_s=float(cooling.min()) if cooling.size else None,
        flange_t85_en_s=_estimate(history, case) if cooling.size else None,
        flange_above_a1_s=above,
        notes=tuple(_notes(case, cooled=bool(cooling.size))),
    )


def _sensitised(
    history: History, exposure: Exposure | None
) -> tuple[Number, Number, Number, tuple[str, float] | None]:
    """Largest share by each curve, and where that of the tube's own is: surface, height [m]."""
    if exposure is None or not all(len(used) for used in exposure.sensitised.values()):
        return None, None, None, None
    most = np.max([used.max(axis=(1, 2)) for used in exposure.sensitised.values()], axis=0)
    top = max(exposure.sensitised, key=lambda name: float(exposure.sensitised[name][0].max()))
    row = int(exposure.sensitised[top][0].max(axis=1).argmax())
    own, cold, as_304 = map(float, most)
    return own, cold, as_304, (top, float(history.surfaces[top].position[row]))


def _hot_length(surface: SurfacePeaks, begin: float) -> float:
    """Longest stretch of a surface that peaked above `TINT`, from `begin` on [m].

    Peaks run in straight lines from face to face and stay level beyond the outermost.
    """
    at, end = surface.position, float(surface.edges[-1])
    inside = at > begin
    first = np.array([np.interp(begin, at, column) for column in surface.peak.T])
    peak = np.concatenate([first[None], surface.peak[inside], surface.peak[-1:]])
    share = share_above(peak, np.concatenate([[begin], at[inside], [end]]), TINT)
    return float(share.max()) * (end - begin)


def cooling_estimate(heat: float, thickness: float, start: float) -> float:
    """Time from 800 to 500 degC beside a fillet on a lap joint by EN 1011-2 annex D [s].

    ``(4300 - 4.3 T_0) 1e5 (Q/d)^2 [1/(500 - T_0)^2 - 1/(800 - T_0)^2] F2`` in thin plate,
    ``(6700 - 5 T_0) Q [1/(500 - T_0) - 1/(800 - T_0)] F3`` in thick: the longer holds. Q in kJ/mm,
    d in mm, T_0 in degC. The formulas are as quoted in two copies of an article; the standard
    itself was not seen. They hold for a long straight seam on a wide plate of unalloyed or
    low-alloy ferritic steel, within 10 % (from memory).

    Parameters
    ----------
    heat : per length [J/m]
    thickness : of the plate [m]
    start : temperature of the plate before the arc [K]

    Returns
    -------
    time : nan where the plate starts at 500 degC or above
    """
    preheat, kilojoules, depth = start - ZERO_CELSIUS, heat * 1e-6, thickness * 1e3
    if preheat >= 500.0:
        return nan
    low, high = 1.0 / (500.0 - preheat), 1.0 / (800.0 - preheat)
    thin, thick = FILLET_ON_LAP
    return max(
        (4300.0 - 4.3 * preheat) * 1e5 * (kilojoules / depth) ** 2 * (low**2 - high**2) * thin,
        (6700.0 - 5.0 * preheat) * kilojoules * (low - high) * thick,
    )


def _estimate(history: History, case: Case) -> Number:
    """Give the standard's time at this run's heat over the seam it laid, from its coldest start."""
    laid = sum(abs(run.to_angle - run.from_angle) for run in history.segments) * case.tube.radius
    heat = (history.ledger.arc + history.ledger.filler) / laid
    start = min(run.start_temperature for run in history.segments)
    return None if case.flange is None else cooling_estimate(heat, case.flange.thickness, start)


def _steels(case: Case) -> Iterator[tuple[str, bool]]:
    yield "tube", is_steel(case.alloys[case.tube.alloy])
    if case.flange is not None:
        yield "flange", is_steel(case.alloys[case.flange.alloy])


def _notes(case: Case, cooled: bool) -> list[str]:
    told = []
    tube = case.alloys[case.tube.alloy]
    if tube.carbon is None:
        told.append(f"sensitisation: {tube.name} has no carbon of an austenitic stainless steel")
    elif "carbon" in tube.sources:
        told.append(f"{tube.name} carbon, {tube.carbon:g} %: {tube.sources['carbon']}")
    if case.flange is None:
        return told
    flange = case.alloys[case.flange.alloy]
    if case.brazed is not None and not is_copper(case.brazed.filler):
        told.append(
            f"liquid copper: {case.brazed.filler.name} is not known to be copper-based, as a name "
            "that begins with Cu would say"
        )
    else:
        told += [
            f"liquid copper on the {part}: its alloy is not known to be a steel, as it has no "
            "carbon, A1 or A3"
            for part, steel in _steels(case)
            if not steel
        ]
    lacks = [name for name, value in (("A1", flange.a1), ("A3", flange.a3)) if value is None]
    if lacks:
        told.append(f"cooling of the flange: {flange.name} has no {' and no '.join(lacks)}")
    elif not cooled:
        told.append(
            "cooling of the flange: none of its surface passed A3 and fell from 800 to 500 degC"
        )
    return told
