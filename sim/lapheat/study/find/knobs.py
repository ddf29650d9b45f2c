"""What `find` turns: keys, their ranges, and the steps in which a person can set them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import pi

from ...case.case import Case
from ...case.faults import did_you_mean, shown
from ...case.file import CaseError, Fault
from ...case.units import in_unit, read_quantity
from ..chance.knob import Knob
from ..runs.axes import free_axes
from ..runs.settable import STEPS

__all__ = ["HAND_KEYS", "KEYS", "Knob", "key_faults", "knobs_of"]

KEYS = (
    *("arc.current", "arc.work_angle", "arc.aim", "arc.hold"),
    *("travel.speed", "travel.segment", "travel.pause", "travel.dwell"),
)
# What makes a hand, and which of the keys it does not have.
HAND_KEYS: dict[str, tuple[tuple[tuple[str, str], ...], tuple[str, ...]]] = {
    "clock": ((("travel.start", "timed"), ("arc.control", "steady")), ("arc.hold",)),
    "flow": (
        (("travel.start", "on-flow"), ("arc.control", "steady")),
        ("arc.hold", "travel.dwell"),
    ),
    "pedal": ((("travel.start", "on-flow"), ("arc.control", "pedal")), ("travel.dwell",)),
}
WORK_ANGLE = (30.0 * pi / 180.0, 70.0 * pi / 180.0)  # [rad] common practice, no source
AIM = (-0.5, 1.75)  # in spots: + is towards the flange
PAUSE = (2.0, 40.0)  # [s]
DWELL = (0.5, 10.0)  # [s]
HOLD = (50.0, 50.0)  # [K] above the filler's flow, and below the lower solidus of the base


def _ranges(case: Case) -> dict[str, tuple[float, float, bool]]:
    """Range of each key, and whether its shares are factors."""
    arc, choice, around = case.arc, case.choice, case.tube.circumference
    flow = solidus = 0.0
    if case.fillet is not None and case.flange is not None:
        flow = case.alloys[case.fillet.filler].liquidus or 0.0
        base = (case.alloys[name].solidus for name in (case.tube.alloy, case.flange.alloy))
        solidus = min((found for found in base if found is not None), default=flow + 400.0)
    longest = min(choice.segment[1], 0.5 * around)
    currents = choice.current
    if "arc.current_range" in case.written:  # the pedal starts inside its range
        low, high = arc.current_range
        currents = max(currents[0], low), min(currents[1], high)
    return {
        "arc.current": (*currents, True),
        "arc.work_angle": (*WORK_ANGLE, False),
        "arc.aim": (AIM[0] * arc.spot, AIM[1] * arc.spot, False),
        "arc.hold": (flow + HOLD[0], max(solidus - HOLD[1], flow + HOLD[0] + 50.0), False),
        "travel.speed": (*choice.speed, True),
        "travel.segment": (min(choice.segment[0], 0.8 * longest), longest, True),
        "travel.pause": (*PAUSE, False),
        "travel.dwell": (*DWELL, True),
    }


def _refused(option: str, key: str, given: str, allowed: str, hint: str = "") -> CaseError:
    return CaseError([Fault(option, key, given, allowed, hint)])


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def key_faults(free: str, fix: str, *more: str) -> list[Fault]:
    """Keys that cannot be free or fixed; `more` that can, besides `KEYS`."""
    faults = []
    every = (*KEYS, *more)
    for option, parts in (("--free", _listed(free)), ("--fix", _listed(fix))):
        keys = [part.partition("=")[0].strip() for part in parts]
        for part, key in zip(parts, keys, strict=True):
            if key not in every:
                hint = did_you_mean(key, every)
                allowed = f"a key that find turns: {', '.join(every)}"
                faults.append(Fault(option, key, shown(part), allowed, hint))
            elif keys.count(key) > 1:
                faults.append(Fault(option, key, "the same key twice", "each key once"))
            elif "=" in part and (option == "--fix" or key in more):
                faults.append(Fault(option, key, part, "the key alone, without a range"))
    return list(dict.fromkeys(faults))


def knobs_of(case: Case, free: str = "", fix: str = "", *more: str) -> tuple[Knob, ...]:
    """Keys that may be turned, with their ranges.

    Parameters
    ----------
    case : whose `[bench]` gives the ranges
    free : KEY or KEY=FROM:TO between commas: these alone; "" for the usual ones
    fix : keys between commas that stay as the case has them
    more : keys that others turn, to name where a key is refused

    Raises
    ------
    CaseError
        A key that cannot be free, a range that is none, or no key left.
    """
    ranges = _ranges(case)
    if case.brazed is None:
        raise _refused("", "joint", '"bead-on-tube"', "a joint with a flange and filler")
    faults = key_faults(free, fix, *more)
    keys = [part.partition("=")[0].strip() for part in _listed(free)]
    fixed = _listed(fix)
    for part in _listed(free):
        if "=" not in part or part.partition("=")[0].strip() not in KEYS:
            continue
        try:
            (axis,) = free_axes(part, case)
        except CaseError as error:
            faults += error.faults
            continue
        ends = [float(read_quantity(axis.text(v), axis.kind)) for v in axis.values]
        ranges[axis.key] = (ends[0], ends[1], ranges[axis.key][2] and ends[0] > 0.0)
    if faults:
        raise CaseError(faults)
    left = [key for key in (keys or KEYS) if key not in fixed]
    if isinstance(case.travel.order, tuple) and "travel.segment" in left:
        hint = "--fix travel.segment, or name an order such as opposite"
        allowed = "a named order: how many segments there are is free"
        raise _refused("", "travel.order", "a list of numbers", allowed, hint)
    if not left:
        raise _refused("--fix", fix, "every key that is free", "at least one key left free")
    if "arc.current" in left and not ranges["arc.current"][0] < ranges["arc.current"][1]:
        allowed = "a range that shares currents with arc.current_range"
        raise _refused("", "bench.current_range", "no current of the pedal's", allowed)
    inches = case.display.length == "in"
    hot = case.display.temperature == "degF"
    knobs = []
    for key in KEYS:
        if key in left:
            low, high, logarithmic = ranges[key]
            steps = STEPS[key]
            theirs = hot if key == "arc.hold" else inches
            unit, step = steps.inches if theirs else steps.metric
            ring = case.tube.circumference if key == "travel.segment" else 0.0
            wide = in_unit(high, steps.kind, unit) - in_unit(low, steps.kind, unit)
            step = step if wide >= 2 * step else Fraction(0)  # values stay as they are
            knobs.append(Knob(key, steps.kind, low, high, logarithmic, unit, step, ring))
    return tuple(knobs)


def hand_knobs(hand: str, knobs: Sequence[Knob]) -> tuple[Knob, ...]:
    """Knobs that a hand has."""
    _, without = HAND_KEYS[hand]
    return tuple(knob for knob in knobs if knob.key not in without)
