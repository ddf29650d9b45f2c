"""Quantities as people write them ("1 1/16 in", "20 degC") to SI floats and back, through pint."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry

__all__ = [
    "ANGLE",
    "CARBON",
    "CONDUCTIVITY",
    "CURRENT",
    "DENSITY",
    "DIFFERENCE",
    "EXPANSION",
    "FILM",
    "FLOW",
    "LATENT_HEAT",
    "LENGTH",
    "NUMBER",
    "SPECIFIC_HEAT",
    "SPEED",
    "STRESS",
    "TEMPERATURE",
    "TIME",
    "VOLTAGE",
    "Kind",
    "Quantity",
    "UnitError",
    "in_unit",
    "read_quantity",
    "rounded",
    "si_text",
    "unit_in",
    "write_quantity",
]

# Our own list and not pint's default one: it loads in 10 ms instead of 200, "mil" is a thousandth
# of an inch and not an angle, and "amps" is not attometres per second. Factors are exact by
# definition; the Btu is the international table one.
_DEFINITIONS = """
mega- = 1e6 = M-
kilo- = 1e3 = k-
centi- = 1e-2 = c-
milli- = 1e-3 = m-
micro- = 1e-6 = µ- = μ- = u-
meter = [length] = m = metre
second = [time] = s = sec
gram = [mass] = g
ampere = [current] = A = amp = Ampere = Amp
kelvin = [temperature]; offset: 0 = K = degK
radian = [] = rad
degree_Celsius = kelvin; offset: 273.15 = °C = degC = celsius = Celsius
degree_Fahrenheit = 5 / 9 * kelvin; offset: 459.67 * 5 / 9 = °F = degF = fahrenheit = Fahrenheit
degree_Rankine = 5 / 9 * kelvin; offset: 0 = °R = degR
degree = 0.017453292519943295 * radian = deg = °
turn = 6.283185307179586 * radian = _ = revolution
inch = 0.0254 * meter = in = inches
foot = 0.3048 * meter = ft = feet
yard = 0.9144 * meter = yd
thou = 2.54e-5 * meter = _ = mil
micron = 1e-6 * meter
minute = 60 * second = min
hour = 3600 * second = h = hr
liter = 1e-3 * meter ** 3 = l = L = litre
cubic_centimeter = 1e-6 * meter ** 3 = cc
pound = 453.59237 * gram = lb
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
psi = 6894.757293168361 * pascal
ksi = 1000 * psi
joule = newton * meter = J
watt = joule / second = W
volt = watt / ampere = V = Volt
calorie = 4.184 * joule = cal
british_thermal_unit = 1055.05585262 * joule = BTU = Btu
percent = 0.01 = %
"""


@dataclass(frozen=True)
class Kind:
    """A dimension a key can have.

    Attributes
    ----------
    name : with its article, as messages say it
    si : SI unit as pint reads it; "" for a plain number
    resolved : unit a resolved case is written in
    suggest : units to suggest to someone who gave a plain number
    """

    name: str
    si: str
    resolved: str
    suggest: tuple[str, ...]


LENGTH = Kind("a length", "m", "mm", ("mm", "in"))
SPEED = Kind("a speed", "m/s", "mm/s", ("mm/s", "in/min"))
TIME = Kind("a time", "s", "s", ("s", "min"))
CURRENT = Kind("a current", "A", "A", ("A",))
VOLTAGE = Kind("a voltage", "V", "V", ("V",))
ANGLE = Kind("an angle", "rad", "deg", ("deg",))
TEMPERATURE = Kind("a temperature", "K", "degC", ("degC", "degF"))
DIFFERENCE = Kind("a temperature difference", "K", "K", ("K", "delta_degF"))
FILM = Kind("a film coefficient", "W/(m^2 K)", "W/(m^2 K)", ("W/(m^2 K)",))
DENSITY = Kind("a density", "kg/m^3", "kg/m^3", ("kg/m^3",))
CONDUCTIVITY = Kind("a conductivity", "W/(m K)", "W/(m K)", ("W/(m K)",))
SPECIFIC_HEAT = Kind("a specific heat", "J/(kg K)", "J/(kg K)", ("J/(kg K)",))
LATENT_HEAT = Kind("a latent heat", "J/kg", "J/kg", ("kJ/kg",))
EXPANSION = Kind("an expansion coefficient", "m/(m K)", "um/(m K)", ("um/(m K)",))
STRESS = Kind("a stress", "Pa", "MPa", ("MPa", "ksi"))
FLOW = Kind("a gas flow", "m^3/s", "L/min", ("L/min", "ft^3/h"))
CARBON = Kind("a share by mass", "%", "%", ("%",))
NUMBER = Kind("a number", "", "", ())
_KINDS = (
    *(LENGTH, SPEED, TIME, CURRENT, VOLTAGE, ANGLE, TEMPERATURE),
    *(FILM, DENSITY, CONDUCTIVITY, SPECIFIC_HEAT, LATENT_HEAT, EXPANSION, STRESS, FLOW),
    NUMBER,
)

_OFFSET_UNITS = ("degree_Celsius", "degree_Fahrenheit")
_DELTA = {"degree_Celsius": "delta_degC", "degree_Fahrenheit": "delta_degF"}
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)\s*"
    r"(?:(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)"
    r"|(?P<decimal>(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?))"
    r"\s*(?P<unit>.*)",
    re.DOTALL,
)
# Names, each with at most one power of one digit, and signs between them. Nothing else reaches
# pint's parser: it would be busy for ever with a power of a power ("mm^9^9^9", "m*9²²²²", words).
_POWER = r"(?:\^|\*\*) ?(?:-?[1-9]|\(-?[1-9]\))|⁻?[¹²³]"
_WORDS = r"(?:cubic|cubed|square|squared|sq)\b"
_UNIT = re.compile(
    rf"(?:(?!{_WORDS})[A-Za-z_µμ°%]++(?: ?(?:{_POWER})(?![0-9]))?+|[()/ ]|\*(?!\*))*+"
)
_LONGEST = 80


class UnitError(ValueError):
    """A text that is not a quantity of the kind asked for; `hint` says how to correct it."""

    def __init__(self, problem: str, hint: str = "") -> None:
        super().__init__(problem, hint)
        self.problem = problem
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.problem}; {self.hint}" if self.hint else self.problem


class Quantity(float):
    """A float in SI that remembers the `text` it was written as and the `unit` in it."""

    text: str
    unit: str

    def __new__(cls, value: float, text: str = "", unit: str = "") -> Quantity:
        """Make one from the SI value."""
        self = super().__new__(cls, value)
        self.text = text
        self.unit = unit
        return self


def rounded(value: float) -> float:
    """Round to 12 significant digits, so that 1.5 in and 38.1 mm are one float."""
    return float(f"{value:.11e}") + 0.0  # -0 is 0


@cache
def _registry() -> UnitRegistry[Any]:
    # Imported on first use: pint takes 0.15 s, which `--help` should not pay.
    import pint

    registry: UnitRegistry[Any] = pint.UnitRegistry(None)
    registry.load_definitions(_DEFINITIONS.strip().splitlines())
    return registry


@cache
def _root(unit: str) -> str:
    registry = _registry()
    return str(registry.get_root_units(registry.parse_units(unit))[1])


@cache
def _converter(unit: str, kind: Kind) -> tuple[str, Callable[[float], float]]:
    """Full name of a unit and the function from it to the SI unit of `kind`."""
    if not _UNIT.fullmatch(unit):
        raise UnitError(f'"{unit}" is not a unit', _unit_hint(unit, kind))
    registry = _registry()
    try:
        parsed = registry.parse_units(unit)
        name, root = str(parsed), str(registry.get_root_units(parsed)[1])
    except Exception as error:  # pint raises nine kinds, AssertionError among them, on bad text
        raise UnitError(f'"{unit}" is not a unit', _unit_hint(unit, kind)) from error
    if kind is DIFFERENCE and name in _OFFSET_UNITS:
        raise UnitError(f"{unit} is a temperature, not a difference", f"write {_DELTA[name]} or K")
    if kind is TEMPERATURE and name.startswith("delta_"):
        raise UnitError(f"{unit} is a difference, not a temperature", "write degC, degF or K")
    if root != _root(kind.si):
        is_one = next((f"{k.name}, " for k in _KINDS if _root(k.si) == root), "")
        raise UnitError(f"{unit} is {is_one}not {kind.name}", _unit_hint(unit, kind))
    target = registry.parse_units(kind.si)

    def to_si(value: float) -> float:
        return float(registry.Quantity(value, parsed).to(target).magnitude)

    return name, to_si


def _unit_hint(unit: str, kind: Kind) -> str:
    if not kind.suggest:
        return "leave the unit out"
    if kind is TEMPERATURE and unit in ("C", "F", "c", "f"):
        return f"write deg{unit.upper()}"
    write = " or ".join(kind.suggest)
    if "/" in kind.si and "K" in kind.si and "/" in unit:
        return f"write {write}: brackets round what is under the stroke, a space inside"
    return f"write it in {write}"


def _tidy_unit(unit: str) -> str:
    """Bring common shop spellings to what pint reads."""
    unit = re.sub(r'^(?:"|″|\'\')$', "in", unit)
    unit = re.sub(r"^(in|ft|min|sec|hr)\.$", r"\1", unit)
    unit = re.sub(r"^(?:ipm|IPM)$", "in/min", unit)
    unit = re.sub(r"^(?:cfh|CFH)$", "ft^3/h", unit)
    unit = re.sub(r"(?:\bdeg|°)[ _]?([CFKR])\b", r"deg\1", unit)
    unit = re.sub(r"(?<=[A-Za-z])([23])\b", r"^\1", unit)
    unit = re.sub(r"\b(?:square|sq) ([A-Za-z]+)", r"\1^2", unit)
    unit = re.sub(r"\bcubic ([A-Za-z]+)", r"\1^3", unit)
    return unit.replace("·", "*")


def read_quantity(given: object, kind: Kind) -> Quantity:
    """Read one quantity, or a plain number where the kind has no dimension.

    Parameters
    ----------
    given : text such as "1 1/16 in"; for `NUMBER` also an int or a float
    kind : the dimension it must have

    Returns
    -------
    Quantity
        SI value, rounded to 12 significant digits.

    Raises
    ------
    UnitError
        Not text, no number, not finite, no unit, an unknown unit or the wrong dimension.
    """
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise UnitError(f"not {kind.name}", _plain_hint("20", kind))
    if not isinstance(given, str):
        if kind.si:
            raise UnitError("no unit", _plain_hint(repr(given), kind))
        return _finite(float(given) if abs(given) < 1e300 else float("inf"), repr(given), "")
    return _read_text(given, kind)


@lru_cache(maxsize=4096)  # a sweep reads the same texts again and again
def _read_text(given: str, kind: Kind) -> Quantity:
    text = " ".join(given.replace("\u2212", "-").split())
    match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        if re.match(r"[+-]?(nan|inf)", text, re.IGNORECASE):
            raise UnitError("not a finite number")
        start = "start with the number" if kind.si else "write a plain number"
        raise UnitError("no number in it", f"{start}, {_example(kind)}")
    if match["decimal"] is None:
        if float(match["bottom"]) == 0.0:
            raise UnitError("divides by zero")
        value = float(match["whole"] or 0) + float(match["top"]) / float(match["bottom"])
    else:
        value = float(match["decimal"])
    value = -value if match["sign"] == "-" else value
    unit = _tidy_unit(match["unit"])
    if unit.startswith(","):
        raise UnitError("a comma in a number", "write the decimals after a point: 1.5 not 1,5")
    if not unit and kind.si:
        raise UnitError("no unit", _plain_hint(text, kind))
    name, to_si = _converter(unit, kind)
    return _finite(to_si(value), given.strip(), name)


def _finite(value: float, text: str, unit: str) -> Quantity:
    if not isfinite(value):
        raise UnitError("not a finite number")
    return Quantity(rounded(value), text, unit)


def _example(kind: Kind) -> str:
    return f'for example "20 {kind.suggest[0]}"' if kind.suggest else "for example 0.75"


def _plain_hint(number: str, kind: Kind) -> str:
    if not kind.suggest:
        return "write a plain number, for example 0.75"
    examples = " or ".join(f'"{number} {unit}"' for unit in kind.suggest)
    return f"give a unit, for example {examples}"


def unit_in(text: str) -> str:
    """Unit of a quantity that was read, as it was written: "in" of "1 1/16 in"."""
    match = _NUMBER.fullmatch(" ".join(text.replace("\u2212", "-").split()))
    return _tidy_unit(match["unit"]) if match else ""


def in_unit(value: float, kind: Kind, unit: str) -> float:
    """Convert `value`, in SI, to a unit of its kind; "" for a plain number.

    Raises
    ------
    UnitError
        `unit` is not one of the kind.
    """
    if not kind.si:
        return float(value)
    _converter(unit, kind)  # refuses a unit of another kind
    registry = _registry()
    si, there = registry.parse_units(kind.si), registry.parse_units(unit)
    return float(registry.Quantity(value, si).to(there).magnitude)


def write_quantity(value: float, kind: Kind, unit: str | None = None) -> str:
    """Shortest text, in `unit` or the kind's own, that `read_quantity` reads back as `value`.

    Raises
    ------
    UnitError
        `unit` is not one of the kind.
    """
    unit = kind.resolved if unit is None else unit
    if not kind.si:
        return repr(float(value))
    there = in_unit(value, kind, unit)
    for digits in range(3, 18):
        number = f"{there:.{digits}g}"
        if "e" in number and abs(there) >= 1.0:
            number = f"{float(number):.0f}"
        if read_quantity(f"{number} {unit}", kind) == value:
            return f"{number} {unit}"
    # Next to absolute zero a float in degC cannot resolve what one in K can.
    return f"{value!r} {kind.si}"


def si_text(value: float, kind: Kind) -> str:
    """SI text for people, six digits."""
    return f"{value:.6g} {kind.si}".strip()
