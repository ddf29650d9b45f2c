"""A property as a piecewise function of temperature, held outside its published range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from math import isfinite
from typing import Final, overload

import numpy as np
from numpy.typing import NDArray

from ...constants import ZERO_CELSIUS

__all__ = ["GIVEN", "Piece", "Property", "join_phases"]

Array = NDArray[np.float64]

GIVEN: Final = "given by the user"


@dataclass(frozen=True)
class Piece:
    """One formula between two temperatures.

    With ``x = T - zero`` the value is ``sum(coefficients[i] x**i) + numerator / abs(x - pole)``;
    the published forms ``b/(c - x)`` below a pole and ``b/(x - c)`` above it are both this one.

    Parameters
    ----------
    low, high : float
        Range of the formula [K]; equal for a value published at one temperature. The pole, if
        any, lies outside it.
    coefficients : tuple of float
        Polynomial in `x`, constant term first.
    zero : float
        Temperature at which `x` is 0 [K]: 273.15 for a formula in degC, 0 for one in K.
    numerator, pole : float
        The hyperbolic term; `pole` is a value of `x`. A numerator of 0 leaves it out.
    source : str
        Where the formula is published.
    """

    low: float
    high: float
    coefficients: tuple[float, ...]
    zero: float = 0.0
    numerator: float = 0.0
    pole: float = 0.0
    source: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be evaluated.

        Raises
        ------
        ValueError
            If the range is reversed, a number is not finite, or the pole lies in the range.
        """
        numbers = (self.low, self.high, *self.coefficients, self.zero, self.numerator, self.pole)
        if not all(isfinite(number) for number in numbers):
            raise ValueError("a property's numbers must be finite")
        if self.low > self.high:
            raise ValueError(f"temperatures must rise: {self.low:g} K is above {self.high:g} K")
        pole = self.pole + self.zero
        if self.numerator != 0.0 and self.low <= pole <= self.high:
            raise ValueError(f"the pole at {pole:g} K lies in {self.low:g} to {self.high:g} K")

    def value(self, T: Array) -> Array:
        """Value at `T` [K], any shape."""
        x = T - self.zero
        result = _horner(self.coefficients, x)
        return result + self.numerator / np.abs(x - self.pole) if self.numerator else result

    def slope(self, T: Array) -> Array:
        """Derivative at `T` [K], per K, any shape."""
        x = T - self.zero
        result = _horner([i * a for i, a in enumerate(self.coefficients)][1:] or [0.0], x)
        if self.numerator:
            result = result - self.numerator * np.sign(x - self.pole) / (x - self.pole) ** 2
        return result

    def integral(self, T: Array) -> Array:
        """Integral from `low` to `T` [K], times K, any shape, in closed form.

        ``sum(a_i / (i + 1) (x^(i+1) - x_0^(i+1)))``, and for the hyperbola ``numerator sign(x_0 -
        pole) ln((x - pole) / (x_0 - pole))``, x_0 being `low` (textbook integrals, from memory).
        """
        x, start = T - self.zero, self.low - self.zero
        antiderivative = [0.0, *(a / (i + 1) for i, a in enumerate(self.coefficients))]
        result = _horner(antiderivative, x) - _horner(antiderivative, np.asarray(start))
        if self.numerator:
            ratio = np.log((x - self.pole) / (start - self.pole))
            result = result + self.numerator * np.sign(start - self.pole) * ratio
        return result


def _horner(coefficients: Sequence[float], x: Array) -> Array:
    result = np.full_like(x, coefficients[-1])
    for coefficient in reversed(coefficients[:-1]):
        result = result * x + coefficient
    return result


