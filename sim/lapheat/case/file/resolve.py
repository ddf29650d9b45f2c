"""Case file -> Case: defaults that depend on other keys are filled in here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any

from ..alloys import Alloy, builtin, builtin_name, builtin_names
from ..case import (
    Arc,
    Case,
    Choice,
    Display,
    Fillet,
    Flange,
    Lap,
    Limits,
    Probe,
    Scale,
    Spread,
    Surroundings,
    Travel,
    Tube,
)
from ..faults import shown
from ..keys.alloy import alloy_of
from ..keys.bench import BenchTable
from ..keys.fixture import fixture_of, tack_of
from ..keys.gauge import gauge_told
from ..keys.model import (
    ArcTable,
    CaseFile,
    LimitsTable,
    ProbeTable,
    Table,
)
from ..keys.scatter import ScaleTable
from ..keys.supplies import supplies_of
from ..torch import (
    SPOT_BAND,
    conventional_voltage,
    efficiency_of_length,
    spot_of_length,
    voltage_of_length,
)
from ..units import Quantity, rounded
from .assumed import assumed_of

__all__ = ["dotted", "resolve"]

# Of the way from filler flow to the base's solidus. With it the demo (1287 degC) and its like with
# a 0.049 in wall on a 3/8 in flange keep their margins; 75 K above flow left both cold.
USUAL_HOLD = 0.7
NO_SOLIDUS = 350.0  # [K] above flow, for a base that never melts
USUAL_SPOT = 1.6e-3  # [m]
ROD_TO_SPARE = 1.1  # heat of the pedal's lowest current over what melts the rod
USUAL_RANGE = (0.3, 1.3)  # of the current
FACTORS = ("clearance", "emissivity", "pedal_lag")  # of [scatter], whose spread is a factor
_IMPERIAL = ("inch", "foot", "yard", "thou")


def dotted(path: tuple[str | int, ...]) -> str:
    """Key at a path as messages say it: ("probe", 0, "on") is "probe[1].on"."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            plain = part.isascii() and part.replace("_", "").replace("-", "").isalnum()
            text += f".{part if plain else shown(part)}"
    return text.removeprefix(".")


def _given_keys(
    table: Table, path: tuple[str | int, ...] = ()
) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Path and value of every key the user wrote."""

    def walk(value: Any, at: tuple[str | int, ...]) -> Iterator[tuple[Any, Any]]:
        if isinstance(value, Table):
            yield from _given_keys(value, at)
        elif isinstance(value, dict):
            for name, item in value.items():
                yield from walk(item, (*at, name))
        elif isinstance(value, list):
            for index, item in enumerate(value):
                yield from walk(item, (*at, index))
        else:
            yield at, value

    for key in type(table).model_fields:
        if key in table.model_fields_set:
            yield from walk(getattr(table, key), (*path, key))


def _written(file: CaseFile) -> dict[str, str]:
    """What the user wrote, by dotted key."""
    texts = {}
    for path, value in _given_keys(file):
        if isinstance(value, Quantity):
            texts[dotted(path)] = value.text
        elif isinstance(value, tuple) and isinstance(value[0], Quantity):
            texts[dotted(path)] = shown([part.text for part in value])
        else:
            texts[dotted(path)] = value if isinstance(value, str) else shown(value)
    return texts


def _alloys(file: CaseFile, names: tuple[str, ...]) -> dict[str, Alloy]:
    """Alloys by the names in use; a name or a user's alloy that is faulty is left out."""
    found = {}
    for name in names:
        if name in file.alloys:
            # `checks` reports what is wrong with one that cannot be made.
            with suppress(ValueError, TypeError):
                found[name] = alloy_of(name, file.alloys[name])
        elif name in builtin_names():
            found[name] = builtin(name)
    return found


def called(name: str, own: Mapping[str, object]) -> str:
    """Name of the alloy that is meant: one of the user's own, or the built-in one so called."""
    # a refused name is no text
    known = None if name in own or not isinstance(name, str) else builtin_name(name)
    return name if known is None else known


def _usual_hold(filler: Alloy | None, base: list[Alloy]) -> float | None:
    """What the pedal holds if nothing is said [K]; None without a filler."""
    if filler is None or filler.liquidus is None:
        return None
    flow = filler.liquidus
    solidus = min((alloy.solidus for alloy in base if alloy.solidus is not None), default=None)
    room = NO_SOLIDUS if solidus is None else max(solidus - flow, 0.0)
    return rounded(flow + USUAL_HOLD * room)


