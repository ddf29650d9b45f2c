"""A fault between keys, and values said in the user's units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .case import Case
from .units import LENGTH, TEMPERATURE, Kind, rounded, write_quantity

__all__ = ["Finding", "Path", "Say"]

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Finding:
    """A fault before its file is known; `given` None: as the user wrote it."""

    path: Path
    allowed: str
    hint: str = ""
    given: str | None = None


class Say:
    """Values in the units the user wrote in."""

    def __init__(self, case: Case) -> None:
        self._units = {LENGTH: case.display.length, TEMPERATURE: case.display.temperature}

    def __call__(self, value: float, kind: Kind = LENGTH) -> str:
        """Say an SI value of a kind."""
        if not math.isfinite(value):
            return "what was given"
        unit = self._units.get(kind, kind.resolved)
        number, _, unit = write_quantity(rounded(value), kind, unit).partition(" ")
        return f"{float(number):.5g} {unit}"
