"""What only a sound case can tell: a mesh too large to run, an arc too weak to melt the rod."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Case, tacked_layers
from ..joint import mesh_lines
from .finding import Finding

__all__ = ["LARGEST_MESH", "of_run"]

LARGEST_MESH = 6_000_000  # cells
QUICKEST_CHILL = 2e-3  # [s] heat capacity of a chill over its conductance; the march follows it
BYTES_PER_CELL = 200  # of a compiled march


def of_run(case: Case) -> Iterator[Finding]:
    """Faults of a case that is well formed but cannot be run."""
    lines = mesh_lines(case)
    cells = lines.cells
    if cells > LARGEST_MESH:
        yield Finding(
            ("arc", "spot"),
            f"a spot and dimensions that a mesh of at most {LARGEST_MESH:,} cells resolves; "
            f"at detail {case.detail} this one needs {cells:,} cells, "
            f"about {cells * BYTES_PER_CELL / 1e9:.1f} GB",
            "a wider spot, a coarser detail, or a smaller part",
        )
    power, rod = case.arc.power, case.rod_power
    lowest = case.arc.power_at(case.arc.current_range[0])
    if power <= rod:
        yield Finding(
            ("arc", "current"),
            f"an arc that can melt the rod: {rod:.0f} W go into the filler at this travel speed "
            f"and fillet leg, and {power:.0f} W enter the work",
            "more current, slower travel, or a smaller fillet",
        )
    lowest = case.arc.power_at(case.arc.current_range[0])
    if case.arc.control == "pedal" and lowest <= rod:
        yield Finding(
            ("arc", "current_range"),
            f"a lowest current that can melt the rod: {rod:.0f} W go into the filler at this "
            f"travel speed and fillet leg, and {lowest:.0f} W would enter the work",
            "a higher lowest current, slower travel, or a smaller fillet",
        )
    chill = case.fixture.chill
    if chill is not None:
        alloy = case.alloys[chill.alloy]
        own = chill.wall * alloy.density * alloy.c(case.surroundings.temperature)
        if own < QUICKEST_CHILL * chill.conductance:
            yield Finding(
                ("fixture", "chill_wall"),
                f"a ring that takes {QUICKEST_CHILL * 1e3:g} ms or longer to warm through its "
                "conductance: this one holds too little heat to be a chill",
                "a thicker ring, of a metal, or less conductance",
            )
    for index, tack in enumerate(case.tacks):
        if tack.current is None or tack.time is None or case.fillet is None:
            continue
        laid = len(tacked_layers(tack, lines.layers, case.tube.radius)) / lines.layers
        seconds = laid * case.tube.circumference / case.travel.speed
        # the rod melts in the second half of the tack's time
        needed, power = (
            2.0 * rod * seconds / tack.time,
            case.arc.power_at(tack.current),
        )
        if power <= needed:
            yield Finding(
                ("tack", index, "time"),
                f"an arc that can melt the tack's rod: {needed:.0f} W go into the filler in the "
                f"second half of this time, and {power:.0f} W enter the work",
                "a longer time, more current, or a shorter tack",
            )