def _arc(table: ArcTable, scale: ScaleTable, bead: bool, usual_hold: float | None) -> Arc:
    measured = table.voltage is not None
    current = float(table.current)
    length = None if table.length is None else float(table.length)
    if length is None:
        usual = {
            "voltage": conventional_voltage(current),
            "efficiency": 0.75 if measured else 0.63,
            "spot": USUAL_SPOT,
        }
    else:
        usual = {
            "voltage": rounded(voltage_of_length(length, current)),
            "efficiency": rounded(min(efficiency_of_length(length) * float(scale.efficiency), 1.0)),
            "spot": rounded(spot_of_length(length, current) * float(scale.spot)),
        }
    given = {name: getattr(table, name) for name in usual}
    taken = {name: usual[name] if given[name] is None else float(given[name]) for name in usual}
    pedal = table.current_range
    if pedal is None:
        pedal = tuple(Quantity(rounded(share * current)) for share in USUAL_RANGE)
    return Arc(
        current=current,
        voltage=taken["voltage"],
        voltage_measured=measured,
        efficiency=taken["efficiency"],
        spot=taken["spot"],
        work_angle=rounded(0.5 * math.pi) if bead else float(table.work_angle),
        aim=0.0 if bead else float(table.aim),
        control=table.control,
        hold=usual_hold if table.hold is None else float(table.hold),
        # a refused range is one NaN
        current_range=(float(pedal[0]), float(pedal[1]))
        if isinstance(pedal, tuple)
        else (math.nan, math.nan),
        pedal_lag=float(table.pedal_lag),
        length=length,
        derived=tuple(n for n in usual if given[n] is None) if length is not None else (),
    )


def _probe(table: ProbeTable) -> Probe:
    return Probe(
        name=table.name,
        on=table.on,
        angle=float(table.angle),
        height=0.0 if table.height is None else float(table.height),
        radius=0.0 if table.radius is None else float(table.radius),
        depth=float(table.depth),
        place_error=float(table.place_error),
    )


def _joint(file: CaseFile) -> tuple[Flange, Lap, Fillet] | tuple[None, None, None]:
    if file.flange is None or file.lap is None or file.fillet is None:
        return None, None, None
    thickness = float(file.flange.thickness)
    depth, leg = file.lap.depth, file.fillet.leg
    # NaN, a refused wall, stays NaN only as the first argument of max.
    usual_leg = rounded(max(2.0 * float(file.tube.wall), 2e-3))
    return (
        Flange(
            called(file.flange.alloy, file.alloys), thickness, float(file.flange.outside_diameter)
        ),
        Lap(thickness if depth is None else float(depth), float(file.lap.clearance)),
        Fillet(
            called(file.fillet.filler, file.alloys),
            usual_leg if leg is None else float(leg),
            float(file.fillet.wire_diameter),
            float(file.fillet.stirring),
        ),
    )


def _limits(table: LimitsTable) -> Limits:
    superheat = table.filler_superheat
    return Limits(
        base_margin=float(table.base_margin),
        wet_fraction=float(table.wet_fraction),
        flow_margin=float(table.flow_margin),
        dry_length=float(table.dry_length),
        filler_superheat=None if superheat is None else float(superheat),
        lap_filled=float(table.lap_filled),
    )


def _scatter(file: CaseFile, arc: Arc) -> dict[str, Spread]:
    """Spread by name; its unit distinguishes an amount from a share."""
    table, spreads = file.scatter, {}
    for name in type(table).model_fields:
        if file.joint == "bead-on-tube" and name in ("aim", "work_angle", "clearance"):
            continue
        if name == "arc_length" and not arc.derived:
            continue
        if name in ("hold", "pedal_lag") and arc.control != "pedal":
            continue
        value = getattr(table, name)
        if name == "spot" and name in arc.derived and name not in table.model_fields_set:
            value = Quantity(SPOT_BAND)
        way = "share" if value.unit in ("", "percent") else "amount"
        spreads[name] = Spread(float(value), "factor" if name in FACTORS else way)
    return spreads


def _choice(table: BenchTable) -> Choice:
    def ends(given: Any) -> tuple[float, float]:  # a refused range is one NaN
        if not isinstance(given, tuple):
            return math.nan, math.nan
        return float(given[0]), float(given[1])

    hands = table.hand if isinstance(table.hand, tuple) else ()
    return Choice(
        ends(table.current_range), ends(table.speed_range), ends(table.segment_range), hands
    )


