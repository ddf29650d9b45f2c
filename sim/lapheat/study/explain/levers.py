"""The keys that act in a case: where each stands, where else it can be set, and a first step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

from ...case.case import Case
from ...case.file.every_key import settings_of
from ...case.units import ANGLE, TEMPERATURE, in_unit, read_quantity, unit_in, write_quantity
from ...constants import ZERO_CELSIUS
from ..runs.executors import Row
from ..runs.settable import STEPS, settings_between

__all__ = ["Lever", "Setting", "levers_of", "most_levers"]

MM = 1e-3  # [m]
DEG = float(read_quantity("1 deg", ANGLE))
HOLD = (25.0, 30.0)  # [K] above the filler's flow, and below the lower solidus of the base
NEAR = 0.3  # steps: a setting nearer than this to the case's own is the same one
STANDS = 30.0  # [s] a hand waits for flow at most: common practice, no source
WAITS = 20.0  # [K] above the air at least, to wait for: nearer takes too long
# [K] of work and air, or of a bench, at most: common practice for mild steel, no source
PREHEAT = 250.0 + ZERO_CELSIUS


@dataclass(frozen=True)
class Setting:
    """A setting of a key: `value` as a run feels it [SI], and as text."""

    value: float
    text: str


@dataclass(frozen=True)
class Lever:
    """A key that acts.

    Attributes
    ----------
    key : dotted
    own : where the case has it
    settings : where else it can be set, ascending
    step : of the first two runs, one to each side [SI]
    """

    key: str
    own: Setting
    settings: tuple[Setting, ...]
    step: float

    def sides(self) -> tuple[Setting, ...]:
        """Setting about a step below the case's own, and one above, where there are any."""
        found = []
        for sign in (-1.0, 1.0):
            side = [s for s in self.settings if sign * (s.value - self.own.value) > 0.0]
            aim = self.own.value + sign * self.step
            if side:
                found.append(min(side, key=lambda s: abs(s.value - aim)))
        return tuple(found)

    def moved(self, value: float) -> float:
        """How many steps a value [SI] is from the case's own."""
        return (value - self.own.value) / self.step


def levers_of(case: Case, row: Row) -> tuple[Lever, ...]:
    """Keys that act in a case, in the order of a case file.

    Parameters
    ----------
    case : as it is
    row : of its run, from `measures.run_explained`: a pedal's current acts only through the ends
        of its range, a wait's limit only where it was reached
    """
    values = {s.key: float(s.value) for s in settings_of(case) if isinstance(s.value, float)}
    found = []
    for key, (low, high, step) in _ranges(case, row).items():
        lever = _lever(case, key, values[key], (low, high), step)
        if lever.settings:
            found.append(lever)
    return tuple(found)


def most_levers(case: Case) -> int:
    """Keys that can act in a case at most, also where others of them are set anew."""
    every = _ranges(case, {"on_limit": True, "cold_start": True})
    return len(every) + (2 if case.segment_count == 1 else 0)  # more segments have pauses


