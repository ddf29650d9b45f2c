"""The tables and keys of a case file: what each holds, its default, and its range.

This is the contract of the file in one place. Values are what the user wrote, in SI; a key whose
default depends on others is None here and filled in by `resolve`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from ..case import CONTROLS, ORDERS, STARTS, Limits, Probe
from ..units import (
    ANGLE,
    CURRENT,
    DIFFERENCE,
    FILM,
    LENGTH,
    NUMBER,
    SPEED,
    TEMPERATURE,
    TIME,
    VOLTAGE,
    Quantity,
)
from .alloy import AlloyTable, ConductivityTable, SpecificHeatTable
from .bench import BenchTable
from .fields import Name, Of, OneOf, Order, Range, Text
from .fixture import FixtureTable, TackTable
from .gauge import Wall
from .scatter import ScaleTable, ScatterTable
from .supplies import SuppliesTable
from .table import Table, key

__all__ = [
    "AlloyTable",
    "ArcTable",
    "CaseFile",
    "ConductivityTable",
    "FilletTable",
    "FixtureTable",
    "FlangeTable",
    "LapTable",
    "LimitsTable",
    "NumericsTable",
    "ProbeTable",
    "ScaleTable",
    "ScatterTable",
    "SpecificHeatTable",
    "SuppliesTable",
    "SurroundingsTable",
    "Table",
    "TackTable",
    "TravelTable",
    "TubeTable",
]

Alloyed = Annotated[str, Text("the name of an alloy")]
DEPTH = Of(LENGTH, "0 mm", "200 mm")
FILM_RANGE = Of(FILM, "0 W/(m^2 K)", "5000 W/(m^2 K)")


class TubeTable(Table):
    """The thin tube."""

    alloy: Alloyed = key(
        "304L", description="Built-in alloy, or one from [alloys.NAME].", examples=["316L"]
    )
    outside_diameter: Annotated[Quantity, Of(LENGTH, "3 mm", "500 mm")] = key(
        description="Outside diameter.", examples=["1.5 in", "38.1 mm"]
    )
    wall: Annotated[Quantity, Wall(LENGTH, "0.1 mm", "20 mm")] = key(
        description="Wall thickness; a gauge is BWG.", examples=["0.065 in", "1.65 mm", "16 ga"]
    )
    length: Annotated[Quantity | None, Of(LENGTH, "2 mm", "2000 mm")] = key(
        None,
        description="Free length beyond the flange's torch side; of a bead-on-tube the whole "
        "length. Left out: 3 x outside diameter, at most 150 mm.",
        examples=["110 mm"],
    )


class FlangeTable(Table):
    """The flange: a round plate, or the round plate of equal area."""

    alloy: Alloyed = key(
        "low-carbon steel",
        description="Built-in alloy, or one from [alloys.NAME].",
        examples=["low-carbon steel"],
    )
    thickness: Annotated[Quantity, Of(LENGTH, "0.3 mm", "100 mm")] = key(
        description="Thickness.", examples=["1/4 in", "6 mm"]
    )
    outside_diameter: Annotated[Quantity, Of(LENGTH, "5 mm", "1500 mm")] = key(
        description="Outside diameter.", examples=["4 in", "100 mm"]
    )


class LapTable(Table):
    """The tube in the flange's bore."""

    depth: Annotated[Quantity | None, Of(LENGTH, "0.1 mm", "100 mm")] = key(
        None,
        description="How far the tube enters the bore, from the torch side. Left out: the "
        "flange's thickness.",
        examples=["6 mm"],
    )
    clearance: Annotated[Quantity, Of(LENGTH, "0.005 mm", "2 mm")] = key(
        "0.1 mm", description="Radial gap, cold.", examples=["0.1 mm"]
    )