def _travel(file: CaseFile) -> Travel:
    table = file.travel
    below = table.resume_below
    return Travel(
        speed=float(table.speed),
        segment=float(table.segment),
        pause=float(table.pause),
        overlap=float(table.overlap),
        resume_below=None if below is None else float(below),
        order=table.order if isinstance(table.order, str | tuple) else "in-turn",
        dwell=float(table.dwell),
        taper=float(table.taper),
        coverage=float(table.coverage),
        start=table.start,
        dwell_limit=float(table.dwell_limit),
    )


def _display(file: CaseFile) -> Display:
    units = [value.unit for _, value in _given_keys(file) if isinstance(value, Quantity)]
    return Display(
        length="in" if file.tube.outside_diameter.unit in _IMPERIAL else "mm",
        temperature="degF" if "degree_Fahrenheit" in units else "degC",
    )


def _melting_range(case: Case) -> Case:
    """Case whose pedal goes down no further than melts the rod: for a range that was left out."""
    arc, rod = case.arc, case.rod_power
    least = min(ROD_TO_SPARE * rod, 0.5 * (rod + arc.power))
    low, high = arc.current_range
    if not arc.power_at(low) < least < arc.power:
        return case
    while high - low > 0.05:  # the power of an arc grows with its current
        middle = 0.5 * (low + high)
        low, high = (middle, high) if arc.power_at(middle) < least else (low, middle)
    raised = rounded(math.ceil(10.0 * high) / 10.0), arc.current_range[1]
    return replace(case, arc=replace(arc, current_range=raised))


def resolve(file: CaseFile, name: str) -> Case:
    """Fill in every default.

    Parameters
    ----------
    file : what was read; refused values in it are NaN and stay so
    name : title where the file gives none
    """
    bead = file.joint == "bead-on-tube"
    flange, lap, fillet = _joint(file)
    diameter = float(file.tube.outside_diameter)
    length = file.tube.length
    tube = Tube(
        alloy=called(file.tube.alloy, file.alloys),
        outside_diameter=diameter,
        wall=float(file.tube.wall),
        length=rounded(min(3.0 * diameter, 0.15)) if length is None else float(length),
    )
    air = float(file.surroundings.temperature)
    fixture = fixture_of(file.fixture, air)
    if fixture.chill is not None:
        chill = replace(fixture.chill, alloy=called(fixture.chill.alloy, file.alloys))
        fixture = replace(fixture, chill=chill)
    names = [tube.alloy]
    if flange is not None and fillet is not None:
        names += [flange.alloy, fillet.filler]
    if fixture.chill is not None:
        names.append(fixture.chill.alloy)
    alloys = _alloys(file, tuple(dict.fromkeys(names)))
    filler = alloys.get(fillet.filler) if fillet is not None else None
    base = [alloys[part.alloy] for part in (tube, flange) if part and part.alloy in alloys]
    arc = _arc(file.arc, file.scale, bead, _usual_hold(filler, base))
    case = Case(
        title=file.title or name,
        joint=file.joint,
        tube=tube,
        flange=flange,
        lap=lap,
        fillet=fillet,
        arc=arc,
        travel=_travel(file),
        surroundings=Surroundings(
            temperature=air,
            convection=float(file.surroundings.convection),
            bore_convection=float(file.surroundings.bore_convection),
        ),
        limits=_limits(file.limits),
        supplies=supplies_of(file.supplies),
        detail=file.numerics.detail,
        probes=tuple(_probe(table) for table in file.probe),
        tacks=tuple(tack_of(table) for table in file.tack),
        fixture=fixture,
        alloys=alloys,
        scale=Scale(
            conductivity=float(file.scale.conductivity),
            emissivity=float(file.scale.emissivity),
            efficiency=float(file.scale.efficiency),
            spot=float(file.scale.spot),
        ),
        scatter=_scatter(file, arc),
        choice=Choice() if bead else _choice(file.bench),
        display=_display(file),
        written=_written(file),
    )
    if arc.control == "pedal" and file.arc.current_range is None:
        case = _melting_range(case)
    gauge = gauge_told(file.tube.wall)
    told = assumed_of(case)
    return replace(case, assumed=(*([] if gauge is None else [gauge]), *told))
