"""A key that a person turns: its range, and the steps in which it can be set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from ...case.units import Kind, in_unit, read_quantity
from ..runs.settable import nearest
from .bench import Input, strayed

__all__ = ["Knob", "features", "settable"]

Array = NDArray[np.float64]

WIDE = 4.0  # features of a knob run over this many units, as those of an input's scatter


@dataclass(frozen=True)
class Knob:
    """A key that is free, from `low` to `high` [SI].

    Attributes
    ----------
    key : dotted
    kind : what it measures
    low, high : ends [SI]
    logarithmic : equal shares are equal factors
    unit, step : in which a person sets it; 0: values stay as they are
    ring : circumference that equal segments must close [m]; 0 for other keys
    """

    key: str
    kind: Kind
    low: float
    high: float
    logarithmic: bool
    unit: str
    step: Fraction
    ring: float = 0.0

    def value(self, share: float) -> float:
        """Value at a share of the range [SI]."""
        if self.logarithmic:
            return self.low * exp(share * log(self.high / self.low))
        return self.low + share * (self.high - self.low)

    def acting(self, values: Array) -> Array:
        """Values that a run feels: of a segment the length of those that close the ring."""
        if not self.ring:
            return values
        return np.asarray(self.ring / np.ceil(self.ring / values * (1.0 - 1e-9)))

    def shares(self, values: Array) -> Array:
        """Shares of the range at which values [SI] lie; below 0 and above 1 beyond its ends."""
        if self.logarithmic:
            held = np.maximum(values, 0.05 * self.low)
            return np.asarray(np.log(held / self.low) / log(self.high / self.low))
        return np.asarray((values - self.low) / (self.high - self.low))

    def setting(self, value: float) -> str:
        """Nearest setting of a value [SI], in the shop's own steps."""
        if not self.step:
            return f"{in_unit(value, self.kind, self.unit):.5g} {self.unit}".strip()
        return nearest(value, self.kind, self.unit, self.step)

    def settable(self, value: float) -> tuple[float, str]:
        """Setting nearest to a value, inside the range, [SI] and as text."""
        text = self.setting(value)
        inside = float(read_quantity(text, self.kind))
        step = in_unit(1.0, self.kind, self.unit) - in_unit(0.0, self.kind, self.unit)
        for _ in range(2):  # a range may end between two settings
            if inside < self.low * (1.0 - 1e-9) - 1e-12:
                text = self.setting(inside + float(self.step) / step)
            elif inside > self.high * (1.0 + 1e-9) + 1e-12:
                text = self.setting(inside - float(self.step) / step)
            inside = float(read_quantity(text, self.kind))
        return inside, text


def settable(knobs: Sequence[Knob], shares: Array) -> tuple[Array, tuple[tuple[str, str], ...]]:
    """Nearest settings of shares (k,) of the ranges, as shares and as keys with texts."""
    found = [k.settable(k.value(float(u))) for k, u in zip(knobs, shares, strict=True)]
    values = [
        float(k.shares(np.array([value]))[0]) for k, (value, _) in zip(knobs, found, strict=True)
    ]
    texts = tuple((k.key, text) for k, (_, text) in zip(knobs, found, strict=True))
    return np.array(values), texts


def features(knobs: Sequence[Knob], inputs: Sequence[Input], shares: Array, bench: Array) -> Array:
    """Points that a response is fitted over, (n, features).

    A knob counts with what the bench makes of it, an input that is no knob by its scatter.

    Parameters
    ----------
    knobs, inputs : what is set, and what varies
    shares : (n, knobs) of the ranges
    bench : (n, inputs) standard deviations
    """
    names = [entry.key for entry in inputs]
    columns = []
    for j, knob in enumerate(knobs):
        values = np.array([knob.value(float(u)) for u in shares[:, j]])
        if knob.key in names:
            i = names.index(knob.key)
            values = strayed(values, inputs[i].spread, bench[:, i])
        columns.append(WIDE * (knob.shares(knob.acting(values)) - 0.5))
    turned = {knob.key for knob in knobs}
    columns += [bench[:, i] for i, name in enumerate(names) if name not in turned]
    return np.column_stack(columns)
