"""What only a sound case can tell: a mesh too large to run, an arc too weak to melt the rod."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Case
from ..joint import mesh_lines
from .checks import Finding

__all__ = ["LARGEST_MESH", "of_run"]

LARGEST_MESH = 6_000_000  # cells
BYTES_PER_CELL = 200  # of a compiled march


def of_run(case: Case) -> Iterator[Finding]:
    """Faults of a case that is well formed but cannot be run."""
    cells = mesh_lines(case).cells
    if cells > LARGEST_MESH:
        yield Finding(
            ("arc", "spot"),
            f"a spot and dimensions that a mesh of at most {LARGEST_MESH:,} cells resolves; "
            f"at detail {case.detail} this one needs {cells:,} cells, "
            f"about {cells * BYTES_PER_CELL / 1e9:.1f} GB",
            "a wider spot, a coarser detail, or a smaller part",
        )
    power, rod = case.arc.power, case.rod_power
    if power <= rod:
        yield Finding(
            ("arc", "current"),
            f"an arc that can melt the rod: {rod:.0f} W go into the filler at this travel speed "
            f"and fillet leg, and {power:.0f} W enter the work",
            "more current, slower travel, or a smaller fillet",
        )
        return
    lowest = case.arc.power_at(case.arc.current_range[0])
    if case.arc.control == "pedal" and lowest <= rod:
        yield Finding(
            ("arc", "current_range"),
            f"a lowest current that can melt the rod: {rod:.0f} W go into the filler at this "
            f"travel speed and fillet leg, and {lowest:.0f} W would enter the work",
            "a higher lowest current, slower travel, or a smaller fillet",
        )
