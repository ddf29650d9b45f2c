"""Inputs of the cases that several tests run: materials, schedules, probes."""

from __future__ import annotations

from typing import Any

import numpy as np

from .common import Array, Run

__all__ = [
    "CYLINDER",
    "CYLINDER_PROBES",
    "M1",
    "M2",
    "PLATE",
    "PLATE_RUNS",
    "SHELL",
    "TUBE_PROBES",
    "quarter_runs",
    "quarter_times",
]

# Steel-like constant materials: k [W/(m K)], rho [kg/m^3], c [J/(kg K)].
M1: dict[str, Any] = {"k": 25.0, "rho": 7800.0, "c": 620.0}
M2: dict[str, Any] = {"k": 22.0, "rho": 7850.0, "c": 600.0}

# Thin tube, mean radius 12 mm, wall 1 mm, length 60 mm, arc at 20 mm (`shell`, `radiating`).
SHELL: dict[str, Any] = {
    "radius": 12e-3,
    "wall": 1e-3,
    "length": 60e-3,
    "seam": 20e-3,
    "spot": 1.6e-3,
}
# Tube of outer radius 12.5 mm and wall 1 mm (`spectral3d.hollow_cylinder`).
CYLINDER: dict[str, Any] = {
    "outer_radius": 12.5e-3,
    "wall": 1e-3,
    "length": 60e-3,
    "seam": 20e-3,
    "spot": 1.6e-3,
    "h_outside": 35.0,
    "h_inside": 10.0,
    **M2,
}
# Plate 50 x 30 x 1.5 mm, arc along its middle (`spectral3d.plate`).
PLATE: dict[str, Any] = {
    "size": (50e-3, 30e-3, 1.5e-3),
    "path": 15e-3,
    "spot": 1.8e-3,
    "h_source": 60.0,
    "h_far": 40.0,
    **M2,
}
PLATE_RUNS = [Run(12e-3, 0.0, 8.0, 2e-3, 380.0), Run(34e-3, 12.0, 18.0, -2e-3, 420.0)]

# Probes: angle [rad], height [m] (and depth below the outside [m]), one column a probe.
TUBE_PROBES = (
    np.radians([45.0, 90.0, 135.0, 225.0, 315.0, 0.0]),
    np.array([20.0, 20.0, 23.0, 20.0, 30.0, 20.0]) * 1e-3,
)
CYLINDER_PROBES = (
    np.radians([45.0, 45.0, 90.0, 135.0, 225.0, 315.0, 0.0]),
    np.array([20.0, 20.0, 20.0, 23.0, 20.0, 30.0, 20.0]) * 1e-3,
    np.array([0.0, 1.0, 0.0, 0.5, 0.0, 0.0, 1.0]) * 1e-3,
)


def quarter_runs(
    radius: float, speed: float = 2.2e-3, power: float = 230.0, pause: float = 10.0
) -> list[Run]:
    """Four runs of 90 degrees each at `radius`, in turn, a pause [s] after each."""
    spell = 0.5 * np.pi * radius / speed
    return [
        Run(0.5 * np.pi * i, (spell + pause) * i, (spell + pause) * i + spell, speed, power)
        for i in range(4)
    ]


def quarter_times(runs: list[Run], *later: float) -> Array:
    """Return the times of the tables [s], unrounded: a spot cools 7 K in 20 us of no arc.

    Middle and end of the first run, start and end of the second, start of the third, start and
    end of the fourth, the end of its pause; then `later`.
    """
    first, second, third, fourth = runs
    rested = fourth.end + (second.begin - first.end)
    named = [0.5 * first.end, first.end, second.begin, second.end, third.begin]
    return np.array([*named, fourth.begin, fourth.end, rested, *later])
