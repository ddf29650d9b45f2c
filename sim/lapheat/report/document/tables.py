"""The records of the outcomes as tables; a new record or field shows by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from inspect import cleandoc
from typing import Any

from ...case.case import Display
from ...case.faults import printable
from ...outcomes.outcomes import DIGITS, Outcomes
from ...outcomes.wording import FOOT, POUND

__all__ = ["SHOWN", "Cell", "Table", "cell_of", "plain", "shown_of", "tables_of", "unit_of"]

APART = ("verdict", "alloys")  # said in words elsewhere in the report
# Ends of the names in `outcomes.json`, the longest first: unit as it is read, and its size in SI.
UNITS: dict[str, tuple[str, float]] = {
    "_m_s": ("mm/s", 1e-3),
    "_m3": ("l", 1e-3),
    "_deg": ("deg", 1.0),
    "_kg": ("g", 1e-3),
    "_C": ("degC", 1.0),
    "_K": ("K", 1.0),
    "_m": ("mm", 1e-3),
    "_s": ("s", 1.0),
    "_J": ("kJ", 1e3),
    "_A": ("A", 1.0),
    "_N": ("N", 1.0),
}
INCHES = {
    "_m_s": ("in/min", 0.0254 / 60.0),
    "_m3": ("ft^3", FOOT**3),
    "_kg": ("oz", 28.349523125e-3),
    "_m": ("in", 0.0254),
    "_N": ("lbf", POUND),
}
FAHRENHEIT = {"_C": ("degF", 1.0 / 1.8), "_K": ("degF", 1.0 / 1.8)}
SHOWN = 5  # significant digits
# what is read where a name without its unit says too little
READ = {
    "tube_peak_C": "tube_peak (whole run)",
    "flange_peak_C": "flange_peak (whole run)",
    "peak_s": "peak_time",
    "start_C": "start_temperature",
    "wall_s": "wall_clock",
}


@dataclass(frozen=True)
class Cell:
    """A value as it is read, and as `outcomes.json` holds it ("" for what is no number)."""

    text: str
    exact: str = ""


@dataclass(frozen=True)
class Table:
    """A table of the report.

    Attributes
    ----------
    name : of the record
    about : what it holds
    heads : of the columns
    rows : a name and its cells
    """

    name: str
    about: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Cell, ...]], ...]


def tables_of(outcomes: Outcomes, display: Display) -> Iterator[Table]:
    """Make a table of every record of a run.

    Parameters
    ----------
    outcomes : the run's
    display : the user's units
    """
    for item in fields(outcomes):
        value = getattr(outcomes, item.name)
        if item.name in APART or value is None:
            continue
        if isinstance(value, tuple):
            value = {str(number): record for number, record in enumerate(value, start=1)}
        if is_dataclass(value):
            yield _record(item.name, value, display)
        elif isinstance(value, Mapping) and value:
            yield _many(item.name, value, display)


def _record(name: str, record: Any, display: Display) -> Table:
    about, meanings = _told(type(record))
    rows = []
    for item in fields(record):
        unit, _ = unit_of(item.name, display)
        cell = cell_of(item.name, getattr(record, item.name), display)
        cells = [cell, Cell(unit), Cell(meanings.get(item.name, ""))]
        rows.append((plain(item.name), tuple(cells[: 3 if meanings else 2])))
    heads = ("", "value", "unit", "meaning")
    return Table(name, about, heads[: 4 if meanings else 3], tuple(rows))


def _many(name: str, records: Mapping[str, Any], display: Display) -> Table:
    first = next(iter(records.values()))
    if not is_dataclass(first):
        rows = tuple((printable(key), (cell_of(key, v, display),)) for key, v in records.items())
        return Table(name, "", ("", "value"), rows)
    about, _ = _told(type(first))
    names = [item.name for item in fields(first)]
    heads = []
    for key in names:
        unit, _ = unit_of(key, display)
        heads.append(f"{plain(key)} [{unit}]" if unit else key)
    return Table(
        name,
        about,
        ("", *heads),
        tuple(
            (printable(key), tuple(cell_of(n, getattr(record, n), display) for n in names))
            for key, record in records.items()
        ),
    )


def _end(name: str) -> str:
    return next((end for end in UNITS if name.endswith(end)), "")


def plain(name: str) -> str:
    """Name of an outcome without its unit, which may be another where it is read."""
    place, dot, last = name.rpartition(".")
    return f"{place}{dot}{READ.get(last, last.removesuffix(_end(last)))}"


def unit_of(name: str, display: Display) -> tuple[str, float]:
    """Unit of a value by the end of its name, and its size in SI; "" where it has none."""
    end = _end(name)
    if display.length == "in" and end in INCHES:
        return INCHES[end]
    if display.temperature == "degF" and end in FAHRENHEIT:
        return FAHRENHEIT[end]
    return UNITS.get(end, ("", 1.0))


def cell_of(name: str, value: Any, display: Display) -> Cell:
    """Value as it is read, in the unit that its name ends in."""
    if value is None:
        return Cell("none")
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, tuple):
        joint = " to " if value and isinstance(value[0], float) else "; "
        return Cell(joint.join(cell_of(name, part, display).text for part in value) or "none")
    if not isinstance(value, int | float):
        return Cell(printable(str(value)))
    if isinstance(value, int) and not unit_of(name, display)[0]:  # a count
        return Cell(str(value), str(value))
    return Cell(f"{shown_of(name, value, display):.{SHOWN}g}", f"{value:.{DIGITS}g}")


def shown_of(name: str, value: float, display: Display) -> float:
    """Convert a value to `unit_of` its name; an angle to one within 0 and 360 degrees."""
    unit, size = unit_of(name, display)
    if unit == "deg" and not 0.0 <= value <= 360.0:
        return round(value, 6) % 360.0
    # adding 0 takes the sign off -0
    return value / size + (32.0 if unit == "degF" and name.endswith("_C") else 0.0)


def _told(record: type) -> tuple[str, dict[str, str]]:
    """Read off a record's docstring what it is about and what each field means."""
    text = cleandoc(record.__doc__ or "")
    head, _, attributes = text.partition("Attributes\n----------\n")
    meanings = {}
    for name, text in re.findall(r"^(\w+) : ((?:.|\n(?= ))*)", attributes, re.MULTILINE):
        meanings[name] = _read(text, record)
    return _read(head, record), meanings


def _read(text: str, record: type) -> str:
    """Text of a docstring, with the names of fields as they are read."""
    names = {item.name: plain(item.name) for item in fields(record)}
    return " ".join(
        re.sub(r"`(\w+)`", lambda at: names.get(at[1], at[1]), text).replace("`", "").split()
    )
