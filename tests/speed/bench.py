"""A table of measured numbers, and what it takes to measure them."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median

import numpy as np

__all__ = ["Row", "Table", "exponent", "seconds"]


@dataclass(frozen=True)
class Row:
    """One measured number: what it is, its unit, what was wanted of it, and how it was found."""

    section: str
    what: str
    value: float
    unit: str
    wanted: str = ""
    how: str = ""


class Table:
    """Rows as they are measured; each is printed at once."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.section = ""

    def begin(self, section: str) -> None:
        """Start a section."""
        self.section = section
        print(f"\n{section}", flush=True)

    def add(self, what: str, value: float, unit: str, wanted: str = "", how: str = "") -> float:
        """Add a row and return its value."""
        row = Row(self.section, what, float(value), unit, wanted, how)
        self.rows.append(row)
        print(_line(row), flush=True)
        return row.value

    def write(self, file: Path) -> None:
        """Write the table, as JSON where the file's name says so, else as text."""
        if file.suffix == ".json":
            file.write_text(json.dumps([asdict(row) for row in self.rows], indent=1) + "\n")
            return
        lines, section = [], ""
        for row in self.rows:
            if row.section != section:
                section = row.section
                lines += ["", section]
            lines.append(_line(row))
        file.write_text("\n".join(lines[1:]) + "\n")


def _line(row: Row) -> str:
    size = abs(row.value)
    text = f"{row.value:,.0f}" if size >= 1000 else f"{row.value:.3g}"
    wanted = f"(wanted: {row.wanted})" if row.wanted else ""
    tail = "  ".join(part for part in (wanted, row.how) if part)
    return f"  {row.what:<54} {text:>10} {row.unit:<9} {tail}".rstrip()


def seconds(work: Callable[[], object], times: int) -> float:
    """Median time of a piece of work [s]."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return median(taken)


def exponent(x: Sequence[float], y: Sequence[float]) -> float:
    """Power of x that y grows with, by least squares of the logarithms."""
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])