class FilletTable(Table):
    """The fillet of filler on the torch side."""

    filler: Alloyed = key(
        "CuSi3Mn1", description="Built-in alloy, or one from [alloys.NAME].", examples=["CuSi3Mn1"]
    )
    leg: Annotated[Quantity | None, Of(LENGTH, "0.5 mm", "25 mm")] = key(
        None,
        description="Equal legs on tube and flange. Left out: 2 x tube wall, at least 2 mm.",
        examples=["3 mm"],
    )
    wire_diameter: Annotated[Quantity, Of(LENGTH, "0.3 mm", "8 mm")] = key(
        "1.6 mm", description="Diameter of the filler rod.", examples=["1/16 in"]
    )
    stirring: Annotated[Quantity, Of(NUMBER, low=1, high=10)] = key(
        1.0,
        description="How many times better molten filler conducts than at rest, as the puddle "
        "stirs itself. 1, the cautious choice, leaves the root colder and the tube hotter; "
        "published factors for molten pools run to 4.",
        examples=[2.5],
    )


class ArcTable(Table):
    """The arc."""

    current: Annotated[Quantity, Of(CURRENT, "1 A", "1000 A")] = key(
        description="Arc current.", examples=["70 A"]
    )
    voltage: Annotated[Quantity | None, Of(VOLTAGE, "1 V", "100 V")] = key(
        None,
        description="Measured at the torch. Left out: from arc.length if given, else 10 V + "
        "0.04 V/A x current, said so in the report.",
        examples=["11 V"],
    )
    length: Annotated[Quantity | None, Of(LENGTH, "0.3 mm", "10 mm")] = key(
        None,
        description="Gap from tungsten tip to work. With the current it gives voltage, efficiency "
        "and spot where these are left out.",
        examples=["2.5 mm", "3/32 in"],
    )
    efficiency: Annotated[Quantity | None, Of(NUMBER, above=0, high=1)] = key(
        None,
        description="Share of volts x amps that enters the work. Left out: from arc.length if "
        "given, else 0.75 with a measured voltage, 0.63 with the conventional one.",
        examples=[0.75],
    )
    spot: Annotated[Quantity | None, Of(LENGTH, "0.2 mm", "10 mm")] = key(
        None,
        description="Standard deviation of the Gaussian heat flux across the torch axis. Left out: "
        "from arc.length if given, else 1.6 mm.",
        examples=["1.6 mm"],
    )
    work_angle: Annotated[Quantity, Of(ANGLE, "5 deg", "85 deg")] = key(
        "45 deg", description="Torch axis above the flange face.", examples=["45 deg"]
    )
    aim: Annotated[Quantity, Of(LENGTH, "-50 mm", "50 mm")] = key(
        "0 mm",
        description="Where the torch axis meets the flange face, outward from the tube surface.",
        examples=["1 mm"],
    )
    control: Annotated[str, OneOf(CONTROLS)] = key(
        "steady",
        description="Current as given, or a pedal that keeps the hottest base under the arc at "
        "hold, from the given current on.",
        examples=["pedal"],
    )
    hold: Annotated[Quantity | None, Of(TEMPERATURE, "50 degC", "3000 degC")] = key(
        None,
        description="What the pedal holds. Left out: 0.7 of the way from filler flow to the lower "
        "solidus of tube and flange.",
        examples=["1150 degC"],
    )
    current_range: Annotated[tuple[Quantity, ...] | None, Range(CURRENT, "0.1 A", "1500 A")] = key(
        None,
        description="Lowest and highest current of the pedal. Left out: 0.3 and 1.3 x current.",
        examples=[["20 A", "90 A"]],
    )
    pedal_lag: Annotated[Quantity, Of(TIME, "0.05 s", "10 s")] = key(
        "0.3 s",
        description="Time constant by which the current follows the eye.",
        examples=["0.3 s"],
    )


