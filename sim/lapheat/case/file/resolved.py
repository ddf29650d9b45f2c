"""A resolved case as rows of key and value, the one list that writing and checking go by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..case import Case
from ..faults import shown
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
    Kind,
    si_text,
)

__all__ = ["Row", "resolved_rows", "rows_of"]

Value = str | float | tuple[float, ...] | tuple[str, ...] | None


@dataclass(frozen=True)
class Row:
    """One key; `kind` None for text and for an order. `value` None: nothing, the key is off."""

    key: str
    value: Value
    kind: Kind | None = None

    @property
    def si(self) -> str:
        """Value in SI, for people."""
        if self.value is None:
            return "none"
        if self.kind is not None and isinstance(self.value, float):
            return si_text(self.value, self.kind)
        if isinstance(self.value, tuple):
            kind = self.kind
            return shown(
                [v if kind is None or isinstance(v, str) else si_text(v, kind) for v in self.value]
            )
        return str(self.value)


def rows_of(case: Case) -> Iterator[Row]:
    """Every key of the case but those of its alloys, in the order of a case file."""
    yield Row("title", case.title)
    yield Row("joint", case.joint)
    yield Row("tube.alloy", case.tube.alloy)
    yield Row("tube.outside_diameter", case.tube.outside_diameter, LENGTH)
    yield Row("tube.wall", case.tube.wall, LENGTH)
    yield Row("tube.length", case.tube.length, LENGTH)
    if case.flange and case.lap and case.fillet:
        yield Row("flange.alloy", case.flange.alloy)
        yield Row("flange.thickness", case.flange.thickness, LENGTH)
        yield Row("flange.outside_diameter", case.flange.outside_diameter, LENGTH)
        yield Row("lap.depth", case.lap.depth, LENGTH)
        yield Row("lap.clearance", case.lap.clearance, LENGTH)
        yield Row("fillet.filler", case.fillet.filler)
        yield Row("fillet.leg", case.fillet.leg, LENGTH)
        yield Row("fillet.wire_diameter", case.fillet.wire_diameter, LENGTH)
        yield Row("fillet.stirring", case.fillet.stirring, NUMBER)
    arc, travel, air = case.arc, case.travel, case.surroundings
    yield Row("arc.current", arc.current, CURRENT)
    yield Row("arc.length", arc.length, LENGTH)
    yield Row("arc.voltage", arc.voltage, VOLTAGE)
    yield Row("arc.efficiency", arc.efficiency, NUMBER)
    yield Row("arc.spot", arc.spot, LENGTH)
    if case.flange:
        yield Row("arc.work_angle", arc.work_angle, ANGLE)
        yield Row("arc.aim", arc.aim, LENGTH)
    yield Row("arc.control", arc.control)
    yield Row("arc.hold", arc.hold, TEMPERATURE)
    yield Row("arc.current_range", arc.current_range, CURRENT)
    yield Row("arc.pedal_lag", arc.pedal_lag, TIME)
    yield Row("travel.speed", travel.speed, SPEED)
    yield Row("travel.segment", travel.segment, LENGTH)
    yield Row("travel.overlap", travel.overlap, LENGTH)
    yield Row("travel.pause", travel.pause, TIME)
    yield Row("travel.resume_below", travel.resume_below, TEMPERATURE)
    yield Row("travel.order", travel.order)
    yield Row("travel.dwell", travel.dwell, TIME)
    yield Row("travel.taper", travel.taper, TIME)
    yield Row("travel.start", travel.start)
    yield Row("travel.dwell_limit", travel.dwell_limit, TIME)
    yield Row("travel.coverage", travel.coverage, NUMBER)
    yield from _held(case)
    yield Row("surroundings.temperature", air.temperature, TEMPERATURE)
    yield Row("surroundings.convection", air.convection, FILM)
    yield Row("surroundings.bore_convection", air.bore_convection, FILM)
    yield Row("limits.base_margin", case.limits.base_margin, DIFFERENCE)
    yield Row("limits.wet_fraction", case.limits.wet_fraction, NUMBER)
    yield Row("limits.flow_margin", case.limits.flow_margin, DIFFERENCE)
    yield Row("limits.dry_length", case.limits.dry_length, LENGTH)
    yield Row("limits.filler_superheat", case.limits.filler_superheat, DIFFERENCE)
    yield Row("limits.lap_filled", case.limits.lap_filled, NUMBER)
    yield Row("numerics.detail", case.detail)
    yield Row("scale.conductivity", case.scale.conductivity, NUMBER)
    yield Row("scale.emissivity", case.scale.emissivity, NUMBER)
    if arc.derived:
        yield Row("scale.efficiency", case.scale.efficiency, NUMBER)
        yield Row("scale.spot", case.scale.spot, NUMBER)
    for name, spread in case.scatter.items():
        kind = {"current": CURRENT, "speed": SPEED, "hold": DIFFERENCE}.get(name, LENGTH)
        yield Row(f"scatter.{name}", spread.size, kind if spread.way == "amount" else NUMBER)
    if case.flange:
        yield Row("bench.current_range", case.choice.current, CURRENT)
        yield Row("bench.speed_range", case.choice.speed, SPEED)
        yield Row("bench.segment_range", case.choice.segment, LENGTH)
        yield Row("bench.hand", case.choice.hands)
    for index, probe in enumerate(case.probes, start=1):
        key = f"probe[{index}]"
        yield Row(f"{key}.name", probe.name)
        yield Row(f"{key}.on", probe.on)
        yield Row(f"{key}.angle", probe.angle, ANGLE)
        if probe.on == "tube":
            yield Row(f"{key}.height", probe.height, LENGTH)
        else:
            yield Row(f"{key}.radius", probe.radius, LENGTH)
        yield Row(f"{key}.depth", probe.depth, LENGTH)


def _held(case: Case) -> Iterator[Row]:
    """Tacks, chill and bench, where there are any."""
    for index, tack in enumerate(case.tacks, start=1):
        key = f"tack[{index}]"
        yield Row(f"{key}.angle", tack.angle, ANGLE)
        yield Row(f"{key}.length", tack.length, LENGTH)
        if tack.current is not None:
            yield Row(f"{key}.current", tack.current, CURRENT)
            yield Row(f"{key}.time", tack.time, TIME)
    chill, bench = case.fixture.chill, case.fixture.bench
    if chill is not None:
        yield Row("fixture.chill_alloy", chill.alloy)
        yield Row("fixture.chill_length", chill.length, LENGTH)
        yield Row("fixture.chill_wall", chill.wall, LENGTH)
        yield Row("fixture.chill_conductance", chill.conductance, FILM)
    if bench is not None:
        yield Row("fixture.bench_conductance", bench.conductance, FILM)
        yield Row("fixture.bench_temperature", bench.temperature, TEMPERATURE)


def resolved_rows(case: Case) -> list[tuple[str, str, str]]:
    """Rows for a person: key, text as given (or "default"), value in SI."""
    return [(row.key, case.written.get(row.key, "default"), row.si) for row in rows_of(case)]
