"""Text of a CSV file of measurements to cells: bounded in size, and what is wrong with it."""

from __future__ import annotations

import csv
import io
import re
from itertools import islice
from math import isfinite, nan

from ....case.faults import shown
from ....case.file import CaseError, Fault

__all__ = ["ALLOWED", "BIGGEST", "MOST_RUNS", "Faults", "lines_of", "number_of", "split"]

BIGGEST = 20_000_000  # [bytes]
MOST_ROWS = 100_000  # readings: 17 minutes at 100 a second
MOST_RUNS = 200  # trials and beads, each of which is run again and again
MOST_COLUMNS = 100
MOST_FAULTS = 12  # reported at once; no more are looked for
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
ALLOWED = (
    "a CSV file in UTF-8: first column time, then one a probe, units in the header, such as "
    "time_s,top_C; or columns current_A, melted, wet; or current_A, speed [mm/s] and widths, such "
    "as melt_outside_width [mm]; at most 20 MB"
)


class Faults:
    """Collects what is wrong with a file, up to a dozen faults."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Fault] = []

    def add(self, key: str, given: str, allowed: str, hint: str = "") -> None:
        """Add one fault.

        Raises
        ------
        CaseError
            With this one there are a dozen.
        """
        self.found.append(Fault(self.file, key, given, allowed, hint))
        if len(self.found) == MOST_FAULTS:
            self.stop()

    def stop(self) -> None:
        """End here if anything was found.

        Raises
        ------
        CaseError
            Something was found.
        """
        if self.found:
            raise CaseError(self.found)


def lines_of(text: str, faults: Faults) -> list[tuple[int, list[str]]]:
    """Line number and cells of the header and of every row that holds something.

    Raises
    ------
    CaseError
        There are too few or too many rows or columns, or rows of another width.
    """
    lines = enumerate(io.StringIO(text, None), 1)
    filled = ((n, line.rstrip("\n")) for n, line in lines if line.lstrip()[:1] not in ("", "#"))
    told = list(islice(filled, MOST_ROWS + 2))
    if len(told) == MOST_ROWS + 2:
        hint = "keep every tenth reading, say"
        faults.add("file", f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS}", hint)
        faults.stop()
    if len(told) < 2:
        given = "nothing" if not told else "a header and nothing below it"
        faults.add("file", given, ALLOWED)
        faults.stop()
    mark = max(",;\t", key=told[0][1].count)
    found = []
    for number, line in told:
        try:
            cells = next(csv.reader([line], delimiter=mark, strict=True))
        except csv.Error as error:
            faults.add(f"line {number}", shown(line), f"cells parted by {mark!r} ({error})")
            continue
        found.append((number, [cell.strip() for cell in cells]))
    faults.stop()
    width = len(found[0][1])
    if width > MOST_COLUMNS:
        faults.add("header", f"{width} columns", f"at most {MOST_COLUMNS}")
        faults.stop()
    for number, cells in found[1:]:
        if len(cells) != width:
            hint = "are decimals after a comma? write a point" if len(cells) > width else ""
            faults.add(f"line {number}", f"{len(cells)} cells", f"{width}, as in the header", hint)
    faults.stop()
    return found


def split(heading: str) -> tuple[str, str]:
    """Name and unit of a heading: "top_C", "top [degC]" or "top (degC)"; the unit may be empty."""
    bracketed = re.fullmatch(r"(.*?)\s*[\[(]([^\[\]]*)[\])]", heading)
    if bracketed:
        return bracketed[1].strip(), bracketed[2].strip()
    name, mark, unit = heading.rpartition("_")
    return (name, unit) if mark else (heading, "")


def number_of(cell: str, key: str, faults: Faults, empty: bool = False) -> float:
    """Read a number of plain digits; nan where it is none, or where `empty` is allowed."""
    if empty and not cell:
        return nan
    value = float(cell) if NUMBER.fullmatch(cell) else nan
    if not isfinite(value):
        hint = "write the decimals after a point" if "," in cell else ""
        faults.add(key, shown(cell), "a number", hint)
    return value