class TravelTable(Table):
    """How the arc steps round the ring."""

    speed: Annotated[Quantity, Of(SPEED, "0.05 mm/s", "200 mm/s")] = key(
        description="Along the tube surface.", examples=["2.5 mm/s", "6 in/min"]
    )
    segment: Annotated[Quantity, Of(LENGTH, "0.5 mm", "1600 mm")] = key(
        description="Longest segment along the tube surface; N = ceil(circumference / segment) "
        "equal ones close the ring.",
        examples=["15 mm", "5/8 in"],
    )
    overlap: Annotated[Quantity, Of(LENGTH, "0 mm", "100 mm")] = key(
        "0 mm", description="Run back over the last deposit.", examples=["2 mm"]
    )
    pause: Annotated[Quantity, Of(TIME, "0 s", "3600 s")] = key(
        description="Arc off between segments.", examples=["15 s"]
    )
    resume_below: Annotated[Quantity | None, Of(TEMPERATURE, "-50 degC", "1400 degC")] = key(
        None,
        description="Also wait until the next start point is below this. Left out: no wait.",
        examples=["150 degC"],
    )
    order: Annotated[str | tuple[int, ...], Order(ORDERS)] = key(
        "in-turn",
        description="Order of the segments, by name or as a list of segment numbers.",
        examples=["opposite", [1, 4, 2, 5, 3, 6]],
    )
    dwell: Annotated[Quantity, Of(TIME, "0 s", "120 s")] = key(
        "0 s", description="Arc held still before travel, with a timed start.", examples=["1 s"]
    )
    taper: Annotated[Quantity, Of(TIME, "0 s", "120 s")] = key(
        "0 s",
        description="Arc held still at a segment's end while its current falls to zero.",
        examples=["1 s"],
    )
    start: Annotated[str, OneOf(STARTS)] = key(
        "timed",
        description="Travel begins after the dwell, or when both sides at the start point have "
        "reached filler flow.",
        examples=["on-flow"],
    )
    dwell_limit: Annotated[Quantity, Of(TIME, "0.1 s", "600 s")] = key(
        "10 s",
        description="On-flow: travel begins after this time even without flow.",
        examples=["10 s"],
    )
    coverage: Annotated[Quantity, Of(NUMBER, above=0, high=1)] = key(
        1.0,
        description="Fraction of the ring to run, rounded to whole segments, at least one.",
        examples=[1.0],
    )


class SurroundingsTable(Table):
    """Air and films."""

    temperature: Annotated[Quantity, Of(TEMPERATURE, "-60 degC", "1000 degC")] = key(
        "20 degC", description="Air and start temperature.", examples=["20 degC", "68 degF"]
    )
    convection: Annotated[Quantity, FILM_RANGE] = key(
        "10 W/(m^2 K)", description="Film coefficient outside.", examples=["10 W/(m^2 K)"]
    )
    bore_convection: Annotated[Quantity, FILM_RANGE] = key(
        "5 W/(m^2 K)", description="Film coefficient in the bore.", examples=["5 W/(m^2 K)"]
    )


class LimitsTable(Table):
    """What counts as solid and as flowing."""

    base_margin: Annotated[Quantity, Of(DIFFERENCE, "0 K", "1000 K")] = key(
        "50 K",
        description="Base counts as solid when its peak stays this far below solidus.",
        examples=["50 K", "90 delta_degF"],
    )
    wet_fraction: Annotated[Quantity, Of(NUMBER, low=0.01, high=1)] = key(
        0.95,
        description="Filler counts as flowing when this share of each side is wet.",
        examples=[0.95],
    )
    flow_margin: Annotated[Quantity, Of(DIFFERENCE, "0 K", "500 K")] = key(
        f"{Limits.flow_margin:g} K",
        description="A face under the filler counts as wet when its peak gets this far above the "
        "filler's liquidus.",
        examples=["10 K", "45 delta_degF"],
    )
    dry_length: Annotated[Quantity, Of(LENGTH, "0 mm", "1000 mm")] = key(
        f"{1e3 * Limits.dry_length:g} mm",
        description="Longest dry stretch of a side, in one piece round the tube, that is accepted "
        "whatever the wet share.",
        examples=["3 mm", "1/8 in"],
    )
    filler_superheat: Annotated[Quantity | None, Of(DIFFERENCE, "0 K", "2000 K")] = key(
        None,
        description="How far the filler may peak above its liquidus. Left out: the report warns "
        "above 275 K and the verdict does not depend on it.",
        examples=["275 K"],
    )
    lap_filled: Annotated[Quantity, Of(NUMBER, low=0, high=1)] = key(
        Limits.lap_filled,
        description="Share of the lap that filler must fill. 0: the verdict does not depend on it.",
        examples=[0.5],
    )


