"""What a calibration may fit: its key in a case, and how far it can reasonably go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...case.case import Case
from ...case.faults import did_you_mean
from ...case.file import CaseError, Fault
from ...case.units import (
    FILM,
    LENGTH,
    NUMBER,
    Kind,
    UnitError,
    read_quantity,
    rounded,
    write_quantity,
)

__all__ = ["KNOWN", "Unknown", "unknowns_of"]


@dataclass(frozen=True)
class Unknown:
    """One input to fit.

    Attributes
    ----------
    name : as `--fit` has it
    key : of the case file
    kind : its dimension
    start : in the case [SI]
    low, high : bounds [SI]
    sees : what a measurement needs to see it
    """

    name: str
    key: str
    kind: Kind
    start: float
    low: float
    high: float
    sees: str

    def text(self, value: float) -> str:
        """Write a value [SI] as a case file would."""
        return write_quantity(rounded(value), self.kind)

    def shown(self, value: float) -> str:
        """Write a value [SI] for a person, to three digits."""
        number, _, unit = self.text(value).partition(" ")
        return f"{float(number):.3g} {unit}".strip()


# Bounds: published arc efficiencies run from 0.36 to 0.90 (Stenbacka, Choquet and Hurtig 2012),
# films of free convection in gases from 2 to 25 W/(m2 K) and of forced from 25 to 250 (Cengel);
# the rest is what a case file could sensibly hold.
KNOWN: dict[str, tuple[str, Kind, float, float, str]] = {
    "efficiency": (
        *("arc.efficiency", NUMBER, 0.2, 1.0),
        "a probe that the arc warms by some hundred kelvin",
    ),
    "spot": (
        *("arc.spot", LENGTH, 0.5e-3, 6e-3),
        "a probe within about two spots of the arc's path",
    ),
    "convection": (
        *("surroundings.convection", FILM, 1.0, 250.0),
        "readings of the slow cooling, long after the last arc",
    ),
    "bore_convection": (
        *("surroundings.bore_convection", FILM, 0.5, 250.0),
        "readings of the slow cooling, long after the last arc",
    ),
    "clearance": (
        *("lap.clearance", LENGTH, 0.01e-3, 1e-3),
        "probes on both sides of the lap, on the tube and on the flange",
    ),
    "emissivity": (
        *("scale.emissivity", NUMBER, 0.2, 3.0),
        "a probe that stays hot, above 500 degC, for a while after the arc",
    ),
}


def unknowns_of(case: Case, fit: str, bounds: Sequence[str] = ()) -> tuple[Unknown, ...]:
    """Unknowns by name, with their bounds.

    Parameters
    ----------
    case : gives the start
    fit : names with commas between
    bounds : "NAME=LOW:HIGH" texts

    Raises
    ------
    CaseError
        A name is not known or is given twice, or bounds cannot be.
    """
    faults: list[Fault] = []
    found: dict[str, Unknown] = {}
    known = [name for name in KNOWN if name != "clearance" or case.lap is not None]
    for name in (part.strip() for part in fit.split(",")):
        if name not in known:
            allowed = f"names with commas between: {', '.join(known)}"
            faults.append(Fault("", "--fit", f'"{name}"', allowed, did_you_mean(name, known)))
        elif name in found:
            faults.append(Fault("", "--fit", f'"{name}"', "each name once"))
        else:
            found[name] = _unknown(case, name)
    for text in bounds:
        name, _, ends = (part.strip() for part in text.partition("="))
        unknown = found.get(name)
        if unknown is None:
            if not faults:
                allowed = f"NAME=LOW:HIGH of what is fitted: {', '.join(found)}"
                faults.append(Fault("", "--bounds", f'"{text}"', allowed))
            continue
        try:
            found[name] = _bounded(unknown, ends)
        except (UnitError, ValueError) as error:
            allowed = (
                f"NAME=LOW:HIGH with {unknown.kind.name} each, LOW below HIGH, and between them "
                f"the case's own {unknown.shown(unknown.start)}"
            )
            faults.append(Fault("", "--bounds", f'"{text}"', allowed, str(error)))
    if faults:
        raise CaseError(faults)
    return tuple(found.values())


def _bounded(unknown: Unknown, ends: str) -> Unknown:
    """Unknown with the bounds of "LOW:HIGH".

    Raises
    ------
    UnitError, ValueError
        They are not of its kind, or do not enclose its start.
    """
    low, mark, high = ends.partition(":")
    if not mark:
        raise ValueError("there is no : between them")
    least = float(read_quantity(low.strip(), unknown.kind))
    most = float(read_quantity(high.strip(), unknown.kind))
    if not 0.0 < least <= unknown.start <= most or least == most:
        raise ValueError("")
    return replace(unknown, low=least, high=most)


def _unknown(case: Case, name: str) -> Unknown:
    key, kind, low, high, sees = KNOWN[name]
    start = {
        "efficiency": case.arc.efficiency,
        "spot": case.arc.spot,
        "convection": case.surroundings.convection,
        "bore_convection": case.surroundings.bore_convection,
        "clearance": case.lap.clearance if case.lap else 0.0,
        "emissivity": case.scale.emissivity,
    }[name]
    start = max(start, 1e-3 * high)  # a film of 0 has no size to step by
    return Unknown(name, key, kind, start, min(low, start), max(high, start), sees)
