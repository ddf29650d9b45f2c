"""A test bead with made-up thermocouples: what a calibration should find again."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from lapheat.constants import ZERO_CELSIUS
from lapheat.study.calibration.measured import Readings
from lapheat.study.calibration.points import Curve, ProbeRuns
from lapheat.study.calibration.unknowns import Unknown, unknowns_of
from lapheat.study.runs import Planner, Source
from study.stand_in import at_once, now

Array = NDArray[np.float64]

BEAD = """
title = "Test bead"
joint = "bead-on-tube"
tube = { outside_diameter = "16 mm", wall = "1.5 mm", length = "50 mm" }
arc = { current = "30 A", voltage = "10 V", spot = "2 mm" }
travel = { speed = "3 mm/s", segment = "14 mm", pause = "4 s", coverage = 0.25 }
numerics = { detail = "coarse" }
[[probe]]
name = "near"
on = "tube"
angle = "45 deg"
height = "4 mm"
[[probe]]
name = "mid"
on = "tube"
angle = "45 deg"
height = "10 mm"
[[probe]]
name = "far"
on = "tube"
angle = "225 deg"
height = "20 mm"
"""
SOURCE = Source(BEAD, "bead.toml")
NAMES = ("near", "mid", "far")
TRUTH = (0.68, 2.3e-3)  # efficiency, spot [m]; the case says 0.75 and 2 mm
NOISE = 5.0  # [K]
TIME = np.arange(0.0, 40.0, 0.4)
HEIGHTS = {"near": 4.0, "mid": 10.0, "far": 20.0}  # [mm]


def unknowns(fit: str = "efficiency,spot") -> tuple[Unknown, ...]:
    return unknowns_of(SOURCE.case(), fit)


def runs_of(
    names: Sequence[str] = NAMES,
    fit: str = "efficiency,spot",
    source: Source = SOURCE,
    until: float = float(TIME[-1]),
) -> ProbeRuns:
    return ProbeRuns(source, unknowns_of(source.case(), fit), "coarse", tuple(names), until)


def readings(curve: Curve, seed: int, names: Sequence[str] = NAMES) -> Readings:
    """What thermocouples with white noise would have shown."""
    noise = NOISE * np.random.default_rng(seed).normal(size=(len(TIME), len(names)))
    return Readings(tuple(names), TIME, curve.at(TIME) + noise)


def moved(up: Sequence[float]) -> Source:
    """The bead with its probes so far [mm] off along the tube."""
    text = BEAD
    for (name, height), move in zip(HEIGHTS.items(), up, strict=True):
        assert f'"{height:g} mm"' in text, name
        text = text.replace(f'"{height:g} mm"', f'"{height + move:g} mm"')
    return Source(text, "moved.toml")


def as_csv(found: Readings) -> str:
    lines = [",".join(["time_s", *(f"{name}_C" for name in found.names)])]
    for time, row in zip(found.time, found.values, strict=True):
        lines.append(",".join([f"{time:g}", *(f"{value - ZERO_CELSIUS:.3f}" for value in row)]))
    return "\n".join(lines) + "\n"


Emulator = Callable[[Sequence[Sequence[float]]], Planner[list[Curve]]]


def emulator(runs: ProbeRuns) -> Emulator:
    """Histories by parabolas through nine true runs around the truth, one of them at it."""
    time = np.arange(0.0, TIME[-1] + 0.05, 0.1)
    efficiency, spot = np.array([0.60, 0.68, 0.76]), np.array([1.9e-3, 2.3e-3, 2.7e-3])
    true = now(runs([(e, s) for e in efficiency for s in spot]))
    table = np.stack([curve.at(time) for curve in true]).reshape(3, 3, len(time), -1)

    def weights(nodes: Array, x: float) -> Array:
        return np.array(
            [
                np.prod([(x - other) / (node - other) for other in nodes if other != node])
                for node in nodes
            ]
        )

    def emulated(points: Sequence[Sequence[float]]) -> Planner[list[Curve]]:
        return at_once(
            [
                Curve(
                    time,
                    np.einsum("i,j,ijtp->tp", weights(efficiency, e), weights(spot, s), table),
                )
                for e, s in points
            ]
        )

    return emulated


JOINT = """
title = "Small joint"
tube = { outside_diameter = "16 mm", wall = "1 mm", length = "40 mm" }
flange = { thickness = "4 mm", outside_diameter = "40 mm" }
fillet = { leg = "2 mm" }
arc = { current = "54 A", voltage = "10 V", spot = "2 mm", aim = "0.5 mm" }
travel = { speed = "3 mm/s", segment = "12 mm", pause = "4 s", coverage = 0.25 }
numerics = { detail = "coarse" }
probe = [
  { name = "above", on = "tube", angle = "40 deg", height = "5 mm", place_error = "0 mm" },
  { name = "higher", on = "tube", angle = "40 deg", height = "12 mm", place_error = "0 mm" },
  { name = "in-lap", on = "tube", angle = "40 deg", height = "-3 mm", place_error = "0 mm" },
  { name = "plate", on = "flange", angle = "40 deg", radius = "4 mm", place_error = "0 mm" },
  { name = "rim", on = "flange", angle = "40 deg", radius = "10 mm", place_error = "0 mm" },
]
"""
