"""Measurements from a CSV file: thermocouple histories, trial pieces, or widths of beads."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite, nan
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from ....case.faults import did_you_mean, printable, shown
from ....case.file import file_text
from ....case.units import (
    CURRENT,
    LENGTH,
    SPEED,
    TEMPERATURE,
    TIME,
    Kind,
    UnitError,
    read_quantity,
)
from .rows import ALLOWED, BIGGEST, MOST_RUNS, Faults, lines_of, number_of, split

__all__ = ["Beads", "Edge", "Readings", "TrialPieces", "read_measured"]

Array = NDArray[np.float64]

LEAST, GREATEST = 1.0, 1000.0  # [A], as arc.current
COLDEST, HOTTEST = 73.15, 3773.15  # [K] that a thermocouple can read
ANSWERS = {
    **dict.fromkeys(("yes", "y", "true", "1"), True),
    **dict.fromkeys(("no", "n", "false", "0"), False),
}
WIDTH = re.compile(r"(melt|tint|crayon)_(outside|bore)_width")
WIDTHS = [f"{e}_{s}_width" for e in ("melt", "tint", "crayon") for s in ("outside", "bore")]
TINT = 673.15  # [K] where stainless steel begins to colour; common practice, no source


@dataclass(frozen=True)
class Readings:
    """Thermocouple histories.

    Attributes
    ----------
    names : of the probes
    time : (n,) [s], rising
    values : (n, probes) [K]; nan where a cell is empty
    """

    names: tuple[str, ...]
    time: Array
    values: Array


@dataclass(frozen=True)
class TrialPieces:
    """Trial pieces at several currents.

    Attributes
    ----------
    current : (n,) [A]
    melted, wet : (n,) 1 for yes, 0 for no, nan where it was not looked at
    """

    current: Array
    melted: Array
    wet: Array


@dataclass(frozen=True)
class Edge:
    """An edge that shows on a bead, the same on both sides of its track.

    Attributes
    ----------
    name : "melt", "tint" or "crayon", and the surface: "tint_outside_width"
    kind, side : its two words
    level : temperature that it marks [K]; nan for the melting of the tube
    """

    name: str
    kind: str
    side: str
    level: float


@dataclass(frozen=True)
class Beads:
    """Beads on a scrap tube, as a caliper measured them.

    Attributes
    ----------
    current : (n,) [A]
    speed : (n,) [m/s]; nan for the case's own
    edges : what was measured
    widths : (n, edges) from edge to edge [m]; 0 where none showed, nan where none was measured
    speed_unit, width_unit : as the file has them
    """

    current: Array
    speed: Array
    edges: tuple[Edge, ...]
    widths: Array
    speed_unit: str
    width_unit: str


def read_measured(
    path: str | PathLike[str], probes: Sequence[str]
) -> Readings | TrialPieces | Beads:
    """Read a file of measurements.

    Parameters
    ----------
    path : the file
    probes : names of the case's probes

    Raises
    ------
    CaseError
        It cannot be read, or it has faults: all of them, up to a dozen.
    """
    faults = Faults(str(path))
    (top, header), *table = lines_of(file_text(path, ALLOWED, BIGGEST), faults)
    first = split(header[0])[0].casefold()
    if first == "current":
        if len(table) > MOST_RUNS:
            hint = "each is run again and again"
            faults.add("file", f"{len(table)} rows", f"at most {MOST_RUNS} of currents", hint)
            faults.stop()
        if any(WIDTH.match(heading) or heading.startswith("speed") for heading in header[1:]):
            return _beads(header, table, faults)
        return _pieces(header, table, faults)
    if first != "time":
        beads = any(WIDTH.match(heading) for heading in header)
        trials = not {"melted", "wet"}.isdisjoint(map(str.casefold, header))
        allowed = "time with its unit, such as time_s or time [min]; or current_A for trials, beads"
        if beads or trials:
            allowed = f"current_A first, as {'beads' if beads else 'trials'} have it"
        faults.add(f"line {top}, column 1", shown(header[0]), allowed)
        faults.stop()
    return _readings(header, table, probes, faults)


def _scale(unit: str, kind: Kind) -> tuple[float, float]:
    """Value in SI of 0 and of 1 unit.

    Raises
    ------
    UnitError
        It is no unit of that kind.
    """
    if kind is TEMPERATURE and unit in ("C", "F", "°C", "°F"):
        unit = f"deg{unit[-1]}"
    zero = float(read_quantity(f"0 {unit}", kind))
    return zero, float(read_quantity(f"1000 {unit}", kind) - zero) / 1000.0


def _unit(
    key: str, heading: str, unit: str, kind: Kind, example: str, faults: Faults
) -> tuple[float, float]:
    try:
        if not unit:
            raise UnitError("no unit")
        return _scale(unit, kind)
    except UnitError as error:
        faults.add(key, shown(heading), f"a name and a unit, such as {example}", str(error))
    return nan, nan


def _readings(
    header: list[str],
    table: list[tuple[int, list[str]]],
    probes: Sequence[str],
    faults: Faults,
) -> Readings:
    zero, one = _unit("column 1", header[0], split(header[0])[1], TIME, "time_s", faults)
    names, scales = [], []
    if not probes:
        faults.add(
            "header", shown(header[1:]), "probes of the case", "it has no [[probe]]: add them"
        )
    elif len(header) < 2:
        faults.add("header", shown(header), f"a column for each probe: {', '.join(probes)}")
    for number, heading in enumerate(header[1:], 2):
        name, unit = split(heading)
        if heading in probes:  # its own name may end in _C
            name, unit = heading, ""
        key = f"column {number}"
        if probes and name not in probes:
            hint = did_you_mean(name, probes)
            faults.add(key, shown(heading), f"a probe of the case: {', '.join(probes)}", hint)
        elif name in names:
            faults.add(key, shown(heading), "each probe once")
        else:
            scales.append(_unit(key, heading, unit, TEMPERATURE, f"{name}_C", faults))
        names.append(name)
    faults.stop()
    time, values = [], []
    for line, cells in table:
        time.append(zero + one * number_of(cells[0], f"line {line}, column 1", faults))
        row = []
        for number, (cell, scale) in enumerate(zip(cells[1:], scales, strict=True), 2):
            key = f"line {line}, column {number}"
            kelvin = scale[0] + scale[1] * number_of(cell, key, faults, empty=True)
            if not COLDEST <= kelvin <= HOTTEST and isfinite(kelvin):
                faults.add(key, shown(cell), "a temperature from -200 to 3500 degC")
            row.append(kelvin)
        values.append(row)
    _rising(time, [line for line, _ in table], faults)
    faults.stop()
    found = Readings(tuple(names), np.array(time), np.array(values))
    for name, column in zip(names, found.values.T, strict=True):
        if np.isnan(column).all():
            faults.add("header", shown(name), "at least one reading in every column")
    faults.stop()
    return found


def _rising(time: Iterable[float], lines: Iterable[int], faults: Faults) -> None:
    last = -np.inf
    for now, line in zip(time, lines, strict=True):
        if now <= last:
            faults.add(f"line {line}, column 1", f"{now:g} s", f"rising times: above {last:g} s")
            return
        last = now if isfinite(now) else last


def _pieces(header: list[str], table: list[tuple[int, list[str]]], faults: Faults) -> TrialPieces:
    one = _unit("column 1", header[0], split(header[0])[1], CURRENT, "current_A", faults)[1]
    titles = [printable(heading).casefold() for heading in header[1:]]
    for number, title in enumerate(titles, 2):
        if title not in ("melted", "wet") or titles.index(title) != number - 2:
            faults.add(f"column {number}", shown(header[number - 1]), "melted or wet, each once")
    if not titles:
        faults.add("header", shown(header), "a column melted, wet, or both")
    faults.stop()
    found: dict[str, list[float]] = {"melted": [], "wet": []}
    current = []
    for line, cells in table:
        current.append(one * number_of(cells[0], f"line {line}, column 1", faults))
        _check_current(current[-1], line, cells[0], faults)
        answers = dict(zip(titles, _answers(line, cells[1:], faults), strict=True))
        for title, column in found.items():
            column.append(answers.get(title, nan))
    faults.stop()
    pieces = TrialPieces(np.array(current), np.array(found["melted"]), np.array(found["wet"]))
    if np.isnan(pieces.melted).all() and np.isnan(pieces.wet).all():
        faults.add("file", "no answer at all", "yes or no below melted or wet")
    faults.stop()
    return pieces


def _check_current(current: float, line: int, cell: str, faults: Faults) -> None:
    if current < LEAST or current > GREATEST:
        allowed = f"a current from {LEAST:g} to {GREATEST:g} A"
        faults.add(f"line {line}, column 1", shown(cell), allowed)


def _answers(line: int, cells: list[str], faults: Faults) -> Iterator[float]:
    """Yield 1 for yes, 0 for no and nan for an empty cell."""
    for number, cell in enumerate(cells, 2):
        answer = ANSWERS.get(cell.casefold())
        if cell and answer is None:
            faults.add(f"line {line}, column {number}", shown(cell), "yes or no, or nothing")
        yield nan if answer is None else float(answer)


def _edge(heading: str, key: str, faults: Faults) -> tuple[Edge | None, str]:
    """What a heading such as "crayon_bore_width [mm] at 343 degC" names, and its unit."""
    named, mark, level = heading.partition(" at ")
    name, unit = split(named.strip())
    found = WIDTH.fullmatch(name)
    allowed = (
        "speed, or a width such as melt_outside_width [mm], tint_bore_width [mm] or "
        "crayon_outside_width [mm] at 343 degC"
    )
    if found is None:
        bare = WIDTH.fullmatch(named.strip()) is not None
        hint = f"no unit: {named.strip()} [mm]" if bare else did_you_mean(name, WIDTHS)
        faults.add(key, shown(heading), allowed, hint)
        return None, unit
    kind, side = found.groups()
    kelvin = TINT if kind == "tint" else nan
    if mark and kind == "melt":
        faults.add(key, shown(heading), "no temperature: the tube's alloy gives it")
    elif mark:
        try:
            kelvin = float(read_quantity(level.strip(), TEMPERATURE))
        except UnitError as error:
            faults.add(key, shown(heading), "a temperature with its unit: at 343 degC", str(error))
    elif kind == "crayon":
        faults.add(key, shown(heading), "the crayon's temperature: at 343 degC")
    return Edge(name, kind, side, kelvin), unit


def _beads(header: list[str], table: list[tuple[int, list[str]]], faults: Faults) -> Beads:
    amps_in = _unit("column 1", header[0], split(header[0])[1], CURRENT, "current_A", faults)[1]
    scales: list[tuple[float, float]] = []
    places: list[Edge | None] = []
    units = {SPEED: "mm/s", LENGTH: "mm"}
    for number, heading in enumerate(header[1:], 2):
        key, (name, unit), edge, kind = f"column {number}", split(heading), None, SPEED
        if name != "speed":
            edge, unit = _edge(heading, key, faults)
            name, kind = edge.name if edge else "", LENGTH
        if name:
            scales.append(_unit(key, heading, unit, kind, f"{name} [{kind.resolved}]", faults))
            units[kind] = unit
        places.append(edge)
    faults.stop()
    edges = tuple(edge for edge in places if edge is not None)
    told = {(edge.kind, edge.side, str(edge.level)) for edge in edges}  # nan equals no nan
    if len(told) < len(edges) or places.count(None) > 1:
        faults.add("header", shown(header), "each column once")
    if not edges:
        faults.add("header", shown(header), "at least one width, such as melt_outside_width [mm]")
    faults.stop()
    rows = []
    for line, cells in table:
        row = [amps_in * number_of(cells[0], f"line {line}, column 1", faults), nan]
        _check_current(row[0], line, cells[0], faults)
        for number, (cell, edge, scale) in enumerate(
            zip(cells[1:], places, scales, strict=True), 2
        ):
            key, is_speed = f"line {line}, column {number}", edge is None
            value = scale[1] * number_of(cell, key, faults, empty=not is_speed)
            if value < 0.0 or (is_speed and value == 0.0):
                faults.add(key, shown(cell), "a speed above 0" if is_speed else "0 or more")
            row[1:] = [value, *row[2:]] if is_speed else [*row[1:], value]
        rows.append(row)
    faults.stop()
    found = np.array(rows)
    if np.isnan(found[:, 2:]).all():
        faults.add("file", "no width at all", "widths below their headings")
    faults.stop()
    return Beads(found[:, 0], found[:, 1], edges, found[:, 2:], units[SPEED], units[LENGTH])
