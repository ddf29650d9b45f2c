"""The built-in alloys, read from the data files beside this module.

A data file holds one alloy. Each number is in a table with its `unit`, its `source`, and
either its `range` (temperatures it is good for) or its `spread` (lowest and highest published
value). `conductivity` and `specific_heat` are lists of pieces under `solid` and `liquid`,
`expansion` one list. A `source` that says "estimate" makes reports say "estimated" instead of
"published". A piece says which `variable` its temperatures are in, degC or K, so that the
published coefficients are as printed, and its `form`:

``polynomial``
    `coefficients`, constant term first, times `scale` if there is one.
``hyperbola``
    `constant` + `numerator` / abs(T - `pole`).
``table``
    `temperature` and `value`, straight lines between.
``mean-coefficient``
    `coefficients` of the mean coefficient of expansion from 20 degC, times `scale`; the strain
    is that times (T - 20 degC).
``mean-coefficient-table``
    The same from `temperature` and `value`: the strain at each, straight lines between.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from ...constants import ZERO_CELSIUS
from .alloy import Alloy
from .property import Piece, Property

__all__ = ["UnknownAlloyError", "builtin", "builtin_name", "builtin_names", "trade_names"]


class UnknownAlloyError(KeyError):
    """No alloy of this name: `name`, all `known` names, and the `nearest` of them."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(name, tuple(known))
        self.name = name
        self.known = tuple(known)
        folded = {entry.casefold(): entry for entry in known}
        close = get_close_matches(name.casefold(), folded, n=3, cutoff=0.5)
        self.nearest = tuple(folded[entry] for entry in close)

    def __str__(self) -> str:
        """One sentence, with a guess at what was meant."""
        guess = f" Did you mean {' or '.join(self.nearest)}?" if self.nearest else ""
        return f"no alloy is called {self.name!r}.{guess} Known: {', '.join(self.known)}."


def builtin(name: str) -> Alloy:
    """Built-in alloy of this name.

    Raises
    ------
    UnknownAlloyError
        If there is none.
    """
    alloys = _catalogue()
    if name not in alloys:
        raise UnknownAlloyError(name, tuple(alloys))
    return alloys[name]


def builtin_names() -> tuple[str, ...]:
    """Names of the built-in alloys, in alphabetical order."""
    return tuple(_catalogue())


def trade_names() -> tuple[str, ...]:
    """Other names that `builtin_name` knows, as their standards and the trade write them."""
    return tuple(name for data in _data() for name in data["also_called"])


def builtin_name(name: str) -> str | None:
    """Name of the built-in alloy that trade or standard call `name`; None if there is none.

    Case, blanks, hyphens and words such as AISI, UNS or stainless do not count: "AISI 304L",
    "UNS S30403" and "1.4307" are one alloy.
    """
    return _called().get(_folded(name))


def _folded(name: str) -> str:
    return re.sub(
        r"aisi|astm|\buns\b|sae|\ben\b|stainless|\bss|steel|type|[\s.\-]", "", name.casefold()
    )


@cache
def _called() -> Mapping[str, str]:
    called: dict[str, str] = {}
    for data in _data():
        for name in (data["name"], *data["also_called"]):
            called[_folded(name)] = data["name"]
    return called


@cache
def _data() -> tuple[dict[str, Any], ...]:
    folder = files(__package__) / "data"
    texts = [entry.read_text("utf-8") for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return tuple(sorted(map(tomllib.loads, texts), key=lambda data: str(data["name"])))


@cache
def _catalogue() -> Mapping[str, Alloy]:
    return {data["name"]: _alloy(data) for data in _data()}


def _alloy(data: Mapping[str, Any]) -> Alloy:
    sources: dict[str, str] = {}

    def number(key: str) -> float:
        sources[key] = data[key]["source"]
        return float(data[key]["value"])

    def optional(key: str) -> float | None:
        return number(key) if key in data else None

    def change(key: str) -> float | None:
        if key not in data:
            return None
        return number(key) + (0.0 if key == "latent_heat" else ZERO_CELSIUS)

    def values(field: str, pieces: Sequence[Mapping[str, Any]]) -> Property:
        made = [made for piece in pieces for made in _FORMS[piece["form"]](piece)]
        result = Property(tuple(made), hold_slope=field == "expansion")
        sources[field] = "; ".join(result.sources)
        return result

    def liquid(field: str) -> Property | None:
        phases = data[field]
        return values(f"liquid_{field}", phases["liquid"]) if "liquid" in phases else None

    return Alloy(
        name=data["name"],
        density=number("density"),
        conductivity=values("conductivity", data["conductivity"]["solid"]),
        specific_heat=values("specific_heat", data["specific_heat"]["solid"]),
        emissivity=number("emissivity"),
        solidus=change("solidus"),
        liquidus=change("liquidus"),
        latent_heat=change("latent_heat"),
        liquid_conductivity=liquid("conductivity"),
        liquid_specific_heat=liquid("specific_heat"),
        expansion=values("expansion", data["expansion"]) if "expansion" in data else None,
        carbon=optional("carbon"),
        a1=change("a1"),
        a3=change("a3"),
        yield_strength=optional("yield_strength"),
        shear_strength=optional("shear_strength"),
        sources=sources,
    )


def _zero(data: Mapping[str, Any]) -> float:
    """Temperature [K] at which the formula's own variable is 0."""
    return {"degC": ZERO_CELSIUS, "K": 0.0}[data["variable"]]


def _range(data: Mapping[str, Any]) -> tuple[float, float]:
    low, high = data["range"]
    return low + _zero(data), high + _zero(data)


def _polynomial(data: Mapping[str, Any]) -> tuple[Piece, ...]:
    scaled = tuple(a * data.get("scale", 1.0) for a in data["coefficients"])
    return (Piece(*_range(data), scaled, zero=_zero(data), source=data["source"]),)


def _hyperbola(data: Mapping[str, Any]) -> tuple[Piece, ...]:
    return (
        Piece(
            *_range(data),
            (float(data["constant"]),),
            zero=_zero(data),
            numerator=data["numerator"],
            pole=data["pole"],
            source=data["source"],
        ),
    )


def _table(data: Mapping[str, Any]) -> tuple[Piece, ...]:
    temperatures = [T + _zero(data) for T in data["temperature"]]
    return Property.table(temperatures, data["value"], data["source"]).pieces


def _mean_coefficient(data: Mapping[str, Any]) -> tuple[Piece, ...]:
    mean = [a * data.get("scale", 1.0) for a in data["coefficients"]]
    from_20 = 20.0 + ZERO_CELSIUS - _zero(data)
    strain = tuple(a - from_20 * b for a, b in zip([0.0, *mean], [*mean, 0.0], strict=True))
    return (Piece(*_range(data), strain, zero=_zero(data), source=data["source"]),)


def _mean_coefficient_table(data: Mapping[str, Any]) -> tuple[Piece, ...]:
    room = 20.0 + ZERO_CELSIUS
    temperatures = [room, *(T + _zero(data) for T in data["temperature"])]
    mean = [0.0, *(a * data.get("scale", 1.0) for a in data["value"])]
    strain = [a * (T - room) for a, T in zip(mean, temperatures, strict=True)]
    return Property.table(temperatures, strain, data["source"]).pieces


_FORMS: Mapping[str, Callable[[Mapping[str, Any]], tuple[Piece, ...]]] = {
    "polynomial": _polynomial,
    "hyperbola": _hyperbola,
    "table": _table,
    "mean-coefficient": _mean_coefficient,
    "mean-coefficient-table": _mean_coefficient_table,
}
