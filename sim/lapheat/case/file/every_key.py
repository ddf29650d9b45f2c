"""Every key of a resolved case and its value: for writing, checking, and telling runs apart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..case import Case, Display
from ..faults import shown
from ..units import (
    ANGLE,
    CURRENT,
    DIFFERENCE,
    FILM,
    FLOW,
    LENGTH,
    NUMBER,
    SPEED,
    TEMPERATURE,
    TIME,
    VOLTAGE,
    Kind,
    in_unit,
    si_text,
)

__all__ = ["Setting", "idle_keys", "resolved_rows", "settings_of", "told_settings"]

Value = str | float | tuple[float, ...] | tuple[str, ...] | None


@dataclass(frozen=True)
class Setting:
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

    def shown(self, display: Display, by_hand: bool = False) -> str:
        """Value in a user's units.

        Parameters
        ----------
        display : the user's units
        by_hand : lengths as a person can set them, to three digits
        """
        if self.kind is None or not isinstance(self.value, float | tuple):
            return self.si
        ends = self.value if isinstance(self.value, tuple) else (self.value,)
        units = {
            LENGTH: display.length,
            SPEED: "in/min" if display.length == "in" else SPEED.resolved,
            TEMPERATURE: display.temperature,
            DIFFERENCE: "delta_degF" if display.temperature == "degF" else DIFFERENCE.resolved,
        }
        unit = units.get(self.kind, self.kind.resolved)
        digits = 3 if self.kind is LENGTH and by_hand else 4
        numbers = (_number(in_unit(float(v), self.kind, unit), digits, unit) for v in ends)
        return f"{' to '.join(numbers)} {unit.removeprefix('delta_')}".strip()


def _number(value: float, digits: int, unit: str) -> str:
    """Say a number; three digits of inches in thousandths, if within 2 %: 0.004 for 0.00394."""
    if unit == "in" and digits == 3 and abs(round(value, 3) - value) <= 0.02 * abs(value):
        value = round(value, 3)
    return f"{value:.{digits}g}"


def settings_of(case: Case) -> Iterator[Setting]:
    """Every key of the case but those of its alloys, in the order of a case file."""
    yield Setting("title", case.title)
    yield Setting("joint", case.joint)
    yield Setting("tube.alloy", case.tube.alloy)
    yield Setting("tube.outside_diameter", case.tube.outside_diameter, LENGTH)
    yield Setting("tube.wall", case.tube.wall, LENGTH)
    yield Setting("tube.length", case.tube.length, LENGTH)
    if case.flange and case.lap and case.fillet:
        yield Setting("flange.alloy", case.flange.alloy)
        yield Setting("flange.thickness", case.flange.thickness, LENGTH)
        yield Setting("flange.outside_diameter", case.flange.outside_diameter, LENGTH)
        yield Setting("lap.depth", case.lap.depth, LENGTH)
        yield Setting("lap.clearance", case.lap.clearance, LENGTH)
        yield Setting("fillet.filler", case.fillet.filler)
        yield Setting("fillet.leg", case.fillet.leg, LENGTH)
        yield Setting("fillet.wire_diameter", case.fillet.wire_diameter, LENGTH)
        yield Setting("fillet.stirring", case.fillet.stirring, NUMBER)
    arc, travel, air = case.arc, case.travel, case.surroundings
    yield Setting("arc.current", arc.current, CURRENT)
    yield Setting("arc.length", arc.length, LENGTH)
    yield Setting("arc.voltage", arc.voltage, VOLTAGE)
    yield Setting("arc.efficiency", arc.efficiency, NUMBER)
    yield Setting("arc.spot", arc.spot, LENGTH)
    if case.flange:
        yield Setting("arc.work_angle", arc.work_angle, ANGLE)
        yield Setting("arc.aim", arc.aim, LENGTH)
    yield Setting("arc.control", arc.control)
    yield Setting("arc.hold", arc.hold, TEMPERATURE)
    yield Setting("arc.current_range", arc.current_range, CURRENT)
    yield Setting("arc.pedal_lag", arc.pedal_lag, TIME)
    yield Setting("travel.speed", travel.speed, SPEED)
    yield Setting("travel.segment", travel.segment, LENGTH)
    yield Setting("travel.overlap", travel.overlap, LENGTH)
    yield Setting("travel.pause", travel.pause, TIME)
    yield Setting("travel.resume_below", travel.resume_below, TEMPERATURE)
    yield Setting("travel.order", travel.order)
    yield Setting("travel.dwell", travel.dwell, TIME)
    yield Setting("travel.taper", travel.taper, TIME)
    yield Setting("travel.start", travel.start)
    yield Setting("travel.dwell_limit", travel.dwell_limit, TIME)
    yield Setting("travel.coverage", travel.coverage, NUMBER)
    yield from _held(case)
    yield Setting("surroundings.temperature", air.temperature, TEMPERATURE)
    yield Setting("surroundings.convection", air.convection, FILM)
    yield Setting("surroundings.bore_convection", air.bore_convection, FILM)
    yield Setting("limits.base_margin", case.limits.base_margin, DIFFERENCE)
    yield Setting("limits.wet_fraction", case.limits.wet_fraction, NUMBER)
    yield Setting("limits.flow_margin", case.limits.flow_margin, DIFFERENCE)
    yield Setting("limits.dry_length", case.limits.dry_length, LENGTH)
    yield Setting("limits.filler_superheat", case.limits.filler_superheat, DIFFERENCE)
    yield Setting("limits.lap_filled", case.limits.lap_filled, NUMBER)
    gas = case.supplies
    yield Setting("supplies.argon_flow", gas.argon_flow, FLOW)
    yield Setting("supplies.pre_flow", gas.pre_flow, TIME)
    yield Setting("supplies.post_flow", gas.post_flow, TIME)
    yield Setting("numerics.detail", case.detail)
    yield Setting("scale.conductivity", case.scale.conductivity, NUMBER)
    yield Setting("scale.emissivity", case.scale.emissivity, NUMBER)
    if arc.derived:
        yield Setting("scale.efficiency", case.scale.efficiency, NUMBER)
        yield Setting("scale.spot", case.scale.spot, NUMBER)
    kinds = {"current": CURRENT, "speed": SPEED, "work_angle": ANGLE, "hold": DIFFERENCE}
    for name, spread in case.scatter.items():
        kind = kinds.get(name, LENGTH)
        yield Setting(f"scatter.{name}", spread.size, kind if spread.way == "amount" else NUMBER)
    if case.flange:
        yield Setting("bench.current_range", case.choice.current, CURRENT)
        yield Setting("bench.speed_range", case.choice.speed, SPEED)
        yield Setting("bench.segment_range", case.choice.segment, LENGTH)
        yield Setting("bench.hand", case.choice.hands)
    for index, probe in enumerate(case.probes, start=1):
        key = f"probe[{index}]"
        yield Setting(f"{key}.name", probe.name)
        yield Setting(f"{key}.on", probe.on)
        yield Setting(f"{key}.angle", probe.angle, ANGLE)
        if probe.on == "tube":
            yield Setting(f"{key}.height", probe.height, LENGTH)
        else:
            yield Setting(f"{key}.radius", probe.radius, LENGTH)
        yield Setting(f"{key}.depth", probe.depth, LENGTH)
        yield Setting(f"{key}.place_error", probe.place_error, LENGTH)


def _held(case: Case) -> Iterator[Setting]:
    """Tacks, chill and bench, where there are any."""
    for index, tack in enumerate(case.tacks, start=1):
        key = f"tack[{index}]"
        yield Setting(f"{key}.angle", tack.angle, ANGLE)
        yield Setting(f"{key}.length", tack.length, LENGTH)
        if tack.current is not None:
            yield Setting(f"{key}.current", tack.current, CURRENT)
            yield Setting(f"{key}.time", tack.time, TIME)
    chill, bench = case.fixture.chill, case.fixture.bench
    if chill is not None:
        yield Setting("fixture.chill_alloy", chill.alloy)
        yield Setting("fixture.chill_length", chill.length, LENGTH)
        yield Setting("fixture.chill_wall", chill.wall, LENGTH)
        yield Setting("fixture.chill_conductance", chill.conductance, FILM)
    if bench is not None:
        yield Setting("fixture.bench_conductance", bench.conductance, FILM)
        yield Setting("fixture.bench_temperature", bench.temperature, TEMPERATURE)


def idle_keys(case: Case) -> frozenset[str]:
    """Keys that change nothing in a run of this case: those of a hand that does not serve."""
    pedal = {"arc.hold", "arc.current_range", "arc.pedal_lag"}
    flows = case.travel.start == "on-flow"
    waits = {"travel.dwell" if flows else "travel.dwell_limit"}
    return frozenset(waits if case.arc.control == "pedal" else waits | pedal)


def told_settings(case: Case) -> Iterator[Setting]:
    """Keys for a person: all that the case gives, and each default that has an effect."""
    idle = idle_keys(case) - set(case.written)
    yield from (row for row in settings_of(case) if row.key not in idle)


def resolved_rows(case: Case) -> list[tuple[str, str, str]]:
    """Rows for a person: key, text as given or default in the case's own units, value in SI."""

    def given(row: Setting) -> str:
        # a file takes differences in K, or with another unit's longer name
        told = row.si if row.kind is DIFFERENCE else row.shown(case.display, by_hand=True)
        table, _, name = row.key.partition(".")
        source = "from arc.length" if table == "arc" and name in case.arc.derived else "default"
        return case.written.get(row.key, f"{told} ({source})")

    return [(row.key, given(row), row.si) for row in told_settings(case)]
