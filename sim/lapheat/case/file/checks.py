"""Faults that no single key shows: joints that cannot exist, orders and probes that do not fit.

Every check compares floats. A value refused before is NaN and fails no comparison, so a fault is
reported once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from ..alloys import builtin_names, trade_names
from ..case import Case, Fillet, Flange, Lap, Probe
from ..faults import did_you_mean
from ..finding import Finding, Path, Say
from ..keys.alloy import alloy_of
from ..keys.fields import REFUSED
from ..keys.fixture import of_held
from ..keys.model import AlloyTable, CaseFile, ConductivityTable, ProbeTable, SpecificHeatTable
from ..keys.scatter import WIDEST
from ..units import ANGLE, CURRENT, LENGTH, SPEED, TEMPERATURE

__all__ = ["Finding", "findings"]

LEAST_RISE = 100.0  # [K] above the air that a pedal can hold
COOLEST_WAIT = 5.0  # [K] above the air; nearer than this, waiting takes too long


def findings(file: CaseFile, case: Case) -> Iterator[Finding]:
    """All faults between keys.

    Parameters
    ----------
    file : as read; refused values are NaN
    case : the same, resolved
    """
    say = Say(case)
    yield from _of_alloys(file, case)
    yield from _of_tube(case, say)
    if case.flange and case.lap and case.fillet:
        yield from _of_joint(case, case.flange, case.lap, case.fillet, say)
    yield from _of_travel(case, say)
    yield from of_held(file.fixture, case, say)
    yield from _of_hand(case, say)
    yield from _of_probes(file, case, say)
    yield from _of_scatter(case, say)
    yield from _of_length(case)


def _of_tube(case: Case, say: Say) -> Iterator[Finding]:
    radius = case.tube.radius
    if case.tube.wall >= radius:
        yield Finding(
            ("tube", "wall"),
            f"a wall thinner than the tube's radius, {say(radius)}",
            "is the wall given where the diameter belongs?",
        )


def _of_joint(case: Case, flange: Flange, lap: Lap, fillet: Fillet, say: Say) -> Iterator[Finding]:
    tube = case.tube
    if lap.depth > flange.thickness:
        yield Finding(
            ("lap", "depth"),
            f"at most the flange thickness, {say(flange.thickness)}",
            "left out, it is the flange thickness",
        )
    smallest = tube.outside_diameter + 2.0 * fillet.leg
    if flange.outside_diameter <= smallest:
        yield Finding(
            ("flange", "outside_diameter"),
            f"above {say(smallest)}: the tube and a fillet leg on either side",
        )
    if fillet.leg >= tube.length:
        yield Finding(
            ("fillet", "leg"), f"a leg shorter than the tube's free length, {say(tube.length)}"
        )
    if fillet.leg <= lap.clearance:
        yield Finding(
            ("fillet", "leg"), f"a leg longer than the clearance it bridges, {say(lap.clearance)}"
        )
    rim = 0.5 * flange.outside_diameter - tube.radius
    if case.arc.aim >= rim > 0.0:
        yield Finding(("arc", "aim"), f"less than {say(rim)}: beyond it lies the flange's rim")
    top = tube.length / math.tan(case.arc.work_angle)
    if -case.arc.aim >= top:
        yield Finding(
            ("arc", "aim"),
            f"above {say(-top)}: below that, the torch axis passes over the tube's end",
        )


def _of_travel(case: Case, say: Say) -> Iterator[Finding]:
    travel, ring = case.travel, case.tube.circumference
    if travel.segment > ring:
        yield Finding(("travel", "segment"), f"at most the tube's circumference, {say(ring)}")
    elif travel.segment > 0.0 and ring > 0.0:
        yield from _of_segments(case, say)
    below, air = travel.resume_below, case.surroundings.temperature
    if below is not None and below < air + COOLEST_WAIT:
        yield Finding(
            ("travel", "resume_below"),
            f"at least {say(air + COOLEST_WAIT, TEMPERATURE)}: "
            f"{COOLEST_WAIT:g} K above the surroundings",
            "the work never cools to the air's own temperature",
        )


def _of_hand(case: Case, say: Say) -> Iterator[Finding]:
    arc, air = case.arc, case.surroundings.temperature
    if case.travel.start == "on-flow" and case.joint == "bead-on-tube":
        yield Finding(
            ("travel", "start"),
            '"timed": a bead-on-tube has no filler whose flow could be waited for',
            "give travel.dwell instead",
        )
    if arc.control != "pedal":
        return
    if arc.hold is None:
        if case.joint == "bead-on-tube":
            allowed = "a temperature: a bead-on-tube has no filler whose flow would give it"
            yield Finding(("arc", "hold"), allowed, "the pedal needs it", "nothing")
    elif arc.hold < air + LEAST_RISE:
        yield Finding(
            ("arc", "hold"),
            f"at least {say(air + LEAST_RISE, TEMPERATURE)}: {LEAST_RISE:g} K above the "
            "surroundings",
        )
    low, high = arc.current_range
    if arc.current < low or arc.current > high:
        yield Finding(
            ("arc", "current_range"),
            f"a range that holds arc.current, {say(arc.current, CURRENT)}: the pedal starts there",
        )


def _of_segments(case: Case, say: Say) -> Iterator[Finding]:
    travel, count = case.travel, case.segment_count
    length = case.tube.circumference / count
    if travel.overlap >= length:
        yield Finding(
            ("travel", "overlap"), f"less than one segment, {say(length)} ({count} close the ring)"
        )
    if isinstance(travel.order, str):
        return
    allowed = f"a list of segment numbers from 1 to {count}"
    strange = [number for number in travel.order if number > count]
    if strange:
        yield Finding(
            ("travel", "order"),
            allowed,
            f"there is no segment {strange[0]}: {count} segments close this ring",
        )
    if not math.isfinite(travel.coverage):
        return
    runs = max(1, round(travel.coverage * count))
    if len(travel.order) < runs and not strange:
        missing = [number for number in range(1, count + 1) if number not in travel.order]
        yield Finding(
            ("travel", "order"),
            f"{allowed}, at least {runs} of them",
            f"it names {len(travel.order)}; missing: {', '.join(map(str, missing[:12]))}"
            + (" ..." if len(missing) > 12 else ""),
        )


def _of_alloys(file: CaseFile, case: Case) -> Iterator[Finding]:
    known = (*builtin_names(), *file.alloys)
    allowed = f"a built-in alloy ({', '.join(builtin_names())}) or one of your own [alloys.NAME]"
    uses: list[tuple[Path, object]] = [(("tube", "alloy"), case.tube.alloy)]
    if case.flange and case.fillet:
        uses.append((("flange", "alloy"), case.flange.alloy))
        uses.append((("fillet", "filler"), case.fillet.filler))
    if case.fixture.chill:
        uses.append((("fixture", "chill_alloy"), case.fixture.chill.alloy))
    for path, name in uses:
        if not isinstance(name, str):
            continue
        if name not in known:
            yield Finding(path, allowed, did_you_mean(name, (*known, *trade_names())))
        elif path[0] == "fillet" and name in case.alloys and case.alloys[name].solidus is None:
            yield Finding(
                path,
                "an alloy that melts: one with solidus, liquidus and latent_heat",
                f"give [alloys.{name}] the three melting keys",
            )
    for name, table in file.alloys.items():
        yield from _of_alloy(name, table)


def _of_alloy(name: str, table: AlloyTable) -> Iterator[Finding]:
    path: Path = ("alloys", name)
    if name in builtin_names():
        yield Finding(path, "a name that is not a built-in alloy's", "choose another name", name)
    if not name.strip() or not name.isprintable() or len(name) > 60:
        yield Finding(path, "a name of 1 to 60 printable characters", given=name)
    melting = {
        "solidus": table.solidus,
        "liquidus": table.liquidus,
        "latent_heat": table.latent_heat,
    }
    absent = [key for key, value in melting.items() if value is None]
    if absent and len(absent) < len(melting):
        for key in absent:
            yield Finding(
                (*path, key),
                "all three melting keys (solidus, liquidus, latent_heat), or none of them",
                "without phase change leave out all three",
                "nothing",
            )
    wrong = False
    if table.solidus and table.liquidus and table.solidus > table.liquidus:
        wrong = True
        yield Finding((*path, "solidus"), f"at most the liquidus, {table.liquidus.text}")
    if table.a1 and table.a3 and table.a1 > table.a3:
        wrong = True
        yield Finding((*path, "a1"), f"at most a3, {table.a3.text}")
    for key in ("conductivity", "specific_heat"):
        curve = getattr(table, key)
        if isinstance(curve, ConductivityTable | SpecificHeatTable):
            for finding in _of_curve((*path, key), curve):
                wrong = True
                yield finding
    complete = len(absent) in (0, len(melting)) and not wrong and not _any_refused(table)
    if complete:
        try:
            alloy_of(name, table)
        except ValueError as error:
            yield Finding(path, "numbers that an alloy can have", str(error), name)


def _any_refused(table: AlloyTable) -> bool:
    def refused(value: object) -> bool:
        if isinstance(value, ConductivityTable | SpecificHeatTable):
            return refused(value.temperature) or refused(value.value)
        if isinstance(value, list):
            return any(map(refused, value))
        return isinstance(value, float) and math.isnan(value)

    return any(refused(getattr(table, key)) for key in type(table).model_fields)


def _of_curve(path: Path, curve: ConductivityTable | SpecificHeatTable) -> Iterator[Finding]:
    if not isinstance(curve.temperature, list) or not isinstance(curve.value, list):
        return
    count = len(curve.temperature)
    if count != len(curve.value):
        yield Finding(
            (*path, "value"),
            f"as many values as temperatures: {count}",
            given=f"{len(curve.value)} values",
        )
    if count < 2:
        yield Finding(
            (*path, "temperature"),
            "at least two temperatures",
            "a property that does not change is one quantity, not a table",
            given="nothing" if count == 0 else f"{count}",
        )
    for index, (low, high) in enumerate(pairwise(curve.temperature), start=1):
        if low >= high:
            yield Finding((*path, "temperature", index), f"rising: above {low.text}")


def _of_scatter(case: Case, say: Say) -> Iterator[Finding]:
    """Amounts so large that a bench would now and then leave what the key allows."""
    values = {
        "current": (case.arc.current, CURRENT),
        "arc_length": (case.arc.length or 0.0, LENGTH),
        "spot": (case.arc.spot, LENGTH),
        "speed": (case.travel.speed, SPEED),
        "wall": (case.tube.wall, LENGTH),
    }
    for name, (value, kind) in values.items():
        spread = case.scatter.get(name)
        if spread is not None and spread.way == "amount" and spread.size > WIDEST * value:
            yield Finding(
                ("scatter", name), f"at most {say(WIDEST * value, kind)}, {WIDEST:.0%} of the value"
            )
    turned, angle = case.scatter.get("work_angle"), case.arc.work_angle
    room = max(0.0, min(angle - math.radians(5.0), math.radians(85.0) - angle) / 1.5)
    if turned is not None and turned.size > room + 1e-9:
        yield Finding(
            ("scatter", "work_angle"),
            f"at most {say(room, ANGLE)}: a bench strays by 1.5 times that at most, and "
            "arc.work_angle stays within 5 and 85 deg",
        )


def _of_length(case: Case) -> Iterator[Finding]:
    """Factors on what `arc.length` gives, where it gives nothing."""
    for name in ("efficiency", "spot"):
        if getattr(case.scale, name) != 1.0 and name not in case.arc.derived:
            yield Finding(
                ("scale", name),
                f"1: it multiplies the {name} that arc.length gives, and arc.{name} does not "
                "come from a length here",
                f"give arc.length and leave arc.{name} out, or change arc.{name}",
            )


def _of_probes(file: CaseFile, case: Case, say: Say) -> Iterator[Finding]:
    first: dict[str, int] = {}
    for index, (table, probe) in enumerate(zip(file.probe, case.probes, strict=True)):
        path: Path = ("probe", index)
        if isinstance(table.name, str):
            if table.name in first:
                yield Finding(
                    (*path, "name"), f"a name of its own: probe[{first[table.name] + 1}] has it"
                )
            first.setdefault(table.name, index)
        if table.on == "flange" and case.flange is None and case.joint == "bead-on-tube":
            yield Finding((*path, "on"), '"tube": a bead-on-tube has no flange')
        elif table.on in ("tube", "flange"):
            for finding in _of_probe(table, probe, case, say):
                yield replace(finding, path=(*path, *finding.path))


def _of_probe(table: ProbeTable, probe: Probe, case: Case, say: Say) -> Iterator[Finding]:
    """Findings with paths inside the probe's own table."""
    mine, other = ("height", "radius") if probe.on == "tube" else ("radius", "height")
    if getattr(table, other) is not None:
        yield Finding((other,), f"nothing: a probe on the {probe.on} stands at a {mine}")
    if probe.on == "flange" and case.flange is not None and case.lap is not None:
        low, high = case.lap.clearance, 0.5 * case.flange.outside_diameter - case.tube.radius
        place, thickness, part = probe.radius, case.flange.thickness, "thickness"
    elif case.joint == "bead-on-tube":
        low, high = -0.5 * case.tube.length, 0.5 * case.tube.length
        place, thickness, part = probe.height, case.tube.wall, "wall"
    else:
        low, high = -(case.lap.depth if case.lap else math.nan), case.tube.length
        place, thickness, part = probe.height, case.tube.wall, "wall"
    reach = f"on the {probe.on}: from {say(low)} to {say(high)}"
    given = getattr(table, mine)
    if given is None:
        yield Finding((mine,), f"a {mine} {reach}", "this probe needs it", "nothing")
    elif given is not REFUSED and (place < low or place > high):
        yield Finding((mine,), f"a {mine} {reach}")
    if probe.depth > thickness:
        yield Finding(("depth",), f"at most the {probe.on}'s {part}, {say(thickness)}")
