"""Steps in which a person can set a key: 1 A, half a millimetre, a 64th of an inch."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from ...case.units import (
    ANGLE,
    CURRENT,
    FILM,
    LENGTH,
    SPEED,
    TEMPERATURE,
    TIME,
    Kind,
    in_unit,
    read_quantity,
)

__all__ = ["STEPS", "Steps", "nearest", "settings_between"]


class Steps(NamedTuple):
    """What a key measures; unit and step in a shop of mm and degC, and in one of in and degF."""

    kind: Kind
    metric: tuple[str, Fraction]
    inches: tuple[str, Fraction]


def _same(kind: Kind, unit: str, step: Fraction) -> Steps:
    return Steps(kind, (unit, step), (unit, step))


_HOT = Steps(TEMPERATURE, ("degC", Fraction(10)), ("degF", Fraction(25)))
_LONG_TIME, _SHORT_TIME = _same(TIME, "s", Fraction(1)), _same(TIME, "s", Fraction(1, 2))

STEPS = {
    "arc.current": _same(CURRENT, "A", Fraction(1)),
    "arc.length": Steps(LENGTH, ("mm", Fraction(1, 4)), ("in", Fraction(1, 64))),
    "arc.spot": _same(LENGTH, "mm", Fraction(1, 10)),
    "arc.work_angle": _same(ANGLE, "deg", Fraction(5)),
    "arc.aim": Steps(LENGTH, ("mm", Fraction(1, 2)), ("in", Fraction(1, 64))),
    "arc.hold": _HOT,
    "travel.speed": Steps(SPEED, ("mm/s", Fraction(1, 10)), ("in/min", Fraction(1, 4))),
    "travel.segment": Steps(LENGTH, ("mm", Fraction(1)), ("in", Fraction(1, 16))),
    "travel.pause": _LONG_TIME,
    "travel.resume_below": _HOT,
    "travel.dwell": _SHORT_TIME,
    "travel.dwell_limit": _LONG_TIME,
    "fixture.chill_conductance": _same(FILM, "W/(m^2 K)", Fraction(50)),
    "fixture.bench_temperature": _HOT,
    "surroundings.temperature": _HOT,
}


def nearest(value: float, kind: Kind, unit: str, step: Fraction) -> str:
    """Nearest setting of a value [SI], as in a case file: a whole number of steps."""
    return _text(step * round(in_unit(value, kind, unit) / float(step)), unit)


def _text(number: Fraction, unit: str) -> str:
    if unit == "in" and number.denominator > 1:
        sign = "-" if number < 0 else ""
        over, rest = divmod(abs(number), 1)
        text = f"{over} {rest}" if over else f"{rest}"
        return f"{sign}{text} in"
    return f"{float(number):g} {unit}"


def settings_between(
    low: float, high: float, kind: Kind, unit: str, step: Fraction
) -> tuple[tuple[float, str], ...]:
    """Every setting from `low` to `high` [SI], ascending: value [SI] and text."""
    first, last = (round(in_unit(end, kind, unit) / float(step)) for end in (low, high))
    texts = [_text(step * whole, unit) for whole in range(first, last + 1)]
    found = [(float(read_quantity(text, kind)), text) for text in texts]
    low, high = low - 1e-9 * abs(low) - 1e-12, high + 1e-9 * abs(high) + 1e-12
    return tuple((v, text) for v, text in found if low <= v <= high)
