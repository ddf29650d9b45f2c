"""An alloy: its properties, and enthalpy against temperature both ways."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from math import isfinite
from typing import Final, overload

import numpy as np
from numpy.typing import NDArray

from ...constants import ZERO_CELSIUS
from .held import held_sentences
from .property import GIVEN, Piece, Property, join_phases
from .table import EnthalpyTable

__all__ = ["Alloy"]

Array = NDArray[np.float64]
Points = tuple[Sequence[float], Sequence[float]]

DATUM: Final = 20.0 + ZERO_CELSIUS  # [K] enthalpy is 0 here
SHARPEST_MELT: Final = 0.02  # [K] a single melting point is spread over this much
EVERYWHERE: Final = (1.0, 1.0e4)  # [K] range of a value its user gave without one
TABLE_RANGE: Final = (200.0, 4500.0)  # [K]
TABLE_SIZE: Final = 32768  # temperature within 0.05 K, kinks of melting included


@dataclass(frozen=True)
class Alloy:
    """Thermal properties of one alloy.

    Density and emissivity are constants: a fixed cell cannot change its mass, and emissivity
    depends more on the surface than on the alloy.

    Parameters
    ----------
    name : str
        Name as case files use it.
    density : float
        Density at room temperature [kg/m3].
    conductivity, specific_heat : Property
        Of the solid, [W/(m K)] and [J/(kg K)]; of both phases where no liquid one is given.
    emissivity : float
        Total emissivity, 0 to 1.
    solidus, liquidus : float, optional
        Ends of melting [K]; equal ends are spread over 0.02 K. None: never melts.
    latent_heat : float, optional
        Heat of fusion [J/kg], taken up evenly from solidus to liquidus.
    liquid_conductivity, liquid_specific_heat : Property, optional
        Of the liquid. Between solidus and liquidus a straight line joins them to the solid.
    expansion : Property, optional
        Thermal strain from 20 degC [-].
    carbon : float, optional
        Carbon of an austenitic stainless steel [mass percent]; None for others and where unknown.
    a1, a3 : float, optional
        Austenite begins and ends to form on heating [K]; None where it does not, or is unknown.
    yield_strength : float, optional
        In tension at room temperature, as a base [Pa].
    shear_strength : float, optional
        At room temperature, as a filler [Pa].
    sources : Mapping of str to str
        Where each of the numbers comes from, by field name.
    scaled_from : tuple of Alloy and float, optional
        Alloy of the same enthalpy and this one's conductivity over its own; see `scaled`.

    Raises
    ------
    ValueError
        If a number is out of its range, or melting is given only in part.
    """

    name: str
    density: float
    conductivity: Property
    specific_heat: Property
    emissivity: float
    solidus: float | None = None
    liquidus: float | None = None
    latent_heat: float | None = None
    liquid_conductivity: Property | None = None
    liquid_specific_heat: Property | None = None
    expansion: Property | None = None
    carbon: float | None = None
    yield_strength: float | None = None
    shear_strength: float | None = None
    a1: float | None = None
    a3: float | None = None
    sources: Mapping[str, str] = field(default_factory=dict, hash=False)
    scaled_from: tuple[Alloy, float] | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse numbers no alloy can have."""
        if not (isfinite(self.density) and self.density > 0.0):
            raise ValueError(f"{self.name}: density must be above 0, not {self.density:g} kg/m3")
        if not 0.0 <= self.emissivity <= 1.0:
            raise ValueError(
                f"{self.name}: emissivity must be from 0 to 1, not {self.emissivity:g}"
            )
        melting = (self.solidus, self.liquidus, self.latent_heat)
        if any(number is None for number in melting) and melting != (None, None, None):
            raise ValueError(
                f"{self.name}: give solidus, liquidus and latent heat, or none of them"
            )
        if self.solidus is not None and self.liquidus is not None and self.latent_heat is not None:
            if not 0.0 < self.solidus <= self.liquidus < EVERYWHERE[1]:
                raise ValueError(
                    f"{self.name}: solidus must be above 0 K and not above liquidus, "
                    f"not {self.solidus:g} K and {self.liquidus:g} K"
                )
            if not (isfinite(self.latent_heat) and self.latent_heat >= 0.0):
                raise ValueError(
                    f"{self.name}: latent heat must not be negative, not {self.latent_heat:g} J/kg"
                )
        for strength in (self.yield_strength, self.shear_strength):
            if strength is not None and not (isfinite(strength) and strength > 0.0):
                raise ValueError(f"{self.name}: strength must be above 0, not {strength:g} Pa")
        if self.a1 is not None and self.a3 is not None and self.a1 > self.a3:
            raise ValueError(f"{self.name}: A1 must not be above A3, not {self.a1:g} K")
        for label, values in (("conductivity", self._k), ("specific heat", self._c)):
            if not np.all(values(_samples(values)) > 0.0):
                raise ValueError(f"{self.name}: {label} must be above 0 at every temperature")

    @property
    def flow(self) -> float:
        """Temperature from which it flows as a filler, its liquidus [K].

        Raises
        ------
        ValueError
            It has none; a case file with such a filler is refused.
        """
        if self.liquidus is None:
            raise ValueError(f"{self.name}: a filler must have a liquidus")
        return self.liquidus

    @classmethod
    def constant(
        cls,
        name: str,
        density: float,
        conductivity: float,
        specific_heat: float,
        emissivity: float,
        solidus: float | None = None,
        liquidus: float | None = None,
        latent_heat: float | None = None,
    ) -> Alloy:
        """Alloy whose conductivity and specific heat do not change with temperature."""
        return cls.tabulated(
            name, density, conductivity, specific_heat, emissivity, solidus, liquidus, latent_heat
        )

    @classmethod
    def tabulated(
        cls,
        name: str,
        density: float,
        conductivity: float | Points,
        specific_heat: float | Points,
        emissivity: float,
        solidus: float | None = None,
        liquidus: float | None = None,
        latent_heat: float | None = None,
        expansion: float | None = None,
        yield_strength: float | None = None,
        shear_strength: float | None = None,
        carbon: float | None = None,
        a1: float | None = None,
        a3: float | None = None,
    ) -> Alloy:
        """Alloy from a user's numbers, for solid and liquid alike.

        `conductivity` [W/(m K)] and `specific_heat` [J/(kg K)] are each one number, good at any
        temperature, or a pair (temperatures [K], values), linear between and held beyond.
        `expansion` is the mean coefficient from 20 degC [1/K]; both strengths are [Pa].

        Raises
        ------
        ValueError
            If a table is unusable, or as for `Alloy` itself.
        """
        return cls(
            name=name,
            density=density,
            conductivity=_given(name, "conductivity", conductivity),
            specific_heat=_given(name, "specific heat", specific_heat),
            emissivity=emissivity,
            solidus=solidus,
            liquidus=liquidus,
            latent_heat=latent_heat,
            expansion=None if expansion is None else _growing(expansion),
            yield_strength=yield_strength,
            shear_strength=shear_strength,
            carbon=carbon,
            a1=a1,
            a3=a3,
            sources=dict.fromkeys(
                ("density", "conductivity", "specific_heat", "emissivity"), GIVEN
            ),
        )

    def scaled(self, conductivity: float = 1.0, emissivity: float = 1.0) -> Alloy:
        """Alloy with these factors on its conductivity and its emissivity, which ends at 1."""
        if conductivity == emissivity == 1.0:
            return self
        liquid = self.liquid_conductivity
        return replace(
            self,
            conductivity=self.conductivity.scaled(conductivity),
            liquid_conductivity=None if liquid is None else liquid.scaled(conductivity),
            emissivity=min(1.0, emissivity * self.emissivity),
            scaled_from=(self, conductivity),
        )

    def stirred(self, factor: float) -> Alloy:
        """Alloy whose liquid conducts `factor` times as well, as if it were stirred."""
        if factor == 1.0:
            return self
        liquid = self.liquid_conductivity or self.conductivity
        return replace(self, liquid_conductivity=liquid.scaled(factor), scaled_from=None)

    @cached_property
    def _melting(self) -> tuple[float, float, float] | None:
        """Solidus and liquidus [K], at least 0.02 K apart, and latent heat [J/kg]."""
        if self.solidus is None or self.liquidus is None or self.latent_heat is None:
            return None
        return self.solidus, max(self.liquidus, self.solidus + SHARPEST_MELT), self.latent_heat

    def _both_phases(self, solid: Property, liquid: Property | None) -> Property:
        if self._melting is None or liquid is None:
            return solid
        return join_phases(solid, liquid, *self._melting[:2])

    @cached_property
    def _k(self) -> Property:
        return self._both_phases(self.conductivity, self.liquid_conductivity)

    @cached_property
    def _c(self) -> Property:
        return self._both_phases(self.specific_heat, self.liquid_specific_heat)

    @overload
    def k(self, T: float) -> float: ...
    @overload
    def k(self, T: Array) -> Array: ...
    def k(self, T: float | Array) -> float | Array:
        """Conductivity at `T` [K], solid to liquid [W/(m K)]."""
        return self._k(T)

    @overload
    def c(self, T: float) -> float: ...
    @overload
    def c(self, T: Array) -> Array: ...
    def c(self, T: float | Array) -> float | Array:
        """Specific heat at `T` [K], solid to liquid, without latent heat [J/(kg K)]."""
        return self._c(T)

    @overload
    def enthalpy(self, T: float) -> float: ...
    @overload
    def enthalpy(self, T: Array) -> Array: ...
    def enthalpy(self, T: float | Array) -> float | Array:
        """Enthalpy at `T` [K] above that at 20 degC, latent heat included, exact [J/kg].

        ``h = int c dT + L f`` by definition, liquid share f; c is held beyond its published range.
        """
        T = np.asarray(T, dtype=float)
        h = (
            np.asarray(self._c.integral(DATUM, T))
            + self._latent(T)
            - self._latent(np.asarray(DATUM))
        )
        return float(h) if h.ndim == 0 else h

    def _latent(self, T: Array) -> Array:
        if self._melting is None:
            return np.zeros_like(T)
        start, end, latent = self._melting
        return latent * np.clip((T - start) / (end - start), 0.0, 1.0)

    def _apparent_c(self, T: Array) -> Array:
        """Slope of the enthalpy [J/(kg K)]: ``c``, and ``c + L / (T_l - T_s)`` while it melts."""
        c = self._c(T)
        if self._melting is None:
            return c
        start, end, latent = self._melting
        return c + np.where((start <= T) & (end > T), latent / (end - start), 0.0)

    @cached_property
    def _knots(self) -> tuple[Array, Array]:
        """Temperatures [K] between which the enthalpy is smooth, and the enthalpies there."""
        ends = [] if self._melting is None else list(self._melting[:2])
        T = np.unique([*self._c.joins, *ends])
        return T, np.asarray(self.enthalpy(T))

    @overload
    def temperature(self, h: float) -> float: ...
    @overload
    def temperature(self, h: Array) -> Array: ...
    def temperature(self, h: float | Array) -> float | Array:
        """Temperature at enthalpy `h` [J/kg], any shape: inverse of `enthalpy` to 1e-9 K [K]."""
        h = np.asarray(h, dtype=float)
        knots, levels = self._knots
        i = np.searchsorted(levels, h, side="right")
        # Beyond the last knots specific heat is held, and the inverse is a straight line.
        near = np.where(i == 0, 0, knots.size - 1)
        T = np.array(knots[near] + (h - levels[near]) / self._c(knots)[near])
        within = (i > 0) & (i < knots.size)
        right = i[within]
        T[within] = self._solve(h[within], knots[right - 1], knots[right])
        return float(T) if T.ndim == 0 else T

    def _solve(self, h: Array, low: Array, high: Array) -> Array:
        """Newton's method, kept inside a shrinking bracket."""
        T = 0.5 * (low + high)
        for _ in range(200):
            excess = np.asarray(self.enthalpy(T)) - h
            low = np.where(excess <= 0.0, T, low)
            high = np.where(excess >= 0.0, T, high)
            new = T - excess / self._apparent_c(T)
            new = np.where((new < low) | (new > high), 0.5 * (low + high), new)
            moved = np.abs(new - T)
            T = new
            if np.all(moved <= 1e-10):
                break
        return T

    def table(self, size: int = TABLE_SIZE) -> EnthalpyTable:
        """Evenly spaced in enthalpy from 200 K to 4500 K; `tables_of` makes ``int k dT`` of it.

        With the default `size` its temperature is within 0.05 K of the exact one, at the kinks
        of melting and of the 735 degC peak too.
        """
        if self.scaled_from is not None:  # its temperatures are the same: no need to solve again
            alloy, factor = self.scaled_from
            return alloy.table(size).scaled(factor)
        return _table(self, size)

    def held(self, T_min: float, T_max: float, *, expansion: bool = False) -> tuple[str, ...]:
        """Plain sentences naming what was used outside its published range.

        Parameters
        ----------
        T_min, T_max : float
            Coldest and hottest temperature of this alloy [K].
        expansion : bool
            Thermal strain was used too.
        """
        solid_top, liquid_bottom = T_max, np.inf
        if self._melting is not None:
            solid_top, liquid_bottom = min(T_max, self._melting[0]), self._melting[1]
        used = [
            ("conductivity", self.conductivity, self.liquid_conductivity),
            ("specific heat", self.specific_heat, self.liquid_specific_heat),
        ]
        ranges: list[tuple[str, Property, float, float]] = []
        for label, solid, liquid in used:
            ranges.append((label, solid, T_min, T_max if liquid is None else solid_top))
            if liquid is not None and T_max > liquid_bottom:
                ranges.append((f"liquid {label}", liquid, max(T_min, liquid_bottom), T_max))
        if expansion and self.expansion is not None:
            ranges.append(("expansion", self.expansion, T_min, T_max))
        return held_sentences(self.name, ranges)


