"""What the trade knows without a laboratory: setting tables, and heat that runs round a tube."""

from __future__ import annotations

from itertools import pairwise
from math import pi

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from lapheat import Result
from published.beads import run, source

MM = 1e-3
TABLE = source("TigSettings1")
ROWS = {
    row["thickness_mm"]: row
    for row in TABLE["row"]
    if row["joint"] == "butt" and row["thickness_mm"] >= 1.0
}


# --- full penetration, single run ---------------------------------------------------------------


def settings(thickness: float, share: float, *changes: str) -> float:
    """Melted share of the wall at `share` of the current in the middle of a row's band."""
    row = ROWS[thickness]
    current = share * sum(row["current_A"]) / 2.0
    made = run(
        "TigSettings1",
        f"tube.wall={thickness} mm",
        f"arc.current={current} A",
        f"travel.speed={row['speed_cm_min']} cm/min",
        *changes,
    )
    return made.outcomes.tube.melted_wall_fraction


def printed_voltage(current: float) -> float:
    """Middle of the voltages that the same page prints for pipe, at the nearest current [V]."""

    def away(pipe: dict[str, list[float]]) -> float:
        low, high = pipe["current_A"]
        return max(low - current, current - high, 0.0)

    low, high = min(TABLE["pipe"], key=away)["voltage_V"]
    return 0.5 * (low + high)


@pytest.mark.parametrize("thickness", [1.0, 1.5, 2.4])
def test_middle_of_the_band_melts_through(thickness: float) -> None:
    """At the program's own convention, 10 V + 0.04 V/A x current with efficiency 0.63.

    Not so at 3.2 mm: there the convention (9.3 W/A) melts 0.6 of the wall, the back 100 K short of
    melting, and a better conducting pool does not change that. Likely reasons: 3.2 mm butts are set
    with a gap that lets the arc in (common practice, no source), and the convention is too cold
    there; the printed voltage gives 11.25 W/A.
    """
    assert settings(thickness, 1.0) == 1.0


@pytest.mark.parametrize("thickness", sorted(ROWS))
def test_middle_of_the_band_melts_through_at_the_printed_voltage(thickness: float) -> None:
    """11 to 13 V up to 100 A, 14 to 16 V above, with the default efficiency of a measured voltage.

    The sheet rows print no voltage; the pipe rows of the same page do. Molten here means past the
    solidus on the back.
    """
    middle = sum(ROWS[thickness]["current_A"]) / 2.0
    assert settings(thickness, 1.0, f"arc.voltage={printed_voltage(middle)} V") == 1.0


@pytest.mark.parametrize("thickness", sorted(ROWS))
def test_half_the_current_does_not_melt_through(thickness: float) -> None:
    """Not even at the printed voltage of the full current, the hotter of the two conventions."""
    middle = sum(ROWS[thickness]["current_A"]) / 2.0
    assert settings(thickness, 0.5) < 0.5
    assert settings(thickness, 0.5, f"arc.voltage={printed_voltage(middle)} V") < 1.0


# --- heat that runs round a tube ----------------------------------------------------------------

HOT = 1000.0  # K


def hot_widths(made: Result) -> list[float]:
    """Width of the zone that passed 1000 K, at the middle of each segment [mm]."""
    outside = made.history.surfaces["tube outside"]
    z = np.linspace(outside.position[0], outside.position[-1], 60001)
    widths = []
    for segment in made.history.segments:
        middle = 2.0 * pi * (segment.number - 0.5) / made.case.segment_count
        layer = int(np.argmin(np.abs(outside.angle - middle)))
        hot = PchipInterpolator(outside.position, outside.peak[:, layer])(z) > HOT
        widths.append(float(hot.sum() * (z[1] - z[0]) / MM))
    return widths


def test_hot_zone_keeps_widening_round_a_small_tube() -> None:
    """Girth weld: S. Kou and Y. Le, Metallurgical Transactions A 15 (1984) 1165 (abstract seen)."""
    widths = hot_widths(run("KouLe1984"))
    assert len(widths) == 4
    assert all(after > 1.01 * before for before, after in pairwise(widths))
    assert widths[3] > 1.1 * widths[1]


def test_hot_zone_keeps_its_width_on_a_large_tube() -> None:
    """Seam weld, same source: once the start is past, the width no longer changes."""
    changes = ("tube.outside_diameter=100 mm", "travel.coverage=0.375")
    widths = hot_widths(run("KouLe1984", *changes))
    assert len(widths) == 6
    assert max(widths[1:]) < 1.01 * min(widths[1:])
