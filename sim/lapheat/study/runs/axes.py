"""`--vary KEY=FROM:TO:COUNT` and `--free KEY[=FROM:TO]`: ranges of numeric keys of a case file."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from math import isclose

import numpy as np
from pydantic_core import PydanticCustomError

from ...case.case import Case
from ...case.faults import did_you_mean
from ...case.file import CaseError, Fault
from ...case.file.every_key import settings_of
from ...case.keys.fields import Of
from ...case.keys.schema import entry_at, every_key
from ...case.units import (
    LENGTH,
    SPEED,
    TEMPERATURE,
    Kind,
    UnitError,
    in_unit,
    read_quantity,
    unit_in,
)

__all__ = ["Axis", "about_own", "at_bound", "free_axes", "given_axes"]

DIGITS = 5  # significant ones of a value on an axis
MOST = 200  # values on an axis
USUAL = 7
USUAL_KEYS = ("travel.segment", "travel.pause")
ABOUT = 150.0  # [K] to either side of a temperature
SIGNED = {"arc.aim": 1.5}  # keys that go through zero: spots to either side


@dataclass(frozen=True)
class Axis:
    """A key of a case file, and values of it.

    Attributes
    ----------
    key : dotted
    unit : of `values`, as in a case file; "" for a plain number
    values : ascending, evenly spaced
    kind : what the key measures
    """

    key: str
    unit: str
    values: tuple[float, ...]
    kind: Kind

    @property
    def span(self) -> float:
        """Last value less the first."""
        return self.values[-1] - self.values[0]

    def at(self, share: float) -> float:
        """Value at a share of the way from the first to the last."""
        return _short(self.values[0] + share * self.span)

    def share(self, value: float) -> float:
        """Share of the way at which a value lies."""
        return (value - self.values[0]) / self.span

    def text(self, value: float) -> str:
        """Value as it is in a case file."""
        return f"{value:.{DIGITS}g} {self.unit}".strip()

    @property
    def told(self) -> str:
        """Axis as `--vary` takes it."""
        ends = (self.text(self.values[0]), self.text(self.values[-1]))
        return f"{self.key}={ends[0]}:{ends[1]}:{len(self.values)}"


def _short(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _refused(option: str, key: str, given: str, allowed: str, hint: str = "") -> CaseError:
    return CaseError([Fault(option, key or "nothing", given or "nothing", allowed, hint)])


def _entry(option: str, key: str) -> Of:
    """What reads a key, if it is a numeric one."""
    entry = entry_at(tuple(key.split(".")))
    if isinstance(entry, Of):
        return entry
    numeric = [name for name in every_key() if isinstance(entry_at(tuple(name.split("."))), Of)]
    given = "a key that is not a number" if entry is not None else "no such key"
    hint = did_you_mean(key, numeric) or f"for example {USUAL_KEYS[0]}"
    raise _refused(option, key, given, "a numeric key of a case file", hint)


def _end(option: str, key: str, entry: Of, text: str) -> tuple[float, str]:
    """SI value and unit of one end of a range."""
    try:
        value = entry.read(text)
    except PydanticCustomError as error:
        hint = str((error.context or {}).get("hint", ""))
        raise _refused(option, key, text, entry.allowed, hint) from error
    return float(value), _unit(text, entry.kind)


def _unit(text: str, kind: Kind) -> str:
    """Unit of a text; the kind's own where it has none of the kind, as a gauge of tube."""
    unit = unit_in(text)
    if not kind.si or not unit:
        return kind.resolved
    try:
        in_unit(1.0, kind, unit)
    except UnitError:
        return kind.resolved
    return unit


def _between(option: str, key: str, first: str, last: str, count: int) -> Axis:
    entry = _entry(option, key)
    low, unit = _end(option, key, entry, first)
    high, _ = _end(option, key, entry, last)
    if low >= high:
        raise _refused(option, key, f"{first}:{last}", "FROM below TO")
    return _axis(key, unit, entry.kind, low, high, count)


def _axis(key: str, unit: str, kind: Kind, low: float, high: float, count: int) -> Axis:
    """Axis between two values in SI, even in its own unit."""
    first, last = in_unit(low, kind, unit), in_unit(high, kind, unit)
    return Axis(key, unit, tuple(_short(v) for v in np.linspace(first, last, count)), kind)