def _given(name: str, label: str, values: float | Points) -> Property:
    try:
        if isinstance(values, tuple):
            return Property.table(*values, source=GIVEN)
        return Property.constant(values, *EVERYWHERE, source=GIVEN)
    except ValueError as error:
        raise ValueError(f"{name}: {label}: {error}") from None


def _growing(coefficient: float) -> Property:
    """Thermal strain of one mean coefficient from 20 degC [1/K]: ``coefficient (T - 293.15 K)``."""
    line = Piece(*EVERYWHERE, (0.0, coefficient), zero=DATUM, source=GIVEN)
    return Property((line,), hold_slope=True)


def _samples(values: Property) -> Array:
    """Temperatures that would show a dip below 0: ends of the pieces and points between [K]."""
    between = [np.linspace(piece.low, piece.high, 9) for piece in values.pieces]
    return np.concatenate(between)


@lru_cache(maxsize=32)  # most of what a small case costs to set up; cases of a sweep share alloys
def _table(alloy: Alloy, size: int) -> EnthalpyTable:
    first, last = (alloy.enthalpy(T) for T in TABLE_RANGE)
    h = np.linspace(first, last, size)
    T = np.asarray(alloy.temperature(h))
    k, c = np.asarray(alloy.k(T)), np.asarray(alloy.c(T))
    T.flags.writeable = k.flags.writeable = False
    dh = (last - first) / (size - 1)
    return EnthalpyTable(first, dh, T, k, float(c.min()), float(k.max()))