class NumericsTable(Table):
    """How finely to compute."""

    detail: Annotated[str, OneOf(("coarse", "standard", "fine"))] = key(
        "standard", description="How fine the mesh is.", examples=["standard"]
    )


class ProbeTable(Table):
    """A thermocouple."""

    name: Annotated[str, Name()] = key(
        description="Heads its column of probes.csv.", examples=["toe"]
    )
    on: Annotated[str, OneOf(("tube", "flange"))] = key(
        description="Which part it sits on.", examples=["tube"]
    )
    angle: Annotated[Quantity, Of(ANGLE, "-360 deg", "360 deg")] = key(
        "0 deg",
        description="From the start of segment 1 (by `backstep` its end), in the direction in "
        "which segments are numbered.",
        examples=["90 deg"],
    )
    height: Annotated[Quantity | None, Of(LENGTH, "-2000 mm", "2000 mm")] = key(
        None,
        description="On the tube, required: along the axis from the flange face, or from the arc "
        "line of a bead-on-tube.",
        examples=["10 mm"],
    )
    radius: Annotated[Quantity | None, Of(LENGTH, "0 mm", "1500 mm")] = key(
        None,
        description="On the flange, required: outward from the tube surface.",
        examples=["10 mm"],
    )
    depth: Annotated[Quantity, DEPTH] = key(
        "0 mm", description="Below the torch-side surface.", examples=["0 mm"]
    )
    # common practice, no source: a welded junction is about 1 mm across
    place_error: Annotated[Quantity, Of(LENGTH, "0 mm", "10 mm")] = key(
        f"{1e3 * Probe.place_error:g} mm",
        description="How far from there it may sit along the surface, as a standard deviation: "
        "it widens the intervals of a calibration.",
        examples=["0.5 mm"],
    )


class CaseFile(Table):
    """A case: one braze, as a case file gives it."""

    title: Annotated[str | None, Text("one line of text")] = key(
        None, description="One line. Left out: the file's name.", examples=["Flue stub"]
    )
    joint: Annotated[str, OneOf(("tube-to-flange", "bead-on-tube"))] = key(
        "tube-to-flange",
        description="Tube through a flange bore with a fillet on the torch side, or the arc alone "
        "on a plain tube at mid-length, torch square to the wall.",
        examples=["tube-to-flange"],
    )
    tube: TubeTable = key(description="The thin tube.")
    flange: FlangeTable | None = key(None, description="The flange; none on a bead-on-tube.")
    lap: LapTable | None = key(None, description="The tube in the bore; none on a bead-on-tube.")
    fillet: FilletTable | None = key(None, description="The fillet; none on a bead-on-tube.")
    arc: ArcTable = key(description="The arc.")
    travel: TravelTable = key(description="How the arc steps round the ring.")
    tack: Annotated[list[TackTable], Field(max_length=100)] = key(
        [], description="Tacks: filler in place before the first segment."
    )
    fixture: FixtureTable = key({}, description="What holds the part and takes its heat.")
    surroundings: SurroundingsTable = key({}, description="Air and films.")
    limits: LimitsTable = key({}, description="What counts as solid and as flowing.")
    supplies: SuppliesTable = key({}, description="The torch gas.")
    numerics: NumericsTable = key({}, description="How finely to compute.")
    scale: ScaleTable = key({}, description="Factors on what the alloys' tables say.")
    scatter: ScatterTable = key({}, description="How far a real bench strays, for the risk.")
    bench: BenchTable = key({}, description="What `lapheat find` may choose from.")
    probe: Annotated[list[ProbeTable], Field(max_length=100)] = key(
        [], description="Thermocouples."
    )
    alloys: dict[str, AlloyTable] = key({}, description="Alloys of the user's own, by name.")
