"""The demo on a copper chill: what the README says of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lapheat import read_case, simulate

HERE = Path(__file__).parent
DEMO = Path(__file__).parents[2] / "cases" / "flue-stub.toml"
CHILL = (
    "fixture.chill_length=20 mm",
    "fixture.chill_wall=6 mm",
    "fixture.chill_conductance=1000 W/(m^2 K)",
)


def test_a_copper_chill_cools_the_demos_bore_and_takes_time() -> None:
    """By 68 K at coarse (76 K at standard, measured once), against the kept run without.

    The hand waits at each start to its limit, so the joint takes more than twice as long.
    """
    kept = json.loads((HERE / "flue-stub.json").read_text(encoding="utf-8"))
    result = simulate(read_case(DEMO, overrides=CHILL, detail="coarse"), threads=1)
    told = result.outcomes
    assert kept["tube.bore_peak_C"] - told.tube.bore_peak_C == pytest.approx(68.0, abs=2.0)
    assert told.chill is not None
    assert told.chill.peak_C == pytest.approx(216.0, abs=2.0)
    assert told.heat.chill_J == pytest.approx(7043.0, rel=0.01)
    assert told.time.total_s > 2.0 * kept["time.total_s"]
    assert abs(told.heat.imbalance) < 1e-9