@dataclass(frozen=True)
class Property:
    """Piecewise function of temperature [K], held at its end values beyond its published range.

    At a join the upper piece counts. Steps between published pieces are kept as published.

    Parameters
    ----------
    pieces : tuple of Piece
        In rising order, each starting where the one before ends.
    hold_slope : bool
        Beyond the range hold the slope instead of the value: for thermal strain, whose
        coefficient is what is held.
    """

    pieces: tuple[Piece, ...]
    hold_slope: bool = False

    def __post_init__(self) -> None:
        """Refuse gaps and overlaps.

        Raises
        ------
        ValueError
            If there is no piece, or one does not start where the one before ends.
        """
        if not self.pieces:
            raise ValueError("a property needs at least one piece")
        for below, above in pairwise(self.pieces):
            if below.high != above.low:
                raise ValueError(f"pieces do not meet: {below.high:g} K, then {above.low:g} K")

    @classmethod
    def constant(cls, value: float, low: float, high: float, source: str = "") -> Property:
        """One value from `low` to `high` [K]."""
        return cls((Piece(low, high, (value,), source=source),))

    @classmethod
    def table(
        cls, temperatures: Sequence[float], values: Sequence[float], source: str = ""
    ) -> Property:
        """Straight lines between points at rising `temperatures` [K].

        Raises
        ------
        ValueError
            If there are fewer than two points, the lengths differ, or temperatures do not rise.
        """
        if len(temperatures) != len(values):
            raise ValueError(f"{len(temperatures)} temperatures but {len(values)} values")
        if len(temperatures) < 2:
            raise ValueError("a table needs at least two points")
        points = list(zip(map(float, temperatures), map(float, values), strict=True))
        pieces = []
        for (low, a), (high, b) in pairwise(points):
            if not low < high:
                raise ValueError(f"temperatures must rise: {low:g} K, then {high:g} K")
            pieces.append(Piece(low, high, (a, (b - a) / (high - low)), zero=low, source=source))
        return cls(tuple(pieces))

    @property
    def low(self) -> float:
        """Lower end of the published range [K]."""
        return self.pieces[0].low

    @property
    def high(self) -> float:
        """Upper end of the published range [K]."""
        return self.pieces[-1].high

    @property
    def sources(self) -> tuple[str, ...]:
        """Distinct sources of the pieces, in rising order of temperature."""
        return tuple(dict.fromkeys(piece.source for piece in self.pieces if piece.source))

    @property
    def told(self) -> str:
        """Standing and range in words: "published from 20 to 800 degC and held beyond"."""
        sources = " ".join(self.sources).casefold()
        standing = "given" if GIVEN in sources else "published"
        standing = "estimated" if "estimate" in sources else standing
        low, high = (f"{T - ZERO_CELSIUS:.0f}" for T in (self.low, self.high))
        if low == high:
            return f"{standing} at {low} degC only and held elsewhere"
        return f"{standing} from {low} to {high} degC and held beyond"

    @cached_property
    def joins(self) -> Array:
        """Ends of all pieces [K], shape (pieces + 1,)."""
        return np.array([*(piece.low for piece in self.pieces), self.high])

    @cached_property
    def _areas(self) -> Array:
        """Integral from `low` to the start of each piece."""
        areas = [float(piece.integral(np.asarray(piece.high))) for piece in self.pieces[:-1]]
        return np.cumsum([0.0, *areas])

    @cached_property
    def _end_slopes(self) -> tuple[float, float]:
        if not self.hold_slope:
            return 0.0, 0.0
        first, last = self.pieces[0], self.pieces[-1]
        return float(first.slope(np.asarray(self.low))), float(last.slope(np.asarray(self.high)))

    def _slope_beyond(self, beyond: Array) -> Array:
        below, above = self._end_slopes
        return np.where(beyond < 0.0, below, above)

    def _inside(self, T: Array) -> tuple[Array, NDArray[np.intp]]:
        inside = np.clip(T, self.low, self.high)
        return inside, np.searchsorted(self.joins[1:-1], inside, side="right")

    @overload
    def __call__(self, T: float) -> float: ...
    @overload
    def __call__(self, T: Array) -> Array: ...
    def __call__(self, T: float | Array) -> float | Array:
        """Value at `T` [K]: a number, or an array of any shape."""
        T = np.asarray(T, dtype=float)
        inside, index = self._inside(T)
        result = np.empty_like(inside)
        for i, piece in enumerate(self.pieces):
            here = index == i
            result[here] = piece.value(inside[here])
        if self.hold_slope:
            result = result + self._slope_beyond(T - inside) * (T - inside)
        return float(result) if result.ndim == 0 else result

    @overload
    def integral(self, start: float, end: float) -> float: ...
    @overload
    def integral(self, start: float | Array, end: float | Array) -> float | Array: ...
    def integral(self, start: float | Array, end: float | Array) -> float | Array:
        """Exact integral over temperature from `start` to `end` [K]."""
        start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
        result = self._area(end) - self._area(start)
        return float(result) if result.ndim == 0 else result

    def _area(self, T: Array) -> Array:
        """Integral from `low` to `T` [K]; beyond the range that of the value and slope held."""
        inside, index = self._inside(T)
        result = np.array(self._areas[index])
        for i, piece in enumerate(self.pieces):
            here = index == i
            result[here] += piece.integral(inside[here])
        beyond = T - inside
        result = result + self._end_value(beyond) * beyond
        return result + 0.5 * self._slope_beyond(beyond) * beyond**2

    def _end_value(self, beyond: Array) -> Array:
        first = self.pieces[0].value(np.asarray(self.low))
        last = self.pieces[-1].value(np.asarray(self.high))
        return np.where(beyond < 0.0, first, last)

    def scaled(self, factor: float) -> Property:
        """Return the property times a factor."""
        pieces = [
            replace(
                piece,
                coefficients=tuple(factor * a for a in piece.coefficients),
                numerator=factor * piece.numerator,
            )
            for piece in self.pieces
        ]
        return replace(self, pieces=tuple(pieces))

    def between(self, low: float, high: float) -> tuple[Piece, ...]:
        """Pieces that give this property from `low` to `high` [K], held parts included."""
        pieces = [
            replace(piece, low=max(low, piece.low), high=min(high, piece.high))
            for piece in self.pieces
            if piece.low < high and piece.high > low
        ]
        if low < self.low:
            end = min(self.low, high)
            pieces.insert(0, Piece(low, end, (self(self.low),), source="held"))
        if high > self.high:
            start = max(self.high, low)
            pieces.append(Piece(start, high, (self(self.high),), source="held"))
        return tuple(pieces)


def join_phases(solid: Property, liquid: Property, solidus: float, liquidus: float) -> Property:
    """Solid below `solidus`, liquid above `liquidus` [K], a straight line between them.

    ``v = v_solid + (v_liquid - v_solid) (T - solidus) / (liquidus - solidus)``, with the values at
    the two ends. The line makes the property continuous through melting, as a mixture in proportion
    to the liquid fraction would be.
    """
    start, end = solid(solidus), liquid(liquidus)
    line = Piece(
        solidus,
        liquidus,
        (start, (end - start) / (liquidus - solidus)),
        zero=solidus,
        source="straight line from solid to liquid",
    )
    below = solid.between(min(solid.low, solidus - 1.0), solidus)
    above = liquid.between(liquidus, max(liquid.high, liquidus + 1.0))
    return Property((*below, line, *above))
