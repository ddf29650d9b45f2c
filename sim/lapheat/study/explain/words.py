"""Levers in words: what to turn, how far, and what that does."""

from __future__ import annotations

from fractions import Fraction

from ...case.case import Case
from ...case.units import LENGTH, in_unit, read_quantity, unit_in
from ..runs.executors import Row
from ..runs.settable import STEPS
from .measures import CHANGES, asked

__all__ = ["change_of", "changes_told", "turned"]

PHRASES = {
    "arc.current": ("{} more current", "{} less current"),
    "arc.length": ("arc {} longer", "arc {} shorter"),
    "arc.spot": ("spot {} wider", "spot {} narrower"),
    "arc.work_angle": ("torch {} higher above the flange", "torch {} lower above the flange"),
    "arc.aim": ("aim {} further to the flange", "aim {} further to the tube"),
    "arc.hold": ("hold {} hotter", "hold {} cooler"),
    "travel.speed": ("travel {} faster", "travel {} slower"),
    "travel.segment": ("segments {} longer", "segments {} shorter"),
    "travel.pause": ("pause {} longer", "pause {} shorter"),
    "travel.resume_below": ("resume {} hotter", "resume {} cooler"),
    "travel.dwell": ("dwell {} longer", "dwell {} shorter"),
    "travel.dwell_limit": ("wait up to {} longer for flow", "wait up to {} less for flow"),
    "fixture.chill_conductance": ("chill contact {} better", "chill contact {} poorer"),
    "fixture.bench_temperature": ("bench {} hotter", "bench {} cooler"),
    "surroundings.temperature": ("work and air {} hotter", "work and air {} cooler"),
}
DEGREES = {"degC": "K"}  # a difference is not a temperature


def turned(key: str, before: str, after: str) -> str:
    """Say how a key is turned: "aim 0.5 mm further to the flange".

    Parameters
    ----------
    key : dotted
    before, after : its settings, as in a case file
    """
    kind, unit = STEPS[key].kind, unit_in(after)
    old, new = (in_unit(float(read_quantity(t, kind)), kind, unit) for t in (before, after))
    size = abs(new - old)
    whole = Fraction(size).limit_denominator(64)
    if kind is LENGTH and unit == "in" and abs(float(whole) - size) < 1e-6:
        text = f"{whole}"
    else:
        text = f"{size:.3g}"
    return PHRASES[key][0 if new > old else 1].format(f"{text} {DEGREES.get(unit, unit)}")


def change_of(row: Row, base: Row) -> dict[str, float | None]:
    """What a run differs from the case as it is, by name; None where either has no number."""
    found: dict[str, float | None] = {}
    for name in CHANGES:
        now, then = row.get(name), base.get(name)
        found[name] = None
        if isinstance(now, float | int) and isinstance(then, float | int):
            found[name] = round(float(now) - float(then), 4) + 0.0
    return found


def changes_told(change: dict[str, float | None], case: Case) -> str:
    """Say what changes: "tube margin +38 K, flange side wet +0.21", or "nothing"."""
    told = []
    words = {m.row: m.word for m in asked(case)}
    for name, value in change.items():
        if value is None:
            continue
        if name.endswith("_wet") or (name == "lap_filled" and name in words):
            if abs(value) >= 0.005:
                told.append(f"{name.replace('_', ' ')} {value:+.2f}")
        elif name == "total_s":
            if abs(value) >= 1.0:
                told.append(f"time {value:+.0f} s")
        elif name in words and abs(value) >= 1.0:
            told.append(f"{words[name]} {value:+.0f} K")
    return ", ".join(told) or "nothing"
