"""What only a sound case shows: an arc too weak to melt the rod, a chill too light to follow."""

from __future__ import annotations

from collections.abc import Iterator

from ..case import Case
from ..finding import Finding

__all__ = ["of_power"]

QUICKEST_CHILL = 2e-3  # [s] heat capacity of a chill over its conductance; the march follows it


def of_power(case: Case) -> Iterator[Finding]:
    """Faults of a case that is well formed but cannot be run."""
    power, rod = case.arc.power, case.rod_power
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
