"""`[scale]` and `[scatter]`: factors on alloy properties, and how far a real bench strays.

Each default of `[scatter]` is beside its source; `common practice, no source` marks those
that have none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic.json_schema import JsonSchemaValue

from ..units import (
    ANGLE,
    CURRENT,
    DIFFERENCE,
    LENGTH,
    NUMBER,
    SPEED,
    Kind,
    Quantity,
    UnitError,
    read_quantity,
)
from .fields import Entry, Of, refuse
from .table import Table, key

__all__ = ["WIDEST", "ScaleTable", "ScatterTable", "Share"]

WIDEST = (
    0.6  # share of a value; half as much again, where the scatter is cut off, leaves it positive
)


@dataclass(frozen=True)
class Share(Entry):
    """Half a spread: a share of the value, or with `kind` also an amount with its unit."""

    kind: Kind

    @property
    def allowed(self) -> str:
        """Share, or amount."""
        share = f'a share of the value from 0 to {WIDEST:.0%}, such as "5 %"'
        return (
            share
            if self.kind is NUMBER
            else f"{share}, or {self.kind.name}, the same on both sides"
        )

    @property
    def schema(self) -> JsonSchemaValue:
        """Text with a unit or a percent sign, or a plain number."""
        return {"anyOf": [{"type": "number", "minimum": 0, "maximum": WIDEST}, {"type": "string"}]}

    def read(self, given: Any) -> Quantity:
        """Share or SI amount; the unit tells which."""
        try:
            value = read_quantity(given, NUMBER)
        except UnitError as error:
            if self.kind is NUMBER:
                raise refuse(self.allowed, str(error)) from error
            try:
                value = read_quantity(given, self.kind)
            except UnitError:
                raise refuse(self.allowed) from error
            if value < 0.0:
                raise refuse(self.allowed, "both sides are meant: leave the sign out") from error
            return value
        if not 0.0 <= value <= WIDEST:
            raise refuse(self.allowed)
        return value


FACTOR = Of(NUMBER, 1, 10)
SCALE = Of(NUMBER, 0.2, 5)


class ScaleTable(Table):
    """Factors on what the alloys' tables say."""

    conductivity: Annotated[Quantity, SCALE] = key(
        1.0, description="On the conductivity of every alloy of the joint.", examples=[1.0]
    )
    emissivity: Annotated[Quantity, SCALE] = key(
        1.0,
        description="On the emissivity of every alloy of the joint; none becomes more than 1.",
        examples=[1.0],
    )

    efficiency: Annotated[Quantity, SCALE] = key(
        1.0,
        description="On the efficiency that arc.length gives; the product is no more than 1.",
        examples=[1.0],
    )
    spot: Annotated[Quantity, SCALE] = key(
        1.0, description="On the spot that arc.length gives.", examples=[1.0]
    )


class ScatterTable(Table):
    """How far a real bench strays from the case, for `lapheat risk`.

    95 % lie within the half spread given, on either side, or within the factor given, up or down;
    0 (a factor of 1) takes an input out.
    """

    # Meters of welding equipment within 2.5 % of full scale, IEC 60974-14:2018 as cited by third
    # parties; here at half scale.
    current: Annotated[Quantity, Share(CURRENT)] = key(
        "5 %", description="Of the arc current: 95 % within, either side.", examples=["3 A"]
    )
    # 95 % of the published values lie from 0.73 to 0.82 (DC, electrode negative): Stenbacka,
    # Choquet and Hurtig, IIW XII-2070-12 (2012).
    efficiency: Annotated[Quantity, Share(NUMBER)] = key(
        "6 %", description="Of the arc efficiency: 95 % within, either side.", examples=["6 %"]
    )
    # common practice, no source: a hand at an arc of 2 to 3 mm
    arc_length: Annotated[Quantity, Share(LENGTH)] = key(
        "30 %",
        description="Of arc.length where it is given: 95 % within, either side. Volts, efficiency "
        "and spot go with it.",
        examples=["0.8 mm"],
    )
    # common practice, no source: it follows the arc length a hand holds. Where arc.length gives
    # the spot, this is what stays uncertain of that relation.
    spot: Annotated[Quantity, Share(LENGTH)] = key(
        "20 %", description="Of the spot: 95 % within, either side.", examples=["0.3 mm"]
    )
    # common practice, no source: a hand without a turntable
    speed: Annotated[Quantity, Share(SPEED)] = key(
        "15 %", description="Of the travel speed: 95 % within, either side.", examples=["0.3 mm/s"]
    )
    # common practice, no source
    aim: Annotated[Quantity, Of(LENGTH, "0 mm", "20 mm")] = key(
        "0.5 mm", description="Of the aim: 95 % within, either side.", examples=["0.5 mm"]
    )
    # Two short searches found no figure of how well a hand keeps it, so it varies only where a case
    # says so.
    work_angle: Annotated[Quantity, Of(ANGLE, "0 deg", "10 deg")] = key(
        "0 deg",
        description="Of arc.work_angle: 95 % within, either side; 0 deg leaves it out.",
        examples=["5 deg"],
    )
    # ASTM A269: 10 % from 12.7 mm outside diameter; EN ISO 1127 class T3, which EN 10217-7 takes
    # for welded tube: 10 %, at least 0.2 mm. Both as tabulated by third parties.
    wall: Annotated[Quantity, Share(LENGTH)] = key(
        "10 %", description="Of the tube wall: 95 % within, either side.", examples=["0.2 mm"]
    )
    # Outside diameter within 0.5 %, at least 0.1 mm (EN ISO 1127 class D4): on the radius 0.05 to
    # 0.1 mm for tubes up to 40 mm, which opens a gap of 0.1 mm to twice or shuts it to a half.
    clearance: Annotated[Quantity, FACTOR] = key(
        2.0, description="On the clearance: 95 % within this factor, up or down.", examples=[2.0]
    )
    # Band stated with the recommended values of K. C. Mills for 316 (2002).
    conductivity: Annotated[Quantity, Share(NUMBER)] = key(
        "10 %", description="Of all conductivities: 95 % within, either side.", examples=["10 %"]
    )
    # Published values of 18-8 steel, bright to oxidised, run from 0.16 to 0.85 about the 0.4 of
    # EN 1993-1-2 annex C: see the alloys' own data.
    emissivity: Annotated[Quantity, FACTOR] = key(
        2.0, description="On emissivities: 95 % within this factor, up or down.", examples=[2.0]
    )
    # common practice, no source: how far an eye misjudges the heat it holds from one joint to the
    # next. Colour temperature by eye is said to be good to about 50 K at best (from memory).
    hold: Annotated[Quantity, Of(DIFFERENCE, "0 K", "300 K")] = key(
        "60 K",
        description="Of arc.hold under a pedal, from one joint to the next: 95 % within, either "
        "side.",
        examples=["60 K"],
    )
    # common practice, no source
    pedal_lag: Annotated[Quantity, FACTOR] = key(
        2.0, description="On arc.pedal_lag: 95 % within this factor, up or down.", examples=[2.0]
    )
