"""Outcomes follow every continuous key without jumps: 20 steps of 1 % each.

Mesh lines, layers and steps are whole numbers that follow spot, wall, leg and speed. Where one of
them changes, no outcome may jump by more than `JUMP` times the mean of its steps just before and
after; `STILL` is added to that mean, as near an extremum or where a key does nothing a step is
next to nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from invariance.small import run, text_of

JUMP = 3.0
STILL = {"K": 1.0, "s": 0.3}  # of a probe's peak the time is that of a step
FILLER = 4.0  # `JUMP` of the filler's own peak, of some small cells that melt
PROBES = (
    {"name": "above", "on": "tube", "angle": "17 deg", "height": "8 mm"},
    {"name": "beside", "on": "flange", "angle": "17 deg", "radius": "8 mm"},
)
# two of six segments round a small ring, whose base stays solid
JOINT: dict[str, dict[str, Any]] = {
    "tube": {"outside_diameter": "20 mm", "wall": "1.5 mm", "length": "30 mm"},
    "flange": {"thickness": "5 mm", "outside_diameter": "44 mm"},
    "fillet": {"leg": "2 mm"},
    "arc": {"current": "56 A", "voltage": "10.7 V", "spot": "2 mm", "aim": "1 mm"},
    "travel": {
        "speed": "2 mm/s", "segment": "10.5 mm", "dwell": "4 s", "pause": "8 s",
        "resume_below": "420 degC", "coverage": 0.34,
    },
    "numerics": {"detail": "coarse"},
}  # fmt: skip
BY_EYE = {
    "travel__start": "on-flow",
    "arc__control": "pedal",
    "arc__hold": "1250 degC",
}
KEYS = {
    "arc.current": (56.0, "A"),
    "arc.spot": (2.0, "mm"),
    "travel.speed": (2.0, "mm/s"),
    "tube.wall": (1.5, "mm"),
    "fillet.leg": (2.0, "mm"),
    "arc.aim": (1.0, "mm"),
}


def _outcomes(text: str) -> dict[str, float]:
    """Outcomes by name, their unit at the end."""
    told = run(text).outcomes
    assert told.flange is not None
    assert told.filler is not None
    found = {
        "tube K": told.tube.peak_C,
        "bore K": told.tube.bore_peak_C,
        "flange K": told.flange.peak_C,
        "filler K": told.filler.peak_C,
        "coldest K": told.filler.coldest_C,
        "surplus K": told.filler.stretch_surplus_K,
        "arc on s": told.time.arc_on_s,
        "total s": told.time.total_s,
    }
    for segment in told.segments:
        found[f"start {segment.number} K"] = segment.start_C
        found[f"wait {segment.number} s"] = segment.wait_s
        found[f"tube {segment.number} K"] = segment.tube_peak_C
        found[f"flange {segment.number} K"] = segment.flange_peak_C
    for name, probe in told.probes.items():
        found[f"{name} K"], found[f"{name} s"] = probe.peak_C, probe.peak_s
    return {name: float(value) for name, value in found.items() if value is not None}


@pytest.mark.parametrize("over", [{}, BY_EYE], ids=["timed", "by-eye"])
@pytest.mark.parametrize("key", KEYS)
def test_no_outcome_jumps(key: str, over: dict[str, str]) -> None:
    value, unit = KEYS[key]
    name = key.replace(".", "__")
    rows = [
        _outcomes(text_of(JOINT, *PROBES, **{**over, name: f"{value * 1.01**i:.9g} {unit}"}))
        for i in range(-10, 11)
    ]
    for outcome in rows[0]:
        steps = np.abs(np.diff([row[outcome] for row in rows]))
        beside = 0.5 * (steps[:-2] + steps[2:]) + STILL[outcome.split()[-1]]
        worst = float((steps[1:-1] / beside).max())
        assert worst <= (FILLER if outcome == "filler K" else JUMP), (outcome, worst)
