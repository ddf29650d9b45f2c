"""Risks from 128 samples against many more of another seed, kept by `long_risk.py`."""

from __future__ import annotations

import json
from typing import Any

import pytest

from lapheat.study.chance.bench import points
from lapheat.study.risk.risk import plan_of, run_sample, samples_of
from study.long_risk import FIRST, HERE, LONG, SHORT, source_of

FILES = sorted(HERE.glob("risk_of_*.json"))


@pytest.fixture(params=FILES, ids=lambda path: path.stem)
def kept(request: pytest.FixtureRequest) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(request.param.read_text())
    return found


def test_bead_and_demo_are_there() -> None:
    assert [path.name for path in FILES] == ["risk_of_bead.json", "risk_of_demo.json"]


@pytest.mark.parametrize("what", ["base_melts", "base_short_of_margin", "filler_cold"])
def test_interval_of_few_holds_the_answer_of_many(kept: dict[str, Any], what: str) -> None:
    short, long = kept["short"], kept["long"]
    assert (short["samples"], long["samples"]) == (SHORT, LONG[kept["case"]])
    assert short["seed"] != long["seed"]
    assert short[what]["low"] <= long[what]["chance"] <= short[what]["high"]
    if short[what].get("possible", True):
        assert 0.01 < long[what]["chance"] < 0.99
        # what many runs count: an interval that is counted goes with the root of the runs
        counted = long[what].get("counted", long[what])
        assert short[what]["low"] <= counted["high"]
        assert counted["low"] <= short[what]["high"]
        of_few, of_many = (told["high"] - told["low"] for told in (short[what], counted))
        if short[what].get("way") == "integrated":  # sharper than counting four times the runs
            assert of_few < of_many
        else:
            assert of_many < 1.1 * of_few * (SHORT / long["samples"]) ** 0.5


def test_shares_of_few_are_those_of_many(kept: dict[str, Any]) -> None:
    short, long = kept["short"], kept["long"]
    assert short["trusted"] is True
    known = {driver["input"]: driver for driver in long["drivers"]}
    for driver in short["drivers"]:
        for name in ("share_base", "share_filler", "total_base", "total_filler"):
            if driver[name] is not None:
                assert driver[name] == pytest.approx(known[driver["input"]][name], abs=0.1), driver


def test_what_is_kept_is_still_what_the_program_computes(kept: dict[str, Any]) -> None:
    plan = plan_of(source_of(kept["case"]), "coarse", SHORT, seed=0)
    samples = samples_of(plan, points(FIRST, len(plan.inputs), plan.seed))
    # 1 K more or less would move the demo's chances by a quarter of a per cent
    for sample, first in zip(samples, kept["short"]["first"], strict=True):
        row = run_sample(sample)
        assert row["margin_K"] == pytest.approx(first["margin_K"], abs=1.0)
        assert (row["filler_slack_K"] is None) is (first["filler_slack_K"] is None)
        if first["filler_slack_K"] is not None:
            assert row["filler_slack_K"] == pytest.approx(first["filler_slack_K"], abs=1.0)
