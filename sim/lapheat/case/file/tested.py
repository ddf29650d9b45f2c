"""Dimensions, settings and alloys in which the model was tested; what lies outside is said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..case import Case
from ..units import CURRENT, LENGTH, SPEED, Kind, in_unit

__all__ = ["BEADS", "JOINTS", "TESTED", "Range", "outside_of"]

SAME = 1e-6  # of a bound


@dataclass(frozen=True)
class Range:
    """Values of a key that were tested [`unit`]; `joint` and `bead` are None where it has none."""

    key: str
    kind: Kind
    unit: str
    joint: tuple[float, float] | None
    bead: tuple[float, float] | None

    def of(self, case: Case) -> tuple[float, float] | None:
        """Bounds for a case."""
        return self.bead if case.flange is None else self.joint

    def value(self, case: Case) -> float:
        """Value of a case [`unit`]."""
        part, name = self.key.split(".")
        return in_unit(getattr(getattr(case, part), name), self.kind, self.unit)


# Joints: shipped cases and the small joint of tests/invariance, each against FiPy's own terms
# (tests/reference, tests/invariance/test_steppers). Beads: cases/published, against what was
# published, and the test bead. A test holds the bounds to these cases.
# Each key has its range by itself: not every pair of values was tested.
TESTED = (
    Range("tube.outside_diameter", LENGTH, "mm", (12.0, 38.1), (25.0, 100.0)),
    Range("tube.wall", LENGTH, "mm", (0.8, 1.651), (1.0, 3.0)),
    Range("flange.thickness", LENGTH, "mm", (3.0, 6.35), None),
    # joints: 80 A is the demo's pedal as it strikes; steady arcs end at 74 A
    Range("arc.current", CURRENT, "A", (48.0, 80.0), (30.0, 110.0)),
    Range("travel.speed", SPEED, "mm/s", (2.0, 4.0), (0.423, 5.0)),
)
JOINTS = {"tube.alloy": ("304L",), "flange.alloy": ("low-carbon steel",)}
JOINTS |= {"fillet.filler": ("CuSi3Mn1",)}
BEADS = {"tube.alloy": ("304", "304L", "low-carbon steel")}


def outside_of(case: Case) -> Iterator[str]:
    """One sentence on all that lies outside; nothing where all is inside."""
    told = []
    for row in TESTED:
        bounds = row.of(case)
        if bounds is None:
            continue
        (low, high), value = bounds, row.value(case)
        if not low * (1.0 - SAME) <= value <= high * (1.0 + SAME):
            told.append(f"{row.key} {value:.4g} {row.unit} ({low:.4g} to {high:.4g} {row.unit})")
    for key, names in (BEADS if case.flange is None else JOINTS).items():
        part, name = key.split(".")
        alloy = getattr(getattr(case, part), name)
        if alloy not in names:
            told.append(f"{key} {alloy} ({', '.join(names)})")
    if told:
        yield f"Outside what the model was tested in (tested range in brackets): {', '.join(told)}."