def given_axes(texts: Iterable[str], case: Case) -> tuple[Axis, ...]:
    """Axes of a window: as asked for, or segment and pause about the case's own.

    Parameters
    ----------
    texts : "KEY=FROM:TO:COUNT" each
    case : where no text is given, its segment and pause from half to twice

    Raises
    ------
    CaseError
        Not of that form, not a numeric key, out of its range, or twice.
    """
    texts = tuple(texts)
    if not texts:
        return tuple(about_own("--vary", key, case, USUAL) for key in USUAL_KEYS)
    axes = []
    for text in texts:
        key, _, rest = (part.strip() for part in text.partition("="))
        parts = [part.strip() for part in rest.split(":")]
        whole = len(parts) == 3 and re.fullmatch("[0-9]{1,3}", parts[2])
        if not whole or not 2 <= int(parts[2]) <= MOST:
            allowed = f"KEY=FROM:TO:COUNT with a COUNT from 2 to {MOST}"
            hint = 'for example --vary "travel.segment=8 mm:20 mm:7"'
            raise _refused("--vary", key, rest, allowed, hint)
        axes.append(_between("--vary", key, parts[0], parts[1], int(parts[2])))
    _once("--vary", [axis.key for axis in axes])
    return tuple(axes)


def _once(option: str, keys: list[str]) -> None:
    for key in keys:
        if keys.count(key) > 1:
            raise _refused(option, key, "the same key twice", "each key once")


def free_axes(text: str, case: Case, axes: Iterable[Axis] = ()) -> tuple[Axis, ...]:
    """Keys that are chosen anew at each point, and the range each is chosen from.

    Parameters
    ----------
    text : keys between commas, each with =FROM:TO or else from half to twice the case's own
    case : gives their own values
    axes : those of the window, whose keys are not free

    Raises
    ------
    CaseError
        As for `given_axes`; or the key is varied already.
    """
    free = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        key, equals, rest = (piece.strip() for piece in part.partition("="))
        ends = [end.strip() for end in rest.split(":")]
        if equals and len(ends) != 2:
            raise _refused("--free", key, rest, "KEY or KEY=FROM:TO")
        if equals:
            free.append(_between("--free", key, ends[0], ends[1], 2))
        else:
            free.append(about_own("--free", key, case, 2))
    keys = [axis.key for axis in free]
    _once("--free", keys)
    for axis in axes:
        if axis.key in keys:
            raise _refused("--free", axis.key, "a key that --vary has", "a key not varied")
    return tuple(free)


def about_own(option: str, key: str, case: Case, count: int) -> Axis:
    """Axis from half to twice a case's own value, or to both sides of an aim or a temperature.

    Raises
    ------
    CaseError
        The key is not numeric, or the case's value is none or zero.
    """
    entry = _entry(option, key)
    own = next((row.value for row in settings_of(case) if row.key == key), None)
    unit = _unit(case.written.get(key, "") or f"1 {_shop(case, entry.kind)}", entry.kind)
    if not isinstance(own, float) or (own <= 0.0 and key not in SIGNED):
        allowed = "a key with a value above zero in this case, or a range of your own"
        raise _refused(option, key, "nothing" if own is None else f"{own:g}", allowed)
    aside = SIGNED[key] * case.arc.spot if key in SIGNED else 0.0
    if entry.kind is TEMPERATURE:
        aside = ABOUT
    low, high = (own - aside, own + aside) if aside else (0.5 * own, 2.0 * own)
    bounds = [None if end is None else _si(end, entry.kind) for end in (entry.low, entry.high)]
    low = low if bounds[0] is None else max(low, bounds[0])
    high = high if bounds[1] is None else min(high, bounds[1])
    return _axis(key, unit, entry.kind, low, high, count)


def _shop(case: Case, kind: Kind) -> str:
    """Unit in which the case's shop would write a quantity of a kind."""
    if kind is TEMPERATURE:
        return case.display.temperature
    if kind is LENGTH:
        return case.display.length
    if kind is SPEED and case.display.length == "in":
        return "in/min"
    return kind.resolved


def at_bound(axis: Axis, value: float) -> bool:
    """Whether a case file allows nothing beyond a value of an axis."""
    entry = _entry("", axis.key)
    si = _si(axis.text(value) if axis.unit else value, axis.kind)
    return any(
        end is not None and isclose(si, _si(end, axis.kind)) for end in (entry.low, entry.high)
    )


def _si(given: object, kind: Kind) -> float:
    return float(read_quantity(given, kind))
