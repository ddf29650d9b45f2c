"""Walls of tube by gauge: "18 ga" is Birmingham wire gauge, BWG, 0.049 in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from ..units import LENGTH, Quantity, read_quantity
from .fields import Of, refuse

__all__ = ["BWG", "Wall", "gauge_told"]

# Walls of tube by BWG [in], as tube makers list them (from memory).
BWG = {
    **{4: 0.238, 5: 0.220, 6: 0.203, 7: 0.180, 8: 0.165, 9: 0.148, 10: 0.134, 11: 0.120},
    **{12: 0.109, 13: 0.095, 14: 0.083, 15: 0.072, 16: 0.065, 17: 0.058, 18: 0.049},
    **{19: 0.042, 20: 0.035, 21: 0.032, 22: 0.028, 23: 0.025, 24: 0.022, 25: 0.020, 26: 0.018},
}
_GAUGE = re.compile(r"([0-9]{1,2})\s*-?\s*(?:ga|ga\.|gauge|bwg)", re.IGNORECASE)


def _gauge(text: object) -> int | None:
    match = _GAUGE.fullmatch(text.strip()) if isinstance(text, str) else None
    return int(match[1]) if match else None


@dataclass(frozen=True)
class Wall(Of):
    """A length, or a gauge of tube."""

    def read(self, given: Any) -> Quantity:
        """SI value within the range."""
        gauge = _gauge(given)
        if gauge is None:
            return super().read(given)
        if gauge not in BWG:
            raise refuse(self.allowed, f"gauges known here: BWG {min(BWG)} to {max(BWG)}")
        inches = read_quantity(f"{BWG[gauge]} in", LENGTH)
        super().read(f"{BWG[gauge]} in")
        return Quantity(inches, given.strip(), inches.unit)


def gauge_told(wall: Quantity) -> str | None:
    """Say what a gauge was taken for; None where the wall was given as a length."""
    gauge = _gauge(wall.text)
    if gauge is None:
        return None
    return f"tube.wall: {wall.text} was taken as BWG {gauge}, {BWG[gauge]:.3f} in."