def _ranges(case: Case, row: Row) -> dict[str, tuple[float, float, float]]:
    """Lowest and highest value of each key that acts, and its first step [SI]."""
    arc, travel, choice = case.arc, case.travel, case.choice
    found: dict[str, tuple[float, float, float]] = {}
    ranged = arc.pedal is not None and "arc.current_range" in case.written
    if arc.pedal is None or (row.get("on_limit") is True and not ranged):
        found["arc.current"] = (*_about(arc.current, 0.5, 2.0, choice.current), 0.06 * arc.current)
    if arc.derived and arc.length is not None:
        found["arc.length"] = (0.5 * arc.length, max(2.0 * arc.length, 6.0 * MM), 0.5 * MM)
    else:
        found["arc.spot"] = (0.6 * arc.spot, 1.8 * arc.spot, 0.1 * arc.spot)
    if case.flange is not None:
        found["arc.work_angle"] = (20.0 * DEG, 80.0 * DEG, 5.0 * DEG)
        found["arc.aim"] = (arc.aim - 2.0 * arc.spot, arc.aim + 2.0 * arc.spot, 0.25 * arc.spot)
    if arc.pedal is not None:
        found["arc.hold"] = (*_hold(case, arc.pedal.hold), 20.0)
    found["travel.speed"] = (*_about(travel.speed, 0.5, 2.0, choice.speed), 0.1 * travel.speed)
    if travel.coverage == 1.0 and isinstance(travel.order, str):
        longest = min(choice.segment[1], case.tube.circumference)
        ends = _about(travel.segment, 0.5, 2.0, (choice.segment[0], longest))
        found["travel.segment"] = (*ends, 0.0)
    if case.segment_count > 1:
        found["travel.pause"] = (0.0, 3.0 * travel.pause + 30.0, max(5.0, 0.3 * travel.pause))
        if travel.resume_below is not None:
            air = case.surroundings.temperature
            found["travel.resume_below"] = (air + WAITS, travel.resume_below + 300.0, 40.0)
    if travel.start == "timed":
        found["travel.dwell"] = (0.0, 3.0 * travel.dwell + 5.0, max(1.0, 0.2 * travel.dwell))
    elif row.get("cold_start") is True:
        limit = travel.dwell_limit
        found["travel.dwell_limit"] = (2.0, max(limit, STANDS), 0.5 * limit)
    if case.fixture.chill is not None:
        cold = case.fixture.chill.conductance
        found["fixture.chill_conductance"] = (0.2 * cold, 5.0 * cold, 0.4 * cold)
    if case.fixture.bench is not None:
        bench = case.fixture.bench.temperature
        found["fixture.bench_temperature"] = (bench, max(bench, PREHEAT), 50.0)
    air, below = case.surroundings.temperature, travel.resume_below or inf
    found["surroundings.temperature"] = (air, max(air, min(PREHEAT, below - WAITS)), 50.0)
    return found


def _about(own: float, low: float, high: float, bench: tuple[float, float]) -> tuple[float, float]:
    """Range about a value, inside what the bench allows."""
    return min(max(low * own, bench[0]), own), max(min(high * own, bench[1]), own)


def _hold(case: Case, own: float) -> tuple[float, float]:
    """Range of a pedal's hold: from the filler's flow to the base's solidus, and the case's own."""
    low = own - 200.0 if case.brazed is None else case.brazed.filler.flow + HOLD[0]
    alloys = [case.tube.alloy] + ([] if case.flange is None else [case.flange.alloy])
    solidus = [s for s in (case.alloys[name].solidus for name in alloys) if s is not None]
    high = min(solidus) - HOLD[1] if solidus else own + 200.0
    return min(low, own), max(high, own)


def _lever(case: Case, key: str, own: float, ends: tuple[float, float], step: float) -> Lever:
    """Lever of a key, in the unit that the case has it in."""
    steps, written = STEPS[key], case.written.get(key, "")
    choices = dict((steps.metric, steps.inches))
    unit = unit_in(written)
    if unit not in choices:
        hot = steps.kind is TEMPERATURE
        shop = case.display.temperature == "degF" if hot else case.display.length == "in"
        unit = (steps.inches if shop else steps.metric)[0]
    size = float(choices[unit]) / (in_unit(1.0, steps.kind, unit) - in_unit(0.0, steps.kind, unit))
    settings = [
        Setting(value, text)
        for value, text in settings_between(*ends, steps.kind, unit, choices[unit])
        if abs(value - own) > NEAR * size
    ]
    mine = Setting(own, written or write_quantity(own, steps.kind, unit))
    if key == "travel.segment":
        return _segments(case, mine, settings)
    return Lever(key, mine, tuple(settings), step)


def _segments(case: Case, own: Setting, settings: list[Setting]) -> Lever:
    """Segments count by how many close the ring: of each number the shortest setting."""
    around, found = case.tube.circumference, dict[int, Setting]()
    for setting in settings:
        count = replace(case.travel, segment=setting.value).segments_in(around)
        if count != case.segment_count:
            found.setdefault(count, Setting(around / count, setting.text))
    length = around / case.segment_count
    lengths = tuple(sorted(found.values(), key=lambda s: s.value))
    return Lever("travel.segment", Setting(length, own.text), lengths, length / case.segment_count)
