"""What a report must say of a case: conventions, keys without effect, what was never tested."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Arc, Case
from ..torch import EFFICIENCY_BAND, SHORT, SHORT_VOLTS_BAND, SPOT_BAND, VOLTAGE_BAND
from ..units import TEMPERATURE, rounded, write_quantity
from .tested import outside_of

__all__ = ["assumed_of"]


def assumed_of(case: Case) -> Iterator[str]:
    """Sentences for the report and for `lapheat check`."""
    arc, fillet = case.arc, case.fillet
    if fillet is not None and fillet.stirring > 1.0:
        yield (
            f"Molten filler conducts {fillet.stirring:.3g} times as well as at rest "
            "(fillet.stirring): without that the tube is hotter and the root colder."
        )
    if arc.derived:
        yield _of_length(arc)
    elif not arc.voltage_measured:
        yield (
            f"No arc voltage was given: {arc.voltage:.4g} V was taken, by the convention 10 V + "
            f"0.04 V/A x current, with {arc.efficiency:.3g} of volts x amps entering the work."
        )
    yield from _of_hand(case)
    yield from outside_of(case)


def _of_length(arc: Arc) -> str:
    length = arc.length or 0.0
    volts = VOLTAGE_BAND * max(0.0, length - SHORT) + SHORT_VOLTS_BAND
    bands = {
        "voltage": f"{arc.voltage:.3g} V ({arc.voltage - volts:.3g} to {arc.voltage + volts:.3g})",
        "efficiency": f"an efficiency of {arc.efficiency:.2g} "
        f"({arc.efficiency * (1.0 - EFFICIENCY_BAND):.2g} to "
        f"{arc.efficiency * (1.0 + EFFICIENCY_BAND):.2g})",
        "spot": f"a spot of {1e3 * arc.spot:.2g} mm ({1e3 * arc.spot * (1.0 - SPOT_BAND):.2g} to "
        f"{1e3 * arc.spot * (1.0 + SPOT_BAND):.2g})",
    }
    *most, last = (bands[name] for name in arc.derived)
    listed = f"{', '.join(most)} and {last}" if most else last
    return (
        f"An arc {1e3 * length:.3g} mm long at {arc.current:.3g} A was taken to have {listed}: "
        "partly read, partly estimated. Measured volts and a test bead are better."
    )


def _of_hand(case: Case) -> Iterator[str]:
    """Settings of the hand that cannot do what they are meant to."""
    arc, travel = case.arc, case.travel
    if travel.start == "on-flow" and travel.dwell > 0.0:
        yield 'travel.dwell has no effect: with travel.start = "on-flow" the arc waits for flow.'
    filler = None if case.fillet is None else case.alloys.get(case.fillet.filler)
    if arc.control != "pedal" or arc.hold is None or filler is None or filler.liquidus is None:
        return

    def told(kelvin: float) -> str:
        unit = case.display.temperature
        number, _, unit = write_quantity(rounded(kelvin), TEMPERATURE, unit).partition(" ")
        return f"{float(number):.4g} {unit}"

    if arc.hold < filler.liquidus + case.limits.flow_margin:
        yield (
            f"arc.hold, {told(arc.hold)}, is below what wets, {told(filler.liquidus)} and "
            "limits.flow_margin: no start will flow."
        )
    parts = [("tube", case.tube.alloy)]
    if case.flange is not None:
        parts.append(("flange", case.flange.alloy))
    for name, alloy in parts:
        solidus = case.alloys[alloy].solidus if alloy in case.alloys else None
        if solidus is not None and arc.hold > solidus - case.limits.base_margin:
            yield (
                f"arc.hold, {told(arc.hold)}, leaves the {name} less than limits.base_margin to "
                f"its solidus, {told(solidus)}."
            )
