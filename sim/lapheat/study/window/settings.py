"""Points of a window that a person can set: current in amperes, aim in half millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from ...case.case import Case
from ...case.units import in_unit, read_quantity
from ..chance.knob import STEPS, Knob
from ..runs.axes import Axis

__all__ = ["knob_of", "place_of"]

ROUND = 9  # decimals that distinguish places
INCHES = ("in", "ft", "thou", "mil", "inch", "inches", "in/min", "in/s", "ft/min", "degF")


def knob_of(axis: Axis, case: Case) -> Knob:
    """Knob of an axis, in the shop's own steps of the axis' unit.

    A key that nobody sets at the torch, such as the wall, keeps its values. So does one whose range
    holds fewer than three of its steps.
    """
    ends = [float(read_quantity(axis.text(v) if axis.unit else v, axis.kind)) for v in
            (axis.values[0], axis.values[-1])]  # fmt: skip
    unit, step = STEPS.get((axis.key, axis.unit in INCHES), (axis.unit, Fraction(0)))
    if step and in_unit(ends[1], axis.kind, unit) - in_unit(ends[0], axis.kind, unit) < 2 * step:
        unit, step = axis.unit, Fraction(0)
    ring = case.tube.circumference if axis.key == "travel.segment" else 0.0
    return Knob(axis.key, axis.kind, ends[0], ends[1], False, unit, step, ring)


def place_of(
    axes: Sequence[Axis], knobs: Sequence[Knob], place: Sequence[float]
) -> tuple[tuple[float, ...], tuple[tuple[str, str], ...]]:
    """Settable point nearest to a place: its own place, and keys with values as text."""
    shares, inputs = [], []
    for axis, knob, share in zip(axes, knobs, place, strict=True):
        given = axis.at(share)
        value = float(read_quantity(axis.text(given) if axis.unit else given, axis.kind))
        value, text = knob.settable(value)
        shares.append(round(axis.share(in_unit(value, axis.kind, axis.unit)), ROUND))
        inputs.append((axis.key, text))
    return tuple(shares), tuple(inputs)
